"""Case series and sequence symmetry against published examples and scipy."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import binom

from rca.causes.screen.within_units import case_series_ratio, sequence_ratio, tail_chance

# Ten children aged 366 to 730 days, day of viral meningitis and day of vaccination; risk days 15
# to 35 after the vaccination, two age groups cut at day 547. Whitaker, Farrington, Spiessens &
# Musonda, Tutorial in biostatistics: the self-controlled case series method, Stat. Med. 25 (2006),
# section 3. The days are from MEMORY; they reproduce all figures that were READ in a public
# help file which restates the example: relative incidence 12.037 (3.002 to 48.259), second age
# group 0.225.
EVENT_DAY = (398, 413, 449, 455, 472, 474, 485, 524, 700, 399)
EXPOSED_DAY = (458, 392, 429, 433, 432, 395, 470, 496, 428, 716)
OLDER = 0.22524  # relative incidence of the second age group, at which the first is profiled


def days_at_risk() -> tuple[int, np.ndarray]:
    """Events inside the risk days, and each child's age-weighted share of risk days."""
    inside, shares = 0, []
    for event, exposed in zip(EVENT_DAY, EXPOSED_DAY, strict=True):
        day = np.arange(366, 731)
        weight = np.where(day > 547, OLDER, 1.0)
        risk = (day >= exposed + 15) & (day <= exposed + 35)
        shares.append(weight[risk].sum() / weight.sum())
        inside += exposed + 15 <= event <= exposed + 35
    return inside, np.array(shares)


def test_published_case_series_of_ten_children():
    """The ratio to the printed digits; limits by likelihood ratio near the printed Wald ones."""
    inside, share = days_at_risk()
    ratio, limits = case_series_ratio(inside, np.ones(10), share)
    assert ratio == pytest.approx(12.037, abs=0.002)
    assert limits.lower == pytest.approx(3.002, rel=0.08)
    assert limits.upper == pytest.approx(48.259, rel=0.15)


@given(
    counts=st.lists(st.integers(1, 5), min_size=2, max_size=8),
    share=st.floats(0.05, 0.6),
)
def test_case_series_of_alike_units_is_a_binomial_odds_ratio(counts, share):
    """Where all shares are equal, the ratio is (x / (n - x)) / (d / (1 - d))."""
    total = sum(counts)
    inside = total // 2
    ratio, limits = case_series_ratio(inside, counts, np.full(len(counts), share))
    assert ratio == pytest.approx(inside / (total - inside) / (share / (1 - share)), rel=1e-6)
    assert limits.lower < ratio < limits.upper


def test_case_series_without_contrast_says_so():
    """Units always or never inside tell nothing."""
    ratio, limits = case_series_ratio(3, [3, 2], [1.0, 0.0])
    assert math.isnan(ratio)
    assert limits.note == "no contrast in time"


def test_case_series_one_sided_data_leave_a_limit_open():
    """No failure inside: ratio 0, a finite upper limit; all inside: no upper limit."""
    none, below = case_series_ratio(0, [4, 4], [0.2, 0.3])
    every, above = case_series_ratio(8, [4, 4], [0.2, 0.3])
    assert (none, below.lower) == (0.0, 0.0)
    assert 0 < below.upper < math.inf
    assert (every, above.upper) == (math.inf, math.inf)
    assert above.lower > 1


def test_clusters_widen_the_interval():
    """Twice the dispersion, a wider interval round the same ratio."""
    single, narrow = case_series_ratio(6, [10, 10], [0.2, 0.2])
    double, wide = case_series_ratio(6, [10, 10], [0.2, 0.2], dispersion=2.0)
    assert single == pytest.approx(double)
    assert wide.lower < narrow.lower < narrow.upper < wide.upper


def test_published_sequence_ratio():
    """Loop diuretics after and before calcium channel blockers: 64 and 26, ratio 2.27.

    Study of the University of Florida records, Pharmacoepidemiol. Drug Saf. 31 (2021) 72-81,
    abstract READ: adjusted sequence ratio 2.27 (95 % CI 1.44 to 3.58). The null-effect ratio,
    64 / 26 / 2.27, is inferred. The printed limits are Wald; the exact ones are a little wider.
    """
    null_effect = 64 / 26 / 2.27
    share = null_effect / (1 + null_effect)
    ratio, limits = sequence_ratio(64, 26, expected_share=share)
    assert ratio == pytest.approx(2.27)
    wald = 1.96 * math.sqrt(1 / 64 + 1 / 26)
    assert 2.27 * math.exp(-wald) == pytest.approx(1.44, abs=0.005)
    assert 2.27 * math.exp(wald) == pytest.approx(3.58, abs=0.005)
    assert limits.lower == pytest.approx(1.44, rel=0.05)
    assert limits.upper == pytest.approx(3.58, rel=0.06)
    assert limits.lower < 1.44 < 3.58 < limits.upper


def test_sequence_ratio_with_one_side_empty():
    """Nothing after: no upper limit; nothing before: ratio 0."""
    ratio, limits = sequence_ratio(5, 0)
    assert (ratio, limits.upper) == (math.inf, math.inf)
    assert limits.lower == pytest.approx(binom_lower(5, 5))
    assert sequence_ratio(0, 5)[0] == 0.0


def binom_lower(hits: int, total: int) -> float:
    from scipy.stats import binomtest

    low = binomtest(hits, total).proportion_ci(0.95, method="exact").low
    return float(low / (1 - low))


@given(n=st.integers(1, 60), data=st.data(), p=st.floats(0.01, 0.99))
def test_mid_p_tail_equals_scipy(n, data, p):
    """P(X > x) + P(X = x) / 2 of a binomial."""
    x = data.draw(st.integers(0, n))
    expected = binom.sf(x, n, p) + binom.pmf(x, n, p) / 2
    assert float(tail_chance(x, n, p)) == pytest.approx(expected, rel=1e-9, abs=1e-12)
