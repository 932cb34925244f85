"""What is being worked out for one file of an import, while it is being worked out."""

from dataclasses import dataclass, field

from rca.records.importing.distinct import Cells
from rca.records.importing.faults import Fault
from rca.records.importing.guessing import Guess
from rca.records.importing.headings import Match
from rca.records.importing.questions import Desk


@dataclass(slots=True)
class Draft:
    """What is being worked out."""

    table: str
    cells: Cells
    desk: Desk
    columns: dict[str, str] = field(default_factory=dict)
    matches: dict[str, Match] = field(default_factory=dict)
    absent: set[str] = field(default_factory=set)
    values: dict[str, dict[str, str]] = field(default_factory=dict)
    faults: list[Fault] = field(default_factory=list)
    guesses: dict[str, Guess] = field(default_factory=dict)
