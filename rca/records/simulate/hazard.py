"""From an amount of hazard to the place where it is used up: the law behind every failure."""

import math
from dataclasses import dataclass

import numpy as np

from rca.records.simulate.draws import Array, Whole
from rca.records.simulate.running import FAR


@dataclass(frozen=True, slots=True, eq=False)
class EarlyWeibull:
    """Weibull cumulative hazard whose rate is `factor` times as high up to the age `until`."""

    shape: float
    scale: float
    factor: Array  # of each row
    until: float = math.inf

    def cumulative(self, age: Array) -> Array:
        """Hazard gathered by `age`, shape (rows, places)."""
        plain = (np.maximum(age, 0.0) / self.scale) ** self.shape
        early = np.minimum(plain, self._turn)
        return self.factor[:, None] * early + (plain - early)

    def age(self, hazard: Array) -> Array:
        """Age by which `hazard`, shape (rows,), has been gathered."""
        if math.isinf(self.until):
            plain = hazard / self.factor
        else:
            turn = self.factor * self._turn
            plain = np.where(hazard <= turn, hazard / self.factor, self._turn + hazard - turn)
        return self.scale * plain ** (1 / self.shape)

    @property
    def _turn(self) -> float:
        return (self.until / self.scale) ** self.shape


@dataclass(frozen=True, slots=True, eq=False)
class Steps:
    """Factors on the hazard along the meter or the days.

    Column j of `levels` holds between columns j - 1 and j of `edges` (ascending, FAR = unused).
    """

    edges: Array  # (rows, edges)
    levels: Array  # (rows, edges + 1)

    def take(self, rows: Whole) -> "Steps":
        """Return these rows only."""
        return Steps(self.edges[rows], self.levels[rows])

    def put(self, rows: Whole, other: "Steps") -> None:
        """Replace these rows."""
        self.edges[rows], self.levels[rows] = other.edges, other.levels


def next_failure(
    life: EarlyWeibull, steps: Steps, *, fitted: Array, now: Array, factor: Array, amount: Array
) -> Array:
    """Place at which a part fails that was fitted at `fitted` and still runs at `now`.

    Places are on the part's own scale (meter or days). `amount` is the hazard to be spent;
    `factor` multiplies the hazard throughout. With an exponential amount the place has the
    hazard asked for, exactly (inversion of the cumulative hazard: Cox and Oakes, Analysis of
    Survival Data, 1984, chapter 2; from memory).
    """
    with np.errstate(divide="ignore", over="ignore"):
        begins = np.column_stack((now, np.maximum(steps.edges, now[:, None])))
        reached = life.cumulative(begins - fitted[:, None])
        gained = np.diff(reached, axis=1) * steps.levels[:, :-1]
        spent = np.column_stack((np.zeros(len(now)), np.cumsum(gained, axis=1)))
        need = amount / factor
        piece = (spent[:, 1:] < need[:, None]).sum(axis=1)
        row = np.arange(len(now))
        left = (need - spent[row, piece]) / steps.levels[row, piece]
        return np.minimum(fitted + life.age(reached[row, piece] + left), FAR)
