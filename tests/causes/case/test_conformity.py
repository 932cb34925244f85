"""Readings against limits: published examples, scipy, and what a bench shows besides numbers."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import norm

from rca.causes.case.conformity import (
    Verdict,
    conformity,
    instrument_uncertainty,
    judge,
    probability_words,
    reading_words,
)
from rca.causes.case.observations import Accuracy, Measurement, Reading, Taken
from rca.causes.case.quantities import convert, is_resistance, known, same_quantity
from rca.errors import RcaError

ONE_SIDED_95 = 1.6448536269514722  # standard normal quantile of 0.95


def measurement(**given: object) -> Measurement:
    return Measurement("m", "quantity", **{"unit": "V", **given})


def taken(reading: Reading, unit: str = "") -> Taken:
    return Taken(reading, unit)


def test_conformance_probability_of_jcgm_106() -> None:
    """Zener diode example of JCGM 106:2012, section 7 (from memory): printed 0.92; S30."""
    found = judge(-5.47, 0.05, -math.inf, -5.40, ONE_SIDED_95)
    assert found.probability == pytest.approx(0.92, abs=0.006)
    assert found.probability == pytest.approx(0.9192433407662273, rel=1e-9)


def test_guard_band_proves_neither_between_the_bands() -> None:
    """ISO 14253-1 decision rule (from memory), numbers by scipy 1.17.1; S31."""
    found = judge(25.018, 0.002, -math.inf, 25.021, ONE_SIDED_95)
    assert found.probability == pytest.approx(0.9331927987311419, rel=1e-9)
    assert 25.021 - found.guard == pytest.approx(25.0177102927461, rel=1e-10)
    assert found.verdict is Verdict.NEITHER


def test_value_on_the_limit_is_a_toss_up() -> None:
    """Exactly on a limit the true value is inside with probability one half (identity)."""
    found = judge(10.0, 0.3, -math.inf, 10.0, ONE_SIDED_95)
    assert found.probability == pytest.approx(0.5)
    assert found.verdict is Verdict.NEITHER


def test_edge_of_acceptance_conforms_with_95_percent() -> None:
    """At 1.645 standard uncertainties inside a single limit the probability is 0.95 (identity)."""
    found = judge(10 - ONE_SIDED_95 * 0.3, 0.3, -math.inf, 10.0, ONE_SIDED_95)
    assert found.verdict is Verdict.INSIDE
    assert found.probability == pytest.approx(0.95, abs=1e-12)


@given(
    value=st.floats(-10, 10),
    uncertainty=st.floats(0.01, 3),
    low=st.floats(-8, 0),
    width=st.floats(0.1, 8),
)
def test_probability_is_that_of_scipy(
    value: float, uncertainty: float, low: float, width: float
) -> None:
    """Between two limits the probability is the difference of scipy's normal distribution."""
    found = judge(value, uncertainty, low, low + width, ONE_SIDED_95)
    expected = norm(value, uncertainty).cdf(low + width) - norm(value, uncertainty).cdf(low)
    assert found.probability == pytest.approx(expected, abs=1e-12)
    if found.verdict is Verdict.INSIDE:
        assert found.probability >= 0.9 - 1e-9
    if found.verdict is Verdict.OUTSIDE:
        assert found.probability <= 0.05 + 1e-9


def test_instrument_too_coarse_for_the_limits_is_told() -> None:
    """Where the guard bands meet, no reading can pass, and the reason says so."""
    found = judge(5.0, 1.0, 4.0, 6.0, ONE_SIDED_95)
    assert found.verdict is Verdict.NEITHER
    assert "too coarse" in found.reason


def test_accuracy_of_a_meter_becomes_a_standard_uncertainty() -> None:
    """+-(0.5 % + 3 counts of 0.01) at 10 V is 0.08 V half-width: /sqrt(3) (GUM 4.3.7)."""
    one = measurement(accuracy=Accuracy(percent_of_reading=0.5, counts=3, resolution=0.01))
    assert instrument_uncertainty(one, 10.0) == pytest.approx(0.08 / math.sqrt(3))


def test_expanded_uncertainty_is_divided_by_its_factor() -> None:
    """U is not u: U / k, k = 2 where none is stated (common practice, no source)."""
    assert instrument_uncertainty(measurement(expanded_uncertainty=0.2), 1.0) == 0.1
    one = measurement(expanded_uncertainty=0.3, coverage_factor=3.0)
    assert instrument_uncertainty(one, 1.0) == pytest.approx(0.1)


