"""The workbooks: thin cells, checked parameters, committed as run with only small outputs."""

import ast

import nbformat
import pytest

from rca.records import files

BOOKS = sorted(files.shipped("workbooks").glob("*.ipynb"))
CHECKED = "nbval-check-output"


@pytest.fixture(params=BOOKS, ids=lambda path: path.name)
def book(request):
    return nbformat.read(request.param, as_version=4)


def code_cells(book):
    return [cell for cell in book.cells if cell.cell_type == "code"]


def test_there_are_workbooks():
    names = {"monthly_report", "part_study", "import_records", "investigation"}
    assert names <= {path.stem for path in BOOKS}


def test_cells_are_thin_calls_without_functions_or_classes(book):
    for cell in code_cells(book):
        tree = ast.parse(cell.source)
        kinds = (ast.FunctionDef, ast.ClassDef, ast.AsyncFunctionDef, ast.Lambda)
        assert not any(isinstance(node, kinds) for node in ast.walk(tree)), cell.source
        assert len(cell.source.splitlines()) <= 8, cell.source


def test_one_cell_holds_plain_parameters(book):
    tagged = [cell for cell in code_cells(book) if "parameters" in cell.metadata.get("tags", [])]
    assert len(tagged) == 1
    for node in ast.parse(tagged[0].source).body:
        assert isinstance(node, ast.Assign)
        assert isinstance(node.value, ast.Constant)
        assert not (isinstance(node.value.value, str) and "=" in node.value.value)


def test_checked_cells_have_really_been_run_and_nothing_else_is_stored(book):
    """A cell that was never run passes the comparison without being compared."""
    checked = [cell for cell in code_cells(book) if CHECKED in cell.metadata.get("tags", [])]
    assert checked
    for cell in checked:
        assert cell.execution_count is not None
        assert "".join(out.get("text", "") for out in cell.outputs).strip()
    for cell in code_cells(book):
        if cell not in checked:
            assert cell.outputs == []
    assert "widgets" not in book.metadata


def test_no_workbook_is_large():
    assert all(path.stat().st_size < 60_000 for path in BOOKS)
