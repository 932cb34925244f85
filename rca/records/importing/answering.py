"""An import with its answers in a file: read where the file exists, laid out where it does not."""

from collections.abc import Sequence
from pathlib import Path

from rca.errors import Problem, Refused
from rca.records import files
from rca.records.importing.folder import (
    Imported,
    answers_text,
    read_answers,
    write_fleet_folder,
)
from rca.records.importing.proposal import propose


def import_with_answers(
    path: Path,
    out: Path,
    *,
    answers: Path | None = None,
    further: Sequence[Path] = (),
    units: Path | None = None,
    readings: Path | None = None,
    parts: Path | None = None,
) -> Imported:
    """Import an export into a new fleet folder, refusing wherever that would need a guess.

    Parameters
    ----------
    further
        Further exports of repairs, each with columns of its own.
    answers
        File of answers. One that does not exist yet is written with the open questions, to be
        filled in, and the import is refused.

    Raises
    ------
    Refused
        Questions are open, or a file cannot be read. No fleet folder is written.
    NotWritten
        The folder exists already, or something cannot be written.
    """
    known = read_answers(answers) if answers is not None and answers.exists() else {}
    proposal = propose(
        path, further=further, units=units, readings=readings, parts=parts, answers=known
    )
    if proposal.open and answers is not None and not answers.exists():
        files.write_new_text(answers, answers_text(proposal))
        count = len(proposal.open)
        said = "1 question is" if count == 1 else f"{count} questions are"
        rule = f"{said} open; laid out in {answers}"
        step = "fill that file in and run the same command again"
        raise Refused([Problem(proposal.path.name, 0, "", "", rule, step)])
    return write_fleet_folder(proposal, out)
