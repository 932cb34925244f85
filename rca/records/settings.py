"""fleet.yaml: what it may say, what it says, and every default that it leaves in force."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date
from pathlib import Path
from typing import Any
from zoneinfo import available_timezones

from rca.errors import Problem, Refused
from rca.records import files
from rca.records.columns import MISSING, TABLES, Rules
from rca.records.files import TableSource
from rca.records.schema import did_you_mean, nearest, schema_problems

MOST_USE_A_DAY = {"km": 1500.0, "miles": 950.0, "hours": 24.0}
REPEAT_DAYS = 90
REPEAT_METER = {"km": 5000.0, "miles": 3000.0, "hours": 250.0}
TARGET_RATIO = 0.5
FLEET_FILE = "fleet.yaml"


@dataclass(frozen=True, slots=True)
class FixSettings:
    """What fleet.yaml (or the fixes table) says of one fix."""

    fix: str
    part: str
    mode: str = ""
    cause: str = ""
    kind: str = "corrective"
    chosen_by: str = "other"
    target_ratio: float = TARGET_RATIO
    registered: date | None = None
    reading: Mapping[str, Any] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class Settings:
    """fleet.yaml with every default filled in; `defaults` lists those that were not stated."""

    name: str
    meter_unit: str
    currency: str
    records_begin: date | None
    cutoff: date | None
    timezone: str
    sources: Mapping[str, TableSource]
    rules: Mapping[str, Rules]
    renews: tuple[str, ...]
    repeat_days: int
    repeat_meter: float | None
    most_use_a_day: float
    fixes: Mapping[str, FixSettings]
    reason_stated: bool
    defaults: tuple[str, ...]
    blocked: Mapping[str, str] = field(default_factory=dict)  # by whoever wrote fleet.yaml


def read_settings(folder: Path) -> Settings:
    """Read fleet.yaml and fill in the defaults."""
    path = folder / FLEET_FILE
    if not folder.is_dir():
        rule, step = "the folder does not exist", "rca start DIR lays out a new one"
        raise Refused([Problem(str(folder.name or folder), 0, "", "", rule, step)])
    if not path.is_file():
        step = f"is this a fleet folder? It needs a {FLEET_FILE}; rca start DIR lays out one"
        raise Refused([Problem(FLEET_FILE, 0, "", "", f"not found in {folder.name}", step)])
    return settings_of(files.read_yaml(path), folder)


def settings_of(data: Any, folder: Path) -> Settings:
    """Check the contents of a fleet.yaml whose tables lie in `folder`, and fill in the defaults.

    Raises
    ------
    Refused
        Keys or values are not allowed; all of them are listed.
    """
    if not isinstance(data, dict):
        raise Refused([Problem(FLEET_FILE, 1, "", "", "must hold keys such as tables: ...")])
    problems = schema_problems(
        data, files.package_json("records/fleet.schema.json"), file=FLEET_FILE
    )
    problems += [] if problems else _more_problems(data)
    if problems:
        raise Refused(problems)
    return _settings(data, folder)


def _more_problems(data: Mapping[str, Any]) -> list[Problem]:
    """Find what a schema cannot see: real dates, known time zones, known columns."""
    problems = []
    places: list[tuple[Any, ...]] = [("records_begin",), ("cutoff",)]
    places += [("fixes", name, "registered") for name in data.get("fixes", {})]
    for place in places:
        value: Any = data
        for key in place:
            value = value.get(key) if isinstance(value, dict) else None
        if value is not None and _day(str(value)) is None:
            line, key = files.line_of(data, place), ".".join(map(str, place))
            problems.append(Problem(FLEET_FILE, line, key, str(value), "is not a real date"))
    zone = str(data.get("timezone", "UTC"))
    if zone not in available_timezones():
        line, step = files.line_of(data, ("timezone",)), did_you_mean(zone, available_timezones())
        problems.append(Problem(FLEET_FILE, line, "timezone", zone, "is no time zone", step[:120]))
    for table, spec in data["tables"].items():
        columns = spec.get("columns", {}) if isinstance(spec, dict) else {}
        known = [column.name for column in TABLES[table]]
        for ours in columns:
            close = nearest(str(ours), known)
            if ours not in known and close:
                line = files.line_of(data, ("tables", table, "columns", ours))
                rule, step = "is not one of the kit's columns", did_you_mean(str(ours), known)
                problems.append(Problem(FLEET_FILE, line, f"tables.{table}", str(ours), rule, step))
    return problems


def _day(text: str) -> date | None:
    try:
        return date.fromisoformat(text)
    except ValueError:
        return None


def _settings(data: Mapping[str, Any], folder: Path) -> Settings:
    defaults: list[str] = []

    def value(key: str, default: Any, said: str = "") -> Any:
        if key in data:
            return data[key]
        defaults.append(f"{key}: {said or default}")
        return default

    unit = str(value("meter_unit", "km"))
    window = data.get("repeat_window", {})
    if "days" not in window:
        defaults.append(f"repeat_window.days: {REPEAT_DAYS}")
    if "meter" not in window:
        defaults.append(f"repeat_window.meter: {REPEAT_METER[unit]:g} {unit}")
    begin = value("records_begin", None, "the earliest repair date")
    cutoff = value("cutoff", None, "the latest repair date")
    sources, rules = {}, {}
    for table, spec in data["tables"].items():
        spec = {"file": spec} if isinstance(spec, str) else spec
        sources[table] = _source(spec, folder)
        rules[table] = _rules(spec)
    repairs = data["tables"]["repairs"]
    stated = isinstance(repairs, dict) and (
        "reason" in repairs.get("columns", {}) or "reason" in repairs.get("values", {})
    )
    return Settings(
        name=str(value("name", folder.resolve().name)),
        meter_unit=unit,
        currency=str(value("currency", "", "not stated")),
        records_begin=_day(str(begin)) if begin else None,
        cutoff=_day(str(cutoff)) if cutoff else None,
        timezone=str(value("timezone", "UTC")),
        sources=sources,
        rules=rules,
        renews=tuple(value("renews", ["replaced"], "[replaced]")),
        repeat_days=int(window.get("days", REPEAT_DAYS)),
        repeat_meter=window.get("meter", REPEAT_METER[unit]),
        most_use_a_day=float(value("most_use_a_day", MOST_USE_A_DAY[unit])),
        fixes={str(name): _fix(str(name), spec) for name, spec in data.get("fixes", {}).items()},
        reason_stated=stated,
        defaults=tuple(defaults),
        blocked={str(name): str(why) for name, why in data.get("blocked", {}).items()},
    )


def _source(spec: Mapping[str, Any], folder: Path) -> TableSource:
    return TableSource(
        path=folder / str(spec.get("file", "")),
        delimiter=str(spec.get("delimiter", ",")),
        encoding=str(spec.get("encoding", "utf-8")),
        header_line=int(spec.get("header_line", 1)),
        sheet=spec.get("sheet", 0),
        query=str(spec.get("query", "")),
        database_env=str(spec.get("database_env", "")),
    )


def _rules(spec: Mapping[str, Any]) -> Rules:
    values = {
        str(column): {str(theirs): str(ours) for theirs, ours in words.items()}
        for column, words in spec.get("values", {}).items()
    }
    order = spec.get("date_order", "")
    return Rules(
        columns={str(ours): str(theirs) for ours, theirs in spec.get("columns", {}).items()},
        date_order=dict(order) if isinstance(order, Mapping) else str(order),
        decimal=str(spec.get("decimal", ".")),
        thousands=str(spec.get("thousands", "")),
        missing=("", *map(str, spec.get("missing", MISSING))),
        values=values,
        set_aside={
            str(column): {str(pattern): str(why) for pattern, why in patterns.items()}
            for column, patterns in spec.get("set_aside", {}).items()
        },
        affixes=tuple(map(str, spec.get("affixes", ()))),
    )


def _fix(name: str, spec: Mapping[str, Any]) -> FixSettings:
    registered = spec.get("registered")
    return FixSettings(
        fix=name,
        part=str(spec["part"]),
        mode=str(spec.get("mode", "")),
        cause=str(spec.get("cause", "")),
        kind=str(spec.get("kind", "corrective")),
        chosen_by=str(spec.get("chosen_by", "other")),
        target_ratio=float(spec.get("target_ratio", TARGET_RATIO)),
        registered=_day(str(registered)) if registered else None,
        reading=dict(spec.get("reading", {})),
    )
