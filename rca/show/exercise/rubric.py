"""The marking sheet: points by criterion and tolerances, in a file that the instructor edits."""

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from rca.errors import Problem, Refused
from rca.records import files

CRITERIA: Mapping[str, str] = {
    "problem": "Problem statement",
    "data_handling": "Handling of the records",
    "evidence": "Evidence for each link",
    "branches": "Rival branches",
    "upstream": "Upstream reached",
    "no_blame": "No blame",
    "test_choice": "Choice of tests",
    "cause": "Cause named",
    "action": "Repair fits the cause",
    "plan": "Plan to verify",
    "verdict": "Verdict",
}
TOLERANCES = ("failures", "running", "shape", "needed", "expected")
PARTS = ("one_of_two", "runner_up", "same_mechanism")


@dataclass(frozen=True, slots=True)
class Rubric:
    """Points by criterion, tolerances by question, and shares for a cause that is partly right."""

    points: Mapping[str, float]
    tolerance: Mapping[str, float]
    part_of_cause: Mapping[str, float]

    @property
    def total(self) -> float:
        """Most points that can be had."""
        return sum(self.points.values())


def read_rubric(path: Path) -> Rubric:
    """Read a marking sheet.

    Raises
    ------
    Refused
        A criterion is missing or not known, or a value is no number in its range; with the line.
    """
    data = files.read_yaml(path)
    sections = {
        "points": (tuple(CRITERIA), 1_000.0),
        "tolerance": (TOLERANCES, 10.0),
        "part_of_cause": (PARTS, 1.0),
    }
    faults: list[Problem] = []
    found = {}
    for name, (keys, most) in sections.items():
        section = data.get(name) if isinstance(data, Mapping) else None
        if not isinstance(section, Mapping):
            faults.append(Problem(path.name, 0, name, "", "is missing", "copy the shipped file"))
            continue
        faults += _faults(path.name, data, name, section, keys, most)
        found[name] = {key: section[key] for key in keys if key in section}
    if faults:
        raise Refused(faults)
    return Rubric(**{name: {key: float(value) for key, value in one.items()}
                     for name, one in found.items()})  # fmt: skip


def _faults(
    file: str, data: Any, name: str, section: Any, keys: tuple[str, ...], most: float
) -> list[Problem]:
    faults = []
    for key in section:
        if key not in keys:
            step = f"known: {', '.join(keys)}"
            line = files.line_of(data, (name, key))
            faults.append(Problem(file, line, f"{name}.{key}", "", "is not known", step))
    for key in keys:
        value = section.get(key)
        good = isinstance(value, int | float) and not isinstance(value, bool)
        if not (good and 0 <= value <= most):
            rule = f"must be a number from 0 to {most:g}"
            line = files.line_of(data, (name, key))
            shown = "" if value is None else str(value)[:40]
            faults.append(Problem(file, line, f"{name}.{key}", shown, rule))
    return faults
