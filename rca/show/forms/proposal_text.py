"""What an import proposes, found wrong and can answer, as HTML tables."""

from collections.abc import Iterator
from pathlib import Path

from rca.records.columns import table_of
from rca.records.importing import Proposal
from rca.show.forms.tables import listed, paragraph, table

OTHER_TABLES = {"repairs": "repairs", "units": "list of units", "readings": "meter readings",
                "parts": "list of parts"}  # fmt: skip


def proposed_tables(proposal: Proposal) -> str:
    """Columns as they were matched, with examples, and all else that was found out."""
    parts = []
    for name, one in proposal.tables.items():
        if one.export is None:
            parts.append(paragraph(f"{one.path.name}: cannot be read before you answer below"))
            continue
        caption = f"{one.path.name}: {one.rows} rows read as {OTHER_TABLES[table_of(name)]}"
        parts.append(
            table(("The kit's column", "Your column", "How sure", "Examples"),
                  list(_columns(proposal, name)), caption=caption)
        )  # fmt: skip
    found = [
        (_plain_name(name), guess.value, guess.sure, guess.why, "; ".join(guess.examples[:3]))
        for name, guess in proposal.guesses.items()
    ]
    head = ("What", "Proposed", "How sure", "Why", "Examples")
    return "".join([*parts, table(head, found, caption="How the file is to be read")])


PLAIN_NAMES = {
    "encoding": "way of writing letters (encoding)", "delimiter": "mark between two columns",
    "header line": "line of the column names", "cutoff": "last day of the records (cut-off)",
    "records begin": "first day of the records",
}  # fmt: skip


def _plain_name(name: str) -> str:
    """Name a point of reading in plain words; a further file's name stays before it."""
    table, _, point = name.rpartition(".")
    return f"{table}: {PLAIN_NAMES.get(point, point)}" if table else PLAIN_NAMES.get(point, point)


def _columns(proposal: Proposal, name: str) -> Iterator[tuple[str, str, str, str]]:
    one = proposal.tables[name]
    assert one.export is not None
    prefix = "" if name == "repairs" else f"{name}."
    for ours, theirs in one.columns.items():
        match = one.matches.get(ours)
        if f"{prefix}columns.{ours}" in proposal.answers:
            sure = "you said so"
        else:
            sure = f"sure: {match.why}" if match is not None else ""
        shown = ", ".join(one.export.cells.sample(theirs)[:3])
        yield ours.replace("_", " "), theirs, sure, shown
    used = set(one.columns.values())
    for theirs in one.export.cells.names:
        if theirs not in used:
            yield "(kept as it is)", theirs, "", ", ".join(one.export.cells.sample(theirs)[:3])


def faults_table(proposal: Proposal) -> str:
    """Every kind of fault found: how often, what was done, what it spoils, where to look."""
    rows = [
        (
            str(fault.kind),
            fault.column,
            f"{fault.count} of {fault.of}" if fault.of else str(fault.count),
            fault.what,
            fault.done,
            fault.blocked or "nothing",
            "; ".join(fault.examples[:2]),
        )
        for fault in proposal.faults
    ]
    head = ("Fault", "Column", "How many", "What it is", "What was done", "What it spoils",
            "For example")  # fmt: skip
    if not rows:
        return paragraph("No fault was found.")
    return table(head, rows, caption=f"{len(rows)} kinds of faults", numbers=(2,))


def answerable_table(proposal: Proposal) -> str:
    """What these records can answer, and what not and why."""
    rows = [
        (one.result, "yes" if one.possible else "no", one.why.removeprefix("there: "))
        for one in proposal.answerable
    ]
    return table(("Question", "Can be answered", "From, or for want of"), rows,
                 caption="What these records can answer")  # fmt: skip


def problems_text(proposal: Proposal) -> str:
    """What stands against reading the file by the rules proposed."""
    return listed((str(one) for one in proposal.problems), nothing="")


def file_names(folder: Path, endings: tuple[str, ...]) -> list[str]:
    """Return the tables that lie in a folder, in order of name."""
    if not folder.is_dir():
        return []
    return sorted(
        path.name
        for path in folder.iterdir()
        if path.name.lower().endswith(endings) and not path.name.startswith(".")
    )
