"""The failure-mode table as a printable page and as a workbook file."""

import io
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import pandas as pd

from rca.causes.case.assessment import Assessment
from rca.causes.case.review_actions import contradicted_causes
from rca.causes.failure_modes.criticality import ItemCriticality
from rca.causes.failure_modes.grade_product import product_of_grades
from rca.causes.failure_modes.mode_counts import BeforeAfter, Detection
from rca.causes.failure_modes.modes import mode_table
from rca.causes.failure_modes.scales import occurrence_scale, severity_scale
from rca.causes.failure_modes.table import ModeRow, ModeTable
from rca.causes.standing_causes import assess_cases
from rca.errors import Problem, Refused
from rca.life.sample import Interval
from rca.records import files
from rca.records.files import spreadsheet_safe
from rca.records.fleet import read_fleet
from rca.records.lives import build_lives
from rca.show.numbers import figures, percent
from rca.show.sheets.bench import sheet_style, sheet_templates


def mode_table_html(
    table: ModeTable, *, title: str = "", years: float = 1.0, with_product: bool = False
) -> str:
    """The table, the severity-occurrence matrix and the scales as one self-contained page (A4).

    Parameters
    ----------
    table
        From `rca.causes.failure_modes.modes.mode_table`.
    title
        Name of the fleet.
    years
        Unit-years at risk of the criticality numbers.
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
            rows=[_cells(row, table, years) for row in table.rows],
            years=f"{years:g}",
            items=[_item(part, one) for part, one in table.item_criticalities(years=years)],
            grades=[(grade, scale.words(grade)) for grade in range(1, len(scale.bounds) + 2)],
            columns=used,
            matrix=[(str(name), list(line[used])) for name, line in matrix.iterrows()],
            products=products,
        )
    )


def mode_frame(table: ModeTable, *, years: float = 1.0, with_product: bool = False) -> pd.DataFrame:
    """One line a mode with its criticality number, and on request the product of its grades."""
    frame = table.to_frame()
    numbers = [table.mode_criticality(row, years=years) for row in table.rows]
    limits = [one.interval if one else None for one in numbers]
    frame["criticality_years"] = years
    frame["criticality"] = [one.value if one else None for one in numbers]
    frame["criticality_lower"] = [one.lower if one else None for one in limits]
    frame["criticality_upper"] = [one.upper if one else None for one in limits]
    if not with_product:
        return frame
    products = product_of_grades(table).rename(
        columns={"product": "product_of_grades", "rank": "product_rank"}
    )
    return frame.merge(products, on=["part", "mode"], how="left")


def mode_table_xlsx(table: ModeTable, *, years: float = 1.0, with_product: bool = False) -> bytes:
    """The table, the matrix and the items as an XLSX file, its text harmless for spreadsheets."""
    matrix = table.matrix().reset_index()
    matrix.columns = [str(name) for name in matrix.columns]
    items = pd.DataFrame(
        [
            {
                "part": part,
                "severity": one.severity,
                "years": years,
                "criticality": one.value,
                "lower": None if one.interval is None else one.interval.lower,
                "upper": None if one.interval is None else one.interval.upper,
                "modes": "; ".join(one.modes),
            }
            for part, one in table.item_criticalities(years=years)
        ]
    )
    modes = mode_frame(table, years=years, with_product=with_product)
    held = io.BytesIO()
    with pd.ExcelWriter(held, engine="openpyxl") as writer:
        for name, frame in (("modes", modes), ("matrix", matrix), ("items", items)):
            spreadsheet_safe(frame).to_excel(writer, sheet_name=name, index=False)
            _widen(writer.sheets[name])
    return held.getvalue()


def _widen(sheet: Any) -> None:
    """Make columns as wide as what they hold, within reason, and keep the heading in view."""
    for column in sheet.columns:
        longest = max(len(str(cell.value or "")) for cell in column)
        sheet.column_dimensions[column[0].column_letter].width = min(max(longest + 2, 8), 48)
    sheet.freeze_panes = "C2" if sheet.title == "modes" else "B2"


def write_mode_table(
    fleet_folder: Path,
    path: Path,
    *,
    severity: Path | None = None,
    occurrence: Path | None = None,
    years: float = 1.0,
    with_product: bool = False,
) -> None:
    """Write the failure-mode table of a fleet folder as .html, .csv or .xlsx, by its ending.

    Parameters
    ----------
    severity, occurrence
        Files with scales of one's own; None for the ones shipped.
    years
        Unit-years at risk of the criticality numbers.

    Raises
    ------
    Refused
        The folder or a scale cannot be used, or the ending is another.
    NotWritten
        The file cannot be written.
    """
    kind = path.suffix.casefold()
    if kind not in (".html", ".csv", ".xlsx"):
        rule, step = "is no kind of table file", "end the name in .html, .csv or .xlsx"
        raise Refused([Problem("--out", 0, "", path.name, rule, step)])
    scales: dict[str, Any] = {}
    if severity is not None:
        data = files.read_yaml(severity)
        scales["severity_scale"] = severity_scale(data, file=severity.name)
    if occurrence is not None:
        data = files.read_yaml(occurrence)
        scales["occurrence_scale"] = occurrence_scale(data, file=occurrence.name)
    fleet = read_fleet(fleet_folder)
    cases = assess_cases(fleet, build_lives(fleet))
    table = mode_table(fleet, [one.case for one in cases], states=_states(cases), **scales)
    if kind == ".html":
        page = mode_table_html(table, title=fleet.name, years=years, with_product=with_product)
        files.write_text(path, page)
    elif kind == ".csv":
        files.write_csv(path, mode_frame(table, years=years, with_product=with_product))
    else:
        files.write_bytes(path, mode_table_xlsx(table, years=years, with_product=with_product))


def _states(cases: Sequence[Assessment]) -> dict[tuple[str, str], str]:
    """How each cause of the investigations stands today."""
    states = {}
    for one in cases:
        refuted = contradicted_causes(one.support)
        for name in one.case.causes:
            word = "contradicted" if name in refuted else "not supported"
            states[one.case.id, name] = "supported" if one.supported(name) else word
    return states


def _confidence(table: ModeTable) -> str:
    first = table.rows[0].occurrence.interval.confidence if table.rows else 0.95
    return f"{first:.0%}"


def _cells(row: ModeRow, table: ModeTable, years: float) -> dict[str, Any]:
    seen = row.occurrence
    number = table.mode_criticality(row, years=years)
    share = row.effect_probability
    told = f"effect {'taken as sure' if share is None else percent(share)}"
    mark = ", no event: from the upper limit" if seen.from_upper_limit else ""
    return {
        "part": row.part,
        "mode": row.mode,
        "effect": row.effect,
        "severity": row.severity or "not stated",
        "count": f"{seen.events} in {figures(seen.unit_years)}",
        "rate": figures(seen.rate),
        "limits": _limits(seen.interval),
        "grade": seen.grade,
        "grades": f"{seen.grade_low} to {seen.grade_high}{mark}",
        "detection": _detection(row.detection),
        "criticality": figures(number.value) if number else "no severity stated",
        "criticality_limits": _limits(number.interval) if number else "",
        "effect_share": told if number else "",
        "causes": "; ".join(row.causes),
        "actions": "; ".join(row.actions),
        "changes": [_change(one) for one in row.changes],
    }


def _item(part: str, one: ItemCriticality) -> dict[str, str]:
    return {
        "part": part,
        "severity": one.severity,
        "modes": "; ".join(one.modes),
        "criticality": figures(one.value),
        "limits": _limits(one.interval),
    }


def _limits(interval: Interval | None) -> str:
    if interval is None:
        return ""
    return f"{figures(interval.lower)} to {figures(interval.upper)}"


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
