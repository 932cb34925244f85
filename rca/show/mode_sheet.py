"""The failure-mode table as a printable page and as a workbook file."""

import io
from pathlib import Path
from typing import Any

import pandas as pd

from rca.causes.failure_modes.grade_product import product_of_grades
from rca.causes.failure_modes.mode_counts import BeforeAfter, Detection
from rca.causes.failure_modes.modes import ModeRow, ModeTable, mode_table
from rca.causes.standing_causes import read_cases
from rca.errors import Problem, Refused
from rca.records import files
from rca.records.files import spreadsheet_safe
from rca.records.fleet import read_fleet
from rca.show.numbers import figures, percent
from rca.show.sheets import sheet_style, sheet_templates


def mode_table_html(table: ModeTable, *, title: str = "", with_product: bool = False) -> str:
    """The table, the severity-occurrence matrix and the scales as one self-contained page (A4).

    Parameters
    ----------
    table
        From `rca.causes.failure_modes.modes.mode_table`.
    title
        Name of the fleet.
    with_product
        Add the product of grades, beside the stability of its ranking.
    """
    matrix = table.matrix()
    used = [grade for grade in matrix.columns if matrix[grade].ne("").any()]
    products = product_of_grades(table).to_dict("records") if with_product else None
    scale = table.occurrence_scale
    return (
        sheet_templates()
        .get_template("mode_table.html.j2")
        .render(
            css=sheet_style(),
            title=title or "fleet",
            table=table,
            confidence=_confidence(table),
            rows=[_cells(row) for row in table.rows],
            grades=[(grade, scale.words(grade)) for grade in range(1, len(scale.bounds) + 2)],
            columns=used,
            matrix=[(str(name), list(line[used])) for name, line in matrix.iterrows()],
            products=products,
        )
    )


def mode_table_xlsx(table: ModeTable) -> bytes:
    """The table and the matrix as an XLSX file; text is made harmless for spreadsheets."""
    held = io.BytesIO()
    with pd.ExcelWriter(held, engine="openpyxl") as writer:
        spreadsheet_safe(table.to_frame()).to_excel(writer, sheet_name="modes", index=False)
        matrix = table.matrix().reset_index()
        matrix.columns = [str(name) for name in matrix.columns]
        spreadsheet_safe(matrix).to_excel(writer, sheet_name="matrix", index=False)
    return held.getvalue()


def write_mode_table(fleet_folder: Path, path: Path, *, with_product: bool = False) -> None:
    """Write the failure-mode table of a fleet folder as .html, .csv or .xlsx, by its ending.

    Raises
    ------
    Refused
        The folder cannot be used, or the ending is another.
    NotWritten
        The file cannot be written.
    """
    fleet = read_fleet(fleet_folder)
    table = mode_table(fleet, read_cases(fleet))
    kind = path.suffix.casefold()
    if kind == ".html":
        page = mode_table_html(table, title=fleet.name, with_product=with_product)
        files.write_text(path, page)
    elif kind == ".csv":
        files.write_csv(path, table.to_frame())
    elif kind == ".xlsx":
        files.write_bytes(path, mode_table_xlsx(table))
    else:
        rule, step = "is no kind of table file", "end the name in .html, .csv or .xlsx"
        raise Refused([Problem("--out", 0, "", path.name, rule, step)])


def _confidence(table: ModeTable) -> str:
    first = table.rows[0].occurrence.interval.confidence if table.rows else 0.95
    return f"{first:.0%}"


def _cells(row: ModeRow) -> dict[str, Any]:
    seen = row.occurrence
    mark = ", no event: from the upper limit" if seen.from_upper_limit else ""
    return {
        "part": row.part,
        "mode": row.mode,
        "effect": row.effect,
        "severity": row.severity or "not stated",
        "count": f"{seen.events} in {figures(seen.unit_years)}",
        "rate": figures(seen.rate),
        "limits": f"{figures(seen.interval.lower)} to {figures(seen.interval.upper)}",
        "grade": seen.grade,
        "grades": f"{seen.grade_low} to {seen.grade_high}{mark}",
        "detection": _detection(row.detection),
        "causes": "; ".join(row.causes),
        "actions": "; ".join(row.actions),
        "changes": [_change(one) for one in row.changes],
    }


def _detection(found: Detection) -> str:
    if found.share is None or found.interval is None:
        return "unknown: none was seen"
    low, high = percent(found.interval.lower), percent(found.interval.upper)
    seen = found.caught + found.reached
    return f"{found.caught} of {seen}, {percent(found.share)} ({low} to {high})"


def _change(one: BeforeAfter) -> str:
    before, after = one.before, one.after
    return (
        f"{one.fix}: {before.events} in {figures(before.unit_years)} unit-years before, "
        f"{after.events} in {figures(after.unit_years)} after"
    )
