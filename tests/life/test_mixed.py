"""Mixed fits: what they hide, and tests that find them without crying wolf."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from rca.errors import NoFit
from rca.life.mixed import bend, mixed_lots, mixed_modes
from rca.life.sample import Lives
from rca.life.weibull import fit_weibull
from tests.published import GENFAN, cracks, late_entry_150, right_censored

# Half of the lives with shape 0.7 and scale 60, half with shape 4 and scale 120: a danger told as
# common practice; its one fit has shape 1.06, "random" (COMPUTED).
EARLY, WEAR = (0.7, 60.0), (4.0, 120.0)


def _drawn(rng: np.random.Generator, law: tuple[float, float], n: int) -> np.ndarray:
    return law[1] * rng.weibull(law[0], n)


def _watched(
    rng: np.random.Generator, life: np.ndarray, *, censored: bool, late: bool
) -> tuple[Lives, np.ndarray]:
    """Lives as seen, and which of them were seen at all."""
    n, typical = len(life), np.median(life)
    end = typical * rng.uniform(0.3, 2.5, n) if censored else np.full(n, np.inf)
    entry = np.where(rng.uniform(size=n) < 0.3, typical * rng.uniform(0, 0.7, n), 0.0) * late
    age = np.minimum(life, end)
    seen = age > entry
    return Lives.right_censored(age[seen], (life <= end)[seen], entry=entry[seen]), seen


def test_two_lots_look_random_together() -> None:
    """The mixed fit has a shape near 1; the lots' own curves and the test tell the truth."""
    rng = np.random.default_rng(2)
    life = np.concatenate([_drawn(rng, EARLY, 4000), _drawn(rng, WEAR, 4000)])
    lot = np.repeat(["a", "b"], 4000)
    lives = Lives.right_censored(life, np.ones(8000))
    found = mixed_lots(lives, lot)
    assert found.joint.shape == pytest.approx(1.06, abs=0.04)
    assert found.fits["a"].shape == pytest.approx(0.7, abs=0.03)
    assert found.fits["b"].shape == pytest.approx(4.0, abs=0.15)
    assert found.p_value < 1e-10
    assert bend(lives).reading() == "steepens"
    assert "own curves a 0.7" in str(found)


def test_two_modes_look_random_together() -> None:
    """An early mode and wear on each part: one curve hides both, the test by mode shows them."""
    rng = np.random.default_rng(3)
    early, wear = 3 * _drawn(rng, EARLY, 4000), _drawn(rng, WEAR, 4000)
    lives = Lives.right_censored(np.minimum(early, wear), np.ones(4000), unit="h")
    found = mixed_modes(lives, np.where(early < wear, "leak", "wear"))
    assert 1.1 < found.joint.shape < 1.5
    assert found.fits["leak"].shape == pytest.approx(0.7, abs=0.03)
    assert found.fits["wear"].shape == pytest.approx(4.0, abs=0.15)
    assert found.degrees == 1
    assert found.p_value < 1e-10
    assert str(bend(lives)).startswith("steepens: early and wear-out failures may be mixed")


def test_a_bad_lot_flattens_the_line() -> None:
    """A tenth of the parts wear out ten times as fast: once they are gone the line flattens."""
    rng = np.random.default_rng(4)
    life = rng.weibull(2.5, 1000) * np.where(rng.uniform(size=1000) < 0.1, 10, 100)
    end = rng.uniform(10, 40, 1000)
    found = bend(Lives.right_censored(np.minimum(life, end), life <= end))
    assert found.reading() == "flattens"
    assert "a lot, some units" in str(found)


@pytest.mark.parametrize("late", [False, True])
@pytest.mark.parametrize("censored", [False, True])
@pytest.mark.parametrize(("n", "shape"), [(15, 3.0), (60, 0.7), (300, 1.5)])
def test_a_straight_line_is_left_alone(n: int, shape: float, censored: bool, late: bool) -> None:
    """One Weibull curve: bends are called at most 5 times in 100, whatever is seen of it."""
    rng = np.random.default_rng(5)
    called = []
    for _ in range(250):
        lives, _ = _watched(rng, rng.weibull(shape, n), censored=censored, late=late)
        try:
            called.append(bend(lives).reading() != "straight")
        except NoFit:
            continue
    assert len(called) > 200
    assert np.mean(called) <= 0.085


@pytest.mark.parametrize("n", [60, 300])
def test_like_labels_are_left_alone(n: int) -> None:
    """Labels that mean nothing: modes and lots are called different about 5 times in 100."""
    rng = np.random.default_rng(6)
    by_mode, by_lot = [], []
    for _ in range(300):
        first, second = rng.weibull(1.5, n), 1.4 * rng.weibull(1.5, n)
        lives, seen = _watched(rng, np.minimum(first, second), censored=True, late=True)
        by_mode.append(mixed_modes(lives, (first < second)[seen]).p_value <= 0.05)
        lives, seen = _watched(rng, first, censored=True, late=True)
        by_lot.append(mixed_lots(lives, np.arange(n)[seen] % 2).p_value <= 0.05)
    assert 0.02 <= np.mean(by_mode) <= 0.085
    assert 0.02 <= np.mean(by_lot) <= 0.085


