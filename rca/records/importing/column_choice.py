"""Which of the file's columns is which of ours, and which only look the part."""

from collections.abc import Mapping

from rca.records.columns import TABLES
from rca.records.importing import headings, reading
from rca.records.importing.draft import Draft
from rca.records.importing.faults import METER_LIVES, Fault, Kind
from rca.records.importing.headings import STATUS, Match, match_columns
from rca.records.importing.meter_faults import row_days, why_no_meter
from rca.records.importing.questions import LEAVE_OUT, Question

# A doubt about one of these would change results, so it is asked, not settled by a proposal.
KEY_COLUMNS = ("unit", "date", "part", "position", "meter", "action", "reason", "mode", "cost",
               "closed")  # fmt: skip


def map_columns(draft: Draft) -> None:
    """Ask for each of our columns which of the file's it is; sure ones need no answer."""
    draft.matches = match_columns(draft.cells, draft.table)
    stated = _stated_by_answers(draft)
    taken = {theirs for theirs in stated.values() if theirs != LEAVE_OUT}
    required = {column.name for column in TABLES[draft.table] if column.required}
    ours_all = [column.name for column in TABLES[draft.table]]
    ours_all += [STATUS] if draft.table == "repairs" else []
    for ours in ours_all:
        match = draft.matches.get(ours)
        if match is not None and match.theirs in taken and ours not in stated:
            match = None
        answer = draft.desk.choose(_column_question(draft, ours, match, ours in required))
        if answer and answer != LEAVE_OUT:
            draft.columns[ours] = answer
        elif ours not in required:
            draft.absent.add(ours)


def _stated_by_answers(draft: Draft) -> dict[str, str]:
    start = f"{draft.desk.prefix}columns."
    return {
        key.removeprefix(start): str(value)
        for key, value in draft.desk.answers.items()
        if key.startswith(start)
    }


def _column_question(draft: Draft, ours: str, match: Match | None, required: bool) -> Question:
    names = tuple(name for name in draft.cells.names if not name.startswith("Unnamed:"))
    named = ours.replace("_", " ")
    doubled = match is not None and headings.twins_of(draft.cells, match.theirs)
    rivals = match.rivals if match is not None and (ours in KEY_COLUMNS or doubled) else ()
    sure = match is not None and match.score >= headings.SURE and not rivals
    proposed = match.theirs if match is not None and (sure or rivals or required) else ""
    if required or rivals:
        taken = {m.theirs for o, m in draft.matches.items() if o != ours and m.is_sure}
        likely = headings.candidates(draft.cells, ours, taken)
        proposed = proposed or (likely[0] if len(likely) == 1 else "")
        why = "several columns fit" if rivals else "no column is surely it"
        shown = rivals or tuple(likely[:5])
        shown = tuple(f"{n}: {', '.join(draft.cells.sample(n)[:3])}" for n in shown)
    else:
        why, shown = "nothing like it was found", ()
    return Question(
        f"columns.{ours}", f"Which column is the {named}?",
        choices=names if required else (*names, LEAVE_OUT),
        proposed=proposed or ("" if required else LEAVE_OUT),
        why=match.why if match is not None and sure else why, examples=shown,
        must=bool(rivals) or (required and not sure),
    )  # fmt: skip


def drop_unusable_dates(draft: Draft, orders: Mapping[str, str]) -> None:
    """Leave out further date columns whose dates cannot be read at all."""
    asked = {q.id.rpartition(".")[2] for q in draft.desk.questions if "date_order." in q.id}
    required = {column.name for column in TABLES[draft.table] if column.required}
    for ours in [o for o in draft.columns if o in reading.DATE_COLUMNS]:
        readable = ours in orders or ours in asked or draft.cells.is_typed(
            draft.columns[ours], "date"
        )  # fmt: skip
        if not readable and ours not in required:
            draft.columns.pop(ours)
            draft.absent.add(ours)


def drop_false_meter(draft: Draft, orders: Mapping[str, str]) -> None:
    """Leave out a meter column that does not behave like a meter, unless it was stated to be."""
    theirs = draft.columns.get("meter", "")
    stated = f"{draft.desk.prefix}columns.meter" in draft.desk.given
    if not theirs or stated or draft.table != "repairs" or "unit" not in draft.columns:
        return
    date_name = draft.columns.get("date", "")
    if not date_name or not (orders.get("date") or draft.cells.is_typed(date_name, "date")):
        return
    unit = reading.unit_codes(draft.cells, draft.columns["unit"])
    days = row_days(draft.cells, date_name, orders.get("date", "year first"))
    why = why_no_meter(draft.cells, theirs, unit, days)
    if why:
        draft.columns.pop("meter")
        draft.absent.add("meter")
        rows = draft.cells.filled_rows(theirs)
        draft.faults.append(
            Fault(Kind.MISNAMED, rows, len(draft.cells), f"cells are no meter: {why}",
                  "not used as a meter; kept as a further column", METER_LIVES, theirs)
        )  # fmt: skip


def stated_columns(draft: Draft) -> dict[str, str]:
    """State every column used, and those to be left out though the file has their name."""
    known = {column.name for column in TABLES[draft.table]}
    used = {ours: theirs for ours, theirs in draft.columns.items() if ours in known}
    there = {headings.heading_words(name) for name in draft.cells.names}
    left = {ours: "" for ours in draft.absent if ours.replace("_", " ") in there and ours in known}
    return used | left
