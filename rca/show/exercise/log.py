"""The log of a student's steps: one JSON line each, every line bound to the one before.

Each line carries the SHA-256 of its own content and of the hash before it; the first is bound to
the case code. A line changed, removed from the middle or moved breaks the chain from there on,
and the place is known. The chain shows alterations by hand; it is no signature.
"""

import hashlib
import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from rca.errors import Problem, Refused

MOST_STEPS = 5_000
MOST_LINE = 100_000


@dataclass(frozen=True, slots=True)
class Step:
    """One step: its number from 1, when it was done (UTC, ISO), what, and the details."""

    number: int
    at: str
    does: str
    details: Mapping[str, Any]
    hash: str

    def line(self) -> str:
        """Return the step as its line of the log."""
        content = {"step": self.number, "at": self.at, "does": self.does, **self.details}
        return json.dumps({**content, "hash": self.hash}, ensure_ascii=False)


def next_step(
    steps: Sequence[Step], does: str, details: Mapping[str, Any], *, code: str, at: str
) -> Step:
    """Return the step that follows `steps`, bound to them."""
    before = steps[-1].hash if steps else _start(code)
    number = len(steps) + 1
    return Step(number, at, does, details, _hash(before, number, at, does, details))


def log_text(steps: Sequence[Step]) -> str:
    """Return the whole log as text."""
    return "".join(step.line() + "\n" for step in steps)


def read_log(text: str, *, code: str, file: str = "log.jsonl") -> tuple[Step, ...]:
    """Read a log and check its chain.

    Raises
    ------
    Refused
        A line is not of this kind, or the chain is broken there; with the line.
    """
    steps, broken = sound_steps(text, code=code, file=file)
    if broken:
        raise Refused([broken])
    return steps


def sound_steps(
    text: str, *, code: str, file: str = "log.jsonl"
) -> tuple[tuple[Step, ...], Problem | None]:
    """Read the log as far as its chain holds; with the fault that ends it, if there is one."""
    steps: list[Step] = []
    before = _start(code)
    for number, line in enumerate(text.splitlines(), start=1):
        if number > MOST_STEPS or len(line) > MOST_LINE:
            return tuple(steps), Problem(file, number, "", "", "is longer than any log can be")
        step = _step(line)
        if step is None:
            return tuple(steps), Problem(file, number, "", line[:60], "is no line of this log")
        right = _hash(before, number, step.at, step.does, step.details)
        if step.number != number or step.hash != right:
            rule = "was changed, moved or taken out after it was written"
            return tuple(steps), Problem(file, number, "hash", step.hash[:12], rule)
        steps.append(step)
        before = step.hash
    return tuple(steps), None


def _step(line: str) -> Step | None:
    """Read one line; None where it is none."""
    try:
        content = json.loads(line)
        number, at, does = content.pop("step"), content.pop("at"), content.pop("does")
        found = content.pop("hash")
    except (ValueError, KeyError, AttributeError, TypeError, RecursionError):
        return None
    if not (isinstance(number, int) and all(isinstance(one, str) for one in (at, does, found))):
        return None
    return Step(number, at, does, content, found)


def _start(code: str) -> str:
    return hashlib.sha256(f"log of case {code}".encode()).hexdigest()


def _hash(before: str, number: int, at: str, does: str, details: Mapping[str, Any]) -> str:
    content = json.dumps([before, number, at, does, details], sort_keys=True, ensure_ascii=True)
    return hashlib.sha256(content.encode()).hexdigest()
