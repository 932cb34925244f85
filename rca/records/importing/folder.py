"""The import from end to end: a fleet folder from a file and its answers, or a clear refusal."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from pathlib import Path
from typing import Any

from rca.errors import Problem, Refused
from rca.records import files
from rca.records.fleet import Fleet
from rca.records.importing.proposal import Proposal, propose, refuse_if_open
from rca.records.importing.questions import Question
from rca.records.importing.writing import fleet_text, write_folder


@dataclass(frozen=True, slots=True, eq=False)
class Imported:
    """A fleet folder that an import has written, and what it was made from."""

    folder: Path
    proposal: Proposal
    fleet: Fleet

    def __str__(self) -> str:
        faults = "\n".join(f"  {fault}" for fault in self.proposal.faults)
        results = "\n".join(f"  {one}" for one in self.proposal.answerable)
        return (
            f"{self.folder.name} written: {self.fleet}\nfaults found:\n{faults}\n"
            f"what can be answered:\n{results}"
        )


def import_file(
    path: Path | str,
    out: Path | str,
    *,
    further: Sequence[Path | str] = (),
    units: Path | str | None = None,
    readings: Path | str | None = None,
    parts: Path | str | None = None,
    answers: Mapping[str, Any] | None = None,
    today: date | None = None,
) -> Imported:
    """Import an export into a new fleet folder, refusing wherever that would need a guess.

    Raises
    ------
    Refused
        Questions are open (each is listed with the line that answers it), or a file cannot be
        read. Nothing is written.
    NotWritten
        The folder exists already or cannot be written.
    """
    proposal = propose(
        path,
        further=further,
        units=units,
        readings=readings,
        parts=parts,
        answers=answers,
        today=today,
    )
    return write_fleet_folder(proposal, out)


def write_fleet_folder(proposal: Proposal, out: Path | str) -> Imported:
    """Write the fleet folder of an answered proposal: fleet.yaml and a copy of each file.

    Raises
    ------
    Refused
        Questions are open, or the records cannot be read by the rules proposed.
    NotWritten
        The folder exists already or cannot be written.
    """
    refuse_if_open(proposal)
    fleet = proposal.fleet()
    folder = write_folder(proposal.tables, Path(out), fleet_yaml(proposal))
    return Imported(folder, proposal, fleet)


def fleet_yaml(proposal: Proposal) -> str:
    """Return the text of the fleet.yaml that repeats this import."""
    notes = [f"{name}: {guess.value} ({guess.why})" for name, guess in proposal.guesses.items()]
    notes += [fault.in_short for fault in proposal.faults]
    return fleet_text(proposal.tables, proposal.settings, notes=notes)


def read_answers(path: Path | str) -> dict[str, Any]:
    """Read an answers file: one key for each question.

    Raises
    ------
    Refused
        The file is missing, is no YAML, or holds no keys.
    """
    path = Path(path)
    data = files.read_yaml(path)
    if data is None:
        return {}
    if not isinstance(data, Mapping):
        rule = "must hold one key for each question, such as meter_unit: km"
        raise Refused([Problem(path.name, 1, "", "", rule)])
    return {str(key): value for key, value in data.items()}


def answers_text(proposal: Proposal) -> str:
    """Return an answers file to be filled in: what must be answered, and below it what may be."""
    lines = ["# Answers for the import. Fill in each line and run the import again with this file."]
    for question in proposal.open:
        lines += ["", *(f"# {line}" for line in str(question).splitlines())]
        lines += _blank_answer(question, proposal)
    further = [q for q in proposal.questions if q not in proposal.open]
    further = [q for q in further if q.id not in proposal.answers and ".columns." not in f".{q.id}"]
    if further:
        lines += ["", "# These may be answered too; what is proposed holds if they are not."]
    for question in further:
        lines += ["#", *(f"# {line}" for line in str(question).splitlines())]
    return "\n".join(lines) + "\n"


def _blank_answer(question: Question, proposal: Proposal) -> list[str]:
    """Return the lines to be filled in; only what is sure or was answered stands there already."""
    if question.kind not in ("words", "merge"):
        return [f"{question.id}: "]
    given = question.meaning(proposal.answers.get(question.id))
    known = given if isinstance(given, dict) else {}
    return [f"{question.id}:"] + [
        f"  {_quoted(item.text)}: {_quoted(known.get(item.text, ''))}" for item in question.items
    ]


def _quoted(text: str) -> str:
    return "'" + text.replace("'", "''") + "'" if text else ""
