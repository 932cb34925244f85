"""Faults of a file against its JSON Schema, in words that a person can act upon, with the line."""

import difflib
import re
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from typing import Any

from jsonschema import Draft202012Validator, FormatChecker
from jsonschema.exceptions import ValidationError

from rca.errors import Problem
from rca.records.files import line_of

Keys = tuple[str | int, ...]

MOST_SHOWN = 60  # signs of a value in a message
MANY_UNKNOWN = 4  # keys of one entry that are not known: it stands under the wrong heading
UNKNOWN = "is not a known key"
TYPE_WORDS = {
    "string": "text",
    "number": "a number",
    "integer": "a whole number",
    "boolean": "true or false",
    "array": "a list",
    "object": "a block of 'key: value' lines",
    "null": "empty",
}


@dataclass(frozen=True, slots=True)
class Fault:
    """One fault at one place of a mapping, before it has a file and a line."""

    keys: Keys
    value: str
    rule: str
    next_step: str = ""


def nearest(word: str, allowed: Iterable[str], *, likeness: float = 0.6) -> str:
    """Return the most similar of the allowed words, "" where none is similar (0 to 1) enough."""
    by_folded = {name.casefold(): name for name in allowed}
    found = difflib.get_close_matches(word.casefold(), by_folded, n=1, cutoff=likeness)
    return by_folded[found[0]] if found else ""


def did_you_mean(word: str, allowed: Iterable[str]) -> str:
    """Say which words are allowed, the nearest one first."""
    names = list(allowed)
    close = nearest(word, names)
    shown = [repr(name) if len(name) == 1 else name for name in names[:12]]
    listed = ", ".join(shown) + (", ..." if len(names) > 12 else "")
    return f"did you mean {close!r}? Allowed: {listed}" if close else f"allowed: {listed}"


def without_blanks(data: Any) -> Any:
    """Copy to plain dicts, lists and scalars, leaving out keys whose value is blank."""
    return _plain(data, keep_blanks=False)


def _plain(data: Any, *, keep_blanks: bool) -> Any:
    if isinstance(data, Mapping):
        kept = ((str(key), _plain(one, keep_blanks=keep_blanks)) for key, one in data.items())
        return {key: value for key, value in kept if keep_blanks or value is not None}
    if isinstance(data, list | tuple):
        return [_plain(value, keep_blanks=keep_blanks) for value in data]
    for kind in (bool, int, float, str):
        if isinstance(data, kind):
            return kind(data)
    return data


def schema_problems(
    data: Any, schema: Mapping[str, Any], *, file: str, keep_blanks: bool = True
) -> list[Problem]:
    """List where `data` (from `read_yaml`) breaks the schema, in the order of the file's lines."""
    faults = schema_faults(data, schema, keep_blanks=keep_blanks)
    return in_order(placed(fault, data, file) for fault in faults)


def placed(fault: Fault, data: Any, file: str) -> Problem:
    """Give a fault its file and its line (that of the nearest key above that has one)."""
    line = line_of(data, fault.keys)
    if not line and getattr(data, "lc", None) is not None:
        line = int(data.lc.line) + 1
    key = ".".join(str(step) for step in fault.keys)
    return Problem(file, line, key, fault.value, fault.rule, fault.next_step)


def in_order(problems: Iterable[Problem]) -> list[Problem]:
    """Sort problems by their line, those without one first."""
    return sorted(problems, key=lambda problem: problem.line)


def schema_faults(
    data: Any, schema: Mapping[str, Any], *, keep_blanks: bool = False
) -> list[Fault]:
    """Every fault of `data` against `schema`, each place once.

    Parameters
    ----------
    schema
        JSON Schema (2020-12). Subschemas may carry "x-rule", the rule in words.
    keep_blanks
        Whether a blank value is a value of its own; else it counts as left out.
    """
    plain = _plain(data, keep_blanks=keep_blanks)
    if not isinstance(plain, dict):
        return [Fault((), shown(plain), f"must be {TYPE_WORDS['object']}")]
    validator = Draft202012Validator(schema, format_checker=FormatChecker(["date"]))
    found = [fault for error in validator.iter_errors(plain) for fault in _faults(error)]
    # A misspelt key is one fault: that the right one is then missing is not told as well.
    meant = {(*one.keys[:-1], hinted) for one in found if (hinted := _key_meant(one))}
    kept = (one for one in found if one.keys not in meant or not _is_missing(one))
    return list({(fault.keys, fault.rule): fault for fault in kept}.values())


def _key_meant(fault: Fault) -> str:
    """Key that a misspelt one stands for; "" where the fault is another."""
    hint = re.match(r"did you mean '(.*?)'\?", fault.next_step)
    return hint[1] if hint and fault.rule == UNKNOWN else ""


def _is_missing(fault: Fault) -> bool:
    return fault.rule.endswith("is missing or blank")


