"""How often the 95 % intervals of shape and B10 hold the truth: a seeded simulation.

Run: python -m tests.benchmarks.weibull_coverage [samples]. A likelihood-ratio interval holds a
value exactly where twice the fall of the profile log-likelihood to it is at most 3.8415, so one
evaluation of the profile at the truth tells; the small run in tests/life/test_coverage.py
computes the intervals themselves.
"""

import math
import sys
from collections.abc import Callable
from itertools import chain, product

import numpy as np

from rca.errors import NoFit
from rca.life import limits
from rca.life.sample import Lives
from rca.life.weibull import WeibullFit, fit_weibull

SCALE = 1000.0
FALL = 3.841458820694124

Design = Callable[[np.random.Generator, float, float], Lives]


def complete(rng: np.random.Generator, shape: float, failures: float) -> Lives:
    """All lives are watched until they fail."""
    age = SCALE * rng.weibull(shape, round(failures))
    return Lives.right_censored(age, np.ones(len(age)))


def staggered(rng: np.random.Generator, shape: float, failures: float) -> Lives:
    """A young fleet: watching ends at an even spread of ages, and about a fifth has failed."""
    n = round(failures / 0.2)
    most = SCALE * _end_for(shape)
    life, end = SCALE * rng.weibull(shape, n), rng.uniform(0, most, n)
    return Lives.right_censored(np.minimum(life, end), life <= end)


def late(rng: np.random.Generator, shape: float, failures: float) -> Lives:
    """Half of the lives are old when records begin; three in ten of all fail while watched."""
    n = round(failures / 0.3)
    entry = np.where(rng.uniform(size=n) < 0.5, rng.uniform(0.1, 1.0, n) * SCALE, 0.0)
    left = (entry / SCALE) ** shape - np.log(rng.uniform(size=n))
    life = SCALE * left ** (1 / shape)
    # Watching lasts until a random share between 0 and 0.6 of those who entered have failed.
    run = (entry / SCALE) ** shape - np.log1p(-rng.uniform(0, 0.6, n))
    end = SCALE * run ** (1 / shape)
    return Lives.right_censored(np.minimum(life, end), life <= end, entry=entry)


def _end_for(shape: float) -> float:
    """Upper end of even censoring ages, in scales, at which a fifth of the lives fail."""
    low, high = 1e-3, 10.0
    for _ in range(60):
        middle = math.sqrt(low * high)
        age = np.linspace(0, middle, 2001)[1:]
        low, high = (middle, high) if -np.expm1(-(age**shape)).mean() < 0.2 else (low, middle)
    return middle


def tails(fit: WeibullFit, shape: float) -> list[float]:
    """Signed excess over the 95 % limits: below -1 all of the interval is too low, above 1 high.

    By likelihood for shape and B10, then by Wald for both.
    """
    share, hazard = 0.1, -math.log(0.9)
    life = SCALE * hazard ** (1 / shape)
    by_shape = limits.along_shape(fit.likelihood, shape=fit.shape)
    by_life = limits.along_life(
        fit.likelihood, shape=fit.shape, log_hazard=math.log(hazard), shape_known=False
    )
    off = math.log(fit.shape / shape), math.log(fit.life(share) / life)
    falls = [
        2 * (fit.log_likelihood - value)
        for value in (by_shape(math.log(shape))[0], by_life(math.log(life))[0])
    ]
    weights = np.array([1.0, 0.0]), np.array([-math.log(hazard) / fit.shape, 1.0])
    variances = [float(w @ fit.covariance @ w) for w in weights]
    return [
        *(math.copysign(max(fall, 0.0) / FALL, o) for fall, o in zip(falls, off, strict=True)),
        *(math.copysign(o * o / v / FALL, o) for o, v in zip(off, variances, strict=True)),
    ]


def coverage(design: Design, shape: float, failures: float, samples: int, seed: int) -> list[str]:
    """Percent without a fit; then covered (interval below / above the truth) for each kind."""
    rng = np.random.default_rng(seed)
    found = []
    for _ in range(samples):
        try:
            found.append(tails(fit_weibull(design(rng, shape, failures)), shape))
        except NoFit:
            continue
    excess = np.array(found)
    below, above = 100 * (excess < -1).mean(axis=0), 100 * (excess > 1).mean(axis=0)
    cells = [f"{100 - b - a:.1f} ({b:.1f} / {a:.1f})" for b, a in zip(below, above, strict=True)]
    return [f"{100 * (1 - len(found) / samples):.1f}", *cells]


def main(samples: int) -> None:
    """Print the table of the README."""
    names = ["watched", "shape", "failures expected", "no fit", "shape", "B10"]
    print("| " + " | ".join([*names, "shape, Wald", "B10, Wald"]) + " |")
    print("|---" * 8 + "|")
    designs, shapes = (complete, staggered, late), (0.7, 1.5, 3.0)
    usual = product(designs, shapes, (4, 6, 8, 12, 20, 50))
    cells = chain(usual, product(designs, shapes, (2, 3)))
    for seed, (design, shape, failures) in enumerate(cells):
        row = coverage(design, shape, failures, samples, seed)
        print("| " + " | ".join([design.__name__, f"{shape:g}", str(failures), *row]) + " |")
        sys.stdout.flush()


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 10_000)
