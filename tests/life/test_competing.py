"""Cumulative incidence of competing modes against lifelines, Kaplan-Meier and simulation."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from lifelines import AalenJohansenFitter

from rca.errors import NoAnswer, NoFit, RcaError
from rca.life.competing import cumulative_incidence, lives_of_mode
from rca.life.nonparametric import kaplan_meier
from rca.life.sample import Lives

rows = st.lists(
    st.tuples(
        st.integers(0, 8), st.integers(1, 15), st.sampled_from(["", "wear", "leak"]), st.booleans()
    ),
    min_size=3,
    max_size=25,
)


def _lives(table: list[tuple[int, int, str, bool]]) -> tuple[Lives, list[str]]:
    entry = [row[0] for row in table]
    age = [row[0] + row[1] for row in table]
    return Lives.right_censored(age, [row[3] for row in table], entry=entry), [r[2] for r in table]


@given(rows)
def test_modes_and_survivors_add_up(table: list[tuple[int, int, str, bool]]) -> None:
    """The incidences of all modes and the share still running sum to 1 at every age."""
    lives, modes = _lives(table)
    curves = cumulative_incidence(lives, modes)
    survival = kaplan_meier(lives).survival
    total = sum((curve.incidence for curve in curves.values()), np.zeros(len(survival)))
    np.testing.assert_allclose(total + survival, 1, atol=1e-12)


@given(rows)
def test_one_mode_is_kaplan_meier(table: list[tuple[int, int, str, bool]]) -> None:
    """With a single mode: 1 - S, Greenwood's error, and the same limits turned over."""
    lives, _ = _lives(table)
    curves = cumulative_incidence(lives, ["wear"] * len(lives))
    survival = kaplan_meier(lives)
    if not curves:
        assert not len(survival.age)
        return
    curve, inner = curves["wear"], survival.survival > 0
    np.testing.assert_allclose(curve.incidence, 1 - survival.survival, atol=1e-12)
    for found, expected in (
        (curve.standard_error, survival.standard_error),
        (curve.lower, 1 - survival.upper),
        (curve.upper, 1 - survival.lower),
    ):
        np.testing.assert_allclose(found[inner], expected[inner], atol=1e-7)


@given(rows)
def test_never_above_one_minus_kaplan_meier(table: list[tuple[int, int, str, bool]]) -> None:
    """With other modes as suspensions, 1 - Kaplan-Meier is the larger: another question."""
    lives, modes = _lives(table)
    for name, curve in cumulative_incidence(lives, modes).items():
        alone = kaplan_meier(lives_of_mode(lives, modes, of=name))
        for age, share in zip(curve.age, curve.incidence, strict=True):
            try:
                assert share <= 1 - alone.at(age).value + 1e-12
            except NoAnswer:  # a life of another mode was the only one watched there
                continue


def _sample(n: int, seed: int, *, late: bool) -> tuple[Lives, np.ndarray]:
    rng = np.random.default_rng(seed)
    wear, leak, end = rng.weibull(3, n) * 100, rng.weibull(0.8, n) * 150, rng.uniform(20, 150, n)
    age = np.minimum(np.minimum(wear, leak), end)
    mode = np.where(age == end, "", np.where(wear < leak, "wear", "leak"))
    entry = np.where(rng.uniform(size=n) < 0.4, rng.uniform(0, 40, n), 0.0) * late
    seen = age > entry
    lives = Lives.right_censored(age[seen], mode[seen] != "", entry=entry[seen])
    return lives, mode[seen]


@pytest.mark.parametrize("late", [False, True])
def test_against_lifelines(late: bool) -> None:
    """300 random lives without ties: incidence to 1e-9, and variance where lifelines is right.

    lifelines jitters ties, hence none here. Its variance agrees to 1e-6 without late entry.
    """
    lives, mode = _sample(300, 3, late=late)
    curves = cumulative_incidence(lives, mode)
    code = {"": 0, "wear": 1, "leak": 2}
    for name in ("wear", "leak"):
        peer = AalenJohansenFitter(calculate_variance=True).fit(
            lives.low,
            [code[one] for one in mode],
            event_of_interest=code[name],
            entry=lives.entry if late else None,
        )
        ages = curves[name].age
        expected = peer.cumulative_density_.loc[ages].iloc[:, 0]
        np.testing.assert_allclose(curves[name].incidence, expected, rtol=1e-9, atol=1e-12)
        if not late:
            variance = peer.variance_.loc[ages]
            found = curves[name].standard_error ** 2
            np.testing.assert_allclose(found, variance, rtol=1e-6, atol=1e-12)


