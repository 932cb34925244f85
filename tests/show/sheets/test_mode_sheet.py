"""The failure-mode table as a page and as a workbook file."""

import io
from pathlib import Path

import openpyxl
import pytest

from rca.causes.failure_modes.modes import mode_table
from rca.causes.failure_modes.table import ModeTable
from rca.errors import Refused
from rca.show.sheets.mode_sheet import (
    mode_frame,
    mode_table_html,
    mode_table_xlsx,
    write_mode_table,
)
from tests.cases import case_of, causes
from tests.small_fleet import small_fleet, write_fleet

UNITS = "unit, in_service\n" + "\n".join(f"U{n}, 2023-12-01" for n in range(6))
REPAIRS = """
unit, date, part, action, reason, mode
U0, 2024-02-01, pump, replaced, failure, leaks
U1, 2024-03-01, pump, replaced, failure, =1+1
U2, 2024-04-01, pump, replaced, inspection, leaks
"""


@pytest.fixture
def table(tmp_path: Path) -> ModeTable:
    fleet = small_fleet(tmp_path / "fleet", units=UNITS, repairs=REPAIRS)
    case = case_of(problem={"because": "a", "severity": "road call"}, causes=causes(a=""),
                   part="pump", mode="leaks")  # fmt: skip
    return mode_table(fleet, [case])


def test_page_holds_counts_limits_scales_and_matrix(table: ModeTable) -> None:
    """Every number with its unit, limits and count; the sources of both scales."""
    html = mode_table_html(table, title="Small <fleet>")
    assert "1 in 6.01" in html
    assert "failures per unit-year" in html
    assert table.severity_scale.source in html
    assert "1 of 2" in html
    assert "Small &lt;fleet&gt;" in html
    assert "Product of grades" not in html


def test_product_only_on_request_and_beside_its_stability(table: ModeTable) -> None:
    """Asked for, it comes with the warning and the range of its rank."""
    html = mode_table_html(table, with_product=True)
    assert "Product of grades, on request" in html
    assert "their product has no unit" in html
    assert "1 to 1" in html


def test_cells_carry_no_letters_and_no_colours(table: ModeTable) -> None:
    """A cell of the matrix holds names only: no grade letters, no shading by row."""
    html = mode_table_html(table)
    matrix = html[html.index('id="matrix"') :].partition("</table>")[0]
    assert "background" not in matrix
    assert "class=" not in matrix.replace('class="under"', "")


def test_workbook_file_has_both_sheets_and_harmless_text(table: ModeTable) -> None:
    """Read back by openpyxl: the same lines, and a formula in a mode is text."""
    book = openpyxl.load_workbook(io.BytesIO(mode_table_xlsx(table)))
    assert book.sheetnames == ["modes", "matrix", "items"]
    assert book["modes"].freeze_panes == "C2"
    rows = list(book["modes"].values)
    assert rows[0][:3] == ("part", "mode", "effect")
    assert len(rows) == 1 + len(table.rows)
    modes = [str(row[1]) for row in rows[1:]]
    assert "leaks" in modes
    assert not any(mode.startswith("=") for mode in modes)


def test_criticality_is_the_expected_number_of_failures_with_the_effect(table: ModeTable) -> None:
    """Cm = share with the effect x rate x years; a mode without a severity has none."""
    frame = mode_frame(table, years=5).set_index("mode")
    leaks = frame.loc["leaks"]
    assert leaks["criticality"] == pytest.approx(leaks["rate_per_unit_year"] * 5)
    assert leaks["criticality_upper"] == pytest.approx(leaks["rate_upper"] * 5)
    assert frame.loc["=1+1"][["criticality", "criticality_lower"]].isna().all()
    (part, item), *others = table.item_criticalities(years=5)
    assert (part, item.severity, others) == ("pump", "road call", [])
    assert item.value == pytest.approx(leaks["criticality"])
    html = mode_table_html(table, years=5)
    assert "over 5 unit-years" in html
    assert "effect taken as sure" in html
    assert html.count("no severity stated") == 1


def test_share_with_the_effect_comes_from_the_investigation(tmp_path: Path) -> None:
    fleet = small_fleet(tmp_path / "fleet", units=UNITS, repairs=REPAIRS)
    problem = {"because": "a", "severity": "road call", "effect_probability": 0.25}
    case = case_of(problem=problem, causes=causes(a=""), part="pump", mode="leaks")
    found = mode_table(fleet, [case])
    leaks = next(row for row in found.rows if row.mode == "leaks")
    assert found.mode_criticality(leaks).value == pytest.approx(0.25 * leaks.occurrence.rate)


def test_product_is_in_every_kind_of_file_when_asked_for(table: ModeTable) -> None:
    """And nowhere otherwise."""
    assert not any("product" in name for name in mode_frame(table).columns)
    frame = mode_frame(table, with_product=True).set_index("mode")
    assert frame.loc["leaks"][["product_rank", "rank_low", "rank_high"]].tolist() == [1, 1, 1]
    book = openpyxl.load_workbook(io.BytesIO(mode_table_xlsx(table, with_product=True)))
    assert "product_of_grades" in next(iter(book["modes"].values))


def test_scales_of_ones_own_are_read_from_files(tmp_path: Path) -> None:
    """A severity that the scale does not have is refused with the scale's words."""
    folder = write_fleet(tmp_path / "fleet", units=UNITS, repairs=REPAIRS)
    (folder / "investigations").mkdir()
    text = "investigation: i\npart: pump\nmode: leaks\nproblem: {statement: s, severity: bad}\n"
    (folder / "investigations" / "i.yaml").write_text(text, encoding="utf-8")
    scale = tmp_path / "severity.yaml"
    scale.write_text("name: ours\nsource: rule 3\ngrades: {bad: x, fair: y}\n", encoding="utf-8")
    bounds = tmp_path / "occurrence.yaml"
    bounds.write_text("name: tens\nsource: rule 4\nbounds: [0.01, 0.1, 1]\n", encoding="utf-8")
    out = tmp_path / "modes.html"
    write_mode_table(folder, out, severity=scale, occurrence=bounds)
    assert "rule 3" in out.read_text(encoding="utf-8")
    assert "rule 4" in out.read_text(encoding="utf-8")
    with pytest.raises(Refused, match="allowed: physical safety, road call") as refused:
        write_mode_table(folder, out)
    assert refused.value.problems[0].line == 4


def test_causes_say_how_they_stand(tmp_path: Path) -> None:
    """A cause that the evidence contradicts is not listed as if it were one."""
    folder = write_fleet(tmp_path / "fleet", units=UNITS, repairs=REPAIRS)
    (folder / "investigations").mkdir()
    text = (
        "investigation: i\npart: pump\nmode: leaks\n"
        "problem: {statement: s, because: {any: [a, b]}}\n"
        "causes:\n  a: {says: A, layer: upstream, branch: environment}\n"
        "  b: {says: B, layer: upstream, branch: environment}\n"
        "evidence:\n  e: {kind: measured, shows: s, for: a, against: b}\n"
    )
    (folder / "investigations" / "i.yaml").write_text(text, encoding="utf-8")
    out = tmp_path / "modes.csv"
    write_mode_table(folder, out)
    assert "A (supported); B (contradicted)" in out.read_text(encoding="utf-8")
