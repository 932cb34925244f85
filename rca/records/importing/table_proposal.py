"""One file of an import: its columns, how its cells are written, its faults and questions."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from pathlib import Path
from typing import Any

from rca.errors import Problem, Refused
from rca.records import files
from rca.records.columns import TABLES, Rules
from rca.records.files import TableSource
from rca.records.importing import leaving_out, reading
from rca.records.importing.blanks_and_costs import ask_blanks, ask_repeated_cost, ask_zero_cost
from rca.records.importing.cell_faults import cell_faults
from rca.records.importing.column_choice import (
    drop_false_meter,
    drop_unusable_dates,
    map_columns,
    stated_columns,
)
from rca.records.importing.distinct import Cells
from rca.records.importing.draft import Draft
from rca.records.importing.faults import Export, Fault, Kind
from rca.records.importing.guessing import Guess
from rca.records.importing.headings import Match, content_of
from rca.records.importing.meaning_faults import meaning_faults
from rca.records.importing.questions import Answer, Desk, Item, Question
from rca.records.importing.row_faults import row_faults
from rca.records.importing.sniffing import sniff
from rca.records.importing.spellings import propose_merges
from rca.records.tables import CheckedTable, check_table

MERGED_COLUMNS = ("unit", "part", "position", "mode", "system")


@dataclass(frozen=True, slots=True, eq=False)
class TableProposal:
    """What is proposed for one file.

    `source` and `export` are None while a question keeps the file from being read at all, and
    `export.checked` while one keeps its cells from being read.
    """

    table: str
    path: Path
    source: TableSource | None
    export: Export | None
    matches: Mapping[str, Match]
    guesses: Mapping[str, Guess]
    faults: tuple[Fault, ...]
    questions: tuple[Question, ...]
    open: tuple[Question, ...]
    given: Mapping[str, Answer]
    problems: tuple[Problem, ...] = ()

    @property
    def rows(self) -> int:
        """Rows of the file, 0 while it cannot be read."""
        return self.export.rows if self.export is not None else 0

    @property
    def columns(self) -> Mapping[str, str]:
        """The file's column for each of ours that was found."""
        return self.export.columns if self.export is not None else {}

    @property
    def checked(self) -> CheckedTable | None:
        """The rows as read, None while something keeps them from being read."""
        return self.export.checked if self.export is not None else None


def propose_table(
    path: Path,
    table: str,
    *,
    answers: Mapping[str, Any],
    today: date,
    before: TableProposal | None = None,
    entry: str = "",
    about: str = "",
) -> TableProposal:
    """Work out what a file says as one of the kit's tables, with the answers given so far.

    `entry` is the table's name, or `repairs 2` for a further file of the repairs; its questions
    begin with it, and with `about`, the name of the file where that is needed. `before` is an
    earlier proposal for the same file, whose reading of it is used again.

    Raises
    ------
    Refused
        The file cannot be read at all.
    RcaError
        An answer is not one of the choices.
    """
    entry = entry or table
    desk = Desk(answers, prefix="" if entry == "repairs" else f"{entry}.", about=about)
    sniffed = sniff(path, desk)
    if sniffed.source is None:
        return TableProposal(
            table, path, None, None, {}, sniffed.guesses, tuple(sniffed.faults),
            tuple(desk.questions), desk.open(), desk.given,
        )  # fmt: skip
    if before is not None and before.export is not None and before.source == sniffed.source:
        cells = before.export.cells
    else:
        cells = Cells(files.read_table(sniffed.source))
    draft = Draft(table, cells, desk, faults=list(sniffed.faults), guesses=dict(sniffed.guesses))
    return _worked_out(draft, path, sniffed.source, today)


