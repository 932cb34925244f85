"""What is on file of each fix: fixes table, fleet.yaml and investigations, joined to one plan.

Key by key, an investigation that names the fix wins over fleet.yaml, and fleet.yaml over columns
of the fixes table. Where two of them say different things, the plan says so.
"""

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date
from functools import lru_cache
from typing import Any

import pandas as pd

from rca.causes.case.conformity import limit_words, limits
from rca.causes.case.entries import Fix
from rca.causes.case.investigation import Investigation
from rca.causes.case.observations import Measurement
from rca.causes.case.parsing import parse_investigation
from rca.causes.case.quantities import convert
from rca.errors import RcaError
from rca.records.fleet import Fleet
from rca.records.settings import FixSettings

TABLE, FLEET = "the fixes table", "fleet.yaml"
TABLE_KEYS = ("part", "mode", "cause", "kind", "chosen_by", "target_ratio")
CORRECTION = "correction"


@dataclass(frozen=True, slots=True)
class Stated:
    """What one source says of a fix: only the keys that it states."""

    source: str
    keys: Mapping[str, Any]


@dataclass(frozen=True, slots=True)
class FixOnFile:
    """The plan of one fix as all sources say it together.

    `case` and `measurement` are the investigation that names it and what is read upstream, None
    where there is none; `differs` lists where the sources disagree, and which of them counts.
    """

    said: FixSettings
    case: Investigation | None = None
    measurement: Measurement | None = None
    differs: tuple[str, ...] = ()

    @property
    def done(self) -> date | None:
        """Day on which its investigation says that it was done; None where it does not."""
        return None if self.case is None else _day(_fix_of(self.case, self.said.fix).done)


@lru_cache(maxsize=1)  # several results of one fleet ask for them
def read_cases(fleet: Fleet) -> tuple[Investigation, ...]:
    """Parse the investigation files of a fleet.

    Raises
    ------
    Refused
        A file breaks a rule of its form; with file, line and the allowed words.
    """
    files = fleet.investigations.items()
    return tuple(parse_investigation(data, file=name) for name, data in files)


def fixes_on_file(fleet: Fleet) -> dict[str, FixOnFile]:
    """Return every fix whose part is known, by its name in small letters, in order of name.

    An investigation's fix counts where the fixes table or fleet.yaml names it too, or where it
    states the part on which its effect will show.
    """
    cases = _cases_by_fix(read_cases(fleet))
    table = _table(fleet)
    names = {key: name for key, (name, _) in table.items()}
    names |= {name.casefold(): name for name in fleet.settings.fixes}
    for key, found in cases.items():
        fix = _fix_of(found[0], key)
        if fix.part and fix.kind != CORRECTION:
            names.setdefault(key, fix.id)
    joined = {
        key: _joined(fleet, name, table.get(key, (name, {}))[1], cases.get(key, []))
        for key, name in sorted(names.items())
    }
    return {key: one for key, one in joined.items() if one is not None}


def _cases_by_fix(cases: Sequence[Investigation]) -> dict[str, list[Investigation]]:
    found: dict[str, list[Investigation]] = {}
    for case in cases:
        for name in case.fixes:
            found.setdefault(name.casefold(), []).append(case)
    return found


def _fix_of(case: Investigation, name: str) -> Fix:
    return next(fix for key, fix in case.fixes.items() if key.casefold() == name.casefold())


def _table(fleet: Fleet) -> dict[str, tuple[str, dict[str, Any]]]:
    """Return the name of each fix of the fixes table, and what its columns say of it first."""
    if fleet.fixes is None:
        return {}
    said: dict[str, tuple[str, dict[str, Any]]] = {}
    names = fleet.fixes["fix"].astype(str)
    for key, rows in fleet.fixes.groupby(names.str.casefold()):
        stated = {
            column: values.iloc[0]
            for column in TABLE_KEYS
            if column in rows.columns and len(values := rows[column][_is_stated(rows[column])])
        }
        said[str(key)] = str(rows["fix"].iloc[0]), stated
    return said


def _is_stated(column: pd.Series) -> "pd.Series[bool]":
    return column.notna() & column.astype(str).ne("")


