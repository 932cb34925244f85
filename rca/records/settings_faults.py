"""Faults of fleet.yaml that a schema cannot see: unreal days, unknown columns, paths that leave."""

from collections.abc import Iterator, Mapping
from datetime import date
from pathlib import PurePosixPath, PureWindowsPath
from typing import Any
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError, available_timezones

from rca.errors import Problem
from rca.records import files
from rca.records.columns import TABLES, table_of
from rca.records.schema import did_you_mean, nearest

FLEET_FILE = "fleet.yaml"
LIKE_A_SLIP = 0.75  # a name this close to one of ours is a slip, not a name of its own


def settings_faults(data: Mapping[str, Any]) -> list[Problem]:
    """List the faults of a fleet.yaml that fits its schema."""
    found = [*_days(data), *_timezone(data)]
    for table, spec in data["tables"].items():
        spec = {"file": spec} if isinstance(spec, str) else spec
        found += [*_file(data, table, spec), *_columns(data, table, spec)]
        found += [*_encoding(data, table, spec), *_date_orders(data, table, spec)]
        found += _words(data, table, spec)
    return found


def day_of(text: str) -> date | None:
    """Return the day written YYYY-MM-DD, None where there is no such day."""
    try:
        return date.fromisoformat(text)
    except ValueError:
        return None


def _fault(data: Any, place: tuple[Any, ...], value: str, rule: str, step: str = "") -> Problem:
    key = ".".join(map(str, place))
    return Problem(FLEET_FILE, files.line_of(data, place), key, value, rule, step)


def _days(data: Mapping[str, Any]) -> Iterator[Problem]:
    places: list[tuple[Any, ...]] = [("records_begin",), ("cutoff",)]
    places += [("fixes", name, "registered") for name in data.get("fixes", {})]
    for place in places:
        value: Any = data
        for key in place:
            value = value.get(key) if isinstance(value, dict) else None
        if value is not None and day_of(str(value)) is None:
            yield _fault(data, place, str(value), "is not a real date")
    begin, end = (day_of(str(data.get(key))) for key in ("records_begin", "cutoff"))
    if begin and end and begin > end:
        rule = f"lies after the cut-off {end}"
        yield _fault(data, ("records_begin",), str(begin), rule, "correct one of the two")


def _timezone(data: Mapping[str, Any]) -> Iterator[Problem]:
    zone = str(data.get("timezone", "UTC"))
    try:
        ZoneInfo(zone)
    except (ZoneInfoNotFoundError, ValueError, OSError):
        close = nearest(zone, sorted(available_timezones()))
        step = f"did you mean {close!r}?" if close else "write it like Europe/Vienna, or UTC"
        yield _fault(data, ("timezone",), zone, "is no time zone", step)


def _file(data: Any, table: str, spec: Mapping[str, Any]) -> Iterator[Problem]:
    """A fleet folder is whole in itself: the report's manifest hashes what is in it."""
    file = str(spec.get("file", ""))
    here, there = PurePosixPath(file), PureWindowsPath(file)
    if here.is_absolute() or there.anchor or ".." in (*here.parts, *there.parts):
        step = "copy the file, or a link to it, into the folder and name it without a path"
        place = ("tables", table, "file") if "file" in data["tables"][table] else ("tables", table)
        yield _fault(data, place, file, "lies outside the fleet folder", step)


def _encoding(data: Any, table: str, spec: Mapping[str, Any]) -> Iterator[Problem]:
    encoding = str(spec.get("encoding", "utf-8"))
    try:
        "".encode(encoding)
    except (LookupError, ValueError):
        step = "use a name such as utf-8, cp1252 or utf-16"
        yield _fault(data, ("tables", table, "encoding"), encoding, "is no known encoding", step)


def _columns(data: Any, table: str, spec: Mapping[str, Any]) -> Iterator[Problem]:
    known = [column.name for column in TABLES[table_of(table)]]
    for key in ("columns", "values"):
        for ours in spec.get(key, {}):
            close = nearest(str(ours), known, likeness=LIKE_A_SLIP)
            if ours not in known and close and close not in str(ours):
                step = did_you_mean(str(ours), known)
                place = ("tables", table, key, ours)
                yield _fault(data, place, "", f"{ours!r} is not one of the kit's columns", step)


def _date_orders(data: Any, table: str, spec: Mapping[str, Any]) -> Iterator[Problem]:
    days = [column.name for column in TABLES[table_of(table)] if column.kind == "date"]
    orders = spec.get("date_order", "")
    for ours in orders if isinstance(orders, Mapping) else ():
        if ours not in days:
            place, step = ("tables", table, "date_order", ours), did_you_mean(str(ours), days)
            yield _fault(data, place, "", f"{ours!r} is not a column of dates", step)


def _words(data: Any, table: str, spec: Mapping[str, Any]) -> Iterator[Problem]:
    """Words on the right of `values` are the kit's own: a wrong one would spoil every such row."""
    words = {
        column.name: column.words for column in TABLES[table_of(table)] if column.kind == "word"
    }
    for ours, mapping in spec.get("values", {}).items():
        for theirs, word in mapping.items():
            if ours in words and word and word not in words[ours]:
                place = ("tables", table, "values", ours, theirs)
                step = did_you_mean(str(word), words[ours])
                yield _fault(data, place, str(word), "is not an allowed word", step)
