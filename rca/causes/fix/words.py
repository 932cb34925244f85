"""The words in which a fix is judged; every page and file uses these and no others."""

from enum import StrEnum


class Effect(StrEnum):
    """Has the failure rate fallen, as far as the records can tell."""

    SHOWN = "effect shown"
    BELOW_TARGET = "improved, below target"
    NOT_EFFECTIVE = "not effective"
    TOO_EARLY = "too early"
    CANNOT_JUDGE = "cannot judge"
    RELAPSED = "relapsed"


class CauseAnswer(StrEnum):
    """Is the upstream cause gone, by readings taken after the fix."""

    REMOVED = "removed"
    STILL_PRESENT = "still present"
    NOT_CHECKED = "not checked"


class ChosenBy(StrEnum):
    """How the units that were given the fix were chosen."""

    ALL = "all units"
    CAUSE_FOUND = "cause found"
    MOST_FAILURES = "most failures"
    OTHER = "other"
