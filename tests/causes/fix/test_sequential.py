"""Evidence, limits and relapse scores against closed forms, a study's values and published ones.

"Study" = values computed beforehand with numpy 2.4.6 and scipy 1.17.1 by the same formulas written
independently: a cross-check. The closed forms that they must equal are beside them.
"""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.special import gammaln, logsumexp
from scipy.stats import beta, chi2, nbinom, poisson

from rca.causes.fix.sequential import (
    RATIOS,
    expected_to_show,
    fewest_to_miss,
    log_evidence_missed,
    log_evidence_shown,
    log_likelihood,
    most_to_show,
    ratio_limits,
    ratio_upper,
    relapse_plan,
    relapse_scores,
)

STUDY = [  # observed, expected, worth, evidence shown, evidence missed at .5, limits of the ratio
    (0, 5, 10, 23.3681, 0.1615, 0.0, 0.8923),
    (1, 9, 20, 59.6187, 0.0580, 0.0027, 0.6947),
    (3, 15, 30, 115.3560, 0.0195, 0.0391, 0.6431),
    (8, 20, 1e6, 42.7824, 0.0116, 0.1727, 0.7882),
    (20, 20, 50, 0.0116, 21.5936, 0.5639, 1.7103),
]


@pytest.mark.parametrize(("observed", "expected", "worth", "shown", "missed", "low", "up"), STUDY)
def test_check_values_of_the_study(observed, expected, worth, shown, missed, low, up):
    assert np.exp(log_evidence_shown(observed, expected, worth)) == pytest.approx(shown, abs=6e-5)
    assert np.exp(log_evidence_missed(observed, expected, worth)) == pytest.approx(missed, abs=6e-5)
    lower, upper = ratio_limits(observed, expected, worth)
    assert (float(lower), float(upper)) == pytest.approx((low, up), abs=6e-5)


def test_likelihood_is_the_negative_binomial_of_scipy():
    count, mean, worth = np.array([0, 1, 4, 30]), 6.5, 3.7
    ours = log_likelihood(count, mean, worth) - gammaln(count + 1) - 0.0
    theirs = nbinom.logpmf(count, worth, worth / (worth + mean))
    assert ours == pytest.approx(theirs, rel=1e-10)


def test_large_worth_passes_into_the_poisson_without_a_step():
    count = np.array([0.0, 3.0, 50.0])
    known = log_likelihood(count, 7.0, np.inf)
    assert known - gammaln(count + 1) == pytest.approx(poisson.logpmf(count, 7.0), rel=1e-12)
    below, above = log_likelihood(count, 7.0, 0.999e6), log_likelihood(count, 7.0, 1.001e6)
    assert below - count * math.log(0.999e6) == pytest.approx(
        above - count * math.log(1.001e6), abs=1e-5
    ) or below == pytest.approx(above, abs=1e-5)
    assert log_likelihood(count, 7.0, 1e12) == pytest.approx(known, abs=1e-6)


def test_known_expectation_and_one_ratio_is_walds_sequential_ratio():
    """A. Wald, Sequential Analysis (1947), from memory: r^O exp((1 - r) E)."""
    observed, expected = 3.0, 12.0
    wald = np.log(RATIOS) * observed + (1 - RATIOS) * expected
    mixture = logsumexp(wald) - math.log(len(RATIOS))
    assert log_evidence_shown(observed, expected, np.inf) == pytest.approx(mixture, rel=1e-12)


def test_one_ratio_with_a_worth_has_its_closed_form():
    observed, expected, worth, ratio = 4.0, 9.0, 15.0, 0.5
    closed = observed * math.log(ratio) + (worth + observed) * math.log(
        (worth + expected) / (worth + ratio * expected)
    )
    ours = -log_evidence_missed(observed, expected, worth, target=ratio)
    assert ours == pytest.approx(closed, rel=1e-10)


