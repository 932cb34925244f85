"""YAML with its comments, order and line numbers, and nothing in it but plain values."""

import io
import math
import re
from pathlib import Path
from typing import Any

from ruamel.yaml import YAML
from ruamel.yaml.error import MarkedYAMLError, YAMLError
from ruamel.yaml.resolver import VersionedResolver

from rca.errors import Problem, Refused
from rca.records.files.plain_files import read_text, write_text

MOST_YAML_ENTRIES = 100_000
DEEPEST_YAML = 60  # lists and blocks inside one another
_INDENTED_LIST = re.compile(r"^( *)\S.*:[ \t]*(?:#.*)?\n(?:[ \t]*(?:#.*)?\n)*\1 +- ", re.MULTILINE)
_LOADER_ERRORS = (
    YAMLError, ValueError, TypeError, KeyError, IndexError, AttributeError, AssertionError,
    NotImplementedError,
)  # fmt: skip
"""What the loader raises on text that is no YAML, besides errors that name a line."""
_PLAIN = (dict, list, str, int, float, type(None))


class _TextDates(VersionedResolver):
    """Leaves dates as the text that the person wrote."""

    def resolve(self, kind: Any, value: Any, implicit: Any) -> Any:
        tag = super().resolve(kind, value, implicit)
        if str(tag) == "tag:yaml.org,2002:timestamp":
            return super().resolve(kind, "text", implicit)
        return tag


def _yaml() -> YAML:
    yaml = YAML(typ="rt")
    yaml.Resolver = _TextDates
    yaml.preserve_quotes = True
    yaml.width = 100
    return yaml


def read_yaml(path: Path) -> Any:
    """Read a YAML file with its comments, order and line numbers; dates stay text.

    Raises
    ------
    Refused
        The file is missing, is not text, or is not YAML; with the line.
    """
    return yaml_of(read_text(path), file=path.name)


def yaml_of(text: str, *, file: str) -> Any:
    """Return what YAML text says, with its comments, order and line numbers; dates stay text.

    Raises
    ------
    Refused
        It is not YAML, or holds more than plain values; with the line in `file`.
    """
    try:
        data = _yaml().load(text)
    except MarkedYAMLError as error:
        mark = error.problem_mark
        line = mark.line + 1 if mark else 0
        rule = f"is not valid YAML: {error.problem}"
        step = "indent with spaces, quote text that contains ': ' or begins with a sign"
        raise Refused([Problem(file, line, "", "", rule, step)]) from error
    except RecursionError as error:
        raise Refused([Problem(file, 0, "", "", "is nested too deeply")]) from error
    except _LOADER_ERRORS as error:
        said = (str(error).splitlines() or [type(error).__name__])[0]
        step = "look for a key that is itself a list or a block, a lone sign, a wrong indentation"
        raise Refused([Problem(file, 0, "", "", f"is not valid YAML: {said}", step)]) from error
    if problem := _odd_entry(data, file):
        raise Refused([problem])
    return data


def _odd_entry(data: Any, file: str) -> Problem | None:
    """Find the first entry that is no plain text, number, list or group of keys.

    Tags could name things other than data; aliases can blow a short file up beyond all memory.
    """
    waiting: list[tuple[Any, int, str, int]] = [(data, 0, "", 0)]
    for _ in range(MOST_YAML_ENTRIES):
        if not waiting:
            return None
        entry, line, key, depth = waiting.pop()
        if depth > DEEPEST_YAML:
            return Problem(file, line, key, "", "is nested too deeply")
        tagged = str(getattr(entry, "tag", None)) != "None"
        if tagged or not isinstance(entry, _PLAIN):
            step = "write plain text, numbers, lists and keys, without tags (!...)"
            return Problem(file, line, key, str(entry)[:80], "is no plain value", step)
        if isinstance(entry, float) and not math.isfinite(entry):
            return Problem(file, line, key, str(entry), "is no finite number")
        if isinstance(entry, dict | list):
            inside = entry.items() if isinstance(entry, dict) else enumerate(entry)
            waiting += [
                (one, line_of(entry, (name,)) or line, str(name), depth + 1) for name, one in inside
            ]
    rule = f"holds more than {MOST_YAML_ENTRIES} entries, aliases counted each time"
    return Problem(file, 0, "", "", rule, "write it without aliases (*name) inside one another")


def yaml_text(data: Any, *, like: str = "") -> str:
    """Write out `data` as YAML text, comments and order kept.

    With `like`, the text that the data was read from, lines are not folded anew and lists keep
    their indentation, so that what was not changed stays as it was.
    """
    yaml = _yaml()
    if like:
        yaml.width = 1_000_000
        if _INDENTED_LIST.search(like):
            yaml.indent(mapping=2, sequence=4, offset=2)
    stream = io.StringIO()
    yaml.dump(data, stream)
    return stream.getvalue()


def write_yaml(path: Path, data: Any) -> None:
    """Write `data` as YAML, whole or not at all."""
    write_text(path, yaml_text(data))


def line_of(data: Any, keys: tuple[str | int, ...]) -> int:
    """Line (from 1) of the entry reached by `keys` in data from `read_yaml`; 0 if not known."""
    line = 0
    for key in keys:
        marks = getattr(data, "lc", None)
        if marks is None or marks.data is None or key not in marks.data:
            break
        line = marks.data[key][0] + 1
        data = data[key]
    return line
