"""The failure-mode table as a page and as a workbook file."""

import io
from pathlib import Path

import openpyxl
import pytest

from rca.causes.failure_modes.modes import ModeTable, mode_table
from rca.show.mode_sheet import mode_table_html, mode_table_xlsx
from tests.cases import case_of, causes
from tests.small_fleet import small_fleet

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
    matrix = html[html.index('id="matrix"') :]
    assert "background" not in matrix
    assert "class=" not in matrix.replace('class="under"', "")


def test_workbook_file_has_both_sheets_and_harmless_text(table: ModeTable) -> None:
    """Read back by openpyxl: the same lines, and a formula in a mode is text."""
    book = openpyxl.load_workbook(io.BytesIO(mode_table_xlsx(table)))
    assert book.sheetnames == ["modes", "matrix"]
    rows = list(book["modes"].values)
    assert rows[0][:3] == ("part", "mode", "effect")
    assert len(rows) == 1 + len(table.rows)
    modes = [str(row[1]) for row in rows[1:]]
    assert "leaks" in modes
    assert not any(mode.startswith("=") for mode in modes)