@pytest.mark.parametrize(("expected", "worth"), [(2.0, 4.0), (11.0, 6.0), (25.0, 80.0)])
def test_evidence_has_mean_one_where_nothing_changed(expected, worth):
    """The law on which monthly looks rest: E[evidence] = 1 at ratio 1, so P(>= 20) <= 1/20."""
    counts = np.arange(0, 3000)
    chance = nbinom.pmf(counts, worth, worth / (worth + expected))
    mean = float(chance @ np.exp(log_evidence_shown(counts, expected, worth)))
    assert mean == pytest.approx(1.0, abs=1e-6)


def test_limits_without_failures_are_the_exact_poisson_ones():
    """Upper limit 3.69 / E for none seen: -ln(0.025) = 3.689, the exact Poisson limit."""
    lower, upper = ratio_limits(0, 4.0, np.inf)
    assert lower == 0.0
    assert upper == pytest.approx(-math.log(0.025) / 4.0, rel=1e-10)
    lower, upper = ratio_limits(7, 4.0, np.inf)
    assert lower == pytest.approx(chi2.ppf(0.025, 14) / 2 / 4.0, rel=1e-8)
    assert upper == pytest.approx(chi2.ppf(0.975, 16) / 2 / 4.0, rel=1e-8)


def test_limits_for_a_counted_baseline_are_those_of_two_poisson_counts():
    """Data: example of R's help page poisson.test, 11 / 800 against 21 / 3011; R 4.2.2."""
    lower, upper = ratio_limits(11, 21 * 800 / 3011, 21)
    assert float(lower) == pytest.approx(0.858426403391639, rel=1e-7)
    assert float(upper) == pytest.approx(4.27726594365407, rel=1e-7)
    expected = 21 * 800 / 3011
    assert 11 / expected == pytest.approx(1.9714880952381, rel=1e-10)
    low_share, high_share = beta.ppf(0.025, 11, 22), beta.ppf(0.975, 12, 21)  # Clopper-Pearson
    assert float(lower) == pytest.approx(low_share / (1 - low_share) * 3011 / 800, rel=1e-9)
    assert float(upper) == pytest.approx(high_share / (1 - high_share) * 3011 / 800, rel=1e-9)


@given(
    observed=st.integers(0, 60),
    expected=st.floats(0.5, 80),
    worth=st.floats(1.5, 500),
)
def test_limits_enclose_the_ratio_and_narrow_as_the_worth_grows(observed, expected, worth):
    lower, upper = ratio_limits(observed, expected, worth)
    assert lower <= observed / expected <= upper
    wider = ratio_limits(observed, expected, worth / 1.4)
    assert wider[0] <= lower + 1e-12
    assert wider[1] >= upper - 1e-12
    assert ratio_upper(observed, expected, worth) < upper


NEEDED = [  # study: expected failures needed, by worth and failures so far; rounded to the digits
    (3, [9.3, 17.4, 25.8, 34.4, 51.8, 78]),
    (5, [6.2, 11.1, 16.1, 21.1, 30.9, 45]),
    (10, [4.8, 8.2, 11.5, 14.7, 20.8, 30]),
    (30, [4.1, 6.8, 9.3, 11.6, 15.9, 22]),
    (np.inf, [3.8, 6.2, 8.4, 10.3, 14.7, 22]),
]


@pytest.mark.parametrize(("worth", "needed"), NEEDED)
def test_expected_failures_needed_are_those_of_the_study(worth, needed):
    found = expected_to_show(np.array([0, 1, 2, 3, 5, 8]), worth)
    assert found == pytest.approx(needed, abs=0.11, rel=0.02)
    counts = np.array([0, 1, 2, 3, 5, 8])
    evidence = np.exp(log_evidence_shown(counts, found, worth)) / 20.0
    limit = ratio_upper(counts, found, worth) / 0.5
    assert np.minimum(evidence, 1 / limit) == pytest.approx(1.0, rel=1e-6)  # one of them decides


def test_a_strict_target_asks_for_more():
    """With a target of 0.1 the limit of the ratio, not the evidence, decides."""
    found = float(expected_to_show(0, 30.0, target=0.1))
    assert ratio_upper(0, found, 30.0) == pytest.approx(0.1, rel=1e-6)
    assert found > float(expected_to_show(0, 30.0, target=0.5))


