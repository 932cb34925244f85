"""Many Weibull fits in one call against the single fit."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from rca.errors import NoFit, RcaError
from rca.life.batch import (
    ALL_AT_END,
    NO_FAILURE,
    TOO_CLOSE,
    TOO_SHORT,
    TOWARD_ZERO,
    fit_weibull_groups,
)
from rca.life.sample import Lives
from rca.life.weibull import fit_weibull
from tests.life.odd_lives import drawn_lives, odd_lives
from tests.published import GENFAN, NIST_WEIBULL_20, cracks, late_entry_150, right_censored


def joined(samples: list[Lives]) -> tuple[Lives, np.ndarray]:
    """The samples as groups 0, 1, ... of one."""
    columns = [
        np.concatenate([getattr(lives, name) for lives in samples])
        for name in ("low", "high", "entry", "count")
    ]
    low, high, entry, count = columns
    group = np.repeat(np.arange(len(samples)), [len(lives) for lives in samples])
    return Lives.between(low, high, entry=entry, count=count, unit="h"), group


def test_published_samples_as_groups() -> None:
    """S01, S02, S07, S08 in one call are the single fits, whose values are published."""
    samples = [right_censored(NIST_WEIBULL_20), right_censored(GENFAN), cracks(), late_entry_150()]
    fits = fit_weibull_groups(*joined(samples))
    singles = [fit_weibull(lives) for lives in samples]
    np.testing.assert_allclose(fits.shape, [fit.shape for fit in singles], rtol=1e-9)
    np.testing.assert_allclose(fits.scale, [fit.scale for fit in singles], rtol=1e-9)
    np.testing.assert_allclose(fits.log_likelihood, [fit.log_likelihood for fit in singles])
    np.testing.assert_allclose(fits.covariance, [fit.covariance for fit in singles], rtol=1e-6)
    np.testing.assert_allclose(fits.life(0.1), [fit.life(0.1) for fit in singles])
    assert fits.n_failed.tolist() == [10, 12, 94, 47]
    assert fits.n_running.tolist() == [10, 58, 73, 103]
    assert fits.shape[0] == pytest.approx(1.72079715578026, rel=1e-6)  # S01
    for parameter in ("shape", "scale"):
        lower, upper = fits.wald_limits(parameter)
        wald = [fit.interval(parameter, method="wald") for fit in singles]
        np.testing.assert_allclose(lower, [interval.lower for interval in wald])
        np.testing.assert_allclose(upper, [interval.upper for interval in wald])


@settings(max_examples=60)
@given(st.lists(odd_lives(), min_size=1, max_size=6))
def test_every_group_is_the_single_fit(samples: list[Lives]) -> None:
    """A group fitted with others is as fitted alone; refused in the batch where refused alone."""
    fits = fit_weibull_groups(*joined(samples))
    for place, lives in enumerate(samples):
        try:
            alone = fit_weibull(lives)
        except NoFit:
            assert math.isnan(fits.shape[place])
            assert fits.reason[place]
            assert np.isnan(fits.covariance[place]).all()
            continue
        assert fits.reason[place] == ""
        assert fits.shape[place] == pytest.approx(alone.shape, rel=1e-6)
        assert fits.scale[place] == pytest.approx(alone.scale, rel=1e-5)
        assert fits.log_likelihood[place] == pytest.approx(alone.log_likelihood, rel=1e-9, abs=1e-9)


def no_span() -> Lives:
    """Lives watched for a few roundings of their age: sums of their hazard vanish."""
    age = np.array([1000.0, 1100.0])
    return Lives.right_censored(age, [1, 0], entry=np.nextafter(age, 0))


def test_reasons() -> None:
    """Groups without a maximum say why, and the others are fitted."""
    samples = [
        Lives.right_censored([5.0, 9.0], [0, 0]),
        Lives.right_censored([5.0, 3.0], [1, 0]),
        Lives.right_censored([10.1, 10.2, 40, 60], [1, 1, 0, 0], entry=[10, 10, 11, 12]),
        Lives.right_censored([100.0, 100.0 + 1e-9], [1, 1]),
        no_span(),
        right_censored(GENFAN),
    ]
    fits = fit_weibull_groups(*joined(samples))
    assert fits.reason.tolist() == [NO_FAILURE, ALL_AT_END, TOWARD_ZERO, TOO_CLOSE, TOO_SHORT, ""]
    assert str(fits).startswith("6 groups, 1 fitted; 1 refused: ")
    assert len(fits) == 6
    assert np.isnan(fits.life(0.1)[:5]).all()


def test_order_and_labels_of_groups() -> None:
    """Rows may come in any order and groups may be texts; labels come out sorted."""
    rng = np.random.default_rng(5)
    lives = drawn_lives(rng, 600, late=True)
    group = rng.choice(np.array(["pump", "belt", "fan"]), 600)
    fits = fit_weibull_groups(lives, group)
    assert fits.group.tolist() == ["belt", "fan", "pump"]
    for place, name in enumerate(fits.group):
        rows = group == name
        alone = fit_weibull(
            Lives.between(lives.low[rows], lives.high[rows], entry=lives.entry[rows])
        )
        assert fits.shape[place] == pytest.approx(alone.shape, rel=1e-9)


def test_wrong_groups() -> None:
    """A column of another length, or no lives at all, is refused."""
    with pytest.raises(RcaError, match="group has shape"):
        fit_weibull_groups(right_censored(GENFAN), [1, 2])
    with pytest.raises(NoFit, match="no lives"):
        fit_weibull_groups(Lives.between([], []), [])
    with pytest.raises(RcaError, match='"shape" or "scale"'):
        fit_weibull_groups(right_censored(GENFAN), np.zeros(70)).wald_limits("eta")
