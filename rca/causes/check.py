"""What was understood of a fleet folder: the text of `rca check`."""

from pathlib import Path

import pandas as pd

from rca.causes.fixes import fix_gaps
from rca.causes.standing_causes import read_cases
from rca.records.fleet import Fleet, read_fleet
from rca.records.lives import build_lives, life_notes

MOST_EXAMPLES = 5


def check_text(folder: Path) -> str:
    """Read a fleet folder and say what it holds, which defaults are in force, what is missing.

    Raises
    ------
    Refused
        The folder cannot be used.
    """
    fleet = read_fleet(folder)
    return "\n".join(
        [
            str(fleet),
            *_block("Rows", _rows(fleet)),
            *_block("Set aside or unknown, by reason", _listed(fleet.set_aside)),
            *_block("Lives", _lives(fleet)),
            *_block("Understood", list(fleet.notes)),
            *_block("Defaults in force (fleet.yaml can change them)", _defaults(fleet)),
            *_block("Investigations", [str(case) for case in read_cases(fleet)]),
            *_block("Cannot be answered", _blocked(fleet)),
        ]
    )


def _block(title: str, lines: list[str]) -> list[str]:
    return ["", title, *(f"  {line}" for line in lines)] if lines else []


def _rows(fleet: Fleet) -> list[str]:
    return [
        f"{one.table}: {one.read} read = {one.used} used + {one.set_aside} set aside"
        for one in fleet.accounts
    ]


def _listed(rows: pd.DataFrame) -> list[str]:
    """Tell the rows and cells not used by rule, each with its first places and what to do."""
    lines = []
    for (table, column, rule, scope), same in rows.groupby(
        ["table", "column", "rule", "scope"], sort=False
    ):
        what = "rows not used" if scope == "row" else f"not used for {scope}"
        place = f"{table} {column}".strip()
        lines.append(f"{len(same)} {what}: {place} {rule}")
        shown = ", ".join(
            f"line {row.line}" + (f" {row.value!r}" if row.value else "")
            for row in same.head(MOST_EXAMPLES).itertuples()
        )
        lines.append(f"    {shown}{', ...' if len(same) > MOST_EXAMPLES else ''}")
        if step := same["next_step"].iloc[0]:
            lines.append(f"    -> {step}")
    return lines


def _lives(fleet: Fleet) -> list[str]:
    if fleet.is_blocked("lives"):
        return []
    lives = build_lives(fleet)
    lines = [str(lives)]
    lines += [
        f"{int(rows['pieces'].sum())} left out: {reason} ({int(rows['failed'].sum())} failed)"
        for reason, rows in lives.left_out.groupby("reason")
    ]
    lines += _listed(life_notes(fleet, lives))
    if lives.meters.replaced:
        lines.append(f"meter replaced on {len(lives.meters.replaced)} units, use runs on")
    if lives.meters.days_only:
        lines.append(f"no usable meter on {len(lives.meters.days_only)} units: lives in days only")
    return lines


def _defaults(fleet: Fleet) -> list[str]:
    return list(fleet.settings.defaults)


def _blocked(fleet: Fleet) -> list[str]:
    blocked = [f"{result}: {why}" for result, why in fleet.blocked]
    return blocked + [f"fix {name}: {why}" for name, why in fix_gaps(fleet)]
