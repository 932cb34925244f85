"""The graph of an investigation file as plain frozen records: problem, causes, links, fixes.

What was or could be observed stands in `observations`; no arithmetic, no checks in either.

Each entry carries `line`, its line in the file (0 where it was made in memory); two entries
that say the same on different lines are equal.
"""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from enum import StrEnum
from typing import NamedTuple

PROBLEM = "problem"
NOT_CAUGHT = "not caught"
SOMETHING_ELSE = "something else"

BRANCHES = (
    "part itself",
    "upstream supply",
    "control or command",
    "mating parts",
    "duty and driver use",
    "environment",
    "maintenance",
    "parts supply",
    "measurement",
    "design",
)
"""Branches of the cause-effect diagram where a file names none (common practice, no source)."""


class Layer(StrEnum):
    """How far from the broken part a cause lies."""

    PHYSICAL = "physical"
    UPSTREAM = "upstream"
    PROCEDURAL = "human or procedural"
    ORGANISATIONAL = "organisational"


class Link(NamedTuple):
    """`cause` leads to `effect`; the effect is a cause, `PROBLEM` or `NOT_CAUGHT`."""

    cause: str
    effect: str

    def __str__(self) -> str:
        return f"{self.cause} -> {self.effect}"


@dataclass(frozen=True, slots=True)
class Gate:
    """`need` of the `inputs` suffice: 1 is OR, all of them is AND; an input may be a gate."""

    need: int
    inputs: "tuple[str | Gate, ...]"

    @property
    def word(self) -> str:
        """Say how the inputs act together: any, all, or at least so many."""
        if len(self.inputs) == 1 or self.need == 1:
            return "any"
        return "all" if self.need == len(self.inputs) else f"at least {self.need}"

    def causes(self) -> Iterator[str]:
        """Give every cause named below this gate, in the order of the file."""
        for one in self.inputs:
            if isinstance(one, Gate):
                yield from one.causes()
            else:
                yield one

    def holds(self, true: "set[str] | frozenset[str]") -> bool:
        """Whether the gate is satisfied when exactly the causes in `true` are present."""
        met = (one.holds(true) if isinstance(one, Gate) else one in true for one in self.inputs)
        return sum(met) >= self.need


@dataclass(frozen=True, slots=True)
class Seen:
    """Seen `seen` times in `of` trials."""

    seen: int
    of: int

    @property
    def share(self) -> float:
        """Observed share, 0 to 1."""
        return self.seen / self.of


@dataclass(frozen=True, slots=True)
class SignOff:
    """Who said so, when, and why."""

    by: str
    why: str = ""
    date: str = ""


@dataclass(frozen=True, slots=True)
class Check:
    """What would clear a cause: a measurement, a test, or a sentence (one of the three)."""

    measurement: str = ""
    test: str = ""
    sentence: str = ""


@dataclass(frozen=True, slots=True)
class Problem:
    """What was seen, where, when and how much, and what was not; no cause in it."""

    statement: str
    effect: str = ""
    severity: str = ""
    effect_probability: float | None = None
    first_seen: str = ""
    trigger: str = ""
    is_is_not: Mapping[str, tuple[str, str]] = field(default_factory=dict)
    good_units: str = ""
    changes_before: tuple[str, ...] = ()
    because: Gate | None = None
    not_caught_because: Gate | None = None
    line: int = field(default=0, compare=False)


@dataclass(frozen=True, slots=True)
class Cause:
    """One statement of the graph of causes, and what leads to it."""

    id: str
    says: str
    layer: Layer
    branch: str = ""
    because: Gate | None = None
    stop: str = ""
    replaced_part: bool = False
    prior: float | None = None
    probability: float | Seen | None = None
    also_on_good_units: str = ""
    check: Check | None = None
    cleared: SignOff | None = None
    accepted: SignOff | None = None
    line: int = field(default=0, compare=False)


@dataclass(frozen=True, slots=True)
class Fix:
    """An action and how it will be shown to work.

    `kind` is correction (makes the unit work), containment (holds the effect back) or
    corrective (removes the cause).
    """

    id: str
    does: str
    kind: str
    causes: tuple[str, ...]
    part: str = ""
    mode: str = ""
    owner: str = ""
    due: str = ""
    done: str = ""
    chosen_by: str = ""
    target_ratio: float | None = None
    registered: str = ""
    reading: str = ""
    measure: str = ""
    review: str = ""
    line: int = field(default=0, compare=False)


@dataclass(frozen=True, slots=True)
class Conclusion:
    """The cause or causes concluded upon, and with what confidence."""

    causes: tuple[str, ...]
    confidence: str
    date: str = ""
    by: str = ""
    says: str = ""
    line: int = field(default=0, compare=False)


@dataclass(frozen=True, slots=True)
class Costs:
    """Money and lives of a single case, for restore or replace."""

    restored_part: float | None = None
    new_part: float | None = None
    each_failure: float | None = None
    cause_removed: float | None = None
    life_with_cause: float | None = None
    life_without_cause: float | None = None
    life_unit: str = ""
