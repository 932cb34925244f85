"""Median-rank regression against published points and lines (cases S04, S05, S06)."""

import numpy as np
import pytest

from rca.errors import NoFit, RcaError
from rca.life.ranks import adjusted_ranks, fit_median_ranks, median_rank
from rca.life.sample import Lives
from tests.published import NIST_WEIBULL_20, SUSPENDED_8, cracks, late_entry_150, right_censored

# S05: medians of Beta(i, n - i + 1) by qbeta in R 4.2.2 (COMPUTED).
EXACT = {
    1: [0.5],
    2: [0.292893218813452, 0.707106781186548],
    3: [0.2062994740159, 0.5, 0.7937005259841],
    5: [
        0.129449436703876,
        0.313810170455697,
        0.5,
        0.686189829544303,
        0.870550563296124,
    ],
}


def test_points_and_line_of_the_handbook() -> None:
    """S04: plotting positions and the line of y on x as printed (READ; that the text is of
    NIST/SEMATECH e-Handbook 8.2.2.1 is INFERRED); x on y COMPUTED with numpy."""
    lives = right_censored(NIST_WEIBULL_20)
    line = fit_median_ranks(lives, regress="rank on age")
    # fmt: off
    printed = [0.03491627, 0.08701138, 0.14197026, 0.20012618, 0.26187419,
               0.32768741, 0.39813907, 0.47393291, 0.55594606, 0.64529116]
    # fmt: on
    np.testing.assert_allclose(-np.log1p(-line.share_failed), printed, atol=6e-9)
    assert line.shape == pytest.approx(1.457519, abs=6e-7)
    assert -line.shape * np.log10(line.scale) == pytest.approx(-4.116536, abs=6e-7)
    assert line.scale == pytest.approx(667.3363635031083, rel=1e-9)
    assert line.r_squared == pytest.approx(0.8964036258606417, rel=1e-9)
    other = fit_median_ranks(lives)
    assert (other.shape, other.scale) == pytest.approx((1.625962767167081, 601.959890300892))
    assert other.regress == "age on rank"
    # The two directions differ by 12 % in shape here: the name must say which it is.
    assert other.shape / line.shape == pytest.approx(1 / line.r_squared)


@pytest.mark.parametrize("n", EXACT)
def test_median_ranks(n: int) -> None:
    """S05: exact medians, symmetry, and an approximation good to 0.002 from n = 5 on."""
    rank = np.arange(1.0, n + 1)
    exact = median_rank(rank, n, ranks="exact")
    np.testing.assert_allclose(exact, EXACT[n], atol=1e-12)
    np.testing.assert_allclose(exact + exact[::-1], 1.0, atol=1e-12)
    if n >= 5:
        np.testing.assert_allclose(median_rank(rank, n), exact, atol=0.002)


def test_adjusted_ranks_with_suspensions() -> None:
    """S06: Johnson's adjusted ranks as worked in a handbook (MEMORY, reproduced here)."""
    lives = right_censored(SUSPENDED_8)
    age, rank = adjusted_ranks(lives)
    assert age.tolist() == [30, 49, 82, 90, 96]
    np.testing.assert_allclose(rank, [1.125, 2.438, 3.75, 5.063, 6.375], atol=6e-4)
    line = fit_median_ranks(lives)
    np.testing.assert_allclose(100 * line.share_failed, [9.8, 25.5, 41.1, 56.7, 72.3], atol=0.06)
    assert (line.shape, line.scale) == pytest.approx((2.0242585543715883, 94.99794288911293))
    other = fit_median_ranks(lives, regress="rank on age")
    assert (other.shape, other.scale) == pytest.approx((1.9294181619249413, 96.88939879987633))
    exact = fit_median_ranks(lives, ranks="exact")
    assert (exact.shape, exact.scale) == pytest.approx((2.032707433004728, 94.93094190688886))


def test_without_suspensions_the_ranks_are_the_order() -> None:
    """Identity; a suspension at the age of a failure counts after it (common practice)."""
    _, rank = adjusted_ranks(Lives.right_censored([3.0, 1.0, 2.0], [1, 1, 1]))
    np.testing.assert_allclose(rank, [1, 2, 3])
    _, tied = adjusted_ranks(Lives.right_censored([1.0, 1.0], [0, 1]))
    np.testing.assert_allclose(tied, [1])


def test_counts_stand_for_lives() -> None:
    """Three equal lives in one row are three lives."""
    packed = Lives.right_censored([1.0, 2.0, 5.0], [1, 0, 1], count=[3, 2, 2])
    spread = Lives.right_censored([1.0] * 3 + [2.0] * 2 + [5.0] * 2, [1, 1, 1, 0, 0, 1, 1])
    np.testing.assert_allclose(adjusted_ranks(packed), adjusted_ranks(spread))


@pytest.mark.parametrize(
    ("lives", "why"),
    [
        (cracks(), "exact ages"),
        (late_entry_150(), "watched from new"),
        (Lives.right_censored([1.0, 2.0], [1, 0]), "two ages"),
        (Lives.right_censored([1.0, 1.0], [1, 1]), "two ages"),
        (Lives.right_censored([1.0, 2.0], [1, 1], count=[0.5, 1.0]), "whole counts"),
    ],
)
def test_refusals(lives: Lives, why: str) -> None:
    """What ranks cannot take is refused with its reason and what to use instead."""
    with pytest.raises(NoFit, match=why):
        fit_median_ranks(lives)


def test_misspelt_options() -> None:
    """A misspelt option names the choices."""
    lives = right_censored(SUSPENDED_8)
    with pytest.raises(RcaError, match="rank on age"):
        fit_median_ranks(lives, regress="y")  # type: ignore[arg-type]
    with pytest.raises(RcaError, match="exact"):
        fit_median_ranks(lives, ranks="hazen")  # type: ignore[arg-type]
    with pytest.raises(RcaError, match="between 0 and 1"):
        fit_median_ranks(lives).life(1.0)
