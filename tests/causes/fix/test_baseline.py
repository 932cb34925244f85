"""The old life curve with its units' levels, against libraries, quadrature and printed values."""

import lifelines
import numpy as np
import pandas as pd
import pytest
from scipy.integrate import quad
from scipy.optimize import minimize
from scipy.stats import gamma

from rca.causes.fix.baseline import (
    SPREADS,
    Baseline,
    Running,
    _Likelihood,
    expect,
    fit_baseline,
    run_on_old_curve,
    unit_levels,
)
from rca.causes.fix.pieces import Pieces
from rca.errors import NoFit
from tests.benchmarks.verdict_fleets import MONTH, Cell, simulate


@pytest.fixture(scope="module")
def fleet():
    """A simulated fleet up to the day of the fix; constructed, seeded."""
    cell = Cell(units=40, shape=1.6, spread=0.5, failures=60)
    return simulate(cell, np.random.default_rng(7))


@pytest.fixture(scope="module")
def past(fleet):
    return fleet[0].until(0.0)


def test_without_spread_the_fit_is_that_of_lifelines_with_late_entry(past):
    """lifelines 0.30 WeibullFitter(entry=...) on the same lives."""
    theirs = lifelines.WeibullFitter().fit(past.age, past.failed, entry=past.entry)
    ours = fit_baseline(past)
    shape = float(np.exp(ours.log_shape[0]))
    scale = ours.reference * np.exp(-ours.log_level[0] / shape)
    assert shape == pytest.approx(theirs.rho_, rel=1e-4)
    assert scale == pytest.approx(theirs.lambda_, rel=1e-4)


def test_marginal_likelihood_is_the_integral_over_the_units_levels(past):
    """Each unit's likelihood given its level u, integrated over u by quadrature (scipy)."""
    spread, point = 0.5, np.array([-0.4, 0.3])
    reference = float(np.exp(np.mean(np.log(past.age[past.failed]))))
    likelihood = _Likelihood.of(past, reference)
    hazard = likelihood.terms(point)[0]
    shape = np.exp(point[1])
    total = 0.0
    for unit in range(len(past.units)):
        ages = past.age[past.failed & (past.unit == unit)] / reference
        rates = np.exp(point[0]) * shape * ages ** (shape - 1) / reference

        def given_level(u, unit=unit, rates=rates):
            density = gamma.pdf(u, 1 / spread, scale=spread)
            return float(np.prod(u * rates) * np.exp(-u * hazard[unit]) * density)

        total += np.log(quad(given_level, 0, 30, epsabs=0, epsrel=1e-9, limit=200)[0])
    ours = likelihood.value(point, spread) - np.log(past.age[past.failed]).sum()
    assert ours == pytest.approx(total, rel=1e-7)


@pytest.mark.parametrize("row", range(len(SPREADS)))
def test_maximum_and_covariance_agree_with_a_general_optimiser(past, row):
    """scipy.optimize (Nelder-Mead) and numerical second derivatives."""
    fit = fit_baseline(past)
    likelihood = _Likelihood.of(past, fit.reference)
    spread = float(SPREADS[row])
    found = minimize(
        lambda point: -likelihood.value(point, spread),
        x0=np.array([0.0, 0.0]),
        method="Nelder-Mead",
        options={"xatol": 1e-9, "fatol": 1e-12, "maxiter": 4000},
    )
    point = np.array([fit.log_level[row], fit.log_shape[row]])
    assert point == pytest.approx(found.x, abs=1e-5)
    step, curvature = 1e-4, np.zeros((2, 2))
    for i in range(2):
        for j in range(2):
            a, b = np.eye(2)[i] * step, np.eye(2)[j] * step
            curvature[i, j] = (
                likelihood.value(point + a + b, spread)
                - likelihood.value(point + a - b, spread)
                - likelihood.value(point - a + b, spread)
                + likelihood.value(point - a - b, spread)
            ) / (4 * step**2)
    assert fit.covariance[row] == pytest.approx(np.linalg.inv(-curvature), rel=1e-3, abs=1e-5)


