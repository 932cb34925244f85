"""How a finding of the review is told."""

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Finding:
    """One thing that a reader would reject: where, what, and what to do."""

    place: str
    line: int
    says: str
    do: str

    def __str__(self) -> str:
        where = f"{self.place} (line {self.line})" if self.line else self.place
        return f"{where}: {self.says} -> {self.do}"
