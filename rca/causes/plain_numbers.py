"""Numbers as JSON can hold them: seven figures, null and the reason where there is none."""

import math
from typing import Any

from rca.life.sample import Interval

FIGURES = 7


def number(value: float | None) -> float | int | None:
    """Return a number as JSON can hold it: seven figures, None where it is not a number."""
    if value is None or not math.isfinite(value):
        return None
    if float(value).is_integer() and abs(value) < 2**53:
        return int(value)
    return float(f"{value:.{FIGURES}g}")


def with_limits(
    value: float | None, interval: Interval | None, *, why_null: str = "", **more: Any
) -> dict[str, Any]:
    """Return value, lower and upper; `why_null` appears only where one of them is null."""
    lower = interval.lower if interval is not None else None
    upper = interval.upper if interval is not None else None
    found: dict[str, Any] = {
        "value": number(value),
        "lower": number(lower),
        "upper": number(upper),
        **more,
    }
    if None in (found["value"], found["lower"], found["upper"]):
        note = interval.note if interval is not None else ""
        found["why_null"] = why_null or note or "no limit exists"
    return found


def rounded(data: Any) -> Any:
    """Round every number in plain data to seven figures; what is none becomes null."""
    if isinstance(data, dict):
        return {key: rounded(value) for key, value in data.items()}
    if isinstance(data, list | tuple):
        return [rounded(value) for value in data]
    return number(data) if isinstance(data, float) else data
