"""Against the last run: every changed verdict, rank or figure, and the rows that changed it."""

from collections.abc import Iterator, Mapping, Sequence
from typing import Any, Final

import pandas as pd

from rca.causes.since_last.row_changes import LATE, NEW, RowChanges, counted
from rca.causes.since_last.standing_evidence import NO_ROWS, evidence_changes

Summary = Mapping[str, Any]

FIGURES: Final = {"failures": "failure", "cost": "cost", "downtime_hours": "downtime_hours"}
"""Figures of a part whose change is told row by row, and the column that holds each row's share."""
TOP: Final = 8  # parts whose rank is followed
MOST_NAMED: Final = 3
_SAME = 1e-6


def changed_answers(
    fixes: Sequence[dict[str, Any]],
    last: Summary | None,
    rows: RowChanges | None = None,
    *,
    treated: Mapping[str, frozenset[str]] | None = None,
) -> None:
    """Add to each fix `changed_from` and `why_changed`, null where the last run said the same.

    Parameters
    ----------
    treated
        The units of each fix, so that only their failures are named.
    """
    before = {fix["fix"]: fix for fix in (last or {}).get("fixes", [])}
    for fix in fixes:
        old = before.get(fix["fix"])
        fix["changed_from"] = fix["why_changed"] = None
        answers = ("effect", "cause_answer")
        if old is None or all(old[key] == fix[key] for key in answers):
            continue
        fix["changed_from"] = {key: old[key] for key in answers}
        fix["why_changed"] = _why_fix(old, fix, rows, (treated or {}).get(fix["fix"]))


def _why_fix(
    old: Summary, new: Summary, rows: RowChanges | None, units: frozenset[str] | None
) -> str:
    """Say which rows and which running moved the answers on a fix."""
    said = []
    if old["observed"] != new["observed"]:
        names = _named(_failures(rows, new, units))
        said.append(f"failures seen {_plain(old['observed'])} to {_plain(new['observed'])}{names}")
    if old["units"] != new["units"]:
        said.append(f"treated units {old['units']} to {new['units']}")
    if _differs(old["expected"], new["expected"]):
        said.append(
            f"expected {_plain(old['expected'])} to {_plain(new['expected'])} by running on"
        )
    if rows is not None and (late := _late(rows, new["part"])):
        said.append(f"of {new['part']} {late}")
    if old["cause_answer"] != new["cause_answer"]:
        readings = counted(rows.of(part=new["fix"], table="fixes")) if rows is not None else ""
        said.append(f"readings of the upstream cause ({readings or 'their limits changed'})")
    for key in ("target_ratio", "chosen_by", "mode", "part"):
        if key in old and old[key] != new.get(key):
            said.append(f"the plan was changed: {key} was {old[key]}, is {new.get(key)}")
    return "; ".join(said) or "the curve from before the fix changed"


def changes(now: Summary, last: Summary | None, rows: RowChanges | None) -> list[dict[str, Any]]:
    """List what differs from the last run: answers, causes, evidence, results, ranks, patterns.

    Each entry has kind, about, was, now, why and rows (how many rows changed and how).

    Parameters
    ----------
    now, last
        Summaries of both runs; `now` needs parts, fixes, causes, investigations and blocked only.
    rows
        Rows compared; None where those of the last run are not at hand.
    """
    if not last:
        return []
    found = [
        *_of_fixes(now, last, rows),
        *_of_causes(now, last),
        *_of_evidence(now, last, rows),
        *_of_blocked(now, last),
        *_of_ranks(now, last, rows),
        *_of_patterns(now, last, rows),
    ]
    if last.get("kit") and last["kit"] != now.get("kit"):
        why = "figures may differ for that reason alone"
        found.append(_entry("kit", "version of the kit", last["kit"], now.get("kit"), why))
    return found


def _entry(
    kind: str, about: str, was: Any, is_now: Any, why: str, rows: str = ""
) -> dict[str, Any]:
    return {
        "kind": kind,
        "about": about,
        "was": None if was is None else str(was),
        "now": None if is_now is None else str(is_now),
        "why": why,
        "rows": rows or None,
    }


def _of_fixes(now: Summary, last: Summary, rows: RowChanges | None) -> Iterator[dict[str, Any]]:
    before = {fix["fix"]: fix for fix in last["fixes"]}
    for fix in now["fixes"]:
        row_counts = counted(rows.of(part=fix["part"])) if rows is not None else NO_ROWS
        if fix["fix"] not in before:
            why = f"applied to {fix['units']} units from {fix['applied_from'] or 'no day yet'}"
            yield _entry("verdict", fix["fix"], None, _answers(fix), why, row_counts)
        elif fix["changed_from"]:
            was = _answers(fix["changed_from"])
            yield _entry("verdict", fix["fix"], was, _answers(fix), fix["why_changed"], row_counts)
    names = {fix["fix"] for fix in now["fixes"]}
    for name, fix in before.items():
        if name not in names:
            why = "the fixes table no longer has it, or nothing says its part"
            yield _entry("verdict", name, _answers(fix), None, why)