def _worked_out(draft: Draft, path: Path, source: TableSource, today: date) -> TableProposal:
    cells, desk = draft.cells, draft.desk
    if len(cells) == 0:
        rule = "the table has a header but no rows"
        raise Refused([Problem(path.name, 1, "", "", rule, "export it again")])
    map_columns(draft)
    orders, guesses = reading.read_dates(cells, draft.columns, desk, draft.faults)
    draft.guesses |= guesses
    drop_unusable_dates(draft, orders)
    drop_false_meter(draft, orders)
    decimal, thousands, affixes, guess = reading.read_numbers(
        cells, draft.columns, desk, draft.faults
    )
    if guess is not None:
        draft.guesses["decimal mark"] = guess
    missing = reading.read_missing(cells, draft.columns, desk)
    out = leaving_out.leaving_out(cells, draft.columns, desk)
    draft.faults += out.faults
    draft.values = reading.read_words(cells, draft.columns, desk, draft.table)
    for ours, words in out.values.items():
        draft.values.setdefault(ours, {}).update(words)
    _merge_spellings(draft, out.joined)
    if draft.table == "repairs":
        ask_blanks(draft)
        ask_zero_cost(draft)
    rules = Rules(
        columns=stated_columns(draft),
        date_order=_one_or_each(orders),
        decimal=decimal,
        thousands=thousands,
        missing=("", *missing),
        values={ours: words for ours, words in draft.values.items() if words},
        set_aside=out.set_aside,
        affixes=affixes,
    )
    checked, problems = _checked(draft, rules, orders)
    if draft.table == "repairs" and checked is not None:
        ask_repeated_cost(draft, checked)
    contents = {name: content_of(cells, name) for name in cells.names}
    export = Export(cells, draft.table, contents, draft.columns, rules, checked, today)
    for look in (cell_faults, row_faults, meaning_faults):
        draft.faults += look(export)
    return TableProposal(
        draft.table, path, source, export, draft.matches, draft.guesses, tuple(draft.faults),
        tuple(desk.questions), desk.open(), desk.given, problems,
    )  # fmt: skip


def _merge_spellings(draft: Draft, joined: Mapping[str, str]) -> None:
    """Propose which spellings are one name; nothing is merged before it is confirmed."""
    for ours in MERGED_COLUMNS:
        if ours not in draft.columns:
            continue
        mark = joined.get(ours, "")
        filled = draft.cells.distinct(draft.columns[ours]).filled()
        twice = draft.values.get(ours, {})
        names = {
            text: rows for text, rows in filled.items()
            if text not in twice and (not mark or mark not in text or ours == "position")
        }  # fmt: skip
        merges = propose_merges(names, ours)
        if not merges:
            continue
        items = tuple(Item(m.text, m.count, m.into, False, m.why) for m in merges)
        answer = draft.desk.words(
            Question(f"merge.{ours}", f"Are these spellings of {draft.columns[ours]!r} one name?",
                     "merge", items=items, must=False,
                     why="nothing is merged before it is confirmed")
        )  # fmt: skip
        draft.values.setdefault(ours, {}).update(answer)
        done = f"{len(answer)} of {len(merges)} merged as confirmed" if answer else (
            "kept apart until they are confirmed"
        )  # fmt: skip
        draft.faults.append(
            Fault(Kind.SPELLINGS, sum(m.count for m in merges), len(draft.cells),
                  f"rows use one of {len(merges)} spellings that may mean another name", done,
                  column=draft.columns[ours],
                  examples=tuple(f"{m.text!r} -> {m.into!r}" for m in merges[:4]))
        )  # fmt: skip


def _one_or_each(orders: Mapping[str, str]) -> str | dict[str, str]:
    distinct = set(orders.values())
    return next(iter(distinct), "") if len(distinct) < 2 else dict(orders)


def _checked(
    draft: Draft, rules: Rules, orders: Mapping[str, str]
) -> tuple[CheckedTable | None, tuple[Problem, ...]]:
    """Read the cells by the rules found; nothing while columns or dates needed are open."""
    waiting = {q.id.removeprefix(draft.desk.prefix) for q in draft.desk.open()}
    required = [column.name for column in TABLES[draft.table] if column.required]
    if any(ours not in draft.columns for ours in required):
        return None, ()
    if waiting & {f"date_order.{ours}" for ours in (*required, *orders)} or "decimal" in waiting:
        return None, ()
    unreadable = [
        ours for ours in required
        if ours in reading.DATE_COLUMNS and ours not in orders
        and not draft.cells.is_typed(draft.columns[ours], "date")
    ]  # fmt: skip
    if unreadable:
        theirs = draft.columns[unreadable[0]]
        rule = f"no full dates stand in it, but {', '.join(draft.cells.sample(theirs)[:3])}"
        step = "export it again as full dates (YYYY-MM-DD); no day is invented"
        return None, (Problem(draft.cells.raw.name, 1, theirs, "", rule, step),)
    try:
        return check_table(draft.cells.coded(), draft.table, rules=rules), ()
    except Refused as error:
        return None, error.problems
