"""Random numbers that stay the same bytes: every draw is made from uniforms of one bit generator.

numpy promises a stable stream for its bit generators but not for the distributions of
`Generator`; a demo fleet that must come out byte for byte on every machine is therefore drawn by
inverting distribution functions.
"""

import hashlib
import math
from collections.abc import Sequence

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy import special

Array = NDArray[np.float64]
Whole = NDArray[np.int64]
Flags = NDArray[np.bool_]


class Draws:
    """A stream of random numbers known by a seed and a name: same seed and name, same numbers.

    Streams of different names are independent, so a part added to a plan leaves the lives of
    all other parts as they were.
    """

    def __init__(self, seed: int, *name: str) -> None:
        self._seed, self._name = seed, name
        digest = hashlib.sha256("\x1f".join((str(seed), *name)).encode()).digest()
        words = np.frombuffer(digest, dtype="<u4").tolist()
        self._source = np.random.Generator(np.random.PCG64(np.random.SeedSequence(words)))

    def child(self, *name: str) -> "Draws":
        """Return an independent stream below this one."""
        return Draws(self._seed, *self._name, *name)

    def uniform(self, count: int, low: ArrayLike = 0.0, high: ArrayLike = 1.0) -> Array:
        """Even between `low` and `high`; never exactly 0 or 1 when these are the limits."""
        drawn = np.maximum(self._source.random(count), 2.0**-54)
        return np.asarray(low) + drawn * (np.asarray(high) - np.asarray(low))

    def chance(self, count: int, share: ArrayLike) -> Flags:
        """True with probability `share`."""
        return self.uniform(count) < np.asarray(share)

    def exponential(self, count: int) -> Array:
        """Exponential with mean 1."""
        return -np.log(self.uniform(count))

    def normal(self, count: int) -> Array:
        """Standard normal."""
        return special.ndtri(self.uniform(count))

    def lognormal(self, count: int, spread: float) -> Array:
        """Lognormal with mean 1; `spread` is the standard deviation of the logarithm."""
        return np.exp(spread * self.normal(count) - spread**2 / 2)

    def gamma(self, count: int, variance: float) -> Array:
        """Gamma with mean 1 and the given variance; all ones where the variance is 0."""
        if variance == 0:
            return np.ones(count)
        return special.gammaincinv(1 / variance, self.uniform(count)) * variance

    def choose(self, count: int, shares: Sequence[float]) -> Whole:
        """Draw positions 0, 1, ... in proportion to `shares`."""
        limits = np.cumsum(np.asarray(shares, dtype=np.float64))
        found = np.searchsorted(limits / limits[-1], self.uniform(count), side="right")
        return np.minimum(found, len(limits) - 1).astype(np.int64)

    def sample(self, population: int, size: int) -> Whole:
        """Draw `size` different positions of 0 .. population - 1, in ascending order."""
        return np.sort(np.argsort(self.uniform(population), kind="stable")[:size])

    def events(self, rate: float, begin: Array, end: Array) -> tuple[Whole, Array]:
        """Draw a Poisson process of `rate` a day on the spans [begin, end): (span, day) of each.

        The spans are laid end to end and the process runs along their whole length once.
        """
        lengths = np.maximum(end - begin, 0.0)
        limits = np.cumsum(lengths)
        expected = rate * float(limits[-1]) if len(limits) else 0.0
        if expected <= 0:
            return np.zeros(0, dtype=np.int64), np.zeros(0)
        enough = int(expected + 10 * math.sqrt(expected) + 20)
        places = np.cumsum(self.exponential(enough)) / rate
        places = places[places < limits[-1]]
        span = np.searchsorted(limits, places, side="right")
        return span.astype(np.int64), begin[span] + places - (limits[span] - lengths[span])
