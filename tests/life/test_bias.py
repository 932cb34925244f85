"""The overshoot of fitted shapes at few failures, by simulation."""

import numpy as np
import pytest

from rca.errors import NoAnswer
from rca.life.batch import fit_weibull_groups
from rca.life.bias import Ends, shape_bias
from rca.life.sample import Lives

SAMPLES = 3000


def simulated(rng: np.random.Generator, ends: Ends, failures: int) -> float:
    """Mean of fitted over true shape among samples with exactly so many failures."""
    n = failures if ends == "all failed" else 20 * failures
    life = rng.exponential(size=(SAMPLES, n))
    if ends == "all failed":
        end = np.full_like(life, np.inf)
    elif ends == "at a failure":
        end = np.broadcast_to(np.sort(life)[:, failures - 1 : failures], life.shape)
    elif ends == "common age":
        end = np.full_like(life, -np.log1p(-0.05))
    else:
        end = rng.uniform(0, 0.1035, life.shape)  # a twentieth fails
    age, failed = np.minimum(life, end), life <= end
    group = np.repeat(np.arange(SAMPLES), n)
    fits = fit_weibull_groups(Lives.right_censored(age.ravel(), failed.ravel()), group)
    right = np.isfinite(fits.shape) & (fits.n_failed == failures)
    return float(fits.shape[right].mean())


@pytest.mark.parametrize("failures", [6, 10])
@pytest.mark.parametrize("ends", ["staggered", "common age", "at a failure", "all failed"])
def test_mean_of_fitted_shapes(ends: Ends, failures: int) -> None:
    """The formulas against 3000 samples each: within 5 points of a percent-like ratio.

    r / (r - 1) and r / (r - 2) hold exactly where few fail; here a twentieth does.
    """
    found = simulated(np.random.default_rng(failures), ends, failures)
    assert shape_bias(failures, ends=ends) == pytest.approx(found, abs=0.05)


def test_many_failures_have_no_bias_to_speak_of() -> None:
    """It falls with the failures, and staggered watching has the least of it."""
    for ends in ("staggered", "common age", "at a failure", "all failed"):
        assert 1 < shape_bias(200, ends=ends) < shape_bias(20, ends=ends) < 1.15
    assert shape_bias(8) < shape_bias(8, ends="all failed") < shape_bias(8, ends="at a failure")


def test_too_few_failures_have_no_mean() -> None:
    """With two failures the mean of a test that stops there is infinite."""
    with pytest.raises(NoAnswer, match="no mean"):
        shape_bias(2, ends="at a failure")
