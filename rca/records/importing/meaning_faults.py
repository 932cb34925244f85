"""Faults of meaning: what rows say of causes, reasons and places, and what they leave unsaid."""

import re
from collections.abc import Iterator

import numpy as np
import pandas as pd
import pyarrow.compute as pc
from numpy.typing import NDArray

from rca.records.importing.faults import Export, Fault, Kind, raw_examples, row_examples
from rca.records.importing.headings import misnamed
from rca.records.importing.wording import CATCH_ALL, NO_WORK_TEXTS, plain, side_name
from rca.records.tables import CheckedTable
from rca.records.text_search import hits, hits_among, is_one_of

Flags = NDArray[np.bool_]
MOST_CATCH_ALL = 0.5
LONGEST_CATCH_ALL = 24  # letters; a longer text says something
_OUTSIDE = r"\b(accident|accidental|collision|collided|vandal\w*|crash\w*|hit by|struck by|damaged by|driven into)\b"  # noqa: E501
_NO_WORK = r"\b(not required|see (long )?text|cancell?ed|raised in error|entered in error)\b"
_PLANNED = (
    r"\b(scheduled|preventive|preventative|planned service|routine|[0-9]+ ?(hr|hour|km) service)\b"
)
_PLACES = (
    ("Left", "Right", r"\b(l/h|lh|lhs|left)\b", r"\b(r/h|rh|rhs|right)\b"),
    ("Front", "Rear", r"\bfront\b", r"\b(rear|back)\b"),
)
_CLASS_HEADINGS = re.compile(
    r"(model|make|type|class|vehicle type|unit type|asset type|unit class|model year|year)"
)


def meaning_faults(export: Export) -> Iterator[Fault]:
    """Look for all faults of this kind."""
    yield from _misnamed(export)
    if export.table == "repairs":
        yield from _no_work(export)
    if export.checked is None or export.checked.frame.empty:
        return
    if export.table != "repairs":
        return
    yield from _catch_all(export, export.checked)
    yield from _reasons(export, export.checked)
    yield from _contradictions(export, export.checked)
    yield from _two_classes(export, export.checked)
    yield from _open_orders(export, export.checked)


def _misnamed(export: Export) -> Iterator[Fault]:
    for ours, theirs in misnamed(export.cells, export.table):
        if export.columns.get(ours) != theirs:
            yield Fault(
                Kind.MISNAMED, len(export.cells), len(export.cells),
                f"cells are not what a {ours.replace('_', ' ')} can be", "not used as such",
                column=theirs,
                examples=tuple(repr(text[:40]) for text in export.cells.sample(theirs)[:3]),
            )  # fmt: skip


def _no_work(export: Export) -> Iterator[Fault]:
    """Count texts that say that there was no work: cancelled, test, not required."""
    for name in export.text_columns():
        text = export.cells.text(name)
        mask = is_one_of(pc.utf8_trim(text, characters=" .!*-"), NO_WORK_TEXTS) | hits(
            text, _NO_WORK
        )
        if mask.any():
            yield Fault(
                Kind.CANCELLED, int(mask.sum()), len(export.cells),
                "texts say test, cancelled, not required, see text or the like",
                "kept; name them under set_aside in fleet.yaml where they are no repairs",
                column=name, examples=raw_examples(export.cells, name, mask),
            )  # fmt: skip


def _catch_all(export: Export, checked: CheckedTable) -> Iterator[Fault]:
    for ours, result in (("mode", "failure modes"), ("cause", "causes as recorded")):
        column = export.column(ours)
        if column is None:
            continue
        if not isinstance(column.dtype, pd.CategoricalDtype):
            column = column[column.str.len() <= LONGEST_CATCH_ALL]
        rows = {str(word): int(n) for word, n in column.value_counts().items()}
        vague = {word: n for word, n in rows.items() if n and plain(word) in CATCH_ALL}
        blank = rows.get("", 0) + int(column.isna().sum())
        count = blank + sum(vague.values())
        if count:
            said = ", ".join([f"blank {blank}"] + [f"{w!r} {n}" for w, n in vague.items()])
            size = len(checked.frame)
            much = count > MOST_CATCH_ALL * size
            yield Fault(
                Kind.CATCH_ALL, count, size, f"rows do not name it ({said})",
                "kept as not stated; no cause is read from a catch-all",
                f"{result}, beyond the rows that name one" if much else "",
                column=export.columns[ours],
            )  # fmt: skip


def _reasons(export: Export, checked: CheckedTable) -> Iterator[Fault]:
    reason, action = export.column("reason"), export.column("action")
    if reason is None:
        yield from _planned_by_text(export)
        return
    rows = {str(word): int(count) for word, count in reason.value_counts().items()}
    planned = {word: int(rows.get(word, 0)) for word in ("planned", "inspection", "recall")}
    if sum(planned.values()) and rows.get("failure", 0):
        said = ", ".join(f"{word} {count}" for word, count in planned.items() if count)
        yield Fault(Kind.PLANNED_MIXED, sum(planned.values()), len(reason),
                    f"rows are no failures ({said})", "read as suspensions, never as failures",
                    column=export.columns.get("reason", ""))  # fmt: skip
    if rows.get("failure", 0) == len(reason):
        yield Fault(Kind.PLANNED_MIXED, len(reason), len(reason), "rows are failures, none planned",
                    "kept; if parts are also changed on schedule and that is recorded elsewhere, "
                    "lives come out too long: import those rows too")  # fmt: skip
    outside = int(rows.get("accident", 0))
    if outside:
        yield Fault(Kind.OUTSIDE_CAUSE, outside, len(reason), "rows are accidents",
                    "a class of their own: no failure by wear",
                    column=export.columns.get("reason", ""))  # fmt: skip
    failed = reason.eq("failure").to_numpy()
    yield from _outside_by_text(export, checked, failed)
    if action is not None:
        idle = failed & action.isin(["", "none", "inspected"]).to_numpy()
        if idle.any():
            yield Fault(
                Kind.NO_REPAIR, int(idle.sum()), int(failed.sum()),
                "failures state no repair (action blank, none or inspected)",
                "counted as failures; the part is not taken as renewed",
                examples=row_examples(checked, idle, ("unit", "date", "part")),
            )  # fmt: skip


