"""The log-rank test against printed numbers, scipy and statsmodels, and by simulation."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import CensoredData, logrank
from statsmodels.duration.survfunc import survdiff

from rca.errors import NoFit, RcaError
from rca.life.logrank import log_rank
from rca.life.sample import Lives
from tests.life.engines import peers_as_met
from tests.published import CAPACITOR

# S12: READ in the docstring of scipy.stats.logrank (scipy 1.17.1); chi-square by R survival 3.5.3.
# fmt: off
FIRST = ([6, 13, 21, 30, 37, 38, 49, 50, 63, 79, 86, 98, 202, 219],
         [31, 47, 80, 82, 82, 149])
SECOND = ([10, 10, 12, 13, 14, 15, 16, 17, 18, 20, 24, 24, 25, 28, 30, 33, 35, 37, 40, 40, 46, 48,
           76, 81, 82, 91, 112, 181],
          [34, 40, 70])
# fmt: on


def test_two_groups_printed() -> None:
    """S12: z -2.73799, p 0.00618; observed 14 and 28, chi-square 7.4966."""
    age = FIRST[0] + FIRST[1] + SECOND[0] + SECOND[1]
    failed = [1] * 14 + [0] * 6 + [1] * 28 + [0] * 3
    found = log_rank(Lives.right_censored(age, failed), ["first"] * 20 + ["second"] * 31)
    assert found.chi_square == pytest.approx(7.49659416853532, rel=1e-9)
    assert np.sqrt(found.chi_square) == pytest.approx(2.73799, abs=6e-6)
    assert found.p_value == pytest.approx(0.00618, abs=6e-6)
    assert list(found.observed) == [14, 28]
    expected = [22.4811569427902, 19.5188430572098]
    np.testing.assert_allclose(found.expected, expected, rtol=1e-9)
    assert str(found).startswith("log-rank chi-square 7.50 on 1, p = 0.00618 (first: 14 failed, 22")


def test_capacitors_by_temperature() -> None:
    """S13: 170 against 180 degrees, COMPUTED with R 4.2.2 survival 3.5.3."""
    temperature, _, age, failed = np.array(CAPACITOR).T
    found = log_rank(Lives.right_censored(age, failed), temperature)
    assert found.chi_square == pytest.approx(2.1881680271671, rel=1e-8)
    assert found.p_value == pytest.approx(0.139074642736445, rel=1e-6)
    expected = [19.8425403104313, 12.1574596895687]
    np.testing.assert_allclose(found.expected, expected, rtol=1e-8)


def _sample(seed: int, n: int, groups: int) -> tuple[Lives, np.ndarray, np.ndarray]:
    rng = np.random.default_rng(seed)
    entry = np.floor(rng.uniform(0, 20, n))
    age = entry + np.ceil(rng.exponential(30, n))
    lives = Lives.right_censored(age, rng.uniform(size=n) < 0.7, entry=entry)
    return lives, rng.integers(0, groups, n), rng.integers(0, 4, n)


@pytest.mark.parametrize("groups", [2, 3, 5])
@pytest.mark.parametrize("seed", range(4))
def test_against_statsmodels_with_late_entry(seed: int, groups: int) -> None:
    """Ties, late entry, several groups: statsmodels has it right without strata."""
    lives, group, _ = _sample(seed, 400, groups)
    chi_square, p_value = survdiff(lives.low, lives.exact, group, entry=lives.entry)
    found = log_rank(lives, group)
    assert found.chi_square == pytest.approx(chi_square, rel=1e-6)
    assert found.p_value == pytest.approx(p_value, rel=1e-6)
    assert found.degrees == groups - 1


@pytest.mark.parametrize("seed", range(4))
def test_against_statsmodels_with_strata(seed: int) -> None:
    """With strata statsmodels is right while nobody enters late."""
    lives, group, stratum = _sample(seed, 400, 3)
    from_new = Lives.right_censored(lives.low, lives.exact)
    chi_square, _ = survdiff(lives.low, lives.exact, group, strata=stratum)
    found = log_rank(from_new, group, strata=stratum)
    assert found.chi_square == pytest.approx(chi_square, rel=1e-6)


@peers_as_met
def test_a_peer_fails_with_strata_and_late_entry() -> None:
    """A trap: statsmodels cuts a stratum out of all columns but the entries."""
    lives, group, stratum = _sample(0, 400, 3)
    with pytest.raises(IndexError):
        survdiff(lives.low, lives.exact, group, strata=stratum, entry=lives.entry)


def test_against_scipy() -> None:
    """Two groups from new: scipy's z squared."""
    lives, group, _ = _sample(9, 300, 2)
    from_new = Lives.right_censored(lives.low, lives.exact)
    samples = [
        CensoredData.right_censored(lives.low[group == g], lives.running[group == g])
        for g in (0, 1)
    ]
    peer = logrank(*samples)
    found = log_rank(from_new, group)
    assert found.chi_square == pytest.approx(peer.statistic**2, rel=1e-9)
    assert found.p_value == pytest.approx(peer.pvalue, rel=1e-9)