def test_a_piece_cut_in_two_changes_nothing(past):
    """Exposure adds up over pieces: so the work may be split anywhere."""
    middle = (past.entry + past.age) / 2
    day = (past.begin + past.end) / 2
    halves = Pieces(
        units=past.units,
        unit=np.tile(past.unit, 2),
        entry=np.concatenate([past.entry, middle]),
        age=np.concatenate([middle, past.age]),
        begin=np.concatenate([past.begin, day]),
        end=np.concatenate([day, past.end]),
        failed=np.concatenate([np.zeros_like(past.failed), past.failed]),
        running=np.tile(past.running, 2),
        renewed=np.tile(past.renewed, 2),
    )
    one, two = fit_baseline(past), fit_baseline(halves)
    assert two.log_level == pytest.approx(one.log_level, abs=1e-7)
    assert two.hazard == pytest.approx(one.hazard, rel=1e-6)
    start, stops = np.full(len(past.units), -300.0), np.array([-200.0, -50.0])
    whole = run_on_old_curve(one, past, start=start, stops=stops)
    split = run_on_old_curve(one, halves, start=start, stops=stops)
    assert split.hazard == pytest.approx(whole.hazard, rel=1e-9)
    assert (split.failed == whole.failed).all()


def test_running_adds_up_over_time_and_ages_beyond_are_a_part_of_it(fleet, past):
    pieces, fix_day = fleet
    fit = fit_baseline(past)
    stops = np.array([6.0, 12.0, 24.0]) * MONTH
    whole = run_on_old_curve(fit, pieces, start=fix_day, stops=stops)
    late = run_on_old_curve(fit, pieces, start=fix_day + 6 * MONTH, stops=stops)
    assert late.hazard[:, 0].sum() == 0.0
    assert (whole.hazard[:, 1] - whole.hazard[:, 0]) == pytest.approx(late.hazard[:, 1])
    assert (whole.failed[2] - whole.failed[0]).sum() == late.failed[2].sum()
    beyond = run_on_old_curve(fit, pieces, start=fix_day, stops=stops, above=fit.oldest)
    assert (beyond.hazard <= whole.hazard + 1e-12).all()
    assert 0 < beyond.hazard[0, 2].sum() < whole.hazard[0, 2].sum()


def test_hazard_slopes_are_the_derivatives(fleet, past):
    """Numerical derivative by log shape of W and of the units' H."""
    from dataclasses import replace

    pieces, fix_day = fleet
    fit, stops, step = fit_baseline(past), np.array([300.0]), 1e-5
    at = {
        sign: run_on_old_curve(
            replace(fit, log_shape=fit.log_shape + sign * step),
            pieces,
            start=fix_day,
            stops=stops,
        ).hazard
        for sign in (1, -1)
    }
    exact = run_on_old_curve(fit, pieces, start=fix_day, stops=stops).hazard_slope
    assert (at[1] - at[-1]) / (2 * step) == pytest.approx(exact, rel=1e-5, abs=1e-8)


def test_unit_levels_reproduce_the_published_empirical_bayes_example():
    """E. Hauer et al., Empirical Bayes: a tutorial, Transp. Res. Record 1784 (2002).

    Printed results READ (in slides that quote the paper): one year with 12 accidents gives
    4.71 +- 1.19 accidents per km and year; three years with 12, 7, 8 give 7.97 +- 1.44 a year for
    the whole section. Inputs from MEMORY: 1.8 km, 4000 vehicles a day, accidents per km and year
    0.0224 x 4000^0.564, dispersion 2.05 per km. They reproduce the printed results.
    """
    length, spread = 1.8, 1 / (2.05 * 1.8)
    a_year = 0.0224 * 4000**0.564 * length
    mean, variance = unit_levels(np.array([12.0]), np.array([a_year]), spread=spread)
    assert mean[0] * a_year / length == pytest.approx(4.71, abs=0.005)
    assert np.sqrt(variance[0]) * a_year / length == pytest.approx(1.19, abs=0.005)
    mean, variance = unit_levels(np.array([27.0]), np.array([3 * a_year]), spread=spread)
    assert mean[0] * a_year == pytest.approx(7.97, abs=0.005)
    assert np.sqrt(variance[0]) * a_year == pytest.approx(1.44, abs=0.005)


def by_hand(failed, hazard):
    """A baseline whose curve is known for sure, with all weight on spread 0.5."""
    size = len(SPREADS)
    return Baseline(
        weights=(SPREADS == 0.5).astype(float),
        log_level=np.zeros(size),
        log_shape=np.zeros(size),
        covariance=np.zeros((size, 2, 2)),
        reference=1.0,
        failed=np.array(failed, float),
        hazard=np.tile(np.array(hazard, float), (size, 1)),
        hazard_slope=np.zeros((size, len(hazard))),
        oldest=10.0,
    )


def running_by_hand(hazard, failed):
    hazard = np.array(hazard, float)[np.newaxis, np.newaxis]
    hazard = np.repeat(hazard, len(SPREADS), axis=0)
    return Running(hazard, np.zeros_like(hazard), np.array(failed, float)[np.newaxis])