def test_repeated_readings_add_their_own_spread() -> None:
    """Mean 5, s = 0.1 of four readings: u = hypot(0.03, 0.1 / 2) (GUM 4.2.3, by hand)."""
    one = measurement(at_most=6.0, standard_uncertainty=0.03)
    readings = (4.9, 5.1, 4.9, 5.1)
    spread = math.sqrt(4 * 0.01 / 3)
    found = conformity(one, taken(readings))
    assert found.value == pytest.approx(5.0)
    assert found.uncertainty == pytest.approx(math.hypot(0.03, spread / 2))


def test_reading_in_another_unit_is_converted() -> None:
    """180 mV against at most 0.2 V, and 30 psi against at least 2 bar."""
    drop = measurement(at_most=0.2, standard_uncertainty=0.002)
    assert conformity(drop, taken(180.0, "mV")).verdict is Verdict.INSIDE
    pressure = measurement(unit="bar", at_least=2.0, standard_uncertainty=0.01)
    found = conformity(pressure, taken(30.0, "psi"))
    assert found.value == pytest.approx(2.0684, abs=1e-4)  # 1 psi = 6894.757 Pa
    assert found.verdict is Verdict.INSIDE


def test_limit_in_another_unit_is_converted() -> None:
    """A limit of 176 degF is 80 degC, offset included."""
    one = measurement(unit="degC", at_most=176.0, limit_unit="degF", standard_uncertainty=1.0)
    assert conformity(one, taken(77.0)).verdict is Verdict.INSIDE
    assert conformity(one, taken(83.0)).verdict is Verdict.OUTSIDE


@pytest.mark.parametrize(
    ("low", "high", "verdict"),
    [
        (None, 5.0, Verdict.OUTSIDE),  # a coil that should have at most 5 ohm is broken
        (1000.0, None, Verdict.NEITHER),  # above 200 ohm does not prove above 1000
        (100.0, None, Verdict.INSIDE),  # insulation: at least 100, and the meter went beyond 200
        (100.0, 5000.0, Verdict.NEITHER),
    ],
)
def test_open_circuit_is_a_value_above_the_range(
    low: float | None, high: float | None, verdict: Verdict
) -> None:
    """Open circuit proves what a reading above the range proves, and no more."""
    one = measurement(unit="ohm", at_least=low, at_most=high, range=200.0, standard_uncertainty=1.0)
    for word in ("open circuit", "over-range"):
        assert conformity(one, taken(word)).verdict is verdict


@pytest.mark.parametrize(
    ("one", "reading", "words"),
    [
        (measurement(at_most=1.0, standard_uncertainty=0.1), None, "not measured yet"),
        (measurement(at_most=1.0, standard_uncertainty=0.1), "no reading", "no reading"),
        (measurement(standard_uncertainty=0.1), 0.5, "no limit"),
        (measurement(at_most=1.0), 0.5, "uncertainty is not stated"),
        (measurement(at_most=1.0, standard_uncertainty=0.1), "over-range", "range is not stated"),
    ],
)
def test_what_cannot_be_judged_says_why(one: Measurement, reading: Reading, words: str) -> None:
    """Unknown is said, never passed and never failed."""
    found = conformity(one, taken(reading))
    assert found.verdict is Verdict.UNKNOWN
    assert words in found.reason


def test_probability_in_words_is_never_zero_or_one() -> None:
    """A probability near an end is told as below or above."""
    assert probability_words(1.0) == "above 0.999"
    assert probability_words(0.0) == "below 0.001"
    assert probability_words(0.9332) == "0.933"


def test_reading_is_shown_as_written() -> None:
    """Numbers with their unit, words as they are, nothing where nothing was taken."""
    one = measurement()
    assert reading_words(one, taken((1.5, 2.0), "mV")) == "1.5, 2 mV"
    assert reading_words(one, taken("no reading")) == "no reading"
    assert reading_words(one, None) == ""


def test_units_are_known_or_refused() -> None:
    """Units of the bench are known; nonsense is not; unlike quantities do not convert."""
    assert all(map(known, ["V", "mV", "ohm", "A", "kPa", "psi", "degC", "l/min", "mm", "N*m"]))
    assert not known("gizmo")
    assert not known("")
    assert same_quantity("psi", "bar")
    assert not same_quantity("V", "ohm")
    assert is_resistance("kohm")
    with pytest.raises(RcaError, match="cannot be converted"):
        convert(1.0, "V", "ohm")
