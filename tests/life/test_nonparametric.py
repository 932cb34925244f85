"""Kaplan-Meier and Nelson-Aalen against printed numbers, lifelines and scipy, and their laws."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from lifelines import KaplanMeierFitter, NelsonAalenFitter
from scipy.stats import CensoredData, ecdf

from rca.errors import NoAnswer, NoFit, RcaError
from rca.life.nonparametric import kaplan_meier, nelson_aalen
from rca.life.sample import Lives
from tests.life.engines import peers_as_met
from tests.published import GENFAN, cracks, late_entry_150, right_censored

# S10: generator fans, COMPUTED with R 4.2.2, survival 3.5.3; scipy and lifelines agree.
# fmt: off
FAN_HOURS = (1150, 2070, 3450, 6100, 8750, 11500)
FAN_COLUMNS = {
    "value": (0.95672268907563, 0.907749191984486, 0.852301948864652, 0.795417542775269,
              0.707037815800239, 0.707037815800239),
    "standard_error": (0.024441823837429, 0.0360727593407561, 0.0459737153753552,
                       0.0581216781767556, 0.098041976927893, 0.098041976927893),
    "lower": (0.871794321946205, 0.805394942103048, 0.733681292871268, 0.651863725323152,
              0.468011561337576, 0.468011561337576),
    "upper": (0.985835220615433, 0.957638841297449, 0.920835220270095, 0.884768780613539,
              0.8536052999618, 0.8536052999618),
    "at_risk": (68, 55, 45, 26, 9, 1),
}
FAN_LIMITS = {
    "log": ((0.909997178534275, 0.83973110581504, 0.766794735822638, 0.689282597037843,
             0.538778286201175, 0.538778286201175),
            (1, 0.981276732328151, 0.947344286680793, 0.91789502603663, 0.927844506311291,
             0.927844506311291)),
    "plain": ((0.908817594637797, 0.837047882853623, 0.762195122493461, 0.681501146827801,
               0.514879072048462, 0.514879072048462),
              (1, 0.978450501115349, 0.942408775235844, 0.909333938722738, 0.899196559552017,
               0.899196559552017)),
}
FAN_HAZARD = (0.0436974789915966, 0.0954457307398484, 0.157812473235053, 0.225685776402474,
              0.336796887513585, 0.336796887513585)
FAN_HAZARD_ERROR = (0.0252310836907604, 0.0391720691250295, 0.0532632167871805,
                    0.0719813316524553, 0.132389543087082, 0.132389543087082)
# fmt: on


@pytest.mark.parametrize("column", FAN_COLUMNS)
def test_generator_fans(column: str) -> None:
    """S10: survival, Greenwood's error, log(-log) limits and numbers at risk."""
    curve = kaplan_meier(right_censored(GENFAN))
    found = [getattr(curve.at(hours), column) for hours in FAN_HOURS]
    np.testing.assert_allclose(found, FAN_COLUMNS[column], atol=1e-9, rtol=0)


@pytest.mark.parametrize("limits", ["log", "plain"])
def test_generator_fans_other_limits(limits: str) -> None:
    """S10: the other two kinds of limits, clipped at 1 as R does."""
    curve = kaplan_meier(right_censored(GENFAN), limits=limits)
    found = [(curve.at(hours).lower, curve.at(hours).upper) for hours in FAN_HOURS]
    np.testing.assert_allclose(np.transpose(found), FAN_LIMITS[limits], atol=1e-9, rtol=0)


def test_generator_fans_hazard() -> None:
    """S10: Nelson-Aalen and its error in Aalen's form."""
    curve = nelson_aalen(right_censored(GENFAN))
    answers = [curve.at(hours) for hours in FAN_HOURS]
    np.testing.assert_allclose([a.value for a in answers], FAN_HAZARD, atol=1e-9, rtol=0)
    errors = [a.standard_error for a in answers]
    np.testing.assert_allclose(errors, FAN_HAZARD_ERROR, atol=1e-9, rtol=0)


