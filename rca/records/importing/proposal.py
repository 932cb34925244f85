"""An import as a whole: what is proposed for a file (and its unit list), what is open, and why."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date
from pathlib import Path
from typing import Any

from rca.errors import Problem, RcaError, Refused
from rca.records.columns import table_of
from rca.records.fleet import Fleet, assemble
from rca.records.importing.answerable import Answerable, answerable
from rca.records.importing.cell_faults import columns_of_people
from rca.records.importing.faults import Fault, Kind
from rca.records.importing.fleet_level import fleet_faults, fleet_settings
from rca.records.importing.further_files import files_of_repairs
from rca.records.importing.guessing import Guess
from rca.records.importing.questions import Answer, Desk, Question, flat_answers
from rca.records.importing.table_proposal import TableProposal, propose_table
from rca.records.importing.writing import fleet_data
from rca.records.joining import joined_tables
from rca.records.people import with_pseudonyms
from rca.records.schema import did_you_mean
from rca.records.settings import settings_of

MOST_FURTHER = 8


@dataclass(frozen=True, slots=True, eq=False)
class Proposal:
    """What an export seems to be, how sure each point is, and what only a person can say.

    `tables` holds one proposal for each file, by the kit's name of the table (`repairs 2` for a
    second file of the repairs); `settings` the
    keys of fleet.yaml beside the tables; `faults` everything found wrong, `questions` everything
    that may be answered, `open` what must be. A proposal never changes: `answer` gives a new one.
    """

    tables: Mapping[str, TableProposal]
    settings: Mapping[str, Any]
    guesses: Mapping[str, Guess]
    faults: tuple[Fault, ...]
    questions: tuple[Question, ...]
    open: tuple[Question, ...]
    answers: Mapping[str, Answer]
    answerable: tuple[Answerable, ...]
    problems: tuple[Problem, ...]
    today: date

    @property
    def path(self) -> Path:
        """The file of the repairs."""
        return self.tables["repairs"].path

    @property
    def is_complete(self) -> bool:
        """Tell whether nothing is open and nothing stands against reading the file."""
        return not self.open and not self.problems

    def question(self, question_id: str) -> Question:
        """Return one question.

        Raises
        ------
        RcaError
            There is no such question; says which there are.
        """
        found = next((q for q in self.questions if q.id == question_id), None)
        if found is None:
            step = did_you_mean(question_id, [q.id for q in self.questions])
            raise RcaError(f"there is no question {question_id!r}", next_step=step)
        return found

    def answer(self, question_id: str, choice: Any) -> "Proposal":
        """Return a new proposal in which one question has been answered.

        Raises
        ------
        RcaError
            There is no such question, or the choice is not one of its choices.
        """
        given = self.question(question_id).read(choice)
        before = self.answers.get(question_id)
        if isinstance(given, dict) and isinstance(before, dict):
            given = before | given
        paths = {name: table.path for name, table in self.tables.items()}
        return _propose(paths, {**self.answers, question_id: given}, self.today, self.tables)

    def faults_of(self, kind: Kind) -> tuple[Fault, ...]:
        """Return the faults of one kind."""
        return tuple(fault for fault in self.faults if fault.kind == kind)

    def fleet(self) -> Fleet:
        """Read the records by the rules proposed, as the written fleet.yaml would.

        Raises
        ------
        Refused
            Something is still open, or the records cannot be read so.
        """
        refuse_if_open(self)
        settings = settings_of(fleet_data(self.tables, self.settings), self.path.parent)
        read = {name: t.checked for name, t in self.tables.items() if t.checked is not None}
        checked = joined_tables(read)
        people = settings.people
        hidden = with_pseudonyms(checked, columns=people.columns, salt_env=people.salt_env)
        return assemble(settings, hidden, known_to=self.today)

    def __str__(self) -> str:
        lines = []
        for one in files_of_repairs(self.tables):
            lines += [f"{one.path.name}: {one.rows} rows read as repairs"]
            lines += [f"  {ours}: {theirs!r}" for ours, theirs in one.columns.items()]
        lines += [f"  {name}: {g.value} ({g.sure}; {g.why})" for name, g in self.guesses.items()]
        lines += [f"{len(self.faults)} kinds of faults:"] + [f"  {fault}" for fault in self.faults]
        lines += ["what can be answered:"] + [f"  {one}" for one in self.answerable]
        lines += [f"{len(self.open)} open questions:"] + [str(question) for question in self.open]
        return "\n".join(lines)


def propose(
    path: Path | str,
    *,
    further: Sequence[Path | str] = (),
    units: Path | str | None = None,
    readings: Path | str | None = None,
    parts: Path | str | None = None,
    answers: Mapping[str, Any] | None = None,
    today: date | None = None,
) -> Proposal:
    """Look at an export of repairs and propose how to read it.

    Parameters
    ----------
    path
        The export: CSV (also packed), XLSX or Parquet.
    further
        Further exports of repairs, each with columns of its own; their rows are appended.
    units, readings, parts
        Further exports: a list of the units, of meter readings, of the part families.
    answers
        Answers to questions by their id, nested (`columns: {part: Component}`) or flat.
    today
        Day of the import; later dates are not believed.

    Raises
    ------
    Refused
        A file cannot be read at all, or an answer names a question that is not asked.
    RcaError
        An answer is not one of its question's choices.
    """
    paths: dict[str, Path | str | None] = {"repairs": path}
    paths |= {f"repairs {number}": place for number, place in enumerate(further, start=2)}
    paths |= {"units": units, "readings": readings, "parts": parts}
    if len(further) > MOST_FURTHER:
        raise RcaError(f"{len(further)} further files of repairs; {MOST_FURTHER} are the most",
                       next_step="put some of them together first")  # fmt: skip
    given = {name: Path(place) for name, place in paths.items() if place is not None}
    flat = flat_answers(answers or {})
    proposal = _propose(given, flat, today or date.today(), {})
    _refuse_unknown(flat, proposal)
    return proposal


def _refuse_unknown(flat: Mapping[str, Any], proposal: Proposal) -> None:
    """Refuse answers to questions that were not asked: they would be lost in silence."""
    asked = [question.id for question in proposal.questions]
    lost = [key for key in flat if key not in asked]
    if lost:
        rule = "answers a question that is not asked"
        raise Refused(
            [
                Problem("answers", 0, k, str(flat[k])[:60], rule, did_you_mean(k, asked))
                for k in lost
            ]
        )


def _propose(
    paths: Mapping[str, Path],
    answers: Mapping[str, Any],
    today: date,
    before: Mapping[str, TableProposal],
) -> Proposal:
    several = sum(table_of(name) == "repairs" for name in paths) > 1
    tables = {
        name: propose_table(
            path, table_of(name), answers=answers, today=today, before=before.get(name),
            entry=name, about=path.name if several else "",
        )
        for name, path in paths.items()
    }  # fmt: skip
    for one in files_of_repairs(tables):
        _refuse_other_table(one)
    desk = Desk(answers)
    settings, guesses = fleet_settings(tables, desk, today=today)
    faults = [
        replace(fault, what=f"{table.path.name}: {fault.what}") if several else fault
        for table in tables.values()
        for fault in table.faults
    ]
    faults += fleet_faults(tables, settings)
    blocked = {f.blocked: f"{f.count} {f.what}" for f in faults if f.blocks_in_fleet}
    if blocked:
        settings["blocked"] = blocked
    people = [name for t in tables.values() if t.export for name in columns_of_people(t.export)]
    if people:
        settings["people"] = {"columns": people}
    return Proposal(
        tables=tables,
        settings=settings,
        guesses={
            f"{t.path.name}: {key}" if several else key: guess
            for t in tables.values()
            for key, guess in t.guesses.items()
        }
        | guesses,
        faults=tuple(faults),
        questions=tuple(q for t in tables.values() for q in t.questions) + tuple(desk.questions),
        open=tuple(q for t in tables.values() for q in t.open) + desk.open(),
        answers={k: a for t in tables.values() for k, a in t.given.items()} | desk.given,
        answerable=answerable(tables),
        problems=tuple(p for t in tables.values() for p in t.problems),
        today=today,
    )


def _refuse_other_table(repairs: TableProposal) -> None:
    """Refuse a list of units or of meter readings that was given for the repairs."""
    if repairs.export is None or repairs.matches.get("part") or repairs.matches.get("complaint"):
        return
    found = repairs.matches.keys()
    kind = ""
    if "date" not in found and "unit" in found:
        kind = "units"
    elif {"unit", "date", "meter"} <= found and not {"action", "reason", "mode"} & found:
        kind = "readings"
    if kind and not any(key.startswith("columns.") for key in repairs.given):
        rule = f"looks like a table of {kind}, not of repairs: no column names a part or repair"
        if kind == "units":
            rule = "looks like a list of units, not of repairs: it has no dates of repairs"
        step = f"import the repairs, and give this file beside them as {kind}"
        raise Refused([Problem(repairs.path.name, 1, "", "", rule, step)])


def refuse_if_open(proposal: Proposal) -> None:
    """Refuse where the import would have to guess; every open question is listed.

    Raises
    ------
    Refused
        Questions are open, or the records cannot be read by the rules proposed.
    """
    name = proposal.path.name
    problems = [
        Problem(name, 0, question.id, "", f"not decided by the file: {question.text}",
                f"{_reason(question)}answer it in the answers file (--answers), "
                f"{question.how_to_answer()}")
        for question in proposal.open
    ]  # fmt: skip
    problems += proposal.problems
    if problems:
        raise Refused(problems)


def _reason(question: Question) -> str:
    return f"{question.why}; " if question.why else ""