def shown(value: Any) -> str:
    """A value as a short text for a message; "" for a list or a block, whose place says enough."""
    if isinstance(value, dict | list) or value is None:
        return ""
    text = str(value)
    return text if len(text) <= MOST_SHOWN else f"{text[: MOST_SHOWN - 3]}..."


def _faults(error: ValidationError) -> Iterator[Fault]:
    """Turn one schema error into faults at the deepest place that explains it."""
    keys: Keys = tuple(error.absolute_path)
    if "propertyNames" in error.absolute_schema_path:
        keys = (*keys, str(error.instance))
    if error.validator in ("anyOf", "oneOf") and error.context:
        chosen = _branch_meant(error)
        if chosen:
            for inner in chosen:
                yield from _faults(inner)
            return
    if error.validator == "additionalProperties":
        yield from _unknown_keys(error, keys)
    elif error.validator == "required":
        yield _missing_key(error, keys)
    else:
        yield Fault(keys, shown(error.instance), *_rule(error))


def _branch_meant(error: ValidationError) -> list[ValidationError]:
    """Errors of the alternative whose type fits what was written; none if no type fits."""
    branches: dict[Any, list[ValidationError]] = {}
    for inner in error.context or ():
        branches.setdefault(inner.relative_schema_path[0], []).append(inner)
    for errors in branches.values():
        top = [one for one in errors if not one.relative_path]
        if not any(one.validator in ("type", "enum") for one in top):
            return errors
    words = [e for es in branches.values() for e in es if e.validator == "enum"]
    return words if isinstance(error.instance, str) and len(words) == 1 else []


def _unknown_keys(error: ValidationError, keys: Keys) -> Iterator[Fault]:
    allowed = list(_schema(error).get("properties", {}))
    written: Any = error.instance
    unknown = [key for key in written if key not in allowed]
    if len(unknown) >= MANY_UNKNOWN:
        step = f"does it stand under the right heading? {did_you_mean('', allowed)}"
        yield Fault(keys, "", f"holds keys that are not known here: {', '.join(unknown)}", step)
        return
    for key in unknown:
        yield Fault((*keys, key), "", UNKNOWN, did_you_mean(key, allowed))


def _missing_key(error: ValidationError, keys: Keys) -> Fault:
    required: Any = error.validator_value
    missing = next(key for key in required if f"'{key}'" in error.message)
    about = _schema(error).get("properties", {}).get(missing, {}).get("description", "")
    return Fault((*keys, missing), "", f"the key {missing!r} is missing or blank", about)


def _schema(error: ValidationError) -> Mapping[str, Any]:
    """The subschema that was broken."""
    return error.schema if isinstance(error.schema, Mapping) else {}


def _rule(error: ValidationError) -> tuple[str, str]:
    """The rule in words, and what to do."""
    limit: Any = error.validator_value
    if "x-rule" in _schema(error):
        return str(_schema(error)["x-rule"]), ""
    if error.validator == "enum":
        step = did_you_mean(str(error.instance), map(str, limit))
        return "is not one of the allowed words", step
    if error.validator == "type":
        return _of_kinds([limit] if isinstance(limit, str) else limit), _quotes(
            error.instance, limit
        )
    if error.validator in ("anyOf", "oneOf"):
        return _of_alternatives(error), ""
    if error.validator == "pattern" and "\\d{4}-" in str(limit):
        return "must be a date written YYYY-MM-DD", ""
    fewest = "must not be an empty list" if limit == 1 else f"needs at least {limit} entries"
    rules = {
        "minimum": f"must be {limit} or more",
        "maximum": f"must be {limit} or less",
        "exclusiveMinimum": f"must be above {limit}",
        "exclusiveMaximum": f"must be below {limit}",
        "minLength": "must not be empty",
        "minItems": fewest,
        "minProperties": "must not be empty" if limit == 1 else fewest,
        "maxProperties": f"must have {limit} key, not more",
        "uniqueItems": "must not name anything twice",
    }
    return rules.get(str(error.validator), error.message), ""


def _of_kinds(kinds: Iterable[str]) -> str:
    return "must be " + " or ".join(TYPE_WORDS.get(kind, kind) for kind in kinds)


def _quotes(value: Any, kind: Any) -> str:
    return "put it in quotes" if kind == "string" and isinstance(value, bool | int | float) else ""


def _of_alternatives(error: ValidationError) -> str:
    """Rule where an entry may take several forms: of which kinds they are, or that it is of two."""
    if not error.context:
        return "says two things of which only one may be said"
    kinds: list[str] = []
    for one in error.context:
        if one.validator == "type" and not one.relative_path:
            value: Any = one.validator_value
            kinds += [value] if isinstance(value, str) else value
    return _of_kinds(dict.fromkeys(kinds)) if kinds else error.message
