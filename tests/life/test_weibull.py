"""Weibull fits against published examples, and the laws that every fit obeys.

Case numbers such as S01 are those of the project's list of check values. Where a value is
COMPUTED, the software is R 4.2.2 with survival 3.5.3 unless another is named; its likelihood-ratio
limits come from an own R likelihood, the log-scale Wald limits from survreg.
"""

import math
from dataclasses import dataclass

import numpy as np
import pytest
from hypothesis import assume, given, reject, settings
from hypothesis import strategies as st

from rca.errors import NoFit, RcaError
from rca.life.sample import Lives
from rca.life.weibull import WeibullFit, fit_weibull
from tests.life.odd_lives import odd_lives
from tests.published import (
    GENFAN,
    LECTURE_20,
    NIST_WEIBULL_20,
    aircondit,
    cracks,
    late_entry_150,
    right_censored,
)

Limits = list[tuple[float, float]]


@dataclass(frozen=True)
class Case:
    """Expected values; limits are of shape, scale and B10, at 95 %."""

    lives: Lives
    shape: float
    scale: float
    log_likelihood: float
    b10: float
    wald: Limits
    likelihood: Limits


# fmt: off
CASES = {
    # S01: NIST/SEMATECH e-Handbook 8.4.1.3; shape 1.7208, scale 606.5280 and log-likelihood 75.135
    # (without its sign) are printed there, the last digit of the scale not converged.
    "S01 NIST": Case(
        lives=right_censored(NIST_WEIBULL_20), shape=1.72079715578026, scale=606.527572192557,
        log_likelihood=-75.1346181644749, b10=164.02242940609,
        wald=[(0.971266028103712, 3.04874541645685), (405.089292587288, 908.134829928956),
              (83.8751203383674, 320.754918022683)],
        likelihood=[(0.905645358752355, 2.8857378657413), (437.556745394058, 1118.87762469858),
                    (59.8545542494145, 271.949517555232)]),
    # S02: fleet fans, Nelson (1982); COMPUTED.
    "S02 fans": Case(
        lives=right_censored(GENFAN), shape=1.05844576858209, scale=26296.8492765016,
        log_likelihood=-135.152719943357, b10=3137.24075450334,
        wald=[(0.644082220517202, 1.73938576371463), (10552.0690869751, 65534.4725447849),
              (1686.2072920937, 5836.93333427346)],
        likelihood=[(0.605974189511574, 1.65794085650245), (13631.2390287001, 106086.920503279),
                    (1420.24657676683, 5662.48431408351)]),
    # S03: shape 2.149 and scale 28.99 are printed in the scipy test suite.
    "S03 lecture": Case(
        lives=right_censored(LECTURE_20), shape=2.14937492145521, scale=28.9963526136441,
        log_likelihood=-54.1118527590719, b10=10.1775384305204,
        wald=[(1.35959297410878, 3.39793794242641), (22.512116788447, 37.348263283987),
              (5.97212569845426, 17.3442914189715)],
        likelihood=[(1.29710989775114, 3.26971666428793), (22.5617274445916, 39.7266080754423),
                    (4.92007694933845, 15.4895968160492)]),
    # S07: interval-censored; survreg interval2, scipy and lifelines agree to 4e-8. COMPUTED.
    "S07 cracks": Case(
        lives=cracks(), shape=1.48476750343862, scale=2182.00416782475,
        log_likelihood=-309.631180884121, b10=479.317352721825,
        wald=[(1.22371331207854, 1.80151226394919), (1885.83389525433, 2524.68799101867),
              (363.422854767018, 632.170271095203)],
        likelihood=[(1.21520866725448, 1.78999886872458), (1907.53715144713, 2567.32581271064),
                    (350.471108144013, 614.09035872763)]),
    # S08: late entry, CONSTRUCTED data; COMPUTED by two own likelihoods and lifelines.
    "S08 late entry": Case(
        lives=late_entry_150(), shape=2.38919324199772, scale=4875.19716923512,
        log_likelihood=-431.834509741498, b10=1900.78378457303,
        wald=[(1.78166947400365, 3.20387391202273), (4325.21562268277, 5495.1127324783),
              (1402.5824411532, 2575.94768741379)],
        likelihood=[(1.73453275895699, 3.13672717398441), (4321.09690110674, 5552.1055905013),
                    (1287.95460052935, 2440.75556558935)]),
    # S32: complete sample, Proschan (1963); COMPUTED.
    "S32 complete": Case(
        lives=aircondit(), shape=0.793943769622467, scale=94.9648937178645,
        log_likelihood=-67.6185098743029, b10=5.57945317986268,
        wald=[(0.50832504824764, 1.24004652435551), (44.7932954993814, 201.332162286873),
              (1.05802610809691, 29.4229958486322)],
        likelihood=[(0.48118737759893, 1.18814157935181), (40.6282218572157, 210.444409801387),
                    (0.56681633731158, 20.6918006424022)]),
}
# fmt: on


