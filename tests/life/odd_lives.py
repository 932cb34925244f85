"""Random lives of every kind for tests, and a plain likelihood to hold the fast one against."""

import numpy as np
from hypothesis import strategies as st

from rca.life.sample import Lives


def plain_log_likelihood(lives: Lives, shape: np.ndarray, scale: np.ndarray) -> np.ndarray:
    """Weibull log-likelihood written down life by life; shape and scale may be arrays."""
    shape, scale = np.broadcast_arrays(np.asarray(shape, float), np.asarray(scale, float))
    total = np.zeros(shape.shape)

    def hazard(age: float) -> np.ndarray:
        return (age / scale) ** shape

    with np.errstate(all="ignore"):
        for low, high, entry, count in zip(
            lives.low, lives.high, lives.entry, lives.count, strict=True
        ):
            survived = max(low, entry)
            term = hazard(entry) - hazard(survived)
            if low == high:
                term += np.log(shape / low) + np.log(hazard(low))
            elif np.isfinite(high):
                term += np.log(-np.expm1(hazard(survived) - hazard(high)))
            total = total + count * term
    return np.where(np.isnan(total), -np.inf, total)


@st.composite
def odd_lives(draw: st.DrawFn, *, max_size: int = 6) -> Lives:
    """One to six lives on few different ages: ties, gaps, every kind of censoring, late entry."""
    ages = st.sampled_from([0.5, 1.0, 1.5, 2.0, 3.0, 5.0, 8.0])
    rows = []
    for _ in range(draw(st.integers(1, max_size))):
        low, high = sorted((draw(ages), draw(ages)))
        kind = draw(st.sampled_from(["exact", "running", "left", "between"]))
        low = 0.0 if kind == "left" else low
        high = {"exact": low, "running": np.inf}.get(kind, high)
        end = high if np.isfinite(high) else low
        entry = draw(st.sampled_from([0.0, 0.0, 0.25, 0.5, 0.9])) * end
        rows.append((low, high, entry, draw(st.sampled_from([1, 1, 1, 3]))))
    low, high, entry, count = np.array(rows, float).T
    return Lives.between(low, high, entry=entry, count=count, unit="h")


def drawn_lives(
    rng: np.random.Generator,
    n: int,
    *,
    shape: float = 1.7,
    scale: float = 1000.0,
    censored: float = 0.5,
    late: bool = False,
    between: float = 0.0,
) -> Lives:
    """Lives from a Weibull curve; about `censored` of them are suspended at staggered ages.

    `late`: six in ten entered at an age of up to 1.2 scales. `between`: known only to that step.
    """
    entry = np.where(rng.random(n) < 0.6, rng.uniform(0, 1.2, n), 0.0) * late
    life = (entry**shape - np.log(rng.random(n))) ** (1 / shape)
    end = np.full(n, np.inf)
    if censored:
        end = (entry**shape - np.log(censored) * rng.uniform(0.3, 1.9, n)) ** (1 / shape)
    age, failed = scale * np.minimum(life, end), life <= end
    if not between:
        return Lives.right_censored(age, failed, entry=scale * entry, unit="h")
    low = np.where(failed, between * np.floor(age / between), age)
    high = np.where(failed, low + between, np.inf)
    return Lives.between(low, high, entry=np.minimum(scale * entry, 0.999 * age), unit="h")
