"""Faults that show in single cells of a raw table, whatever the rows mean."""

import re
from collections.abc import Iterator

import numpy as np

from rca.records.columns import MISSING, SPREADSHEET_ERRORS
from rca.records.importing.distinct import UNNAMED, Cells
from rca.records.importing.faults import Export, Fault, Kind, raw_examples
from rca.records.importing.headings import twins_of
from rca.records.importing.wording import plain
from rca.records.text_search import hits, hits_among, lengths


def cell_faults(export: Export) -> Iterator[Fault]:
    """Look for all faults of this kind."""
    yield from _broken_rows(export)
    yield from _empty_or_constant(export)
    yield from _doubled_headings(export)
    yield from _blank_words(export)
    yield from _spreadsheet_errors(export)
    yield from _leading_zeros(export)
    yield from _differing_case(export)
    yield from _cut_texts(export)
    yield from _personal_data(export)


def _broken_rows(export: Export) -> Iterator[Fault]:
    broken = export.cells.raw.broken
    if broken:
        shown = tuple(f"line {one.line}: {one.rule}" for one in broken[:3])
        yield Fault(
            Kind.BROKEN_ROW, len(broken), export.rows,
            "rows do not have as many fields as the header", "set aside", examples=shown,
        )  # fmt: skip


def _empty_or_constant(export: Export) -> Iterator[Fault]:
    cells = export.cells
    for name in cells.names:
        if export.contents[name].different > 1 or len(cells) < 2:
            continue
        filled = cells.distinct(name).filled()
        if not filled:
            yield Fault(Kind.EMPTY_COLUMN, len(cells), len(cells), "cells say nothing",
                        "the column is not used", column=name)  # fmt: skip
        elif len(filled) == 1 and not name.startswith(UNNAMED):
            only, rows = next(iter(filled.items()))
            yield Fault(Kind.CONSTANT_COLUMN, rows, len(cells), f"filled cells all say {only!r}",
                        "kept; it tells nothing apart", column=name)  # fmt: skip


def _doubled_headings(export: Export) -> Iterator[Fault]:
    cells = export.cells
    for name in cells.names:
        if re.search(r"\.\d+$", name) or not (twins := twins_of(cells, name)):
            continue
        used = [ours for ours, theirs in export.columns.items() if theirs in (name, *twins)]
        done = f"which is the {used[0].replace('_', ' ')} is asked; " if used else ""
        yield Fault(Kind.DOUBLED_HEADING, len(twins), len(cells.names),
                    "further columns have this heading", f"{done}all are kept, numbered",
                    column=name, examples=twins)  # fmt: skip


def blank_words(cells: Cells, name: str, words: frozenset[str]) -> dict[str, int]:
    """Count the cells of a column that are one of the words for "nothing" (lower case)."""
    return {w: n for w, n in cells.for_blank(name).items() if w.casefold() in words}


def _blank_words(export: Export) -> Iterator[Fault]:
    words = frozenset(word.casefold() for word in (*MISSING, *export.rules.missing))
    by_column = {
        name: found
        for name in export.cells.names
        if (found := blank_words(export.cells, name, words))
    }
    total = sum(sum(found.values()) for found in by_column.values())
    if total:
        shown = tuple(
            f"{name}: {', '.join(f'{word!r} {count}' for word, count in found.items())}"
            for name, found in sorted(by_column.items(), key=lambda p: -sum(p[1].values()))[:4]
        )
        yield Fault(
            Kind.BLANK_WORDS, total, len(export.cells) * len(export.cells.names),
            f"cells in {len(by_column)} columns write a blank as a word",
            "read as missing", examples=shown,
        )  # fmt: skip


def _spreadsheet_errors(export: Export) -> Iterator[Fault]:
    errors = frozenset(word.casefold() for word in SPREADSHEET_ERRORS)
    for name in export.cells.names:
        found = blank_words(export.cells, name, errors)
        if found:
            rows, said = sum(found.values()), f"cells hold {', '.join(found)}"
            yield Fault(Kind.SPREADSHEET_ERROR, rows, len(export.cells), said, "read as missing",
                        column=name)  # fmt: skip


def _leading_zeros(export: Export) -> Iterator[Fault]:
    numbers = {export.columns[ours] for ours in _NUMBER_COLUMNS if ours in export.columns}
    for name in export.cells.names:
        if name in numbers or not any(t[:1] == "0" for t in export.cells.sample(name)):
            continue
        mask = hits(export.cells.text(name), r"^\s*0\d+\s*$")
        if mask.any():
            yield Fault(Kind.LEADING_ZEROS, int(mask.sum()), len(export.cells),
                        "cells begin with zeros", "read as text, the zeros kept", column=name,
                        examples=raw_examples(export.cells, name, mask))  # fmt: skip


