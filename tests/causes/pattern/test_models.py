"""The rival models: each likelihood against a direct sum, an integral or a library."""

import numpy as np
import pytest
from scipy.integrate import quad
from scipy.stats import chi2, gamma

from rca.causes.pattern import models
from rca.causes.pattern.calendar import Calendar, burst, season, split_gain
from rca.causes.pattern.models import Weibull, peak
from rca.causes.pattern.p_values import kept_by_holm, p_of_depots, p_of_lots, p_of_units
from rca.causes.pattern.part_lives import PartLives
from rca.life.weibull import fit_weibull
from tests.benchmarks.pattern_fleets import Case, make_lives


def lives_of(case: Case, seed: int) -> PartLives:
    rows, units = make_lives(case, np.random.default_rng([21, seed]))
    return PartLives.of(rows, scale="days", units=units, depot="depot")


@pytest.fixture(scope="module")
def base() -> Weibull:
    lives = lives_of(Case("lot", 60, late_entry=True), 1)
    return Weibull(lives, shape=fit_weibull(lives.sample()).shape)


def test_the_common_weibull_is_the_life_fit(base):
    """Same maximum as rca.life.weibull, which is checked against R and lifelines."""
    fit = fit_weibull(base.lives.sample())
    assert base.log_likelihood == pytest.approx(fit.log_likelihood, abs=1e-6)
    assert base.expected.sum() == pytest.approx(base.lives.failures)


def direct(base: Weibull, shape: float, scale: float, factor: np.ndarray) -> float:
    """Sum of log hazard over failures less hazard run, piece by piece."""
    lives = base.lives
    rate = np.log(shape / scale) + (shape - 1) * np.log(lives.age[lives.failed] / scale)
    run = (lives.age / scale) ** shape - (lives.entry / scale) ** shape
    return float((rate + np.log(factor[lives.failed])).sum() - (run * factor).sum())


def test_a_lot_of_its_own_equals_a_direct_maximum(base):
    """Lot L0 multiplied by the ratio found: piece by piece the same log-likelihood, and no more."""
    scored = models.one_level(base, base.lives.lot, "lot")
    assert scored.found.name == "L0"
    mine = base.lives.lot.code == base.lives.lot.names.index("L0")

    def at(shape: float, ratio: float) -> float:
        factor = np.where(mine, ratio, 1.0)
        run = (base.lives.hazard(shape) * factor).sum()
        return direct(base, shape, (run / base.d) ** (1 / shape), factor)

    shapes = np.linspace(0.5, 4, 141)
    best = max(
        at(shape, ratio)
        for shape in shapes
        for ratio in scored.found.ratio * np.linspace(0.8, 1.25, 10)
    )
    assert scored.log_likelihood == pytest.approx(best, abs=0.02)


def test_units_without_spread_are_the_weibull(base):
    """Spread toward 0: every unit alike, the plain Weibull again."""
    scored = models.units_apart(base, spread=0.02)
    near = models._Units(base).best(1.0, 1e-5)[1]
    assert near == pytest.approx(base.log_likelihood, abs=0.03)  # the shape is found on a grid
    assert scored.log_likelihood <= base.log_likelihood + 3


def test_gamma_units_equal_an_integral_over_the_units_factor(base):
    """log of the integral of Poisson likelihood times gamma density, unit by unit (scipy quad)."""
    shape, top, fit = models._Units(base).best(2.5, 0.6)
    lives, k = base.lives, 1 / 0.6
    run = fit.level * lives.hazard(shape) * np.where(lives.later, 2.5, 1.0)
    total = 0.0
    for unit in range(len(lives.unit.names)):
        mine = lives.unit.code == unit
        reach, n = run[mine].sum(), int(lives.failed[mine].sum())
        value, _ = quad(
            lambda w, n=n, r=reach: w**n * np.exp(-w * r) * gamma.pdf(w, k, scale=1 / k), 0, 40
        )
        total += np.log(value)
    failed = lives.failed
    total += (
        np.log(fit.level * shape) + (shape - 1) * np.log(lives.age[failed])
        + np.log(np.where(lives.later[failed], 2.5, 1.0))
    ).sum()  # fmt: skip
    assert top == pytest.approx(total, abs=0.05)  # alike units are merged: a small difference


def test_merging_alike_units_changes_little():
    """1 000 units of which most never failed: likelihood within 0.1 of that of every single one."""
    lives = lives_of(Case("units", 150, units=400), 3)
    base = Weibull(lives, shape=fit_weibull(lives.sample()).shape)
    merged = models._Units(base).best(1.0, 1.0)[1]
    most, models.MOST_GROUPS = models.MOST_GROUPS, 10_000
    try:
        single = models._Units(base).best(1.0, 1.0)[1]
    finally:
        models.MOST_GROUPS = most
    assert merged == pytest.approx(single, abs=0.1)