def _outside_by_text(export: Export, checked: CheckedTable, failed: Flags) -> Iterator[Fault]:
    names = [
        *export.text_columns(),
        *([export.columns["mode"]] if "mode" in export.columns else []),
    ]
    for name in dict.fromkeys(names):
        mask = failed & hits(export.checked_text(name), _OUTSIDE)
        if mask.any():
            yield Fault(
                Kind.OUTSIDE_CAUSE, int(mask.sum()), int(failed.sum()),
                "rows read as failures speak of accident or damage from outside",
                "kept as failures, by their reason", column=name,
                examples=row_examples(checked, mask, ("unit", "date", _ours(export, name))),
            )  # fmt: skip


def _ours(export: Export, theirs: str) -> str:
    """Return our name of one of the file's columns, its own name where we have none."""
    return next((ours for ours, name in export.columns.items() if name == theirs), theirs)


def _planned_by_text(export: Export) -> Iterator[Fault]:
    for name in export.text_columns():
        mask = hits(export.cells.text(name), _PLANNED)
        if mask.any():
            yield Fault(
                Kind.PLANNED_MIXED, int(mask.sum()), len(export.cells),
                "texts speak of scheduled work, and no column tells it from failures",
                "kept", "lives, until fleet.yaml says how the rows are to be read", column=name,
                examples=raw_examples(export.cells, name, mask),
            )  # fmt: skip


def _contradictions(export: Export, checked: CheckedTable) -> Iterator[Fault]:
    """Count rows whose place contradicts what another column says."""
    position = export.column("position")
    if position is None:
        return
    usual = [side_name(str(name)) or "" for name in position.cat.categories]
    for one, other, says_one, says_other in _PLACES:
        is_one, is_other = (
            np.append([side in name.split() for name in usual], False)[position.cat.codes]
            for side in (one, other)
        )
        if not (is_one.any() or is_other.any()):
            continue
        for name in _columns_with_places(export):
            text = export.checked_text(name)
            may = hits(text, f"{says_one}|{says_other}")
            with_one, with_other = (hits_among(text, may, says) for says in (says_one, says_other))
            mask = (is_one & with_other & ~with_one) | (is_other & with_one & ~with_other)
            if mask.any():
                yield Fault(
                    Kind.CONTRADICTION, int(mask.sum()), len(mask),
                    f"rows have a position against {name!r} ({one.lower()}, {other.lower()})",
                    "kept, by the position", column=name,
                    examples=row_examples(checked, mask, ("position", _ours(export, name))),
                )  # fmt: skip


def _columns_with_places(export: Export) -> list[str]:
    """Return text columns and further name columns, in which a place may be named."""
    away = ("position", "unit", "part", "action", "reason", "order")
    return [
        name
        for name, content in export.contents.items()
        if content.filled and content.numbers < 0.5 and content.length > 4 and content.dates < 0.5
        and _ours(export, name) not in away and not name.startswith("Unnamed:")
    ]  # fmt: skip


def _two_classes(export: Export, checked: CheckedTable) -> Iterator[Fault]:
    """Count units whose rows name more than one model, make or class."""
    for name in checked.frame.columns:
        if name in export.columns or not _CLASS_HEADINGS.fullmatch(plain(name)):
            continue
        pairs = pd.DataFrame(
            {"unit": checked.frame["unit"].astype(str), "class": checked.frame[name].astype(str)}
        )
        pairs = pairs[pairs["class"].ne("")].drop_duplicates()
        several = pairs.groupby("unit")["class"].agg(list)
        several = several[several.map(len) > 1]
        if 0 < len(several) < 0.5 * pairs["unit"].nunique():
            shown = tuple(f"{u}: {', '.join(c[:4])}" for u, c in several.head(3).items())
            yield Fault(
                Kind.TWO_CLASSES, len(several), int(pairs["unit"].nunique()),
                "units are of two classes: a number used again, or an entry error",
                "kept as one unit; rename one of them if the number was used again",
                column=name, examples=shown,
            )  # fmt: skip


def _open_orders(export: Export, checked: CheckedTable) -> Iterator[Fault]:
    closed = export.column("closed")
    if closed is None or not closed.notna().any():
        return
    mask = closed.isna().to_numpy()
    if mask.any():
        yield Fault(
            Kind.OPEN_ORDERS, int(mask.sum()), len(mask), "rows have no date of closing",
            "still open: not counted as failures closed", column=export.columns["closed"],
            examples=row_examples(checked, mask, ("unit", "date", "part")),
        )  # fmt: skip
