"""From the mapping of an investigation file to an `Investigation` and back.

The shape of the file is checked against `investigation.schema.json`; what a schema cannot say
(names that lead nowhere, loops, limits without a source) is checked in `reference_rules`.
"""

from collections.abc import Callable, Mapping
from dataclasses import MISSING, Field, fields, is_dataclass
from enum import Enum
from functools import cache
from typing import Any

from rca.causes.case import entries, observations
from rca.causes.case.entries import Check, Gate, Seen, SignOff
from rca.causes.case.graph_rules import gate_faults
from rca.causes.case.investigation import Investigation
from rca.causes.case.reference_rules import reference_faults
from rca.errors import Refused
from rca.records.files import line_of, package_json
from rca.records.schema import in_order, placed, schema_faults, without_blanks

SCHEMA = "causes/case/investigation.schema.json"
IS_IS_NOT = ("what", "where", "when", "how_much")
RENAMED = {
    "Evidence": {"for": "supports", "against": "contradicts"},
    "Fix": {"cause": "causes"},
    "Conclusion": {"cause": "causes"},
    "Investigation": {"investigation": "id"},
}
"""File key -> field, where a Python word or a plural stands in the way."""

SECTIONS = {
    "causes": entries.Cause,
    "measurements": observations.Measurement,
    "evidence": observations.Evidence,
    "tests": observations.ProposedTest,
    "fixes": entries.Fix,
}


@cache
def investigation_schema() -> Mapping[str, Any]:
    """JSON Schema of an investigation file, as shipped for editors."""
    schema: Mapping[str, Any] = package_json(SCHEMA)
    return schema


def parse_investigation(data: Any, *, file: str = "") -> Investigation:
    """Read an investigation from the mapping that `rca.records.files.read_yaml` gives.

    Parameters
    ----------
    data
        Mapping of the file; a plain dict will do, its faults then have no line number.
        A blank value counts as left out.
    file
        Name of the file for messages.

    Raises
    ------
    Refused
        With every fault found: file, line, key, value, rule and what to do.
    """
    plain = without_blanks(data)
    faults = schema_faults(data, investigation_schema()) or gate_faults(plain)
    if not faults:
        investigation = _investigation(plain, data, file)
        faults = reference_faults(investigation)
    if faults:
        raise Refused(in_order(placed(fault, data, file) for fault in faults))
    return investigation


def _investigation(plain: dict[str, Any], data: Any, file: str) -> Investigation:
    """Build the investigation from a mapping that keeps to the schema."""
    parsed = dict(plain)
    for section, kind in SECTIONS.items():
        parsed[section] = {
            name: _entry(kind, {"id": name, **body}, line_of(data, (section, name)))
            for name, body in plain.get(section, {}).items()
        }
    parsed["problem"] = _entry(
        entries.Problem, _gathered(plain["problem"]), line_of(data, ("problem",))
    )
    investigation: Investigation = _entry(Investigation, {**parsed, "file": file})
    return investigation


def _gathered(problem: dict[str, Any]) -> dict[str, Any]:
    """Gather the four questions of the problem under one key."""
    rows = {
        name: (problem[name].get("is", ""), problem[name].get("is_not", ""))
        for name in IS_IS_NOT
        if name in problem
    }
    rest = {key: value for key, value in problem.items() if key not in IS_IS_NOT}
    return {**rest, "is_is_not": rows}


def _entry(kind: Any, body: Mapping[str, Any], line: int = 0) -> Any:
    """Build one record of `kind` from its file keys."""
    renamed = RENAMED.get(kind.__name__, {})
    given = {renamed.get(key, key): value for key, value in body.items()}
    values = {}
    for one in fields(kind):
        if one.name in given:
            convert = CONVERT.get((kind.__name__, one.name)) or CONVERT.get(("", one.name))
            value = given[one.name]
            values[one.name] = convert(value) if convert else _as(one.type, value)
    if line:
        values["line"] = line
    return kind(**values)


def _as(kind: Any, value: Any) -> Any:
    """Text fields may be written as numbers (unit 17), number fields as whole numbers."""
    if kind is str:
        return str(value)
    if kind in (float, float | None) and isinstance(value, int):
        return float(value)
    return value


def _names(value: str | list[str]) -> tuple[str, ...]:
    return (value,) if isinstance(value, str) else tuple(value)


