"""Do later lives fail sooner than first ones, each unit compared with itself?

Mere spread between units makes later lives look short: bad units have more of them. So what is
expected of a piece is what its unit's own past says at every moment of it: with N failures and
hazard H run before, and a gamma factor of variance v = 1 / k, the unit's rate after a further
hazard s is (k + N) / (k + H + s) times the ordinary one, and a piece that runs e has

    (k + N) log((k + H + e) / (k + H))

failures due. Failures less this sum are a martingale, so the comparison of later with first lives
is fair whatever the spread. Conditioning on a unit's past only, never on its total count, matters:
the last life is always unfinished, so that a total makes the first lives look worse (Andersen,
Borgan, Gill & Keiding 1993; Cook & Lawless 2007, from memory; simulated in
tests/benchmarks/README.md).
"""

from dataclasses import dataclass

import numpy as np

from rca.causes.pattern.models import UnitsFit
from rca.causes.pattern.part_lives import Array, PartLives
from rca.causes.screen.within_units import sequence_ratio
from rca.life.sample import Interval

_FAR_DAYS = 1 << 24


@dataclass(frozen=True, slots=True)
class LaterLives:
    """Failure rate of later lives over that of first lives at equal age, within units."""

    ratio: float
    interval: Interval
    failures: int
    expected: float
    first_failures: int

    def __str__(self) -> str:
        return (
            f"later lives fail {self.ratio:.2g} times as often as first lives at equal age "
            f"({self.interval.lower:.2g} to {self.interval.upper:.2g}; {self.failures} failures "
            f"where {self.expected:.3g} were expected)"
        )


def compare_later_lives(lives: PartLives, fit: UnitsFit) -> LaterLives | None:
    """Compare pieces that follow another with first ones; None where either has no failure due.

    Parameters
    ----------
    fit
        Gamma-Weibull fit without a factor for later lives.
    """
    due = _due_by_own_past(lives, fit)
    later, failed = lives.later, lives.failed
    due_later, due_first = float(due[later].sum()), float(due[~later].sum())
    seen_later, seen_first = int(failed[later].sum()), int(failed[~later].sum())
    if min(due_later, due_first) <= 0 or seen_first == 0:
        return None
    ratio, interval = sequence_ratio(
        seen_later, seen_first, expected_share=due_later / (due_later + due_first)
    )
    return LaterLives(ratio, interval, seen_later, due_later * seen_first / due_first, seen_first)


def _due_by_own_past(lives: PartLives, fit: UnitsFit) -> Array:
    """Failures due in each piece by the past of its unit up to the day the piece begins."""
    run = fit.level * lives.hazard(fit.shape)
    order = np.lexsort((lives.end, lives.unit.code))
    ended = lives.unit.code[order] * _FAR_DAYS + lives.end[order]
    failures = np.concatenate([[0.0], lives.failed[order].cumsum()])
    hazard = np.concatenate([[0.0], run[order].cumsum()])
    until = np.searchsorted(ended, lives.unit.code * _FAR_DAYS + lives.begin, side="right")
    since = np.searchsorted(ended, lives.unit.code * _FAR_DAYS, side="left")
    worth = 1 / fit.spread
    before = worth + hazard[until] - hazard[since]
    due: Array = (worth + failures[until] - failures[since]) * np.log1p(run / before)
    return due