@pytest.mark.parametrize("case", CASES.values(), ids=CASES.keys())
def test_fit_equals_the_reference(case: Case) -> None:
    """Shape, scale, B10 and log-likelihood equal the reference to its own convergence."""
    fit = fit_weibull(case.lives)
    np.testing.assert_allclose(
        [fit.shape, fit.scale, fit.life(0.10)],
        [case.shape, case.scale, case.b10],
        rtol=3e-7,
    )
    assert fit.log_likelihood == pytest.approx(case.log_likelihood, abs=1e-9)
    assert fit.aic == pytest.approx(4 - 2 * case.log_likelihood, abs=1e-9)


@pytest.mark.parametrize("method", ["wald", "likelihood"])
@pytest.mark.parametrize("case", CASES.values(), ids=CASES.keys())
def test_limits_equal_the_reference(case: Case, method: str) -> None:
    """Limits of shape, scale and B10 equal the reference."""
    fit = fit_weibull(case.lives)
    found = [
        fit.interval("shape", method=method),
        fit.interval("scale", method=method),
        fit.life_interval(0.10, method=method),
    ]
    np.testing.assert_allclose(
        [(i.lower, i.upper) for i in found], getattr(case, method), rtol=2e-6
    )
    assert all(interval.method == method for interval in found)


def test_printed_values_of_the_handbook() -> None:
    """S01 as printed: shape 1.7208, scale 606.5280, log-likelihood 75.135, mean 540.737."""
    fit = fit_weibull(right_censored(NIST_WEIBULL_20))
    assert f"{fit.shape:.4f}" == "1.7208"
    assert fit.scale == pytest.approx(606.5280, abs=0.002)  # last printed digit not converged
    assert f"{-fit.log_likelihood:.3f}" == "75.135"
    assert f"{fit.aic:.2f}" == "154.27"
    assert fit.mean_life == pytest.approx(540.737, abs=0.02)
    assert str(fit).startswith("Weibull, 10 failed, 10 suspended: shape 1.721, 0.9056 to 2.886")


def test_printed_values_of_the_lecture() -> None:
    """S03 as printed in the scipy test suite, to its own tolerance."""
    fit = fit_weibull(right_censored(LECTURE_20))
    assert fit.shape == pytest.approx(2.149, rel=1e-3)
    assert fit.scale == pytest.approx(28.99, rel=1e-3)


def test_late_entry_must_not_be_ignored() -> None:
    """S08: as if watched from new, the shape reads 3.27 where 2.39 is right (COMPUTED)."""
    late = late_entry_150()
    naive = fit_weibull(Lives.between(late.low, late.high, unit="h"))
    assert naive.shape == pytest.approx(3.26915711516802, rel=1e-6)
    assert naive.scale == pytest.approx(5392.38808196083, rel=1e-6)


# S09: known shape on the fleet fans; COMPUTED, survreg with fixed scale agrees to 1e-9.
# (shape, scale, B10, lower one-sided 95 %, two-sided 95 %)
KNOWN_SHAPE = [
    (
        1.0,
        28703.3333333333,
        3024.19800109847,
        17715.7655531686,
        (16431.9634802596, 55549.6859501764),
    ),
    (
        1.5,
        17228.2406611034,
        3843.19884127494,
        12488.9518042799,
        (11878.0645428037, 26755.1328717277),
    ),
]