def test_ten_fan_belts() -> None:
    """S11: READ in the docstring of scipy.stats.ecdf (scipy 1.17.1), which quotes a textbook."""
    ages = [77, 47, 81, 56, 80, 62, 60, 43, 71, 37]
    curve = kaplan_meier(Lives.right_censored(ages, [1] * 5 + [0] * 5))
    printed = [1, 1, 0.875, 0.75, 0.75, 0.75, 0.75, 0.5, 0.25, 0]
    found = [curve.at(age).value for age in sorted(ages)]
    np.testing.assert_allclose(found, printed, atol=1e-12)


def _sample(rng: np.random.Generator, n: int, *, late: bool, tied: bool) -> Lives:
    """Random lives; the first 30 are watched from new to a high age, so that the curve lives on."""
    age = rng.weibull(rng.uniform(0.4, 6), n) * 100
    entry = np.where(rng.uniform(size=n) < 0.4, age * rng.uniform(0, 0.9, n), 0.0)
    entry[:30] = 0
    entry *= late
    if tied:
        age, entry = np.ceil(age), np.floor(entry)
    failed = rng.uniform(size=n) < rng.uniform(0.1, 0.9)
    return Lives.right_censored(age, failed, entry=entry)


@pytest.mark.parametrize("late", [False, True])
@pytest.mark.parametrize("tied", [False, True])
@pytest.mark.parametrize("n", [100, 1000, 100_000])
def test_survival_against_lifelines(n: int, tied: bool, late: bool) -> None:
    """Random lives, ties, late entry: value and log(-log) limits to 1e-6."""
    lives = _sample(np.random.default_rng(n + late), n, late=late, tied=tied)
    peer = KaplanMeierFitter().fit(lives.low, lives.exact, entry=lives.entry)
    curve = kaplan_meier(lives)
    inner = curve.survival > 0
    ages = curve.age[inner]
    expected = [
        peer.survival_function_.loc[ages].iloc[:, 0],
        *peer.confidence_interval_.loc[ages].to_numpy().T,
    ]
    found = np.array([curve.survival, curve.lower, curve.upper])[:, inner]
    np.testing.assert_allclose(found, expected, rtol=1e-6)


@pytest.mark.parametrize("late", [False, True])
@pytest.mark.parametrize("tied", [False, True])
@pytest.mark.parametrize("n", [100, 1000, 100_000])
def test_hazard_against_lifelines(n: int, tied: bool, late: bool) -> None:
    """Random lives: lifelines is right under ties without its smoothing, with it otherwise.

    Its limits without smoothing rest on d (Y - d) / Y^3 in place of d / Y^2, so they are compared
    where there are no ties.
    """
    lives = _sample(np.random.default_rng(n + late), n, late=late, tied=tied)
    fitter = NelsonAalenFitter(nelson_aalen_smoothing=not tied)
    peer = fitter.fit(lives.low, lives.exact, entry=lives.entry)
    curve = nelson_aalen(lives)
    expected = peer.cumulative_hazard_.loc[curve.age].iloc[:, 0]
    np.testing.assert_allclose(curve.cumulative_hazard, expected, rtol=1e-6)
    if not tied:
        limits = peer.confidence_interval_.loc[curve.age].to_numpy().T
        np.testing.assert_allclose([curve.lower, curve.upper], limits, rtol=1e-6)


@peers_as_met
def test_lifelines_default_smoothing_differs() -> None:
    """A trap: by default lifelines spreads ties, H(8750) = 0.33735; R and we say 0.33680."""
    lives = right_censored(GENFAN)
    smoothed = NelsonAalenFitter().fit(lives.low, lives.exact)
    assert smoothed.cumulative_hazard_at_times(8750).iloc[0] == pytest.approx(0.33735, abs=5e-6)
    assert nelson_aalen(lives).at(8750).value == pytest.approx(0.33680, abs=5e-6)


