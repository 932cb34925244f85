"""The student's investigation file: begun with the case code in it, candidates and clues added."""

import hashlib
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

from rca.causes.case.editing import add_cause, new_name
from rca.causes.case.parsing import parse_investigation
from rca.errors import RcaError
from rca.records import files
from rca.records.commented import add_entry, in_one_line, section_of
from rca.show.exercise.case_file import Candidate, CaseFile
from rca.show.exercise.shown import Result

SOURCE = "clue "
"""Evidence that rests on a clue says so as its source: `clue` and the clue's id."""


def begin(path: Path, case: CaseFile) -> None:
    """Write the file that the student begins with, unless there is one."""
    if not path.exists():
        files.write_text(path, beginning(case))


def beginning(case: CaseFile) -> str:
    """Return the text that the student's file begins with; its id is the case code."""
    return files.yaml_text(
        {
            "investigation": case.code,
            "title": case.title,
            "purpose": "(what this is for)",
            "part": case.part,
            "opened": case.cutoff,
            "currency": case.currency,
            "problem": {
                "statement": "(what is seen, with a number, and no cause in it)",
                "trigger": "(why it is looked into now)",
            },
        }
    )


def add_candidate(path: Path, candidate: Candidate, *, effect: str) -> None:
    """Add a candidate of the case sheet under its own id.

    Raises
    ------
    RcaError
        It is in the file already, or there is no such effect.
    """

    def change(data: Any) -> None:
        if candidate.id in (data.get("causes") or {}):
            raise RcaError(f"{candidate.id} is in the file already", next_step="link it there")
        name = add_cause(
            data, candidate.says, layer=candidate.layer, effect=effect, branch=candidate.branch
        )
        _rename(data, name, candidate.id)

    _changed(path, change)


def _rename(data: Any, name: str, wanted: str) -> None:
    """Give a cause that was just added the candidate's id, so that its mark needs no guessing."""
    if name == wanted:
        return
    body = data["causes"].pop(name)
    add_entry(section_of(data, "causes"), wanted, body)
    for holder, key in _gates(data):
        holder[key] = _renamed(holder[key], name, wanted)


def _gates(data: Any) -> list[tuple[Any, str]]:
    holders = [data["problem"], *data["causes"].values()]
    keys = ("because", "not_caught_because")
    return [(holder, key) for holder in holders for key in keys if key in holder]


def _renamed(gate: Any, name: str, wanted: str) -> Any:
    if isinstance(gate, str):
        return wanted if gate == name else gate
    if isinstance(gate, list):
        for place, one in enumerate(gate):
            gate[place] = _renamed(one, name, wanted)
    elif isinstance(gate, dict):
        for word in gate:
            if word != "at_least":
                gate[word] = _renamed(gate[word], name, wanted)
    return gate


def cite(
    path: Path,
    result: Result,
    *,
    shows: str,
    supports: Sequence[str],
    contradicts: Sequence[str],
    if_true: Mapping[str, str],
) -> str:
    """Write a bought clue into the file as evidence; return its name.

    Raises
    ------
    RcaError
        It says nothing, speaks for nothing, or names a cause that is not there.
    """
    if not shows.strip():
        raise RcaError("say what it shows", next_step="in your own words, with its numbers")

    def change(data: Any) -> str:
        name = new_name(data, shows, otherwise="evidence")
        body: dict[str, Any] = {
            "kind": result.kind,
            "shows": shows.strip(),
            "source": f"{SOURCE}{result.id}",
            "date": result.found_on,
            "by": "workshop",
        }
        for key, named in (("for", supports), ("against", contradicts)):
            if named:
                body[key] = named[0] if len(named) == 1 else list(named)
        if result.survey and supports:
            body["survey"] = {key: in_one_line(dict(one)) for key, one in result.survey.items()}
        if if_true:
            body["if_true"] = in_one_line(dict(if_true))
        add_entry(section_of(data, "evidence"), name, body)
        return name

    return str(_changed(path, change))


def _changed(path: Path, change: Any) -> Any:
    """Change the file as a whole or not at all; it must still make sense afterwards."""
    before = files.read_text(path)
    data = files.yaml_of(before, file=path.name)
    done = change(data)
    text = files.yaml_text(data, like=before)
    parse_investigation(files.yaml_of(text, file=path.name), file=path.name)
    files.write_text_over(path, text, read=before)
    return done


def fingerprint(text: str) -> str:
    """SHA-256 of the file's text, written into the log when the work is finished."""
    return hashlib.sha256(text.encode()).hexdigest()