@pytest.mark.parametrize(("shape", "scale", "b10", "lower", "two_sided"), KNOWN_SHAPE)
def test_known_shape(
    shape: float, scale: float, b10: float, lower: float, two_sided: tuple[float, float]
) -> None:
    """S09: with the shape given, the scale and its chi-square limits are closed forms."""
    fit = fit_weibull(right_censored(GENFAN), shape=shape)
    assert fit.scale == pytest.approx(scale, rel=1e-12)
    assert fit.life(0.10) == pytest.approx(b10, rel=1e-12)
    interval = fit.interval("scale", method="chi-square")
    np.testing.assert_allclose([interval.lower, interval.upper], two_sided, rtol=1e-10)
    # The one-sided 95 % limit is the lower end of the two-sided 90 % interval.
    assert fit.interval("scale", confidence=0.90, method="chi-square").lower == pytest.approx(lower)
    assert fit.interval("shape").lower == fit.interval("shape").upper == shape


def test_known_shape_one_is_total_time_over_failures() -> None:
    """Identity: an exponential's mean is total time over failures, survivors' time included."""
    lives = right_censored(GENFAN)
    assert fit_weibull(lives, shape=1).scale == pytest.approx(lives.low.sum() / 12, rel=1e-14)


def test_zero_failures_give_one_sided_limits_only() -> None:
    """S20: 1000 h without failure, exponential: lower limits 434.29 h (90 %), 333.81 h (95 %).

    NIST/SEMATECH e-Handbook 8.4.5.1; the formula there is garbled, completed from MEMORY.
    """
    fit = fit_weibull(Lives.right_censored([600.0, 400.0], [0, 0], unit="h"), shape=1)
    assert math.isnan(fit.scale)
    assert "no failure" in fit.note
    for confidence, lower in ((0.90, 434.2944819032519), (0.95, 333.80820069533405)):
        interval = fit.interval("scale", confidence=confidence)
        assert interval.lower == pytest.approx(lower, rel=1e-12)
        assert interval.upper == math.inf
        assert "one-sided" in interval.note
    # The same bound, read as a share surviving 100 h and as a B10 life.
    assert fit.survival_interval(100.0).lower == pytest.approx(math.exp(-100 / 333.80820069533405))
    assert fit.survival_interval(100.0).upper == 1.0
    assert fit.life_interval(0.1).lower == pytest.approx(333.80820069533405 * -math.log(0.9))
    assert math.isnan(fit.life(0.1))


def test_zero_failure_demonstration() -> None:
    """S22: ten units run 1478.3 h without failure show 90 % survival of 1000 h at shape 2."""
    fit = fit_weibull(Lives.right_censored([1478.3215254734955] * 10, [0] * 10), shape=2)
    assert fit.survival_interval(1000.0, confidence=0.90).lower == pytest.approx(0.90, rel=1e-12)


def test_few_failures_bring_the_next_lower_shape() -> None:
    """A known shape with few failures is shown with the answer for a shape one lower."""
    few = Lives.right_censored([500.0, 800.0, 900.0], [1, 0, 0])
    beside = fit_weibull(few, shape=3).one_lower
    assert beside is not None
    assert beside.shape == 2
    assert beside.scale == pytest.approx(fit_weibull(few, shape=2).scale)
    assert fit_weibull(right_censored(GENFAN), shape=3).one_lower is None
    assert fit_weibull(few, shape=1).one_lower is None


positive = st.floats(0.01, 100.0)


@settings(max_examples=40)
@given(odd_lives(max_size=8), positive)
def test_rescaling_time(lives: Lives, factor: float) -> None:
    """Ages times k: shape stays, scale times k, log-likelihood less n_exact ln k (identity)."""
    fit = fitted(lives)
    longer = Lives.between(
        factor * lives.low, factor * lives.high, entry=factor * lives.entry, count=lives.count
    )
    other = fit_weibull(longer)
    assert other.shape == pytest.approx(fit.shape, rel=1e-6)
    assert other.scale == pytest.approx(factor * fit.scale, rel=1e-6)
    moved = fit.log_likelihood - lives.count[lives.exact].sum() * math.log(factor)
    assert other.log_likelihood == pytest.approx(moved, rel=1e-9, abs=1e-9)