def _answers(fix: Summary) -> str:
    return f"{fix['effect']}, cause {fix['cause_answer']}"


def _of_causes(now: Summary, last: Summary) -> Iterator[dict[str, Any]]:
    before = {(one["investigation"], one["cause"]): one for one in last["causes"]}
    words = {True: "supported by evidence", False: "not supported"}
    for one in now["causes"]:
        old = before.get((one["investigation"], one["cause"]))
        if old is None or old["supported"] == one["supported"]:
            continue
        why = one["why_not"] or f"was: {old['why_not']}"
        yield _entry("cause", one["says"], words[old["supported"]], words[one["supported"]], why)


def _of_evidence(now: Summary, last: Summary, rows: RowChanges | None) -> Iterator[dict[str, Any]]:
    then = last.get("investigations")  # a run of an older kit kept none
    for one in evidence_changes(now["investigations"], then, rows=rows):
        yield _entry(one.kind, one.about, one.was, one.now, one.why, one.rows)


def newly_blocked(now: Summary, last: Summary) -> list[Summary]:
    """Return the blocked results that the last run could answer.

    The life of a part that the last run had no curve of either was not answered then.
    """
    before = {one["result"] for one in last["blocked"]}
    curves = {
        f"life of {one['part']}"
        for one in last["parts"]
        if one["mode"] is None and one["shape"]["value"] is not None
    }
    return [
        one
        for one in now["blocked"]
        if one["result"] not in before
        and (not one["result"].startswith("life of ") or one["result"] in curves)
    ]


def _of_blocked(now: Summary, last: Summary) -> Iterator[dict[str, Any]]:
    for one in newly_blocked(now, last):
        yield _entry("blocked", one["result"], "answered", "cannot be answered", one["reason"])
    there = {one["result"] for one in now["blocked"]}
    for one in last["blocked"]:
        if one["result"] not in there:
            yield _entry(
                "blocked", one["result"], "could not be answered", "answered", "no longer blocked"
            )


def ranking(run: Summary) -> dict[str, int]:
    """Return the place of each part, 1 for the first, in the order of importance of a run."""
    names = [one["part"] for one in run["parts"] if one["mode"] is None]
    return {name: place for place, name in enumerate(names, start=1)}


def _of_ranks(now: Summary, last: Summary, rows: RowChanges | None) -> Iterator[dict[str, Any]]:
    """Parts that came into the top places, left them, or changed their place among them."""
    then, today = ranking(last), ranking(now)
    amounts = {one["part"]: one for one in now["parts"] if one["mode"] is None}
    before = {one["part"]: one for one in last["parts"] if one["mode"] is None}
    for part in sorted({*today, *then}, key=lambda name: (today.get(name, 10**6), name)):
        was, place = then.get(part), today.get(part)
        if was == place or min(was or TOP + 1, place or TOP + 1) > TOP:
            continue
        moved = [
            f"{words} {_plain(_amount(before.get(part), key))} to "
            f"{_plain(_amount(amounts.get(part), key))}"
            for key, words in (("cost", "cost"), ("downtime_hours", "downtime hours"))
            if _differs(_amount(before.get(part), key), _amount(amounts.get(part), key))
        ]
        why = ", ".join(moved) or "other parts moved"
        row_counts = counted(rows.of(part=part)) if rows is not None else NO_ROWS
        yield _entry("rank", part, _place(was), _place(place), why, row_counts)


def _place(place: int | None) -> str:
    return "not listed" if place is None else f"place {place}"


def _amount(part: Summary | None, key: str) -> float | None:
    return None if part is None else part[key]["value"]


def _of_patterns(now: Summary, last: Summary, rows: RowChanges | None) -> Iterator[dict[str, Any]]:
    before = {one["part"]: one for one in last["parts"] if one["mode"] is None}
    for one in now["parts"]:
        old = before.get(one["part"])
        if one["mode"] is not None or old is None:
            continue
        was, reading = (part["pattern"] and part["pattern"]["reading"] for part in (old, one))
        if was == reading:
            continue
        why = f"failed lives {old['failures']} to {one['failures']}"
        if old["lives"] != one["lives"]:
            why += f", of {old['lives']} to {one['lives']} lives"
        row_counts = counted(rows.of(part=one["part"])) if rows is not None else NO_ROWS
        yield _entry("pattern", one["part"], was, reading, why, row_counts)


