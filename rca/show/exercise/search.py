"""Search for a case that can be solved and has the wanted level: bounded, and the same each time.

Every random number comes from HMAC-SHA256(secret, student and attempt); nothing comes from the
clock or the machine.
"""

import hmac
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

from rca.errors import RcaError
from rca.records.simulate import as_fleet
from rca.records.simulate.draws import Draws
from rca.show.exercise.case_file import Clue
from rca.show.exercise.clues import SURVEYED, Showing, Shown
from rca.show.exercise.conditions import conditions_of
from rca.show.exercise.menu import budget_of, clues_of
from rca.show.exercise.past import Past, make_past
from rca.show.exercise.record_study import RecordStudy, study_records
from rca.show.exercise.setting import Setting, draw_kind, draw_setting
from rca.show.exercise.suspicion import Solution, solve

SIMULATED, SHUFFLED = 10, 5
"""Most fleets simulated, and most draws of the clues for each, to find a case as wanted."""
FEWEST, MOST = 60, 300
"""Failures of the part that a case may have: enough to see something, few enough to read."""
LEAST_SEPARATION = 1.0
"""With every clue bought the truth leads its best rival by at least ten to one."""
BANDS = {"easy": (0.0, 0.27), "middle": (0.27, 0.48), "hard": (0.48, 1.0)}
"""Share of the budget that the best order spends: what the levels mean."""


@dataclass(frozen=True, slots=True, eq=False)
class Solvable:
    """A case that can be solved, before it is written."""

    setting: Setting
    past: Past
    study: RecordStudy
    menu: tuple[Clue, ...]
    shown: Mapping[str, Shown]
    solution: Solution
    attempt: int
    seed: int


def digest(secret: bytes, student: str, what: str) -> bytes:
    """Return 256 bits that only the secret, the student and the purpose decide."""
    return hmac.digest(secret, f"{student}\x1f{what}".encode(), "sha256")


def draws_of(secret: bytes, student: str, what: str) -> Draws:
    """Return the random numbers of one student for one purpose."""
    return Draws(int.from_bytes(digest(secret, student, what), "big"))


def search(
    secret: bytes, student: str, *, level: str, kind: str, traps: Sequence[str] | None
) -> Solvable:
    """Find a case that can be solved, of the wanted level if there is one within the tries."""
    nearest: tuple[float, Solvable] | None = None
    for attempt in range(SIMULATED):
        for one in _shuffles(secret, student, attempt, level=level, kind=kind, traps=traps):
            share = one.solution.share
            if share is None or one.solution.separation < LEAST_SEPARATION:
                continue
            low, high = BANDS[level]
            away = max(low - share, share - high, 0.0)
            if away == 0:
                return one
            if nearest is None or away < nearest[0]:
                nearest = (away, one)
    if nearest is None:
        raise RcaError(
            f"no case that can be solved was found for {student!r}",
            next_step="leave kind and traps to be drawn, or choose another level",
        )
    return nearest[1]


def _shuffles(
    secret: bytes,
    student: str,
    attempt: int,
    *,
    level: str,
    kind: str,
    traps: Sequence[str] | None,
) -> Iterator[Solvable]:
    """Simulate one fleet, and draw its clues again and again."""
    # The kind is drawn once: else kinds that are easily solved would be drawn more often.
    kind = kind or draw_kind(draws_of(secret, student, "kind"), traps or ())
    draws = draws_of(secret, student, f"case {attempt}")
    setting = draw_setting(draws, level=level, kind=kind, traps=traps)
    seed = int.from_bytes(digest(secret, student, f"fleet {attempt}"), "big")
    past = make_past(setting, seed=seed)
    study = study_records(as_fleet(past.fleet), setting.scenario.part)
    if not FEWEST <= study.failures <= MOST or study.fit is None:
        return
    menu = clues_of(setting.scenario, draws.child("prices"))
    prices = {one.id: one.price for one in menu}
    budget = budget_of(setting, draws)
    for number in range(SHUFFLED):
        mixed = draws.child("clues", str(number))
        seen = conditions_of(setting, past.whole, mixed, wanted=SURVEYED)
        showing = Showing(setting, past, study, seen, mixed)
        shown = {one.id: showing.show(one) for one in menu}
        outcomes = {name: one.outcome for name, one in shown.items()}
        solution = solve(prices, outcomes, setting.guilty, budget=budget)
        yield Solvable(setting, past, study, menu, shown, solution, attempt, seed)