def test_zero_failures_of_a_known_baseline_need_what_the_trade_says():
    """NIST/SEMATECH e-Handbook 8.4.5.1, zero fails: the limit is T / -ln(alpha) (READ, its formula
    completed from memory): 1000 h give 434.29 h at 90 %, 333.81 h at 95 %, 1091.36 h at 60 %.

    With E = T / MTBF the one-sided limit of the ratio is -ln(alpha) / E.
    """
    for confidence, hours in ((0.90, 434.2944819), (0.95, 333.8082007), (0.60, 1091.3566680)):
        expected = 1000.0 / hours  # failures that this mean time between failures would bring
        _, upper = ratio_limits(0, expected, np.inf, confidence=2 * confidence - 1)
        assert float(upper) == pytest.approx(1.0, rel=1e-8)


def test_deciding_counts_are_exactly_where_the_rule_turns():
    expected = np.array([[3.0, 6.0, 12.0, 30.0], [3.5, 7.0, 13.0, 33.0]])
    worth = np.array([[12.0] * 4, [8.0] * 4])
    weights = np.array([0.6, 0.4])
    pooled, pooled_worth = weights @ expected, np.full(4, 10.0)
    most = most_to_show(expected, worth, weights, pooled, pooled_worth, target=0.5)
    fewest = fewest_to_miss(expected, worth, weights, pooled, target=0.5)

    def shows(count):
        evidence = log_evidence_shown(count, expected, worth, weights) >= math.log(20)
        return evidence & (ratio_upper(count, pooled, pooled_worth) <= 0.5)

    def misses(count):
        return log_evidence_missed(count, expected, worth, weights) >= math.log(10)

    assert most[0] == -1
    assert not shows(np.zeros(4))[0]
    assert shows(np.maximum(most, 0).astype(float))[1:].all()
    assert not shows(most + 1.0).any()
    assert misses(fewest.astype(float)).all()
    assert not misses(fewest - 1.0).any()
    assert (most < fewest).all()


def test_relapse_score_has_the_published_run_lengths():
    """J. M. Lucas, Counted data CUSUM's, Technometrics 27 (1985), as computed on the help page of
    `arl` in the R package IAcsSPCR 1.2.1 (READ): reference value 2, decision limit 6, mean 1.88:
    average run length 37.2; at mean 1.88 + 0.9627 sqrt(1.88): 5.49.

    Our score times 1 / ln(1/r) is that chart with k = (1 - r) E / ln(1/r). Its states are whole
    numbers here, so the run length follows from the one-step probabilities.
    """
    ratio = 0.3
    unit = math.log(1 / ratio)
    expected = 2.0 * unit / (1 - ratio)
    counts = np.arange(40)

    def run_length(mean):
        chance = poisson.pmf(counts, mean)
        stay = np.zeros((6, 6))
        for state in range(6):
            for count in counts:
                score = relapse_scores([count], [expected], ratio=ratio, start=state * unit)
                to = round(float(score[0]) / unit)
                if to < 6:
                    stay[state, to] += chance[count]
        return np.linalg.solve(np.eye(6) - stay, np.ones(6))[0]

    assert run_length(1.88) == pytest.approx(37.2, abs=0.05)
    assert run_length(1.88 + 0.9627 * math.sqrt(1.88)) == pytest.approx(5.49, abs=0.005)


def test_relapse_score_never_falls_below_zero_and_follows_its_sum():
    score = relapse_scores([0, 2, 0, 1], [1.0, 0.5, 1.0, 1.0], ratio=0.3)
    step = np.array([0, 2, 0, 1]) * math.log(1 / 0.3) - 0.7 * np.array([1, 0.5, 1, 1])
    assert score[0] == 0.0
    assert score[1:] == pytest.approx(np.cumsum(step[1:]))
    assert relapse_plan(0.2) == (0.3, 3.0)
    assert relapse_plan(0.4) == (0.5, 2.5)