def _by_definition(lives: Lives, group: np.ndarray, strata: np.ndarray) -> tuple[float, float]:
    """Observed less expected of group 1 and its variance, failure age by failure age."""
    excess = variance = 0.0
    for stratum in np.unique(strata):
        inside = strata == stratum
        for age in np.unique(lives.low[inside & lives.exact]):
            at_risk = inside & (lives.entry < age) & (lives.low >= age)
            failed = at_risk & lives.exact & (lives.low == age)
            y, d = lives.count[at_risk].sum(), lives.count[failed].sum()
            share = lives.count[at_risk & (group == 1)].sum() / y
            excess += lives.count[failed & (group == 1)].sum() - d * share
            variance += d * (y - d) / max(y - 1, 1) * share * (1 - share)
    return excess, variance


@given(st.integers(0, 10_000))
def test_against_the_definition(seed: int) -> None:
    """Strata, late entry, ties and counts together: no peer has it, so written out."""
    rng = np.random.default_rng(seed)
    lives, group, stratum = _sample(seed, 25, 2)
    lives = Lives(lives.low, lives.high, lives.entry, rng.integers(1, 4, 25).astype(float))
    excess, variance = _by_definition(lives, group, stratum)
    if variance < 1e-12:
        with pytest.raises(NoFit):
            log_rank(lives, group, strata=stratum)
        return
    found = log_rank(lives, group, strata=stratum)
    assert found.observed[1] - found.expected[1] == pytest.approx(excess, abs=1e-9)
    assert found.chi_square == pytest.approx(excess**2 / variance, rel=1e-7)


def _renewed_lives(rng: np.random.Generator) -> tuple[Lives, np.ndarray, np.ndarray]:
    """Lives that follow each other on 40 units of very different rates, watched for 1.5: no trend.

    Returns the lives, the unit of each, and whether it is a later one than the first.
    """
    length = rng.exponential(1 / rng.gamma(0.7, 1 / 0.7, 40)[:, None], (40, 12))
    start = np.cumsum(length, axis=1) - length
    unit, place = np.nonzero(start < 1.5)
    begun = start[unit, place]
    age = np.minimum(length[unit, place], 1.5 - begun)
    return Lives.right_censored(age, age < 1.5 - begun), unit, place > 0


def test_later_lives_within_units() -> None:
    """No trend within any unit: how often are later lives called shorter or longer (5 % asked)?

    Pooled, nearly always: bad units have more later lives. By unit but with the life still running,
    too often: a unit has later lives only where its first was short. By unit and completed lives
    alone, as asked: given their number, they could have come in any order.
    """
    rng = np.random.default_rng(41)
    p_values = []
    for _ in range(300):
        lives, unit, later = _renewed_lives(rng)
        done = lives.exact
        completed = Lives.right_censored(lives.low[done], lives.exact[done])
        p_values.append(
            (
                log_rank(lives, later).p_value,
                log_rank(lives, later, strata=unit).p_value,
                log_rank(completed, later[done], strata=unit[done]).p_value,
            )
        )
    pooled, by_unit, exchangeable = np.mean(np.array(p_values) <= 0.05, axis=0)
    assert pooled > 0.5
    assert by_unit > 0.2
    assert 0.02 <= exchangeable <= 0.085


@pytest.mark.parametrize(
    ("lives", "group", "message"),
    [
        (Lives.right_censored([1, 2], [0, 0]), [0, 1], "No life failed"),
        (Lives.right_censored([1, 2], [1, 1]), [0, 0], "two groups were at risk"),
        (Lives.right_censored([1, 9], [1, 1], entry=[0, 5]), [0, 1], "two groups were at risk"),
        (Lives.right_censored([1, 2], [1, 1]), [0], "group has shape"),
        (Lives.between([1, 2], [1, 3]), [0, 1], "exact failure ages"),
    ],
)
def test_refusals(lives: Lives, group: list[int], message: str) -> None:
    """Nothing to compare is said, with the reason."""
    with pytest.raises((NoFit, RcaError), match=message):
        log_rank(lives, group)
