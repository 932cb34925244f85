"""The mean cumulative function against a published data set, the slow definition, and its laws."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import t as student

from rca.errors import NoAnswer
from rca.life.histories import Histories
from rca.life.recurrence import difference, mean_cumulative
from tests.life.engines import mean_and_variance, valve_seats, whole_day_histories

# S14 and S15, valve seats: COMPUTED by the direct formula, equal to R survival 3.5.3 survfit(id=)
# to 1e-15. The costs of S15 are CONSTRUCTED.
# fmt: off
DAYS = (100, 200, 300, 400, 500, 600, 653)
MCF = (0.146341463414634, 0.268292682926829, 0.463414634146342, 0.658536585365854,
       0.808536585365854, 1.01426413954542, 1.54268751355703)
ERROR = (0.0551993371072554, 0.0773166134009754, 0.109607275665324, 0.131841648287459,
         0.149254940609431, 0.173844328450389, 0.311656074750563)
PLAIN = ((0.0381527507139282, 0.116754905254311, 0.248588321398754, 0.400131703060037,
          0.516002277256705, 0.673535516866107, 0.931852831482804),
         (0.25453017611534, 0.419830460599348, 0.678240946893929, 0.916941467671671,
          1.101070893475, 1.35499276222473, 2.15352219563126))
LOG = ((0.0698711718801832, 0.152513918266764, 0.291502803089285, 0.444801217102926,
        0.563078353959309, 0.724862418467716, 1.03828585071169),
       (0.306504432916355, 0.471963244601539, 0.736710319300807, 0.974975826482436,
        1.16099545521211, 1.41920965766503, 2.29212866847167))
POISSON_ERROR = (0.0597436522630043, 0.0808932875696439, 0.106314608379041, 0.126735424944064,
                 0.14075463735079, 0.15849113733736, 0.262805596815272)
COST_DAYS = (200, 400, 600)
COST = (22.4390243902439, 58.0487804878049, 85.8057464320773)
COST_ERROR = (7.17571162572048, 12.6745728218334, 15.8672877592926)
COST_PLAIN = ((8.3748880403864, 33.2070742375812, 54.7064338915306),
              (36.5031607401014, 82.8904867380285, 116.905058972624))
COST_LOG = ((11.9894885228694, 37.8389252080849, 59.718831315934),
            (41.9959379105737, 89.0527650452759, 123.288181609165))
# fmt: on


@pytest.mark.parametrize(
    ("limits", "cost", "days", "value", "error", "ends"),
    [
        ("log", False, DAYS, MCF, ERROR, LOG),
        ("plain", False, DAYS, MCF, ERROR, PLAIN),
        ("log", True, COST_DAYS, COST, COST_ERROR, COST_LOG),
        ("plain", True, COST_DAYS, COST, COST_ERROR, COST_PLAIN),
    ],
)
def test_valve_seats(
    limits: str, cost: bool, days: tuple, value: tuple, error: tuple, ends: tuple
) -> None:
    """S14 and S15: mean, error from the spread between units, and both kinds of limits."""
    curve = mean_cumulative(valve_seats(cost=cost), limits=limits)
    answers = [curve.at(day) for day in days]
    np.testing.assert_allclose([a.value for a in answers], value, rtol=1e-9)
    np.testing.assert_allclose([a.standard_error for a in answers], error, rtol=1e-8)
    np.testing.assert_allclose([a.lower for a in answers], ends[0], rtol=1e-7)
    np.testing.assert_allclose([a.upper for a in answers], ends[1], rtol=1e-7)


def test_the_poisson_error_is_another() -> None:
    """S14, a trap: sum d / Y^2 is 8 % too large at 100 days and 16 % too small at 653."""
    curve = mean_cumulative(valve_seats())
    poisson = np.sqrt(np.cumsum(curve.events / curve.at_risk**2))
    found = [poisson[np.searchsorted(curve.age, day, side="right") - 1] for day in DAYS]
    np.testing.assert_allclose(found, POISSON_ERROR, rtol=1e-8)
    ratio = np.array(found) / [curve.at(day).standard_error for day in DAYS]
    assert ratio[[0, -1]] == pytest.approx([1.08, 0.84], abs=0.005)


@given(whole_day_histories(costs=True))
def test_against_the_definition(histories: Histories) -> None:
    """Ties, gaps, late starts, costs of either sign: the fast variance is the slow one."""
    curve = mean_cumulative(histories)
    mean, variance = mean_and_variance(histories, curve.age)
    scale = np.abs(histories.event_value).max(initial=1.0)
    np.testing.assert_allclose(curve.value, mean, atol=1e-12 * scale)
    known = curve.n_begun >= 2
    found = curve.standard_error[known] ** 2
    np.testing.assert_allclose(found, variance[known], atol=1e-12 * scale**2)
    assert np.isnan(curve.standard_error[~known]).all()


def test_against_the_definition_at_length() -> None:
    """2000 events with gaps and staggered entry: equal to 1e-12 relative."""
    rng = np.random.default_rng(4)
    n = 300
    cuts = np.sort(rng.uniform(0, 1000, (n, 4)), axis=1)
    cuts[:50, 0] = 0
    unit = np.repeat(np.arange(n), 2)
    start, end = cuts[:, ::2].ravel(), cuts[:, 1::2].ravel()
    stretch = rng.integers(0, 2 * n, 2000)
    age = rng.uniform(start[stretch], end[stretch])
    histories = Histories.of(unit, start, end, event_unit=unit[stretch], event_age=age)
    curve = mean_cumulative(histories)
    mean, variance = mean_and_variance(histories, curve.age)
    np.testing.assert_allclose(curve.value, mean, rtol=1e-12)
    np.testing.assert_allclose(curve.standard_error**2, variance, rtol=1e-10)


@given(whole_day_histories(), st.floats(0.01, 1000))
def test_equal_costs_scale_the_count(histories: Histories, cost: float) -> None:
    """A cost of c for every event is c times the mean number, limits included."""
    with_cost = Histories.of(
        histories.stretch_unit,
        histories.start,
        histories.end,
        event_unit=histories.event_unit,
        event_age=histories.event_age,
        event_value=np.full(len(histories.event_age), cost),
    )
    count, money = mean_cumulative(histories), mean_cumulative(with_cost)
    for column in ("value", "standard_error", "lower", "upper"):
        np.testing.assert_allclose(
            getattr(money, column), cost * getattr(count, column), rtol=1e-6, atol=1e-6 * cost
        )


@given(st.lists(st.lists(st.integers(1, 50), max_size=6), min_size=2, max_size=10))
def test_equal_watching_gives_events_over_units(ages: list[list[int]]) -> None:
    """All watched from 0 to 50: the curve ends at events / units, with the spread of the counts."""
    counts = [len(row) for row in ages]
    histories = Histories.of(
        range(len(ages)),
        [0] * len(ages),
        [50] * len(ages),
        event_unit=np.repeat(np.arange(len(ages)), counts),
        event_age=[age for row in ages for age in row],
    )
    answer = mean_cumulative(histories).at(50)
    assert answer.value == pytest.approx(np.mean(counts), abs=1e-12)
    if sum(counts):
        spread = np.std(counts) / np.sqrt(len(counts))
        # A variance of exactly 0 is a difference of equal sums: right to the root of the precision.
        assert answer.standard_error == pytest.approx(spread, abs=1e-6)


@given(whole_day_histories())
def test_every_unit_twice_divides_the_error(histories: Histories) -> None:
    """Each unit twice: the same mean, the standard error divided by the root of 2."""
    twice = Histories.of(
        np.concatenate((histories.stretch_unit, histories.stretch_unit + 100)),
        np.tile(histories.start, 2),
        np.tile(histories.end, 2),
        event_unit=np.concatenate((histories.event_unit, histories.event_unit + 100)),
        event_age=np.tile(histories.event_age, 2),
    )
    once, double = mean_cumulative(histories), mean_cumulative(twice)
    np.testing.assert_allclose(double.value, once.value, atol=1e-12)
    known = once.n_begun >= 2
    expected = once.standard_error[known] / np.sqrt(2)
    np.testing.assert_allclose(double.standard_error[known], expected, atol=1e-7)


def test_two_repairs_at_one_visit_are_one_sum() -> None:
    """Two events of one unit on one day enter the variance as 2, not as two single ones."""
    one = Histories.of([1, 2], [0, 0], [9, 9], event_unit=[1, 1], event_age=[5, 5])
    two = Histories.of([1, 2], [0, 0], [9, 9], event_unit=[1, 2], event_age=[5, 5])
    assert mean_cumulative(one).at(5).value == mean_cumulative(two).at(5).value == 1
    assert mean_cumulative(one).at(5).standard_error == pytest.approx(np.sqrt(0.5))
    assert mean_cumulative(two).at(5).standard_error == 0


def test_stops_where_nobody_is_watched() -> None:
    """Past the last unit, before the first, and beyond a break there is no answer."""
    curve = mean_cumulative(valve_seats())
    assert curve.at(761).value == curve.value[-1]
    with pytest.raises(NoAnswer, match="seen at 761 days; nothing is known at 762"):
        curve.at(762)
    broken = Histories.of(["a", "b"], [5, 50], [20, 90], event_unit=["a", "b"], event_age=[10, 60])
    with pytest.raises(NoAnswer, match="Nobody was watched before 5"):
        mean_cumulative(broken).at(4)
    with pytest.raises(NoAnswer, match="then nobody was watched for a while"):
        mean_cumulative(broken).at(60)
    assert mean_cumulative(broken, since=30).at(60).value == 1


def test_before_the_first_event_the_limit_is_exact() -> None:
    """41 engines without an event by day 50: at most 3.689 / 41 a unit; of cost nothing is said."""
    count = mean_cumulative(valve_seats()).at(50)
    assert (count.value, count.lower) == (0, 0)
    assert count.upper == pytest.approx(-np.log(0.025) / 41, rel=1e-12)
    assert np.isinf(mean_cumulative(valve_seats(cost=True)).at(50).upper)


def test_student_limits_with_few_units() -> None:
    """10 units: t with 9 degrees times the root of 10/9 in place of 1.96, and a note."""
    ages = np.arange(1, 9)
    histories = Histories.of(
        range(10), [0] * 10, [20] * 10, event_unit=[0, 0, 1, 1, 2, 3, 4, 5], event_age=ages
    )
    answer = mean_cumulative(histories).at(20)
    quantile = student.ppf(0.975, 9) * np.sqrt(10 / 9)
    factor = np.exp(quantile * answer.standard_error / answer.value)
    assert (answer.lower, answer.upper) == pytest.approx((0.8 / factor, 0.8 * factor))
    assert answer.note.startswith("from 8 events, 10 units")


def test_one_unit_has_no_limits() -> None:
    """No spread between units: the mean is told, limits are unknown, not equal to it."""
    alone = Histories.of(["a"], [0], [9], event_unit=["a", "a"], event_age=[3, 4])
    answer = mean_cumulative(alone).at(5)
    assert answer.value == 2
    assert np.isnan([answer.standard_error, answer.lower, answer.upper]).all()
    assert "one unit only" in answer.note


def test_units_that_come_later_bring_the_normal_quantile() -> None:
    """39 units from new, 11 more from age 10: Student's t before, 1.96 after."""
    start = np.repeat((0, 10), (39, 11))
    histories = Histories.of(
        range(50), start, [30] * 50, event_unit=[0, 1, 2, 45], event_age=[5, 6, 20, 21]
    )
    curve = mean_cumulative(histories)
    quantile = np.log(curve.upper / curve.value) * curve.value / curve.standard_error
    early = student.ppf(0.975, 38) * np.sqrt(39 / 38)
    np.testing.assert_allclose(quantile, [early, early, 1.959964, 1.959964], rtol=1e-6)