def _gate(value: Any) -> Gate:
    """Read `because`: one cause, or any / all / at_least with of."""
    if isinstance(value, str):
        return Gate(1, (value,))
    word = next(iter(value.keys() & {"any", "all", "of"}))
    inputs = tuple(one if isinstance(one, str) else _gate(one) for one in value[word])
    need = {"any": 1, "all": len(inputs), "of": value.get("at_least", 0)}[word]
    return Gate(need, inputs)


def _check(value: Any) -> Check:
    return Check(sentence=value) if isinstance(value, str) else Check(**value)


def _reading(value: Any) -> observations.Reading:
    """A number, a word, several numbers, or not taken."""
    if isinstance(value, list):
        return tuple(float(one) for one in value)
    return value if isinstance(value, str) else float(value)


def _block(kind: Any) -> Callable[[Any], Any]:
    return lambda value: _entry(kind, value)


def _probability(value: Any) -> float | Seen:
    return Seen(**value) if isinstance(value, dict) else float(value)


def _texts(value: Mapping[str, Any]) -> dict[str, str]:
    return {str(key): str(word) for key, word in value.items()}


CONVERT: dict[tuple[str, str], Callable[[Any], Any]] = {
    ("", "because"): _gate,
    ("", "not_caught_because"): _gate,
    ("", "supports"): _names,
    ("", "contradicts"): _names,
    ("", "causes"): _names,
    ("Investigation", "causes"): dict,
    ("Investigation", "branches"): tuple,
    ("Problem", "changes_before"): tuple,
    ("Cause", "layer"): entries.Layer,
    ("Cause", "check"): _check,
    ("Cause", "cleared"): _block(SignOff),
    ("Cause", "accepted"): _block(SignOff),
    ("Cause", "probability"): _probability,
    ("Measurement", "accuracy"): _block(observations.Accuracy),
    ("Measurement", "as_found"): _block(observations.Taken),
    ("Measurement", "after"): _block(observations.Taken),
    ("Measurement", "on_units"): lambda value: {
        unit: _entry(observations.Taken, taken) for unit, taken in value.items()
    },
    ("Taken", "reading"): _reading,
    ("Evidence", "kind"): observations.EvidenceKind,
    ("Evidence", "claim"): _block(observations.Claim),
    ("Evidence", "survey"): _block(observations.Survey),
    ("Survey", "failed"): _block(Seen),
    ("Survey", "not_failed"): _block(Seen),
    ("ProposedTest", "would_show"): _texts,
    ("ProposedTest", "done"): _block(observations.Done),
    ("Investigation", "conclusion"): _block(entries.Conclusion),
    ("Investigation", "costs"): _block(entries.Costs),
}


def investigation_mapping(investigation: Investigation) -> dict[str, Any]:
    """Give the mapping of an investigation as it would stand in a file, defaults left out."""
    mapping = _mapping(investigation)
    problem = mapping["problem"]
    for name, (is_so, is_not) in problem.pop("is_is_not", {}).items():
        problem[name] = {key: text for key, text in (("is", is_so), ("is_not", is_not)) if text}
    return mapping


def _mapping(record: Any) -> dict[str, Any]:
    """File keys and values of one record; ids of entries are the keys above them."""
    names = {field: key for key, field in RENAMED.get(type(record).__name__, {}).items()}
    skipped = {"line", "file"} | (set() if isinstance(record, Investigation) else {"id"})
    mapping = {}
    for one in fields(record):
        value = getattr(record, one.name)
        if one.name not in skipped and value != _default(one):
            mapping[names.get(one.name, one.name)] = _value(value)
    return mapping


def _default(one: Field[Any]) -> Any:
    """Value of a field that need not be written down."""
    return one.default if one.default_factory is MISSING else one.default_factory()


def _value(value: Any) -> Any:
    """Write one value of a record as it stands in a file."""
    if isinstance(value, Gate):
        word = {1: "any", len(value.inputs): "all"}.get(value.need, "of")
        inputs = {word: [_value(one) for one in value.inputs]}
        return inputs if word != "of" else {"at_least": value.need, **inputs}
    if isinstance(value, Check):
        return value.sentence or _mapping(value)
    if is_dataclass(value):
        return _mapping(value)
    if isinstance(value, Mapping):
        return {key: one if isinstance(one, tuple) else _value(one) for key, one in value.items()}
    if isinstance(value, tuple):
        return [_value(one) for one in value]
    return str(value) if isinstance(value, Enum) else value
