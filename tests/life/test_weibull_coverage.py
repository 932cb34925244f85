"""A small seeded run of the coverage of likelihood-ratio intervals.

The full table is in tests/benchmarks/README.md, section "Weibull fits", "Coverage".
"""

import numpy as np
import pytest

from rca.errors import NoFit
from rca.life.weibull import fit_weibull
from tests.benchmarks.weibull_coverage import SCALE, Design, coverage, late, staggered, tails


@pytest.mark.parametrize("design", [staggered, late])
def test_intervals_cover_with_eight_failures_expected(design: Design) -> None:
    """600 samples: 95 % limits of shape and B10 hold the truth in 95 % within 3 standard errors."""
    _, shape, b10, *_ = coverage(design, 1.5, 8, 600, seed=1)
    for cell in (shape, b10):
        assert float(cell.split()[0]) == pytest.approx(95, abs=2.7)


def test_the_shortcut_is_the_interval() -> None:
    """Where the profile at the truth has fallen too far, the interval itself misses it."""
    rng = np.random.default_rng(2)
    missed = 0
    for _ in range(60):
        try:
            fit = fit_weibull(staggered(rng, 1.5, 8))
        except NoFit:
            continue
        by_shape, by_life, wald_shape, wald_life = tails(fit, 1.5)
        life = SCALE * (-np.log(0.9)) ** (1 / 1.5)
        for excess, interval, truth in (
            (by_shape, fit.interval("shape"), 1.5),
            (by_life, fit.life_interval(0.1), life),
            (wald_shape, fit.interval("shape", method="wald"), 1.5),
            (wald_life, fit.life_interval(0.1, method="wald"), life),
        ):
            assert (interval.upper < truth) == (excess < -1)
            assert (interval.lower > truth) == (excess > 1)
            missed += abs(excess) > 1
    assert missed > 0