def test_difference_of_two_groups() -> None:
    """Values subtract, variances add, and the curve ends where the shorter group ends."""
    whole = valve_seats()
    groups = []
    for side in (0, 1):
        chosen = whole.stretch_unit % 2 == side
        happened = whole.event_unit % 2 == side
        groups.append(
            Histories.of(
                whole.stretch_unit[chosen],
                whole.start[chosen],
                whole.end[chosen],
                event_unit=whole.event_unit[happened],
                event_age=whole.event_age[happened],
            )
        )
    a, b = (mean_cumulative(group) for group in groups)
    between = difference(a, b)
    for day in (90, 300, 600):
        left, right, answer = a.at(day), b.at(day), between.at(day)
        assert answer.value == pytest.approx(left.value - right.value, abs=1e-12)
        error = np.hypot(left.standard_error, right.standard_error)
        assert answer.standard_error == pytest.approx(error, rel=1e-12)
    assert between.end == min(a.end, b.end)
    with pytest.raises(NoAnswer):
        between.at(between.end + 1)
    # 20 and 21 units: each brings its own Student's t.
    answer = between.at(600)
    quantiles = [student.ppf(0.975, n - 1) * np.sqrt(n / (n - 1)) for n in (21, 20)]
    errors = [curve.at(600).standard_error for curve in (a, b)]
    margin = np.hypot(quantiles[0] * errors[0], quantiles[1] * errors[1])
    assert answer.upper - answer.value == pytest.approx(margin, rel=1e-9)


