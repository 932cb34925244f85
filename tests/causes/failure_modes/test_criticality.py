"""Criticality numbers after MIL-STD-1629A, and their intervals."""

import pytest
from scipy.stats import chi2, gamma

from rca.causes.case.entries import Seen
from rca.causes.failure_modes.criticality import (
    counted_criticality,
    criticality,
    item_criticality,
    shared_criticality,
)
from rca.errors import RcaError

# Case S27: formula of MIL-STD-1629A Task 102, read in public slides that restate it; numbers
# constructed. Item failure rate 7.2e-6, time 100, three modes.
S27 = [("a", "critical", 0.5, 0.3), ("b", "critical", 1.0, 0.2), ("c", "marginal", 0.1, 0.5)]


def s27() -> list:
    return [
        criticality(name, severity, effect_probability=effect, mode_share=share,
                    failure_rate=7.2e-6, time=100)
        for name, severity, effect, share in S27
    ]  # fmt: skip


def test_mode_numbers_of_s27() -> None:
    """Cm = beta alpha lambda t; the mode shares of one item add up to 1."""
    assert sum(share for *_, share in S27) == pytest.approx(1)
    values = [one.value for one in s27()]
    assert values == pytest.approx([1.08e-4, 1.44e-4, 3.6e-5], rel=1e-12)


def test_item_numbers_of_s27_add_up_within_a_severity_only() -> None:
    """Cr of critical 2.52e-4, of marginal 3.6e-5; never their sum."""
    found = {one.severity: one for one in item_criticality(s27())}
    assert found["critical"].value == pytest.approx(2.52e-4, rel=1e-12)
    assert found["marginal"].value == pytest.approx(3.6e-5, rel=1e-12)
    assert found["critical"].modes == ("a", "b")
    assert found["critical"].interval is None


def test_counted_number_has_exact_poisson_limits() -> None:
    """2 events in 200 unit-years, half of them critical, 10 years: limits of chi-square (scipy)."""
    one = counted_criticality(
        "m", "critical", events=2, exposure=200, effect_probability=0.5, time=10
    )
    assert one.value == pytest.approx(2 / 200 * 0.5 * 10)
    assert one.interval.lower == pytest.approx(chi2.ppf(0.025, 4) / 2 / 200 * 5)
    assert one.interval.upper == pytest.approx(chi2.ppf(0.975, 6) / 2 / 200 * 5)


def test_sum_of_two_counted_modes_lies_between_their_limits() -> None:
    """Two modes of equal exposure: their sum is Gamma(5 + 1, 100) in the rate (scipy)."""
    modes = [
        counted_criticality(name, "critical", events=n, exposure=100, effect_probability=1, time=1)
        for name, n in (("a", 2), ("b", 3))
    ]
    (found,) = item_criticality(modes, draws=200_000)
    assert found.value == pytest.approx(0.05)
    law = gamma(5 + 2 * 0.5, scale=1 / 100)
    assert found.interval.lower == pytest.approx(law.ppf(0.025), rel=0.02)
    assert found.interval.upper == pytest.approx(law.ppf(0.975), rel=0.02)


def test_mode_without_events_still_has_an_upper_limit() -> None:
    """Nothing seen in 50 unit-years: 0 to -ln(0.025) / 50 (by hand), and it adds to the sum."""
    none = counted_criticality("a", "critical", events=0, exposure=50, effect_probability=1, time=1)
    assert none.value == 0
    assert none.interval.upper == pytest.approx(3.6888794541139363 / 50)
    some = counted_criticality("b", "critical", events=4, exposure=50, effect_probability=1, time=1)
    (found,) = item_criticality([none, some], draws=50_000)
    assert found.interval.upper > some.interval.upper * 0.9


def test_share_from_teardowns_adds_its_own_uncertainty() -> None:
    """Few teardowns widen the interval; many leave that of the rate alone."""

    def of(seen: int, torn: int):
        return shared_criticality(
            "m", "critical", found=Seen(seen, torn), failures=40, exposure=400,
            effect_probability=1, time=1,
        )  # fmt: skip

    few, many = of(2, 4), of(2000, 4000)
    assert few.value == many.value == pytest.approx(0.05)
    assert few.interval.upper - few.interval.lower > 2 * (many.interval.upper - many.interval.lower)
    rate_only = gamma(40.5, scale=1 / 400)
    assert many.interval.lower == pytest.approx(0.5 * rate_only.ppf(0.025), rel=0.05)


@pytest.mark.parametrize("name", ["effect_probability", "mode_share"])
def test_probability_outside_0_to_1_is_refused(name: str) -> None:
    """A share of 1.2 is a slip, and is told by name."""
    given = {"effect_probability": 0.5, "mode_share": 0.5, name: 1.2}
    with pytest.raises(RcaError, match=name):
        criticality("m", "critical", failure_rate=1.0, time=1.0, **given)