def test_two_hazards_are_recovered_and_beat_one():
    """Half early, half late, 150 failures: far above the single Weibull."""
    lives = lives_of(Case("mixed", 150), 2)
    base = Weibull(lives, shape=fit_weibull(lives.sample()).shape)
    both = models.mixed(base)
    assert 2 * (both.log_likelihood - base.log_likelihood) > chi2.ppf(0.999, 2)


def test_calendar_shares_out_all_expectation_and_every_failure(base):
    """Sums over the steps are D, seen and expected; late entries and meters included."""
    calendar = Calendar.of(base)
    assert calendar.seen.sum() == base.d
    assert calendar.expected.sum() == pytest.approx(base.d)


def test_a_burst_is_found_where_it_was_planted():
    """Days with eight times the hazard: the best window overlaps them."""
    rows, units = make_lives(Case("burst", 100), np.random.default_rng([30, 1]))
    lives = PartLives.of(rows, scale="days", units=units, depot="depot")
    base = Weibull(lives, shape=fit_weibull(lives.sample()).shape)
    calendar = Calendar.of(base)
    window = burst(base, calendar).found
    assert window.failures > 3 * window.expected
    by_month = np.add.reduceat(calendar.seen, np.arange(0, len(calendar.seen), 6))
    busiest = calendar.origin + 30 * int(by_month.argmax())
    assert window.begin < busiest + 30
    assert window.end > busiest


def test_season_equals_a_poisson_regression():
    """Wave and gain against statsmodels' Poisson with offset log E and the two terms."""
    import statsmodels.api as sm

    lives = lives_of(Case("season", 120), 5)
    one = Weibull(lives, shape=fit_weibull(lives.sample()).shape)
    calendar = Calendar.of(one)
    scored = season(one, calendar)
    some = calendar.expected > 1e-9
    day = calendar.origin + 5 * (np.arange(len(calendar.seen)) + 0.5)
    angle = 2 * np.pi * day / 365.25
    terms = np.stack([np.ones_like(angle), np.cos(angle), np.sin(angle)], axis=1)[some]
    offset = np.log(calendar.expected[some])
    fits = [
        sm.GLM(calendar.seen[some], terms[:, columns], family=sm.families.Poisson(), offset=offset)
        .fit()
        for columns in ([0, 1, 2], [0])
    ]  # fmt: skip
    assert scored is not None
    assert scored.log_likelihood - one.log_likelihood == pytest.approx(
        fits[0].llf - fits[1].llf, abs=1e-5
    )
    assert scored.found.ratio == pytest.approx(np.exp(2 * np.hypot(*fits[0].params[1:])), rel=1e-4)


def test_split_gain_by_hand():
    """8 of 20 where 4 are due: 8 log 2 + 12 log (12 / 16)."""
    assert split_gain(np.array([8.0]), np.array([4.0]), 20.0)[0] == pytest.approx(
        8 * np.log(2) + 12 * np.log(0.75)
    )
    assert split_gain(np.array([3.0]), np.array([4.0]), 20.0)[0] == 0.0


def test_limits_lie_where_a_parabola_has_fallen_by_its_drop():
    """y = -2 (log x - 0.3)^2 falls by 1.9207 at 0.98 on either side; open where it does not."""
    x = np.geomspace(0.25, 6, 400)
    y = -2 * (np.log(x) - 0.3) ** 2
    assert models.limits_about(x, y, 0.0) == pytest.approx(
        (np.exp(0.3 - 0.98), np.exp(0.3 + 0.98)), rel=0.01
    )
    assert models.limits_about(x, 0 * x, 0.0) == (0.0, np.inf)


def test_peak_of_a_parabola_is_exact():
    """A quadratic in log x: place and height between the grid points."""
    x = np.geomspace(0.25, 6, 23)
    y = 5 - 2 * (np.log(x) - np.log(1.37)) ** 2
    place, height = peak(x, y)
    assert place == pytest.approx(1.37)
    assert height == pytest.approx(5.0)


def test_p_values_are_level_where_nothing_is_planted():
    """30 random fleets: few p below 0.05 for lots, depots and units."""
    below = np.zeros(3)
    for seed in range(30):
        lives = lives_of(Case("random", 40), seed)
        one = Weibull(lives, shape=fit_weibull(lives.sample()).shape)
        rng = np.random.default_rng(seed)
        p = (
            p_of_lots(one, lives.lot, rng),
            p_of_depots(one, lives.depot, rng),
            p_of_units(models.units_apart(one), models.units_apart(one, spread=0.1)),
        )
        below += np.array(p) < 0.05
    assert (below <= 5).all()


def test_holm_equals_statsmodels():
    """Step-down at 5 % against statsmodels' multipletests."""
    from statsmodels.stats.multitest import multipletests

    rng = np.random.default_rng(2)
    for _ in range(40):
        p = dict(zip("abcde", rng.random(5) ** 4, strict=True))
        rejected = multipletests(list(p.values()), alpha=0.05, method="holm")[0]
        assert set(kept_by_holm(p)) == {name for name, out in zip(p, rejected, strict=True) if out}