def test_difference_refuses_unlike_curves() -> None:
    """Cost against count, or counted from different ages, cannot be subtracted."""
    count = mean_cumulative(valve_seats())
    with pytest.raises(NoAnswer, match="cannot be subtracted"):
        difference(count, mean_cumulative(valve_seats(cost=True)))
    with pytest.raises(NoAnswer, match="cannot be subtracted"):
        difference(count, mean_cumulative(valve_seats(), since=100))


def test_difference_finds_and_spares() -> None:
    """Two groups alike differ outside 95 % limits about 1 time in 20; a doubled rate is found."""
    rng = np.random.default_rng(12)

    def group(rate: float) -> Histories:
        spread = rng.gamma(2, 0.5, 60)
        counts = rng.poisson(rate * spread)
        unit = np.repeat(np.arange(60), counts)
        return Histories.of(
            np.arange(60),
            np.zeros(60),
            np.ones(60),
            event_unit=unit,
            event_age=rng.uniform(size=len(unit)),
        )

    def outside(rate: float) -> float:
        answers = [
            difference(mean_cumulative(group(1.0)), mean_cumulative(group(rate))).at(1.0)
            for _ in range(300)
        ]
        return float(np.mean([answer.lower > 0 or answer.upper < 0 for answer in answers]))

    assert 0.02 <= outside(1.0) <= 0.09
    assert outside(2.0) > 0.9