def moves(now: Summary, last: Summary | None, rows: RowChanges | None) -> list[dict[str, Any]]:
    """Account for each part's failures, cost and downtime, row by row, from the last run to now.

    last_run + new + late + corrected + withdrawn + recounted = now. `recounted` is what rows give
    that did not change themselves (two rows of a day now count as one). Parts that the last run
    did not list have no line. [] where the rows of the last run are not at hand.
    """
    if not last or rows is None:
        return []
    after = {one["part"]: one for one in now["parts"] if one["mode"] is None}
    found = []
    for old in (one for one in last["parts"] if one["mode"] is None):
        name = old["part"]
        own, new = rows.of(part=name), after.get(name)
        figures = FIGURES if new is not None else ("failures",)  # unlisted: no failure is left
        found += [move for figure in figures if (move := _move(name, figure, old, new, own))]
    return found


def _move(
    part: str, figure: str, old: Summary, new: Summary | None, rows: pd.DataFrame
) -> dict[str, Any] | None:
    then, now = (_figure(one, figure) for one in (old, new))
    if not _differs(then, now) and rows.empty:
        return None
    sums = rows.groupby("how")[FIGURES[figure]].sum()
    steps = {how: float(sums.get(how, 0.0)) for how in (NEW, LATE, "corrected", "withdrawn")}
    rest = now - then - sum(steps.values())
    if not any(abs(step) > _SAME for step in (*steps.values(), rest)):
        return None
    tiny = _SAME * max(abs(now), abs(then), 1.0)
    return {
        "part": part,
        "figure": figure,
        "last_run": _tidy(then),
        **{how: _tidy(step) for how, step in steps.items()},
        "recounted": 0 if abs(rest) <= tiny else _tidy(rest),
        "now": _tidy(now),
    }


def _figure(part: Summary | None, figure: str) -> float:
    """Value of a figure of a part; a part without rows, or without known ones, adds up to 0."""
    if part is None:
        return 0.0
    value = part["failures_recorded"] if figure == "failures" else part[figure]["value"]
    return float(value or 0.0)


def restated(
    moved: Sequence[Summary], last: Summary | None, rows: RowChanges | None
) -> list[dict[str, Any]]:
    """List figures of the last run that today's records tell otherwise: "said 12, now 14"."""
    if not last:
        return []
    found = []
    for move in moved:
        step = sum(move[how] for how in (LATE, "corrected", "withdrawn", "recounted"))
        if abs(step) <= _SAME * max(abs(move["last_run"]), 1.0):
            continue
        own = rows.of(part=move["part"]).query("how != @NEW") if rows is not None else None
        why = counted(own) if own is not None and len(own) else "rows were counted otherwise"
        found.append(
            {
                "figure": f"{_WORDS[move['figure']]} of {move['part']} to {last['month']}",
                "last_run": move["last_run"],
                "now": _tidy(move["last_run"] + step),
                "why": why + (_named(own) if own is not None else ""),
            }
        )
    return found


_WORDS = {"failures": "failures", "cost": "cost", "downtime_hours": "downtime hours"}


def _failures(
    rows: RowChanges | None, fix: Summary, units: frozenset[str] | None
) -> pd.DataFrame | None:
    """Return the changed failures of a fix's part and mode, on its units, since it began."""
    if rows is None:
        return None
    own = rows.of(part=fix["part"])
    own = own[own["failure"].ne(0) & own["date"].gt(fix["applied_from"] or "")]
    if fix["mode"]:
        own = own[own["mode"].eq(fix["mode"])]
    return own if units is None else own[own["unit"].isin(units)]


def _late(rows: RowChanges, part: str) -> str:
    own = rows.of(part=part)
    return counted(own[own["how"] != NEW])


def _named(rows: pd.DataFrame | None) -> str:
    """Name the first rows: " (TK-079 on 2026-10-03, order W12; and 3 more)"."""
    if rows is None or rows.empty:
        return ""
    said = [
        f"{row.unit} on {row.date}" + (f", order {row.order}" if row.order else "")
        for row in rows.head(MOST_NAMED).itertuples()
    ]
    more = f"; and {len(rows) - MOST_NAMED} more" if len(rows) > MOST_NAMED else ""
    return f" ({'; '.join(said)}{more})"


def _differs(one: float | None, other: float | None) -> bool:
    if one is None or other is None:
        return one is not other
    return abs(one - other) > _SAME * max(abs(one), abs(other), 1.0)


def _plain(value: float | None) -> str:
    if value is None:
        return "not known"
    return f"{value:,.0f}" if float(value).is_integer() or abs(value) >= 1000 else f"{value:.3g}"


def _tidy(value: float) -> float | int:
    """Round to seven figures, whole numbers as such."""
    rounded = float(f"{value:.7g}")
    return int(rounded) if rounded.is_integer() else rounded