def _joined(
    fleet: Fleet, name: str, table: Mapping[str, Any], cases: Sequence[Investigation]
) -> FixOnFile | None:
    """Join what all sources say of one fix; None where none of them names its part."""
    own = {key.casefold(): plan for key, plan in fleet.settings.fixes.items()}.get(name.casefold())
    sources = [Stated(TABLE, table)]
    if own is not None:
        sources.append(Stated(FLEET, own.keys()))
    sources += [_of_case(case, name) for case in reversed(cases)]  # the first file counts most
    part = next((one.keys["part"] for one in reversed(sources) if one.keys.get("part")), "")
    case = cases[0] if cases else None
    defaults: dict[str, Any] = {"part": part or (case.part if case else "")}
    if not defaults["part"]:
        return None
    if case is not None and defaults["part"].casefold() == case.part.casefold():
        defaults["mode"] = case.mode
    keys = defaults | {key: value for one in sources for key, value in one.keys.items()}
    reading = keys.pop("reading", {})
    measurement = None if case is None else case.measurements.get(_fix_of(case, name).reading)
    said = FixSettings(
        fix=name, **{key: _as_settings(key, value) for key, value in keys.items()}, reading=reading
    )
    if measurement is not None:
        said = replace(said, reading=_with_unit(reading, measurement))
    differs = [*_differences(sources), *_limits_differ(reading, measurement)]
    return FixOnFile(said, case, measurement, tuple(differs))


def _of_case(case: Investigation, name: str) -> Stated:
    """Return what an investigation says of a fix, in the words of fleet.yaml."""
    fix = _fix_of(case, name)
    keys: dict[str, Any] = {
        "part": fix.part,
        "mode": fix.mode,
        "cause": "; ".join(map(case.says, fix.causes)),
        "kind": "" if fix.kind == CORRECTION else fix.kind,
        "chosen_by": fix.chosen_by,
        "target_ratio": fix.target_ratio,
        "registered": _day(fix.registered),
    }
    return Stated(case.file or case.id, {key: one for key, one in keys.items() if one})


def _as_settings(key: str, value: Any) -> Any:
    if key == "target_ratio":
        return float(value)
    return value if key == "registered" else str(value)


def _day(text: str) -> date | None:
    try:
        return date.fromisoformat(text)
    except ValueError:
        return None


def _differences(sources: Sequence[Stated]) -> Iterator[str]:
    """Say where two sources state different things; in what a cause says they may differ."""
    for key in ("part", "mode", "kind", "chosen_by", "target_ratio", "registered"):
        stated = [(one.source, one.keys[key]) for one in sources if key in one.keys]
        for source, value in stated[:-1]:
            winner, counts = stated[-1]
            if _same(value, counts):
                continue
            words = key.replace("_", " ")
            yield f"{words}: {winner} says {counts}, which counts; {source} says {value}"


def _same(one: Any, other: Any) -> bool:
    if isinstance(one, int | float) and isinstance(other, int | float):
        return math.isclose(one, other)
    return str(one).casefold() == str(other).casefold()


def _with_unit(reading: Mapping[str, Any], one: Measurement) -> dict[str, Any]:
    """Return fleet.yaml's words on a reading, or those of the measurement where it has none."""
    return {"quantity": one.quantity, "unit": one.unit, **reading}


def _limits_differ(reading: Mapping[str, Any], one: Measurement | None) -> Iterator[str]:
    """Say where fleet.yaml gives other limits than the measurement, or a unit that does not fit."""
    if one is None or not reading:
        return
    unit = str(reading.get("unit", one.unit))
    try:
        low, high = (
            none if reading.get(key) is None else convert(float(reading[key]), unit, one.unit)
            for key, none in (("at_least", -math.inf), ("at_most", math.inf))
        )
    except RcaError:
        yield (
            f"reading: {FLEET} states it in {unit}, which is no other unit of {one.unit}, as the "
            "investigation has it; readings of the fixes table are not used"
        )
        return
    theirs = limits(one)
    stated = {"at_least", "at_most"} & set(reading)
    if stated and not all(map(_close, (low, high), theirs)):
        yield (
            f"limit of {one.quantity}: the investigation says {limit_words(*theirs)} {one.unit}, "
            f"which counts; {FLEET} says {limit_words(low, high)} {one.unit}"
        )


def _close(one: float, other: float) -> bool:
    return one == other or math.isclose(one, other, rel_tol=1e-6)