@pytest.mark.parametrize("sample", [right_censored(GENFAN), late_entry_150()])
def test_score_and_variance_by_integration(sample: Lives) -> None:
    """The score is the slope of the likelihood written out, its variance the sum of g g' dH."""
    fit = fit_weibull(sample)
    b, middle = fit.shape, 3000.0
    level = b * np.log(middle / fit.scale)

    def log_likelihood(curve: float) -> float:
        def hazard(age: np.ndarray) -> np.ndarray:
            x = np.log(np.maximum(age, 1e-9) / middle)
            return np.where(age > 0, np.exp(level + b * x + curve * x**2), 0.0)

        failed = sample.low[sample.exact]
        slope = b + 2 * curve * np.log(failed / middle)
        rates = np.log(hazard(failed)) + np.log(slope) - np.log(failed)
        return float(rates.sum() - (hazard(sample.low) - hazard(sample.entry)).sum())

    assert log_likelihood(0.0) == pytest.approx(fit.log_likelihood, rel=1e-9)
    score = (log_likelihood(1e-4) - log_likelihood(-1e-4)) / 2e-4
    # On a fine grid of ages: how many are at risk, times the hazard, times g g'.
    edges = np.geomspace(1e-8, sample.low.max(), 400_001)
    age = np.sqrt(edges[1:] * edges[:-1])
    begun = np.searchsorted(np.sort(sample.entry), age)
    at_risk = begun - np.searchsorted(np.sort(sample.low), age)
    weight = at_risk * np.diff(fit.cumulative_hazard(edges))
    x = np.log(age / middle)
    g = np.array([np.ones_like(x), x + 1 / b, x**2 + 2 * x / b])
    information = (weight * g) @ g.T
    tied = information[:2, 2]
    variance = information[2, 2] - tied @ np.linalg.inv(information[:2, :2]) @ tied
    assert bend(sample).z == pytest.approx(score / np.sqrt(variance), rel=1e-4)


@given(st.integers(0, 500), st.floats(0.01, 100), st.integers(2, 4))
def test_another_unit_of_age_and_copies(seed: int, factor: float, copies: int) -> None:
    """Ages times k leave z; every life c times multiplies it by the root of c."""
    rng = np.random.default_rng(seed)
    lives, _ = _watched(rng, rng.weibull(1.5, 40), censored=True, late=True)
    z = bend(lives).z
    scaled = Lives.right_censored(lives.low * factor, lives.exact, entry=lives.entry * factor)
    assert bend(scaled).z == pytest.approx(z, rel=1e-5, abs=1e-6)
    copied = Lives(lives.low, lives.high, lives.entry, lives.count * copies)
    assert bend(copied).z == pytest.approx(z * np.sqrt(copies), rel=1e-5, abs=1e-6)


def test_labels_without_a_curve_are_named() -> None:
    """A lot without a failure is left out and named; with one lot left there is no test."""
    rng = np.random.default_rng(7)
    age = rng.weibull(2, 60)
    lot = np.repeat(["a", "b", "c"], 20)
    failed = lot != "c"
    found = mixed_lots(Lives.right_censored(age, failed), lot)
    assert found.left_out == ("c",)
    assert set(found.fits) == {"a", "b"}
    with pytest.raises(NoFit, match=r"Only 1 of 3 labels .* \(without: b, c\)"):
        mixed_lots(Lives.right_censored(age, lot == "a"), lot)
    few = Lives.right_censored(age[:8], np.ones(8))
    assert "so few failures" in str(mixed_modes(few, ["x", "y"] * 4))


def test_a_mode_without_a_curve_becomes_a_suspension() -> None:
    """A mode seen once, at the largest age, has no curve: its life counts as running."""
    age = [1, 2, 3, 4, 5, 6, 7, 9]
    mode = ["x", "y", "x", "y", "x", "y", "x", "z"]
    found = mixed_modes(Lives.right_censored(age, np.ones(8)), mode)
    assert found.left_out == ("z",)
    assert found.joint.n_failed == 7
    assert found.joint.n_running == 1


def test_refusals() -> None:
    """Too few ages, or ages known only between two looks."""
    with pytest.raises(NoFit, match="three ages"):
        bend(Lives.right_censored([1, 2, 3], [1, 1, 0]))
    with pytest.raises(NoFit, match="exact failure ages"):
        bend(cracks())
