"""What is drawn for one case before anything is simulated: kind, traps, names, dates, numbers."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Any

from rca.errors import RcaError
from rca.records.simulate.draws import Draws
from rca.show.exercise.later_records import month_end_after
from rca.show.exercise.scenario import SUSPECTS, Scenario
from rca.show.exercise.scenarios import SCENARIOS
from rca.show.exercise.traps import TRAPS, fits

LEVELS = ("easy", "middle", "hard")
TRAPS_AT = {"easy": (0, 1), "middle": (1, 3), "hard": (3, 5)}
FACTOR_AT = {"easy": 6.0, "middle": 5.0, "hard": 4.2}
ERROR_AT = {"easy": 0.04, "middle": 0.1, "hard": 0.16}
DECOYS_AT = {"easy": 1, "middle": 2, "hard": 3}
MONTHS_AFTER = (4, 6, 9, 12)
ROUNDS = 3
HIDDEN = ("supply", "control", "mating")
"""Suspects that are a hidden state of some units, seen in records only by what comes before."""


@dataclass(frozen=True, slots=True)
class Setting:
    """The plan of one case. `partner` is the second cause that is needed too ("" = none).

    `decoys` are innocent suspects whose readings are out of limit on about half of all units,
    failed or not; `error` is the chance that a single reading tells the wrong thing; `depot` is
    where parts are fitted badly, if they are; `effect_part` the part that fails after the target,
    as its consequence ("" = none).
    """

    scenario: Scenario
    kind: str
    traps: tuple[str, ...]
    level: str
    operator: str
    depots: tuple[str, ...]
    units: int
    records_begin: date
    cutoff: date
    months_after: int
    factor: float
    error: float
    decoys: tuple[str, ...]
    partner: str
    depot: str
    effect_part: str

    @property
    def guilty(self) -> frozenset[str]:
        """Suspects that are true."""
        return frozenset({self.kind, self.partner} - {""})


def draw_setting(
    draws: Draws,
    *,
    level: str,
    kind: str = "",
    traps: Sequence[str] | None = None,
    scenario: str = "",
) -> Setting:
    """Draw a setting; what is named is taken, the rest is drawn.

    Raises
    ------
    RcaError
        A level, kind, trap or scenario is not known, or a named trap does not fit the kind.
    """
    _demand("level", [level], LEVELS)
    _demand("kind", [kind], ["", *SUSPECTS])
    _demand("scenario", [scenario], ["", *SCENARIOS])
    _demand("trap", traps or (), list(TRAPS))
    place = SCENARIOS[scenario or _one_of(list(SCENARIOS), draws.child("scenario"))]
    kind = kind or draw_kind(draws, traps or ())
    chosen = _traps(kind, level, traps, draws.child("traps"))
    begin = date(2013, 1, 1) + timedelta(days=31 * int(draws.child("begin").uniform(1, 0, 34)[0]))
    begin = begin.replace(day=1)
    depots = _some_of(place.depots, 3, draws.child("depots"))
    innocent = [one for one in SUSPECTS if one not in (kind, "age")]
    partner = ""
    if "two causes" in chosen:
        partner = _one_of([one for one in HIDDEN if one != kind], draws.child("partner"))
        innocent.remove(partner)
    signs = [place.signs[one] for one in HIDDEN if one not in (kind, partner)]
    return Setting(
        scenario=place,
        kind=kind,
        traps=chosen,
        level=level,
        operator=_one_of(place.operators, draws.child("operator")),
        depots=depots,
        units=int(draws.child("units").uniform(1, 66, 97)[0]),
        records_begin=begin,
        cutoff=month_end_after(begin - timedelta(days=1), 48),
        months_after=_one_of(MONTHS_AFTER, draws.child("months")),
        factor=FACTOR_AT[level] * float(draws.child("factor").uniform(1, 0.9, 1.15)[0]),
        error=ERROR_AT[level],
        decoys=_some_of(innocent, DECOYS_AT[level], draws.child("decoys")),
        partner=partner,
        depot=_one_of(depots, draws.child("depot")),
        effect_part=_one_of(signs, draws.child("effect")) if "effect" in chosen else "",
    )


def draw_kind(draws: Draws, traps: Sequence[str] = ()) -> str:
    """Draw the kind of a case among those in which all these traps can be laid.

    Raises
    ------
    RcaError
        No kind can bear them all.
    """
    _demand("trap", traps, list(TRAPS))
    possible = [kind for kind in SUSPECTS if all(fits(one, kind) for one in traps)]
    if not possible:
        step = "leave one of them out"
        raise RcaError(f"no case can bear all of: {', '.join(traps)}", next_step=step)
    return str(_one_of(possible, draws.child("kind")))


def _traps(kind: str, level: str, named: Sequence[str] | None, draws: Draws) -> tuple[str, ...]:
    if named is not None:
        for one in named:
            if not fits(one, kind):
                raise RcaError(f"trap {one!r} cannot be laid in a case of kind {kind!r}")
        return tuple(one for one in TRAPS if one in named)
    possible = [one for one in TRAPS if fits(one, kind)]
    low, high = TRAPS_AT[level]
    count = low + int(draws.uniform(1, 0, high - low + 1)[0])
    drawn = _some_of(possible, min(count, len(possible)), draws)
    return tuple(one for one in TRAPS if one in drawn)


def _one_of(names: Sequence[Any], draws: Draws) -> Any:
    return names[int(draws.choose(1, [1.0] * len(names))[0])]


def _some_of(names: Sequence[str], count: int, draws: Draws) -> tuple[str, ...]:
    return tuple(names[int(place)] for place in draws.sample(len(names), count))


def _demand(what: str, given: Sequence[str], known: Sequence[str]) -> None:
    for one in given:
        if one not in known:
            listed = ", ".join(filter(None, known))
            raise RcaError(f"there is no {what} {one!r}", next_step=f"known: {listed}")
