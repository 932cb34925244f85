"""Checks of YAML data against a JSON Schema, told with line, value and the nearest right word."""

import difflib
from collections.abc import Iterable, Iterator
from typing import Any

import jsonschema

from rca.errors import Problem
from rca.records.files import line_of


def nearest(word: str, allowed: Iterable[str]) -> str:
    """Return the most similar of the allowed words, "" where none is similar."""
    by_folded = {name.casefold(): name for name in allowed}
    found = difflib.get_close_matches(word.casefold(), by_folded, n=1, cutoff=0.6)
    return by_folded[found[0]] if found else ""


def did_you_mean(word: str, allowed: Iterable[str]) -> str:
    """Say which words are allowed, the nearest one first."""
    names = list(allowed)
    close = nearest(word, names)
    listed = ", ".join(names[:12]) + (", ..." if len(names) > 12 else "")
    return f"did you mean {close!r}? Allowed: {listed}" if close else f"allowed: {listed}"


def schema_problems(data: Any, schema: dict[str, Any], *, file: str) -> list[Problem]:
    """List where `data` (from `read_yaml`) breaks the schema; empty where it does not."""
    validator = jsonschema.Draft202012Validator(schema)
    errors = sorted(
        validator.iter_errors(_plain(data)), key=lambda error: list(map(str, error.path))
    )
    return [problem for error in errors for problem in _problems(error, data, file)]


def _plain(data: Any) -> Any:
    """Return plain dicts and lists with text keys, as JSON would hold them."""
    if isinstance(data, dict):
        return {str(key): _plain(value) for key, value in data.items()}
    if isinstance(data, list):
        return [_plain(value) for value in data]
    return data


def _problems(error: jsonschema.ValidationError, data: Any, file: str) -> Iterator[Problem]:
    """Turn one finding of the validator into problems that name place, rule and next step."""
    if error.validator == "oneOf" and error.context:
        best = jsonschema.exceptions.best_match(error.context)
        if best is not None:
            best.path.extendleft(reversed(error.path))
            yield from _problems(best, data, file)
            return
    path = tuple(error.path)
    instance: Any = error.instance
    value: Any = error.validator_value
    place = ".".join(str(key) for key in path)
    line = line_of(data, path)
    if error.validator == "additionalProperties" and isinstance(error.schema, dict):
        known = list(error.schema.get("properties", {}))
        for key in instance:
            if key not in known:
                yield Problem(
                    file, line_of(data, (*path, key)), place, str(key), "is not a known key",
                    did_you_mean(str(key), known),
                )  # fmt: skip
        return
    if error.validator == "required":
        wanted = error.message.split("'")[1]
        have = ", ".join(map(str, instance)) or "nothing"
        close = nearest(wanted, map(str, instance))
        step = f"did you write {close!r} for it?" if close else f"keys here: {have}"
        yield Problem(file, line, place, "", f"the key {wanted!r} is missing", step)
        return
    if error.validator == "enum":
        words = [str(word) for word in value]
        step = did_you_mean(str(instance), words)
        yield Problem(file, line, place, str(instance), "is not one of the allowed words", step)
        return
    if error.validator == "pattern" and "\\d{4}-" in str(value):
        rule = "must be a date written YYYY-MM-DD"
        yield Problem(file, line, place, str(instance), rule)
        return
    shown = "" if isinstance(error.instance, dict | list) else str(instance)
    yield Problem(file, line, place, shown[:80], _said(error))


def _said(error: jsonschema.ValidationError) -> str:
    """Put the validator's rule into plain words."""
    value: Any = error.validator_value
    if error.validator == "type":
        names: list[str] = value if isinstance(value, list) else [value]
        return f"must be {' or '.join(_TYPES.get(name) or name for name in names)}"
    plain = {
        "minimum": f"must be {value} or more",
        "maximum": f"must be {value} or less",
        "exclusiveMinimum": f"must be above {value}",
        "exclusiveMaximum": f"must be below {value}",
        "minLength": "must not be empty",
        "minItems": f"needs at least {value} entries",
    }
    return plain.get(str(error.validator), error.message)


_TYPES = {
    "object": "a group of keys",
    "array": "a list",
    "string": "text",
    "number": "a number",
    "integer": "a whole number",
    "boolean": "true or false",
    "null": "empty",
}