def test_against_scipy() -> None:
    """scipy.stats.ecdf knows no late entry; without it, the same numbers."""
    lives = _sample(np.random.default_rng(8), 500, late=False, tied=True)
    data = CensoredData.right_censored(lives.low, lives.running)
    peer = ecdf(data).sf.evaluate(lives.low)
    curve = kaplan_meier(lives)
    np.testing.assert_allclose([curve.at(age).value for age in lives.low], peer, atol=1e-12)


@given(
    st.lists(st.integers(1, 20), min_size=1, max_size=30),
    st.randoms(use_true_random=False),
)
def test_without_censoring_the_share_surviving(ages: list[int], random: object) -> None:
    """No suspension: the curve is the plain share that passed each age."""
    curve = kaplan_meier(Lives.right_censored(ages, [True] * len(ages)))
    shares = [np.mean(np.array(ages) > age) for age in curve.age]
    np.testing.assert_allclose(curve.survival, shares, atol=1e-12)
    assert curve.survival[-1] == 0
    assert np.isnan(curve.standard_error[-1])


lives_strategy = st.lists(
    st.tuples(st.integers(0, 10), st.integers(1, 20), st.booleans(), st.integers(1, 3)),
    min_size=1,
    max_size=25,
).map(
    lambda rows: Lives.right_censored(
        [entry + run for entry, run, _, _ in rows],
        [failed for _, _, failed, _ in rows],
        entry=[entry for entry, _, _, _ in rows],
        count=[count for _, _, _, count in rows],
    )
)


@given(lives_strategy)
def test_hazard_never_above_minus_log_survival(lives: Lives) -> None:
    """H (Nelson-Aalen) <= -ln S (Kaplan-Meier), and the limits enclose both."""
    survival, hazard = kaplan_meier(lives), nelson_aalen(lives)
    alive = survival.survival > 0
    assert (hazard.value[alive] <= -np.log(survival.survival[alive]) + 1e-12).all()
    for curve in (survival, hazard):
        assert (curve.lower <= curve.value + 1e-12).all()
        assert (curve.value <= curve.upper + 1e-12).all()
        assert np.isfinite(curve.lower).all()
        assert np.isfinite(curve.upper).all()


@given(lives_strategy)
def test_a_count_is_as_many_rows(lives: Lives) -> None:
    """Counts are repeated lives."""
    n = lives.count.astype(int)
    rows = [np.repeat(column, n) for column in (lives.low, lives.high, lives.entry)]
    one_by_one = Lives.between(rows[0], rows[1], entry=rows[2])
    for estimate in (kaplan_meier, nelson_aalen):
        counted, single = estimate(lives), estimate(one_by_one)
        for column in ("age", "at_risk", "value", "lower", "upper"):
            np.testing.assert_allclose(
                getattr(counted, column), getattr(single, column), rtol=1e-12, atol=1e-12
            )


@given(lives_strategy, st.floats(0.5, 30))
def test_answers_only_where_somebody_was_watched(lives: Lives, age: float) -> None:
    """An answer exists exactly where the unbroken watching from its first age reaches."""
    curve = kaplan_meier(lives)
    watched = [
        any((lives.entry <= moment) & (moment <= lives.low))
        for moment in np.append(np.arange(lives.entry.min(), age, 0.25), age)
    ]
    if lives.entry.min() <= age and all(watched):
        assert 0 <= curve.at(age).lower <= curve.at(age).value <= curve.at(age).upper <= 1
    else:
        with pytest.raises(NoAnswer):
            curve.at(age)


def test_failures_beyond_a_break_are_not_used() -> None:
    """Watched to 10, then from 20 on: nothing is known between, so the curve stops at 10."""
    lives = Lives.right_censored([5, 10, 30], [1, 0, 1], entry=[0, 0, 20])
    curve = kaplan_meier(lives)
    assert (curve.begin, curve.end, list(curve.age)) == (0, 10, [5])
    with pytest.raises(NoAnswer, match="nobody was watched for a while"):
        curve.at(25)
    assert kaplan_meier(lives, since=20).at(30).value == 0