@given(rows)
def test_variance_against_the_definition(table: list[tuple[int, int, str, bool]]) -> None:
    """The running sums are the sum over failure ages, written out at the last age."""
    lives, modes = _lives(table)
    survival = kaplan_meier(lives)
    before = np.concatenate(([1.0], survival.survival[:-1]))
    curves = cumulative_incidence(lives, modes).values()
    for curve in [curve for curve in curves if len(curve.age)]:
        expected = 0.0
        for row in range(len(curve.age)):
            at_risk, p = curve.at_risk[row], curve.failed[row] / curve.at_risk[row]
            q = survival.failed[row] / at_risk
            delta = curve.incidence[-1] - curve.incidence[row]
            expected += before[row] ** 2 * p * (1 - p) / at_risk
            expected -= 2 * before[row] * delta * p / at_risk
            expected += delta**2 * q / (at_risk * (1 - q)) if q < 1 else 0.0
        assert curve.standard_error[-1] ** 2 == pytest.approx(expected, abs=1e-12)


def test_limits_cover_with_late_entry() -> None:
    """95 % limits of a mode's share, censored and entered late: a small seeded run."""
    age = 60.0
    grid = np.linspace(0, age, 4001)
    running = np.exp(-((grid / 100) ** 3) - (grid / 150) ** 0.8)
    hazard = 3 / 100 * (grid / 100) ** 2
    true = np.trapezoid(running * hazard, grid)
    inside = 0
    for seed in range(300):
        lives, mode = _sample(120, seed, late=True)
        answer = cumulative_incidence(lives, mode)["wear"].at(age)
        inside += answer.lower <= true <= answer.upper
    assert 0.92 <= inside / 300 <= 0.98


def test_before_the_first_failure() -> None:
    """No failure so far: at most 1 - 0.025^(1/n)."""
    lives = Lives.right_censored([5, 8, 9, 9], [1, 1, 0, 0])
    curve = cumulative_incidence(lives, ["wear", "leak", "", ""])["leak"]
    assert curve.at(4).upper == pytest.approx(1 - 0.025 ** (1 / 4))
    assert curve.at(5).value == 0
    assert curve.at(5).upper == pytest.approx(1 - 0.025 ** (1 / 4))
    assert curve.at(6).value == 0
    assert curve.at(6).upper == pytest.approx(1 - 0.025 ** (1 / 3))
    assert "no failure by this mode" in curve.at(6).note
    assert str(curve) == "cumulative incidence of leak, 1 failures; known from 0 to 9"


def test_unknown_modes_stay_a_mode_of_their_own() -> None:
    """Failures without a stated mode are told, not spread over the others."""
    lives = Lives.right_censored([1, 2, 3, 4], [1, 1, 0, 1], unit="km")
    curves = cumulative_incidence(lives, ["wear", "", "wear", "wear"])
    assert set(curves) == {"wear", ""}
    assert curves[""].mode == "mode not stated"
    assert curves[""].incidence[-1] == pytest.approx(0.25)


def test_lives_of_one_mode() -> None:
    """Other modes become suspensions; what was never seen to run past its entry is left out."""
    lives = Lives.between(
        [3, 4, 0, 5, 0], [3, 4, 2, np.inf, 6], entry=[0, 1, 0, 2, 0], count=[1, 2, 3, 4, 5]
    )
    wear = lives_of_mode(lives, ["wear", "leak", "leak", "", "wear"], of="wear")
    assert list(wear.low) == [3, 4, 5, 0]
    assert list(wear.high) == [3, np.inf, np.inf, 6]
    assert list(wear.count) == [1, 2, 4, 5]
    with pytest.raises(NoFit, match="No life failed by 'crack'"):
        lives_of_mode(lives, ["wear"] * 5, of="crack")
    with pytest.raises(RcaError, match="mode has shape"):
        lives_of_mode(lives, ["wear"], of="wear")
    with pytest.raises(RcaError, match="mode has shape"):
        cumulative_incidence(Lives.right_censored([1, 2], [1, 1]), ["wear"])