@settings(max_examples=40)
@given(odd_lives(max_size=8), st.integers(2, 9))
def test_doubling_the_sample(lives: Lives, times: int) -> None:
    """Every life m times: estimates stay, variances fall by m; counts or rows, it is the same."""
    fit = fitted(lives)
    by_count = fit_weibull(
        Lives.between(lives.low, lives.high, entry=lives.entry, count=times * lives.count)
    )
    by_rows = fit_weibull(
        Lives.between(
            np.tile(lives.low, times),
            np.tile(lives.high, times),
            entry=np.tile(lives.entry, times),
            count=np.tile(lives.count, times),
        )
    )
    for other in (by_count, by_rows):
        assert other.shape == pytest.approx(fit.shape, rel=1e-6)
        assert other.scale == pytest.approx(fit.scale, rel=1e-6)
        np.testing.assert_allclose(times * other.covariance, fit.covariance, rtol=1e-4)
        assert other.n_failed == times * fit.n_failed


@settings(max_examples=40)
@given(odd_lives(max_size=8), st.randoms(use_true_random=False))
def test_order_of_the_lives(lives: Lives, random) -> None:
    """The order of the rows does not matter."""
    fit = fitted(lives)
    order = list(range(len(lives)))
    random.shuffle(order)
    other = fit_weibull(
        Lives.between(
            lives.low[order],
            lives.high[order],
            entry=lives.entry[order],
            count=lives.count[order],
        )
    )
    assert other.shape == pytest.approx(fit.shape, rel=1e-6)
    assert other.log_likelihood == pytest.approx(fit.log_likelihood, rel=1e-9, abs=1e-9)


@settings(max_examples=40)
@given(odd_lives(max_size=8), st.floats(0.1, 0.9))
def test_cutting_a_life_into_pieces(lives: Lives, where: float) -> None:
    """A life watched in two pieces, the second entering late, is the same life (identity)."""
    fit = fitted(lives)
    survived = np.maximum(lives.low, lives.entry)
    cut = lives.entry + where * (survived - lives.entry)
    first = cut > lives.entry
    pieces = Lives.between(
        np.concatenate([cut[first], lives.low]),
        np.concatenate([np.full(first.sum(), np.inf), lives.high]),
        entry=np.concatenate([lives.entry[first], cut]),
        count=np.concatenate([lives.count[first], lives.count]),
    )
    other = fit_weibull(pieces)
    assert other.shape == pytest.approx(fit.shape, rel=1e-6)
    assert other.scale == pytest.approx(fit.scale, rel=1e-6)
    assert other.log_likelihood == pytest.approx(fit.log_likelihood, rel=1e-9, abs=1e-9)


def fitted(lives: Lives) -> WeibullFit:
    """The fit, if there is one that is not nearly flat; else another sample is drawn."""
    try:
        fit = fit_weibull(lives)
    except NoFit:
        reject()
    assume(0.1 < fit.shape < 30 and fit.covariance[0, 0] < 10)
    return fit


def test_curve_identities() -> None:
    """63.2 % have failed by the scale; survival, hazard and lives belong together."""
    fit = fit_weibull(late_entry_150())
    assert fit.survival(fit.scale) == pytest.approx(math.exp(-1))
    assert fit.survival(0.0) == 1.0
    ages = np.array([500.0, 2000.0, 8000.0])
    np.testing.assert_allclose(np.exp(-fit.cumulative_hazard(ages)), fit.survival(ages))
    slope = (fit.cumulative_hazard(ages + 1e-3) - fit.cumulative_hazard(ages - 1e-3)) / 2e-3
    np.testing.assert_allclose(fit.hazard(ages), slope, rtol=1e-6)
    for share in (1e-6, 0.1, 0.5, 0.999):
        assert 1 - fit.survival(fit.life(share)) == pytest.approx(share)


def test_b_lives_of_the_rules_of_thumb() -> None:
    """B10 is 0.105, 0.325, 0.472 of the scale at shape 1, 2, 3 (COMPUTED)."""
    for shape, part in ((1, 0.105), (2, 0.325), (3, 0.472)):
        fit = fit_weibull(right_censored(GENFAN), shape=shape)
        assert fit.life(0.1) / fit.scale == pytest.approx(part, abs=5e-4)
    assert fit_weibull(right_censored(GENFAN), shape=2).mean_life == pytest.approx(
        0.886 * fit_weibull(right_censored(GENFAN), shape=2).scale, rel=1e-3
    )


