"""The plan of an invented fleet: its units and their use, and what is planted in it."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date
from typing import Literal

from rca.errors import RcaError
from rca.records.simulate.planted import (
    MENDS,
    REMOVALS,
    CausePlan,
    FixPlan,
    PartPlan,
    Shares,
)


@dataclass(frozen=True, slots=True)
class ModelPlan:
    """A model of unit: its share of the fleet, its mean daily use, and its fixed attributes."""

    name: str
    share: float = 1.0
    daily_use: float = 100.0
    prefix: str = "U"
    attributes: Mapping[str, str] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class AttributePlan:
    """A further column of the units: shares of its levels, in all or by depot, and use factors."""

    name: str
    shares: Shares
    by_depot: Mapping[str, Shares] = field(default_factory=dict)
    use: Shares = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class FleetPlan:
    """An invented fleet. Units enter service evenly between `first_in_service` and the last.

    `use_spread` and `use_noise` are standard deviations of the logarithm of use: between units,
    and from month to month within a unit; `season` swings use over the year. `spread` is the
    variance of a factor that a unit applies to all of its parts.
    """

    name: str
    parts: tuple[PartPlan, ...]
    units: int = 60
    records_begin: date = date(2022, 1, 1)
    cutoff: date = date(2025, 12, 31)
    first_in_service: date = date(2020, 1, 1)
    last_in_service: date = date(2025, 6, 30)
    meter_unit: Literal["km", "miles", "hours"] = "km"
    models: tuple[ModelPlan, ...] = (ModelPlan("M1"),)
    depots: Shares = field(default_factory=lambda: {"North": 1.0, "South": 1.0, "West": 1.0})
    attributes: tuple[AttributePlan, ...] = ()
    causes: tuple[CausePlan, ...] = ()
    fixes: tuple[FixPlan, ...] = ()
    spread: float = 0.0
    use_spread: float = 0.25
    use_noise: float = 0.1
    season: float = 0.0
    season_peak: int = 7
    retired_per_year: float = 0.0
    visit_every_days: float = 0.0  # 0 = no regular visits
    reading_every_days: float = 30.0

    def __post_init__(self) -> None:
        if self.units < 1:
            raise RcaError(f"a fleet needs at least one unit, the plan has {self.units}")
        if not self.records_begin < self.cutoff:
            raise RcaError("records_begin must lie before cutoff")
        if not self.first_in_service <= self.last_in_service <= self.cutoff:
            raise RcaError("first_in_service, last_in_service and cutoff must follow each other")
        for what in ("parts", "causes", "fixes", "models"):
            _demand_different(what, [one.name for one in getattr(self, what)])
        for part in self.parts:
            _check_part(part)
            _demand_known(f"effects of part {part.name!r}", part.effects, self._unit_columns())
        for cause in self.causes:
            self._check_cause(cause)
        for fix in self.fixes:
            self._check_fix(fix)

    def _unit_columns(self) -> list[str]:
        of_models = [name for model in self.models for name in model.attributes]
        return ["model", "depot", *of_models, *(one.name for one in self.attributes)]

    def _check_cause(self, cause: CausePlan) -> None:
        place = f"cause {cause.name!r}"
        _demand_known(place, cause.targets, [part.name for part in self.parts])
        _demand_known(place, [cause.needs], ["", *(one.name for one in self.causes)])
        for target in cause.targets:
            _demand_known(place, [cause.mode], self._modes(target))

    def _check_fix(self, fix: FixPlan) -> None:
        place = f"fix {fix.name!r}"
        _demand_known(place, [fix.part], [part.name for part in self.parts])
        _demand_known(place, [fix.cause], ["", *(one.name for one in self.causes)])
        _demand_known(place, [fix.mode], self._modes(fix.part))
        if fix.chosen_by == "cause found" and not fix.cause:
            raise RcaError(f"{place}: say which cause was found on the units")
        if not (fix.ratio >= 0 and 0 < fix.share <= 1):
            raise RcaError(f"{place}: ratio must be 0 or more, share above 0 and up to 1")

    def _modes(self, name: str) -> list[str]:
        return [
            "",
            *(mode.name for part in self.parts if part.name == name for mode in part.all_modes),
        ]


def _check_part(part: PartPlan) -> None:
    """Refuse a part plan that cannot be simulated."""
    place = f"part {part.name!r}"
    if not part.modes:
        raise RcaError(f"{place}: give at least one failure mode")
    _demand_different(f"{place}, modes", [mode.name for mode in part.modes])
    for mode in part.all_modes:
        if not (mode.shape > 0 and mode.scale > 0):
            raise RcaError(f"{place}, mode {mode.name!r}: shape and scale must be above 0")
    _demand_known(f"removals of {place}", part.removals, REMOVALS)
    _demand_known(f"mends of {place}", part.mends, MENDS)
    if part.lots and not all(1 <= number <= part.lots.count for number in part.lots.bad):
        raise RcaError(f"{place}: bad lots are numbered from 1 to {part.lots.count}")
    if part.planned_at is not None and part.planned_at <= 0:
        raise RcaError(f"{place}: planned_at must be above 0")


def _demand_different(what: str, names: Sequence[str]) -> None:
    twice = sorted({name for name in names if names.count(name) > 1})
    if twice:
        raise RcaError(f"{what}: named twice in the plan: {', '.join(twice)}")


def _demand_known(place: str, names: Iterable[str], known: Sequence[str]) -> None:
    for name in names:
        if name not in known:
            listed = ", ".join(filter(None, known)) or "nothing"
            raise RcaError(f"{place}: {name!r} is not known", next_step=f"known here: {listed}")
