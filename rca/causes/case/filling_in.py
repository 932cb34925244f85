"""Changes to the mapping of an investigation file, made in place so that its comments stay."""

from collections.abc import Iterable
from typing import Any

from rca.errors import RcaError
from rca.records.schema import did_you_mean

WORDS = ("open circuit", "over-range", "no reading")


def record_reading(
    data: Any,
    measurement: str,
    reading: float | str | Iterable[float],
    *,
    when: str = "as found",
    unit: str = "",
    date: str = "",
    by: str = "",
) -> None:
    """Write a reading into the mapping that `rca.records.files.read_yaml` gave.

    Parameters
    ----------
    data
        Mapping of the file; changed in place.
    measurement
        Which measurement.
    reading
        A number, several, or one of the words open circuit, over-range, no reading.
    when
        "as found" or "after".
    unit, date, by
        Where they are to be told; the unit only where it differs from the measurement's.
    """
    entry = _entry(data, "measurements", measurement)
    key = {"as found": "as_found", "after": "after"}.get(when)
    if key is None:
        raise RcaError(f"a reading is taken 'as found' or 'after', not {when!r}")
    if isinstance(reading, str) and reading not in WORDS:
        raise RcaError(f"{reading!r} is no reading", next_step=did_you_mean(reading, WORDS))
    value = reading if isinstance(reading, str | int | float) else [float(one) for one in reading]
    if entry.get(key) is None:
        entry[key] = {}
    _put(entry[key], {"reading": value, "unit": unit, "date": date, "by": by})


def record_result(data: Any, test: str, result: str, *, date: str = "", by: str = "") -> None:
    """Write the result of a test into the mapping that `rca.records.files.read_yaml` gave."""
    entry = _entry(data, "tests", test)
    if entry.get("done") is None:
        entry["done"] = {}
    _put(entry["done"], {"result": result, "date": date, "by": by})


def _entry(data: Any, section: str, name: str) -> Any:
    held = data.get(section) or {}
    if name not in held:
        step = did_you_mean(name, map(str, held))
        raise RcaError(f"there is no {name!r} under {section}", next_step=step)
    return held[name]


def _put(entry: Any, values: dict[str, Any]) -> None:
    """Set what is given, and leave what is blank as it was."""
    for key, value in values.items():
        if value != "":
            entry[key] = value
