"""What is planted in an invented fleet: parts and how they fail, hidden causes, fixes.

Everything here is truth that the records only show through. Ages are in the fleet's meter unit
or in days, as each part says; factors multiply the failure rate at equal age.
"""

import math
from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date
from typing import Literal

Shares = Mapping[str, float]
Words = tuple[str, ...]

REMOVALS = ("inspection", "accident", "no fault found", "other")
"""Reasons for which a good part may be taken out at a constant rate (`PartPlan.removals`)."""
MENDS = ("repaired", "cleaned", "adjusted")
"""Actions that mend a part without renewing it."""


@dataclass(frozen=True, slots=True)
class ModePlan:
    """One failure mode: its Weibull life on the part's scale, and the words written of it."""

    name: str
    shape: float
    scale: float
    complaints: Words = ()
    causes: Words = ()
    corrections: Words = ()


@dataclass(frozen=True, slots=True)
class LotPlan:
    """Lots of the part fitted at repairs; `factor` holds for the lots numbered in `bad` (from 1).

    Lots follow each other every `days_each` days from `first_day` on; a share `carried_over` of
    fittings still takes the lot before. With `mixed` every fitting takes any of the lots. Parts
    from before `first_day`, and first parts of new units, are of no known lot and ordinary.
    """

    first_day: date
    days_each: float
    count: int
    prefix: str = "L"
    bad: tuple[int, ...] = ()
    factor: float = 1.0
    carried_over: float = 0.0
    mixed: bool = False
    recorded: float = 1.0  # share of fittings whose lot is written down


@dataclass(frozen=True, slots=True)
class WorkmanshipPlan:
    """Lives begun by a repair on units where the condition holds may have been fitted badly.

    A `share` of them has: failures are `factor` times as frequent up to the age `until` (on the
    part's scale), and the mode `early` threatens them besides the part's own modes.
    """

    where: str
    factor: float = 1.0
    until: float = math.inf
    share: float = 1.0
    early: ModePlan | None = None


@dataclass(frozen=True, slots=True)
class RecallPlan:
    """A recall: parts replaced from `start` within `over_days`; all of them, or one lot only."""

    start: date
    over_days: float = 30.0
    share: float = 1.0
    lot: int = 0  # 0 = whatever lot


@dataclass(frozen=True, slots=True)
class PartPlan:
    """One part family.

    `spread` is the variance of the gamma factor between units; `effects` gives factors by the
    levels of unit columns, for example ``{"depot": {"North": 2.0}}``; `removals` gives for the
    reasons in REMOVALS how many good parts a year are taken out per position.
    """

    name: str
    modes: tuple[ModePlan, ...]
    system: str = ""
    positions: Words = ("",)
    fitted_to: str = "all"
    scale_on: Literal["meter", "days"] = "meter"
    spread: float = 0.0
    effects: Mapping[str, Shares] = field(default_factory=dict)
    season: float = 0.0  # the rate swings by this share over the year
    season_peak: int = 7  # month of the peak
    lots: LotPlan | None = None
    workmanship: WorkmanshipPlan | None = None
    recall: RecallPlan | None = None
    mended: float = 0.0  # share of failures cleaned, adjusted or repaired: the life goes on
    mends: Words = MENDS
    planned_at: float | None = None  # age of planned replacement
    planned_kept: float = 1.0  # share of lives for which the plan is kept
    removals: Shares = field(default_factory=dict)
    tested_good: float = 0.0  # tests a year that find no fault; the part stays
    found_at_visits: float = 0.0  # share of failures that wait for the unit's next visit
    inspected_at_visits: float = 0.0  # share of visits with a row for this part
    fitted_known: float = 0.0  # share of removals that state when the part had been fitted
    mode_stated: float = 1.0
    cause_stated: float = 0.0  # share of ordinary failures with cause_addressed = no
    safety_critical: bool = False
    planned_cost: float = 200.0
    failure_cost: float = 500.0
    downtime_hours: float = 6.0

    @property
    def all_modes(self) -> tuple[ModePlan, ...]:
        """The part's own modes, and the one of bad workmanship behind them."""
        early = self.workmanship.early if self.workmanship else None
        return self.modes if early is None else (*self.modes, early)


@dataclass(frozen=True, slots=True)
class RowPlan:
    """A repair row that something planted leaves behind."""

    part: str
    action: str
    reason: str
    mode: str = ""
    fault_code: str = ""
    complaint: str = ""
    cause: str = ""
    correction: str = ""
    cause_addressed: str = ""
    cost: float = 0.0  # mean; 0 = not stated
    downtime_hours: float = 0.0


@dataclass(frozen=True, slots=True)
class SignPlan:
    """Rows that tell of a hidden cause.

    A `share` of the failures under the cause has such a row `lag` days before (negative days:
    after it, so that the sign is an effect); a share `at_begin` of the cause's spells leaves one
    on its first day; and all units of the fleet have `per_year` of them without any cause.
    """

    row: RowPlan
    share: float = 0.0
    lag: tuple[float, float] = (5.0, 60.0)
    at_begin: float = 0.0
    per_year: float = 0.0


@dataclass(frozen=True, slots=True)
class CausePlan:
    """A hidden upstream state of some units that multiplies the failure rate of other parts.

    It begins on exactly `share` of the units where the condition holds, at days spread evenly
    over `begins`, and lasts until it is found; with `lasts_days` and `every_days` it comes in
    spells of those mean lengths instead. `needs` names another cause without which it does
    nothing (AND). A share `found_at_repair` of the repairs under it removes it there and then.
    """

    name: str
    targets: Shares  # part -> factor
    begins: tuple[date, date]
    share: float = 1.0
    where: str = "all"
    mode: str = ""  # only this mode of the targets; "" = all
    lasts_days: float = math.inf
    every_days: float = math.inf
    needs: str = ""
    found_at_repair: float = 0.0
    signs: tuple[SignPlan, ...] = ()


@dataclass(frozen=True, slots=True)
class FixPlan:
    """A fix: from its day on each treated unit the failure rate is `ratio` times what it was.

    `share` of the units where the condition holds and that were there on `start` are treated,
    chosen as `chosen_by` says: the units that carry `cause` then, or the units with most
    failures of the part in the records so far, or at random (other). `until` is a relapse.
    """

    name: str
    part: str
    start: date
    ratio: float
    over_days: float = 0.0
    mode: str = ""
    cause: str = ""
    kind: Literal["containment", "corrective"] = "corrective"
    chosen_by: Literal["all units", "cause found", "most failures", "other"] = "all units"
    where: str = "all"
    share: float = 1.0
    until: date | None = None
    refit: bool = False  # a new part is fitted with the fix
    leaves: RowPlan | None = None
