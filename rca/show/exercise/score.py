"""Points for one criterion, and how they are earned by a number within tolerance."""

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Score:
    """A share (0 to 1) of the points of one criterion, with its reasons.

    `for_a_person` holds free text that a program cannot judge; the share then is provisional.
    """

    share: float
    because: tuple[str, ...]
    for_a_person: tuple[tuple[str, str], ...] = ()


@dataclass(frozen=True, slots=True)
class Mark:
    """Points for one criterion: `points` of `most`; `by_person` where a person set them."""

    criterion: str
    points: float
    most: float
    because: tuple[str, ...]
    for_a_person: tuple[tuple[str, str], ...] = ()
    by_person: bool = False


def closeness(value: float | None, right: float, tolerance: float) -> float:
    """Share earned by a number: 1 within `tolerance` of the right one, 1/2 within twice that.

    The tolerance is a share of the right value; with 0, only the value itself earns anything.
    """
    if value is None:
        return 0.0
    away = abs(value - right)
    room = abs(right) * tolerance
    if away <= room + 1e-9:
        return 1.0
    return 0.5 if room > 0 and away <= 2 * room else 0.0