def test_since_counts_from_a_later_age() -> None:
    """Survival given survival to an age is the ratio of the curve at both ages."""
    lives = right_censored(GENFAN)
    whole, later = kaplan_meier(lives), kaplan_meier(lives, since=3000)
    ratio = whole.at(8750).value / whole.at(3000).value
    assert later.at(8750).value == pytest.approx(ratio, rel=1e-12)


def test_an_early_small_risk_set_is_told() -> None:
    """The one part watched from new fails before the others: 0 for good, and the note says so."""
    lives = Lives.right_censored([5, 30, 40, 50], [1, 1, 0, 0], entry=[0, 4, 5, 5])
    curve = kaplan_meier(lives, since=0)
    assert curve.at(40).value > 0
    alone = kaplan_meier(Lives.right_censored([5, 30, 40], [1, 1, 0], entry=[0, 5, 5]))
    assert alone.at(30).value == 0
    assert "since=" in alone.at(30).note


def test_no_failure_so_far_has_an_exact_limit() -> None:
    """20 parts without failure: survival above 0.025^(1/20), hazard below 3.689 / 20."""
    lives = Lives.right_censored([10.0] * 20, [False] * 20)
    survival, hazard = kaplan_meier(lives).at(10), nelson_aalen(lives).at(10)
    assert (survival.value, survival.upper) == (1, 1)
    assert survival.lower == pytest.approx(0.025 ** (1 / 20), rel=1e-12)
    assert hazard.upper == pytest.approx(-np.log(0.025) / 20, rel=1e-12)
    assert "no failure" in survival.note


def test_late_entry_gives_the_whole_risk_set() -> None:
    """The constructed sample S08 (seed 20260101): those not yet watched are not at risk."""
    lives = late_entry_150()
    curve = kaplan_meier(lives)
    at_risk = [((lives.entry < age) & (lives.low >= age)).sum() for age in curve.age]
    np.testing.assert_array_equal(curve.at_risk, at_risk)


def test_interval_censored_lives_are_refused() -> None:
    """Ages known only between two looks have no Kaplan-Meier step."""
    with pytest.raises(NoFit, match="94 of 167"):
        kaplan_meier(cracks())


def test_bad_questions_are_refused() -> None:
    """Confidence out of range, an age that is no number, nobody left after `since`."""
    lives = right_censored(GENFAN)
    with pytest.raises(RcaError, match="confidence"):
        kaplan_meier(lives, confidence=95)
    with pytest.raises(NoAnswer):
        kaplan_meier(lives).at(float("nan"))
    with pytest.raises(NoFit, match="after the age of 20000"):
        nelson_aalen(lives, since=20000)


@pytest.mark.parametrize("age", [0.3, 0.6, 0.9])
def test_limits_cover(age: float) -> None:
    """95 % log(-log) limits with censoring and late entry cover: a small seeded run."""
    rng = np.random.default_rng(71)
    true, inside, runs = np.exp(-(age**1.5)), 0, 400
    for _ in range(runs):
        life, end = rng.weibull(1.5, 60), rng.uniform(0.5, 2, 60)
        entry = np.where(rng.uniform(size=60) < 0.3, rng.uniform(0, 0.4, 60), 0)
        last = np.minimum(life, end)
        seen = last > entry
        lives = Lives.right_censored(last[seen], (life <= end)[seen], entry=entry[seen])
        answer = kaplan_meier(lives).at(age)
        inside += answer.lower <= true <= answer.upper
    assert 0.92 <= inside / runs <= 0.98


def test_prints_what_is_inside() -> None:
    """The curve and its answers tell counts, limits and unit."""
    curve = kaplan_meier(right_censored(GENFAN))
    assert str(curve) == "survival, 12 failures at 10 ages; known from 0 to 11500 h"
    assert str(curve.at(8750)) == "0.707 (0.468 to 0.8536, 95%; 9 under observation)"
    assert "cumulative hazard, 12 failures" in str(nelson_aalen(right_censored(GENFAN)))