REFUSED = {
    "no life": (Lives.between([], []), "no lives", ""),
    "no failure": (Lives.right_censored([5.0, 9.0], [0, 0]), "none of the 2 lives failed", "shape"),
    "one life": (Lives.right_censored([5.0], [1]), "all 1 failures are at age 5", "wait"),
    "all at the largest age": (
        Lives.right_censored([5.0, 5.0, 3.0], [1, 1, 0], unit="h"),
        "all 2 failures are at age 5 h and nothing ran beyond it",
        "known shape",
    ),
    "all in one interval": (
        Lives.between([2.0, 2.0, 1.0], [4.0, 5.0, math.inf]),
        "can be at age 2 and nothing ran beyond",
        "known shape",
    ),
    "failed before the first look": (
        Lives.between([0.0, 0.0], [4.0, 5.0]),
        "nothing was ever seen to survive",
        "look earlier",
    ),
    "late, failing ever less": (
        Lives.right_censored([10.1, 10.2, 40, 60], [1, 1, 0, 0], entry=[10, 10, 11, 12]),
        "rises toward shape 0",
        "watched from new",
    ),
    "early looks found failures, late ones none": (
        Lives.between([0.0, 8.0], [4.0, math.inf], count=[5, 5]),
        "rises toward shape 0",
        "known shape",
    ),
    "no span watched": (
        Lives.right_censored(
            [1000.0, 1100.0], [1, 0], entry=[math.nextafter(1000, 0), math.nextafter(1100, 0)]
        ),
        "too short a span",
        "entry ages",
    ),
    "copied ages": (
        Lives.right_censored([100.0, 100.0 + 1e-9, 100.0 + 2e-9], [1, 1, 1]),
        "still rises at shape 1e+06",
        "intervals",
    ),
}


@pytest.mark.parametrize(("lives", "why", "instead"), REFUSED.values(), ids=REFUSED.keys())
def test_refusals(lives: Lives, why: str, instead: str) -> None:
    """Where no maximum exists the refusal says why and what can be done."""
    with pytest.raises(NoFit) as refusal:
        fit_weibull(lives)
    assert why in refusal.value.message
    assert instead in refusal.value.next_step


def test_known_shape_where_nothing_survived() -> None:
    """Even a known shape leaves the scale without a lower limit when nothing was seen to run."""
    with pytest.raises(NoFit, match="nothing was ever seen to survive"):
        fit_weibull(Lives.between([0.0, 0.0], [4.0, 5.0]), shape=2)


@pytest.mark.parametrize("shape", [0.0, -1.0, math.inf, math.nan])
def test_impossible_shape(shape: float) -> None:
    """A known shape must be a positive number."""
    with pytest.raises(RcaError, match="above 0 and finite"):
        fit_weibull(right_censored(GENFAN), shape=shape)


def test_known_shape_of_inspected_parts() -> None:
    """With the shape at its fitted value the scale is the fitted scale; one parameter less."""
    both = fit_weibull(cracks())
    scale = fit_weibull(cracks(), shape=both.shape)
    assert scale.scale == pytest.approx(both.scale, rel=1e-8)
    assert scale.aic == pytest.approx(both.aic - 2)
    assert scale.interval("scale").lower > both.interval("scale").lower


def test_scale_outside_of_the_ages_is_said() -> None:
    """The fans' scale lies beyond every age seen: extrapolation, and the fit says so."""
    assert "beyond the largest age watched, 11500" in fit_weibull(right_censored(GENFAN)).note
    assert fit_weibull(aircondit()).note == ""
    late = Lives.right_censored([10.2, 11.5, 13.5, 19], [1, 1, 1, 1], entry=[10, 11, 13, 9])
    assert "below every age watched" in fit_weibull(late).note


def test_what_is_printed() -> None:
    """The line names counts, unit and limits; with a known shape it says so."""
    assert "scale 2.87e+04 h" in str(fit_weibull(right_censored(GENFAN), shape=1))
    assert "shape 1 given" in str(fit_weibull(right_censored(GENFAN), shape=1))
    none = fit_weibull(Lives.right_censored([1000.0], [0], unit="h"), shape=1)
    assert str(none) == "Weibull, 0 failed, 1 suspended: shape 1 given; scale above 333.8 h (95 %)"
    few = fit_weibull(Lives.right_censored([500.0, 900.0], [1, 0], unit="h"), shape=3)
    assert "; one lower, shape 2 given; scale 1030 h" in str(few)
