"""What blank cells and doubtful costs mean: asked, with a rule that holds if nobody answers."""

import numpy as np

from rca.records.columns import ACTIONS, REASONS
from rca.records.importing.draft import Draft
from rca.records.importing.faults import MONEY, Fault, Kind, row_examples
from rca.records.importing.leaving_out import SET_ASIDE
from rca.records.importing.questions import NOT_STATED, Question
from rca.records.importing.row_faults import one_cost_on_several_rows
from rca.records.tables import CheckedTable

UNKNOWN_COST, FREE = "unknown", "free of charge"
OWN_COST, NOT_KNOWN = "own cost", "not known"
MOST_REPEATED = 0.01
OWN_PART = "a part named 'not stated'"


def ask_blanks(draft: Draft) -> None:
    """Ask what rows without a part, action or reason are; blank stays not stated unless said."""
    for ours, words in (("action", ACTIONS), ("reason", REASONS)):
        if ours not in draft.columns:
            answer = draft.desk.choose(
                Question(
                    f"all_rows.{ours}", f"No column gives the {ours}: which holds for all rows?",
                    choices=(*words, NOT_STATED), why=_WITHOUT[ours],
                )
            )  # fmt: skip
            if answer and answer != NOT_STATED:
                draft.values.setdefault(ours, {})[""] = answer
            continue
        _ask_blank(draft, ours, (*words, NOT_STATED), NOT_STATED)
    if "part" in draft.columns:
        _ask_blank(draft, "part", (SET_ASIDE, OWN_PART), SET_ASIDE)


_WITHOUT = {
    "action": "without it no part is known to be renewed, so that no life begins",
    "reason": "without it failures cannot be told from planned work, and lives stay blocked",
}


def _ask_blank(draft: Draft, ours: str, choices: tuple[str, ...], proposed: str) -> None:
    theirs = draft.columns[ours]
    blank = len(draft.cells) - sum(draft.cells.distinct(theirs).filled().values())
    if not blank:
        return
    answer = draft.desk.choose(
        Question(f"blank.{ours}", f"{blank} rows have no {ours}: what are they?",
                 choices=choices, proposed=proposed, must=False)
    )  # fmt: skip
    word = {NOT_STATED: "", SET_ASIDE: "", OWN_PART: NOT_STATED}.get(answer, answer)
    if word:
        draft.values.setdefault(ours, {})[""] = word
    if ours != "part":
        done = f"read as {word}" if word else "kept as not stated: such a row renews nothing"
        draft.faults.append(
            Fault(Kind.BLANK_CELL, blank, len(draft.cells), f"rows state no {ours}", done,
                  column=theirs)
        )  # fmt: skip


def ask_zero_cost(draft: Draft) -> None:
    """Read a cost of 0 as unknown unless it is said to be free of charge."""
    theirs = draft.columns.get("cost", "")
    if not theirs:
        return
    distinct = draft.cells.distinct(theirs)
    zero = np.array([_is_zero(text) for text in distinct.texts], dtype=bool)
    rows = distinct.rows_of(zero)
    if not rows.any():
        return
    real = int((rows & _real_work(draft)).sum())
    answer = draft.desk.choose(
        Question("zero_cost", f"{int(rows.sum())} rows cost 0: unknown, or free of charge?",
                 choices=(UNKNOWN_COST, FREE), proposed=UNKNOWN_COST, must=False,
                 why=f"{real} of them replaced or repaired something")
    )  # fmt: skip
    if answer == UNKNOWN_COST:
        texts = [distinct.texts[place] for place in np.flatnonzero(zero)]
        draft.values.setdefault("cost", {}).update(dict.fromkeys((*texts, "0", "0.00"), ""))
    draft.faults.append(
        Fault(Kind.ZERO_COST, int(rows.sum()), len(draft.cells),
              f"rows cost 0 ({real} of them replaced or repaired something)",
              "read as unknown" if answer == UNKNOWN_COST else "kept as free of charge",
              column=theirs)
    )  # fmt: skip


def _is_zero(text: str) -> bool:
    return bool(text) and not text.strip("0.,") and "0" in text


def _real_work(draft: Draft) -> np.ndarray:
    """Tell which rows replaced or repaired something, by the words decided so far."""
    if "action" not in draft.columns:
        return np.ones(len(draft.cells), dtype=bool)
    distinct = draft.cells.distinct(draft.columns["action"])
    words = draft.values.get("action", {})
    meant = [words.get(text, text.casefold()) for text in distinct.texts]
    return distinct.rows_of(np.array([m in ("replaced", "repaired") for m in meant], dtype=bool))


def ask_repeated_cost(draft: Draft, checked: CheckedTable) -> None:
    """Ask about rows of one unit, day, text and cost: one order whose cost counts several times."""
    if not {"cost", "complaint"} <= draft.columns.keys():
        return
    mask = one_cost_on_several_rows(checked.frame)
    if not mask.any():
        return
    answer = draft.desk.choose(
        Question("repeated_cost", f"{int(mask.sum())} rows repeat unit, day, text and cost of "
                 "another row: has each row its own cost?", choices=(OWN_COST, NOT_KNOWN),
                 proposed=NOT_KNOWN, must=False,
                 why="one order filed under several parts would count its cost several times",
                 examples=row_examples(checked, mask, ("unit", "date", "part", "cost")))
    )  # fmt: skip
    much = mask.mean() > MOST_REPEATED and answer == NOT_KNOWN
    draft.faults.append(
        Fault(Kind.SAME_EVENT, int(mask.sum()), len(mask),
              "rows repeat unit, day, text and cost of an earlier row under another part",
              "each row's cost counts" if answer == OWN_COST else "kept as written",
              MONEY if much else "", draft.columns["cost"],
              row_examples(checked, mask, ("unit", "date", "part", "cost")))
    )  # fmt: skip