_NUMBER_COLUMNS = ("meter", "cost", "downtime_hours", "fitted_meter", "order_cost")


def _differing_case(export: Export) -> Iterator[Fault]:
    """Count names that are written in more than one way as to case and blanks only."""
    used = {theirs: ours for ours, theirs in export.columns.items()}
    for name, content in export.contents.items():
        few = content.different > 1 and content.distinct < 0.5 and content.words < 6
        if not few or content.numbers > 0.5 or content.dates > 0.5:
            continue
        filled = export.cells.distinct(name).filled()
        ways: dict[str, int] = {}
        for text in filled:
            ways[text.casefold()] = ways.get(text.casefold(), 0) + 1
        again = len(filled) - len(ways)
        if again:
            shown = tuple(text for text in filled if ways[text.casefold()] > 1)[:4]
            done = "read as one name each" if name in used else "kept; the column is not used"
            said = "names differ in case only from another"
            yield Fault(Kind.SPELLINGS, again, len(filled), said, done, column=name, examples=shown)


def _cut_texts(export: Export) -> Iterator[Fault]:
    for name in export.text_columns():
        size = lengths(export.cells.text(name))
        width, rows = _heap_at_the_end(size)
        if rows:
            yield Fault(
                Kind.TEXT_CUT, rows, len(export.cells),
                f"texts are {width} characters long, far more than are {width - 1}: cut there",
                "kept; the last word of such a text is not to be trusted", column=name,
                examples=raw_examples(export.cells, name, size == width),
            )  # fmt: skip


def _heap_at_the_end(size: np.ndarray) -> tuple[int, int]:
    """Return the width at which texts were cut and how many rows have it; 0 rows = not cut.

    Cut texts heap at one width beyond which (nearly) no text goes: at least 10 rows, more than
    1.4 times the largest count of the three widths below it.
    """
    counts = np.bincount(size)
    beyond = counts[::-1].cumsum()[::-1] - counts
    for width in range(len(counts) - 1, 14, -1):
        if beyond[width] > 0.02 * counts[width] + 2:
            break
        if counts[width] >= 10 and counts[width] > 1.4 * counts[width - 3 : width].max():
            return width, int(counts[width])
    return 0, 0


_PERSONAL = (
    ("e-mail addresses", r"[a-z0-9._%+-]+@[a-z0-9-]+\.[a-z]{2,}"),
    ("telephone numbers", r"\+\d{1,3}[ /-]?\d{2,4}[ /-]?\d{3}[\d /-]{2,}"),
    ("telephone numbers", r"\b(?:tel|phone|ph|mob|cell)[.: ]+\d{3}[\d -]{3,}"),
    ("telephone numbers", r"(?:^|[^\d.,/-])0\d{2,4}[ /]\d{5,8}(?:[^\d/-]|$)"),
    ("telephone numbers", r"\(\d{3}\) ?\d{3}-\d{4}\b"),
    ("names of people", r"\b(?:mr|mrs|herr|frau|monsieur|señor|señora)\.? [a-zà-ÿ]{3,}"),
)
_PEOPLE = re.compile(
    r"(driver|technician|mechanic|operator|employee|fitter|person|customer|foreman|user|"
    r"reported by|entered by|created by|fahrer|mechaniker)( name| no| id)?"
)


def _personal_data(export: Export) -> Iterator[Fault]:
    done = "kept; take it out before the folder or a page goes to others"
    for name in export.text_columns():
        text = export.cells.text(name)
        may = hits(text, r"@|[0-9]{3}|\b(?:mrs?|herr|frau|monsieur|señora?)\b")
        for said, pattern in _PERSONAL:
            mask = hits_among(text, may, pattern)
            if mask.any():
                lines = tuple(f"line {export.cells.line(r)}" for r in np.flatnonzero(mask)[:3])
                yield Fault(Kind.PERSONAL_DATA, int(mask.sum()), len(export.cells),
                            f"texts hold {said}", done, column=name, examples=lines)  # fmt: skip
    for name in columns_of_people(export):
        rows = export.cells.filled_rows(name)
        said = "cells may name people, by the column's name"
        done = "read as pseudonyms; the copied file still holds the names"
        yield Fault(Kind.PERSONAL_DATA, rows, len(export.cells), said, done, column=name)


def columns_of_people(export: Export) -> list[str]:
    """Return the further columns that name people, by their headings."""
    used = set(export.columns.values())
    return [
        name
        for name in export.cells.names
        if name not in used and _PEOPLE.fullmatch(plain(name)) and export.contents[name].filled
    ]
