"""How a finding of the review is told."""

from collections.abc import Sequence
from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Finding:
    """One thing that a reader would reject: where, what, and what to do."""

    place: str
    line: int
    says: str
    do: str

    def __str__(self) -> str:
        return f"{_where(self)}: {self.says} -> {self.do}"


MOST_PLACES = 8
FEWEST_ALIKE = 3  # findings that say the same, from which on they are told in one line


@dataclass(frozen=True, slots=True)
class Told:
    """One line of the review: a finding, or several that say the same of several places."""

    where: str
    says: str
    do: str

    def __str__(self) -> str:
        return f"{self.where}: {self.says} -> {self.do}"


def told_together(findings: Sequence[Finding]) -> list[Told]:
    """Put findings that say the same into one line, where the first of them stood."""
    alike: dict[tuple[str, str], list[Finding]] = {}
    for one in findings:
        alike.setdefault((one.says, one.do), []).append(one)
    lines = []
    for one in findings:
        same = alike[one.says, one.do]
        if len(same) < FEWEST_ALIKE:
            lines.append(Told(_where(one), one.says, one.do))
        elif one is same[0]:
            lines.append(Told(_places(same), one.says, one.do))
    return lines


def _where(one: Finding) -> str:
    return f"{one.place} (line {one.line})" if one.line else one.place


def _places(same: Sequence[Finding]) -> str:
    named = ", ".join(map(_where, same[:MOST_PLACES]))
    more = len(same) - MOST_PLACES
    return f"{named} and {more} more" if more > 0 else named
