"""A setting for cases: an invented operator, its units, a part that keeps failing, its suspects.

Every setting has the same eight suspects by layer; which one is guilty is drawn for each student,
so that nothing in the setting tells it. All of it is invented.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal

Words = tuple[str, ...]

SUSPECTS = (
    "supply", "control", "mating", "duty", "environment", "lot", "fitting", "age",
)  # fmt: skip
"""Upstream supply, control, mating part, duty, environment, a lot of parts, workmanship at one
depot, and none: honest wear-out. Ids in every case, in this order."""

BRANCH = {
    "supply": "upstream supply",
    "control": "control or command",
    "mating": "mating parts",
    "duty": "duty and driver use",
    "environment": "environment",
    "lot": "parts supply",
    "fitting": "maintenance",
    "age": "design",
}
LAYER = dict.fromkeys(SUSPECTS, "upstream") | {"age": "organisational"}

MECHANISMS = {
    "supply": "starved",
    "control": "overloaded",
    "mating": "askew",
    "duty": "overloaded",
    "environment": "soiled",
    "lot": "soft",
    "fitting": "askew",
    "age": "even",
}
"""What a teardown finds of each: one mechanism may point to two suspects."""


@dataclass(frozen=True, slots=True)
class Reading:
    """What is measured for a suspect: usual value, value where the condition is there, limit."""

    quantity: str
    unit: str
    good: float
    bad: float
    limit: float
    digits: int = 1

    @property
    def at_most(self) -> bool:
        """Whether the limit is an upper one."""
        return self.bad > self.good


@dataclass(frozen=True, slots=True)
class Suspect:
    """One candidate cause: what people say, how it is measured, what removes it, what is behind.

    `condition` is a noun phrase for "found on so many units"; `change` an entry of the list of
    changes; `behind` the reason in the organisation for which it became normal.
    """

    says: str
    condition: str
    reading: Reading
    change: str
    repair: str
    behind: str


@dataclass(frozen=True, slots=True)
class OtherPart:
    """Another part of the units: failure mode, mean life (meter), words."""

    name: str
    mode: str
    scale: float
    complaints: Words
    causes: Words
    system: str = ""


@dataclass(frozen=True, slots=True)
class Scenario:
    """One setting; `signs` names for supply, control and mating the part whose rows tell of it."""

    name: str
    operators: Words
    units_word: str
    prefix: str
    models: Words
    depots: Words
    meter_unit: Literal["km", "miles", "hours"]
    daily_use: float
    part: str
    system: str
    mode: str
    other_mode: str
    scale: float
    complaints: Words
    causes: Words
    duty: tuple[str, str]  # ordinary, heavy
    surroundings: tuple[str, str]  # ordinary, harsh
    suppliers: Words
    signs: Mapping[str, str]
    others: tuple[OtherPart, ...]
    mechanisms: Mapping[str, str]
    suspects: Mapping[str, Suspect]
    effect: str
