"""Faults of a file against its JSON Schema, in words that a person can act upon."""

import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any

from jsonschema import Draft202012Validator, FormatChecker
from jsonschema.exceptions import ValidationError

from rca.records.schema import did_you_mean, nearest

Keys = tuple[str | int, ...]

UNKNOWN, MISSING = "the key", "missing or blank: the key"

TYPE_WORDS = {
    "string": "text",
    "number": "a number",
    "integer": "a whole number",
    "boolean": "true or false",
    "array": "a list",
    "object": "a block of 'key: value' lines",
}


@dataclass(frozen=True, slots=True)
class Fault:
    """One fault at one place of a mapping, before it has a file and a line."""

    keys: Keys
    value: str
    rule: str
    next_step: str = ""


def without_blanks(data: Any) -> Any:
    """Copy to plain dicts, lists and scalars, leaving out keys whose value is blank."""
    if isinstance(data, Mapping):
        kept = ((str(key), without_blanks(value)) for key, value in data.items())
        return {key: value for key, value in kept if value is not None}
    if isinstance(data, list | tuple):
        return [without_blanks(value) for value in data]
    for kind in (bool, int, float, str):
        if isinstance(data, kind):
            return kind(data)
    return data


def schema_faults(data: Any, schema: Mapping[str, Any]) -> list[Fault]:
    """Every fault of `data` against `schema`, each place once, in the order of the file.

    A blank value counts as left out. Subschemas may carry "x-rule", the rule in words.
    """
    plain = without_blanks(data)
    if not isinstance(plain, dict):
        return [Fault((), shown(plain), f"must be {TYPE_WORDS['object']}")]
    validator = Draft202012Validator(schema, format_checker=FormatChecker(["date"]))
    found = [fault for error in validator.iter_errors(plain) for fault in _faults(error)]
    # A misspelt key is one fault: that the right one is then missing is not told as well.
    meant = {(*one.keys[:-1], hinted) for one in found if (hinted := _key_meant(one))}
    kept = (one for one in found if one.keys not in meant or not one.rule.startswith(MISSING))
    return list({(fault.keys, fault.rule): fault for fault in kept}.values())


def _key_meant(fault: Fault) -> str:
    """Key that a misspelt one stands for; "" where the fault is another."""
    hint = re.match(r"did you mean '(.*?)'\?", fault.next_step)
    return hint[1] if hint and fault.rule.startswith(UNKNOWN) else ""


def shown(value: Any) -> str:
    """A value as a short text for a message."""
    text = "" if value is None else str(value)
    return text if len(text) <= 60 else text[:57] + "..."


def _faults(error: ValidationError) -> Iterator[Fault]:
    """Turn one schema error into faults at the deepest place that explains it."""
    keys: Keys = tuple(error.absolute_path)
    if "propertyNames" in error.absolute_schema_path:
        keys = (*keys, str(error.instance))
    if error.validator == "anyOf":
        chosen = _branch_meant(error)
        if chosen:
            for inner in chosen:
                yield from _faults(inner)
            return
    if error.validator == "additionalProperties":
        yield from _unknown_keys(error, keys)
    elif error.validator == "required":
        yield from _missing_key(error, keys)
    else:
        rule, step = _rule(error)
        yield Fault(keys, shown(error.instance) if _scalar(error.instance) else "", rule, step)


def _scalar(value: Any) -> bool:
    return not isinstance(value, dict | list)


def _branch_meant(error: ValidationError) -> list[ValidationError]:
    """Errors of the alternative whose type fits what was written; none if no type fits."""
    branches: dict[Any, list[ValidationError]] = {}
    for inner in error.context or ():
        branches.setdefault(inner.relative_schema_path[0], []).append(inner)
    for errors in branches.values():
        top = [one for one in errors if not one.relative_path]
        if not any(one.validator in ("type", "enum") for one in top):
            return errors
    return []


def _unknown_keys(error: ValidationError, keys: Keys) -> Iterator[Fault]:
    allowed = list(_schema(error).get("properties", {}))
    written: Any = error.instance
    for key in written:
        if key not in allowed:
            step = did_you_mean(key, allowed)
            yield Fault((*keys, key), "", f"{UNKNOWN} {key!r} is not known here", step)


def _missing_key(error: ValidationError, keys: Keys) -> Iterator[Fault]:
    required: Any = error.validator_value
    missing = next(key for key in required if f"'{key}'" in error.message)
    about = _schema(error).get("properties", {}).get(missing, {}).get("description", "")
    yield Fault((*keys, missing), "", f"{MISSING} {missing!r}", about)


def _schema(error: ValidationError) -> Mapping[str, Any]:
    """The subschema that was broken."""
    return error.schema if isinstance(error.schema, Mapping) else {}


def _rule(error: ValidationError) -> tuple[str, str]:
    """The rule in words, and a hint."""
    limit: Any = error.validator_value
    if "x-rule" in _schema(error):
        return str(_schema(error)["x-rule"]), ""
    if error.validator == "enum":
        words = [str(word) for word in limit]
        near = nearest(str(error.instance), words)
        return f"must be one of: {', '.join(words)}", f"did you mean {near!r}?" if near else ""
    if error.validator == "type":
        kinds = [limit] if isinstance(limit, str) else limit
        return "must be " + " or ".join(TYPE_WORDS.get(kind, kind) for kind in kinds), ""
    rules = {
        "minimum": f"must be {limit} or more",
        "maximum": f"must be {limit} or less",
        "exclusiveMinimum": f"must be above {limit}",
        "exclusiveMaximum": f"must be below {limit}",
        "minItems": "must not be an empty list",
        "minProperties": "must not be empty",
        "maxProperties": f"must have {limit} key, not more",
        "uniqueItems": "must not name anything twice",
    }
    return rules.get(str(error.validator), error.message), ""
