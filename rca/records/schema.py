"""Checks of YAML data against a JSON Schema, told with line, value and the nearest right word."""

import difflib
from collections.abc import Iterable, Iterator
from typing import Any

import jsonschema

from rca.errors import Problem
from rca.records.files import line_of


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
        yield from _of_forms(error, data, file)
    elif error.validator == "additionalProperties":
        yield from _unknown_keys(error, data, file)
    else:
        path = tuple(error.path)
        shown = "" if isinstance(error.instance, dict | list) else str(error.instance)[:80]
        place, line = ".".join(map(str, path)), line_of(data, path)
        yield Problem(file, line, place, shown, _said(error), _to_do(error))


def _of_forms(error: jsonschema.ValidationError, data: Any, file: str) -> Iterator[Problem]:
    """Tell what is wrong where an entry may take several forms, by the form that it comes near."""
    context = list(error.context or ())
    kinds = [_said(one) for one in context if one.validator == "type" and not one.path]
    best = jsonschema.exceptions.best_match(_of_fitting_kind(context))
    if len(kinds) == len({one.schema_path[0] for one in context}):  # of no form's kind at all
        rule = " or ".join([kinds[0], *(kind.removeprefix("must be ") for kind in kinds[1:])])
        path = tuple(error.path)
        shown = "" if isinstance(error.instance, dict | list) else str(error.instance)[:80]
        yield Problem(file, line_of(data, path), ".".join(map(str, path)), shown, rule)
    elif best is not None:
        best.path.extendleft(reversed(error.path))
        yield from _problems(best, data, file)


def _of_fitting_kind(
    context: list[jsonschema.ValidationError],
) -> list[jsonschema.ValidationError]:
    """Leave out the forms that are of another kind altogether, such as text for a group of keys."""
    other = {one.schema_path[0] for one in context if one.validator == "type" and not one.path}
    fitting = [one for one in context if one.schema_path[0] not in other]
    return fitting or context


def _unknown_keys(error: jsonschema.ValidationError, data: Any, file: str) -> Iterator[Problem]:
    known = list(error.schema.get("properties", {})) if isinstance(error.schema, dict) else []
    path = tuple(error.path)
    instance: Any = error.instance
    for key in instance:
        if key not in known:
            line, step = line_of(data, (*path, key)), did_you_mean(str(key), known)
            place = ".".join(map(str, path))
            yield Problem(file, line, place, str(key), "is not a known key", step)


def _said(error: jsonschema.ValidationError) -> str:
    """Put the validator's rule into plain words."""
    value: Any = error.validator_value
    if error.validator == "type":
        names: list[str] = value if isinstance(value, list) else [value]
        return f"must be {' or '.join(_TYPES.get(name) or name for name in names)}"
    if error.validator == "pattern" and "\\d{4}-" in str(value):
        return "must be a date written YYYY-MM-DD"
    if error.validator == "required":
        return f"the key {_wanted(error)!r} is missing"
    plain = {
        "enum": "is not one of the allowed words",
        "minimum": f"must be {value} or more",
        "maximum": f"must be {value} or less",
        "exclusiveMinimum": f"must be above {value}",
        "exclusiveMaximum": f"must be below {value}",
        "minLength": "must not be empty",
        "minItems": f"needs at least {value} entries",
        "oneOf": "says two things of which only one may be said",
    }
    return plain.get(str(error.validator), error.message)


def _to_do(error: jsonschema.ValidationError) -> str:
    """Say what to do, with the nearest right word where there is one."""
    instance: Any = error.instance
    value: Any = error.validator_value
    if error.validator == "enum":
        return did_you_mean(str(instance), [str(word) for word in value])
    if error.validator == "required":
        have = [str(key) for key in instance]
        close = nearest(_wanted(error), have)
        return f"did you write {close!r} for it?" if close else f"keys here: {', '.join(have)}"
    if error.validator == "type" and value == "string":
        return "put it in quotes" if isinstance(instance, bool | int | float) else ""
    return ""


def _wanted(error: jsonschema.ValidationError) -> str:
    """Return the key that a `required` rule misses."""
    return str(error.message.split("'")[1])


_TYPES = {
    "object": "a group of keys",
    "array": "a list",
    "string": "text",
    "number": "a number",
    "integer": "a whole number",
    "boolean": "true or false",
    "null": "empty",
}