@pytest.mark.parametrize(("n", "variance"), [(12, 0.5), (60, 0.0), (60, 1.0)])
def test_log_limits_cover(n: int, variance: float) -> None:
    """95 % log limits with late entry and staggered ends, 12 events expected: a small seeded run.

    The full table is in tests/benchmarks/README.md.
    """
    rng = np.random.default_rng(33)
    inside, runs = 0, 500
    for _ in range(runs):
        start = np.where(rng.uniform(size=n) < 0.4, rng.uniform(0, 0.5, n), 0.0)
        end = rng.uniform(0.6, 1.4, n)
        spread = rng.gamma(1 / variance, variance, n) if variance else np.ones(n)
        rate = 12 / (n * 0.76)
        counts = rng.poisson(rate * spread * (end - start))
        unit = np.repeat(np.arange(n), counts)
        age = rng.uniform(start[unit], end[unit])
        histories = Histories.of(np.arange(n), start, end, event_unit=unit, event_age=age)
        answer = mean_cumulative(histories).at(0.9)
        inside += answer.lower <= 0.9 * rate <= answer.upper
    assert 0.92 <= inside / runs <= 0.98


def test_prints_what_is_inside() -> None:
    """Events, units, where known."""
    curve = mean_cumulative(valve_seats())
    assert str(curve) == (
        "mean cumulative number a unit, 48 events on 41 units; known from 0 to 761 days"
    )
    assert str(curve.at(600)) == "1.014 (0.7249 to 1.419, 95%; 25 under observation)"