def test_picked_units_are_expected_to_fall_back_to_the_fleet():
    """Regression to the mean, by hand: a = 2, three failures on H = 1 give level (2+3)/(2+1)."""
    base = by_hand([3, 0, 0], [1.0, 1.0, 1.0])
    picked = np.array([True, False, False])
    run = running_by_hand([1.0, 1.0, 1.0], [0, 0, 0])
    found = expect(base, run, picked, own_level=False)
    row = list(SPREADS).index(0.5)
    assert found.mean[row, 0] == pytest.approx(5 / 3)
    assert found.variance[row, 0] == pytest.approx(5 / 9)
    own = expect(base, run, picked, own_level=True)  # the group's own level (3 + .5) / (1 + .5)
    level = 3.5 / 1.5
    assert own.mean[row, 0] == pytest.approx(level * (1 + 0.5 * 3) / (1 + 0.5 * level))
    assert own.mean[row, 0] > found.mean[row, 0]
    assert own.variance[row, 0] > found.variance[row, 0]


def test_observed_over_expected_is_the_maximum_of_the_marginal_likelihood():
    """O ln r - sum (a + n + O_i) ln(a + H + r W), maximised by scipy, against O / E."""
    n, h = np.array([3.0, 0.0, 1.0]), np.array([1.0, 2.0, 0.5])
    w, o = np.array([0.4, 2.0, 1.1]), np.array([2.0, 0.0, 1.0])
    found = expect(by_hand(n, h), running_by_hand(w, o), np.ones(3, bool), own_level=False)
    row = list(SPREADS).index(0.5)
    best = minimize(
        lambda r: -(o.sum() * np.log(r[0]) - np.sum((2 + n + o) * np.log(2 + h + r[0] * w))),
        x0=[1.0],
        method="Nelder-Mead",
        options={"xatol": 1e-10, "fatol": 1e-13},
    )
    assert o.sum() / found.mean[row, 0] == pytest.approx(best.x[0], rel=1e-6)


def test_variance_of_the_expectation_is_that_of_moving_the_curve(past, fleet):
    """Delta method against refitting nothing but moving (log A, log shape) by hand."""
    from dataclasses import replace

    pieces, fix_day = fleet
    fit = fit_baseline(past)
    members = np.isfinite(fix_day)
    row, step = 2, 1e-5

    def mean(change):
        moved = replace(
            fit, log_level=fit.log_level + change[0], log_shape=fit.log_shape + change[1]
        )
        likelihood = _Likelihood.of(past, fit.reference)
        hazard, slope = likelihood.by_unit(moved.log_level, moved.log_shape)
        moved = replace(moved, hazard=hazard, hazard_slope=slope)
        run = run_on_old_curve(moved, pieces, start=fix_day, stops=np.array([600.0]))
        return expect(moved, run, members, own_level=own).mean[row, 0]

    run = run_on_old_curve(fit, pieces, start=fix_day, stops=np.array([600.0]))
    for own in (False, True):
        gradient = np.array([(mean(e * step) - mean(-e * step)) / (2 * step) for e in np.eye(2)])
        sure = replace(fit, covariance=np.zeros_like(fit.covariance))
        with_curve = expect(fit, run, members, own_level=own).variance[row, 0]
        without = expect(sure, run, members, own_level=own).variance[row, 0]
        by_moving = gradient @ fit.covariance[row] @ gradient
        assert with_curve - without == pytest.approx(by_moving, rel=1e-4)


def test_fits_that_do_not_exist_are_refused():
    day = np.datetime64("2024-01-01")

    def lives(age, failed, entry=None):
        age = np.asarray(age, float)
        return Pieces.from_arrays(
            [f"u{k}" for k in range(len(age))],
            entry=np.zeros(len(age)) if entry is None else entry,
            age=age,
            begin=np.full(len(age), day),
            end=day + age.astype(int),
            failed=failed,
        )

    with pytest.raises(NoFit, match="no failure before"):
        fit_baseline(lives([10, 20], [False, False]))
    with pytest.raises(NoFit, match=r"no maximum|flat"):  # all failures at the largest age
        fit_baseline(lives([20, 20, 20, 20, 20, 10], [True] * 5 + [False]))
    fit = fit_baseline(lives([5, 9, 14, 20, 20, 20], [True, True, True, False, False, False]))
    assert fit.weights.sum() == pytest.approx(1.0)
    assert "3 failures on 3 of 6 units" in str(fit)
    assert pd.notna(fit.shape)
