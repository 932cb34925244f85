"""What can go wrong, said once and plainly: every error carries a next step."""

from collections.abc import Sequence
from dataclasses import dataclass


class RcaError(Exception):
    """Base of all errors that the kit raises on purpose.

    Parameters
    ----------
    message
        What is wrong, in one sentence, with the value that was found.
    next_step
        What the person can do about it; "" where the message says it all.
    """

    exit_code = 1

    def __init__(self, message: str, *, next_step: str = "") -> None:
        super().__init__(message)
        self.message = message
        self.next_step = next_step

    def __str__(self) -> str:
        return f"{self.message}\n  -> {self.next_step}" if self.next_step else self.message


class NoFit(RcaError):
    """No curve or estimate exists for these lives; says why and what can be done instead."""


class NoAnswer(RcaError):
    """A question that the records cannot answer, for example beyond the last unit watched."""


@dataclass(frozen=True, slots=True)
class Problem:
    """One fault in one place of one file.

    `line` is the line in the file as an editor counts it (the header is line 1), 0 where the
    fault has no line; `column` is the column's or key's name as the file spells it.
    """

    file: str
    line: int
    column: str
    value: str
    rule: str
    next_step: str = ""

    def __str__(self) -> str:
        place = ", ".join(
            text
            for text in (self.file, f"line {self.line}" if self.line else "", self.column)
            if text
        )
        found = f" = {self.value!r}" if self.value else ""
        step = f"  -> {self.next_step}" if self.next_step else ""
        return f"{place}{found}: {self.rule}{step}"


class Refused(RcaError):
    """Input that cannot be used; all problems found are listed at once."""

    exit_code = 4

    def __init__(self, problems: Sequence[Problem]) -> None:
        self.problems = tuple(problems)
        super().__init__("\n".join(str(problem) for problem in self.problems))


class NotWritten(RcaError):
    """Output that could not be written; what was there before is untouched."""


class Changed(NotWritten):
    """A file that somebody else changed since it was read; it is left as it is."""


class Busy(RcaError):
    """Another run holds the lock."""

    exit_code = 5
