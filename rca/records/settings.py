"""fleet.yaml: what it may say, what it says, and every default that it leaves in force."""

from collections.abc import Mapping
from dataclasses import dataclass, field, fields
from datetime import date
from pathlib import Path
from typing import Any

from rca.errors import Problem, Refused
from rca.records import files
from rca.records.columns import MISSING, Rules
from rca.records.files import TableSource
from rca.records.number_style import NumberStyle
from rca.records.schema import schema_problems
from rca.records.settings_faults import FLEET_FILE, day_of, settings_faults

MOST_USE_A_DAY = {"km": 1500.0, "miles": 950.0, "hours": 24.0}
REPEAT_DAYS = 90
REPEAT_METER = {"km": 5000.0, "miles": 3000.0, "hours": 250.0}
TARGET_RATIO = 0.5
FIX_DEFAULTS = {"kind": "corrective", "chosen_by": "other", "target_ratio": TARGET_RATIO}
NUMBERS = "1 234.5"


@dataclass(frozen=True, slots=True)
class FixSettings:
    """What fleet.yaml (or another source) says of one fix; `stated` are the keys not by default."""

    fix: str
    part: str
    mode: str = ""
    cause: str = ""
    kind: str = "corrective"
    chosen_by: str = "other"
    target_ratio: float = TARGET_RATIO
    registered: date | None = None
    reading: Mapping[str, Any] = field(default_factory=dict)
    stated: frozenset[str] = field(default=frozenset(), compare=False)

    def keys(self) -> dict[str, Any]:
        """Return what is stated, by key; where nobody said which keys, all that are no default."""
        plain = FixSettings(self.fix, self.part)
        names = self.stated or {
            one.name
            for one in fields(self)
            if one.name == "part" or getattr(self, one.name) != getattr(plain, one.name)
        }
        return {name: getattr(self, name) for name in sorted(names)}


@dataclass(frozen=True, slots=True)
class People:
    """Further columns that hold names of people, and the variable that holds the salt."""

    columns: tuple[str, ...] = ()
    salt_env: str = ""


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
    defaults: tuple[str, ...]
    numbers: NumberStyle = field(default_factory=NumberStyle)
    people: People = field(default_factory=People)
    blocked: Mapping[str, str] = field(default_factory=dict)  # by whoever wrote fleet.yaml


def read_settings(folder: Path) -> Settings:
    """Read fleet.yaml and fill in the defaults."""
    path, name = folder / FLEET_FILE, folder.resolve().name
    if not folder.is_dir():
        rule = "is no folder" if folder.exists() else "the folder does not exist"
        raise Refused([Problem(name, 0, "", "", rule, "rca start DIR lays out a new one")])
    if not path.is_file():
        step = f"is this a fleet folder? It needs a {FLEET_FILE}; rca start DIR lays out one"
        raise Refused([Problem(FLEET_FILE, 0, "", "", f"not found in {name}", step)])
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
    problems += [] if problems else settings_faults(data)
    if problems:
        raise Refused(problems)
    return _settings(data, folder)


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
        defaults.append(f"tables.{table}: {', '.join(_table_defaults(spec))}")
    for name, spec in data.get("fixes", {}).items():
        if unsaid := [f"{key} {word}" for key, word in FIX_DEFAULTS.items() if key not in spec]:
            defaults.append(f"fixes.{name}: {', '.join(unsaid)}")
    return Settings(
        name=str(value("name", folder.resolve().name)),
        meter_unit=unit,
        currency=str(value("currency", "", "not stated")),
        records_begin=day_of(str(begin)) if begin else None,
        cutoff=day_of(str(cutoff)) if cutoff else None,
        timezone=str(value("timezone", "UTC")),
        sources=sources,
        rules=rules,
        renews=tuple(value("renews", ["replaced"], "[replaced]")),
        repeat_days=int(window.get("days", REPEAT_DAYS)),
        repeat_meter=window.get("meter", REPEAT_METER[unit]),
        most_use_a_day=float(value("most_use_a_day", MOST_USE_A_DAY[unit])),
        fixes={str(name): _fix(str(name), spec) for name, spec in data.get("fixes", {}).items()},
        numbers=NumberStyle.like(str(value("numbers", NUMBERS))),
        people=_people(data, defaults),
        defaults=tuple(defaults),
        blocked={str(name): str(why) for name, why in data.get("blocked", {}).items()},
    )


def _people(data: Mapping[str, Any], defaults: list[str]) -> People:
    said = data.get("people", {})
    if "columns" not in said:
        defaults.append("people.columns: those with technician, driver or mechanic in their name")
    if "salt_env" not in said:
        defaults.append("people.salt_env: none, pseudonyms hang on the earliest repairs")
    return People(tuple(map(str, said.get("columns", ()))), str(said.get("salt_env", "")))


def _table_defaults(spec: Mapping[str, Any]) -> list[str]:
    """Say how a table is read where fleet.yaml does not say it."""
    is_text = not str(spec.get("file", "")).lower().endswith((".xlsx", ".parquet"))
    said = {
        "encoding": "encoding utf-8",
        "delimiter": "delimiter ','",
        "decimal": "decimal mark '.'",
        "thousands": "no thousands mark",
        "date_order": "dates in the one order that reads them",
        "missing": f"missing {' '.join(MISSING[1:])} or blank",
    }
    skipped = () if is_text and "file" in spec else ("encoding", "delimiter")
    return [word for key, word in said.items() if key not in spec and key not in skipped]


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
        decimal=str(spec.get("decimal", "")),
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
        registered=day_of(str(registered)) if registered else None,
        reading=dict(spec.get("reading", {})),
        stated=frozenset(map(str, spec)),
    )
