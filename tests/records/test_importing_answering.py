"""The import from the command line: refuses to guess, lays out its questions, repeats itself."""

import pytest
from click.testing import CliRunner

from rca.cli import main
from rca.errors import Refused
from rca.records.fleet import read_fleet
from rca.records.importing.answering import import_with_answers

ROWS = """\
Vehicle,Date,Component,Reason,Action,Km
B-1,2024-02-03,aftercooler,failure,replaced,1000
B-1,2024-05-17,aftercooler,failure,replaced,9000
B-2,2024-05-25,aftercooler,planned,replaced,4000
B-2,2024-06-13,starter,failure,greased up,5000
"""


@pytest.fixture
def export(tmp_path):
    """An export of which one word is unknown."""
    path = tmp_path / "export.csv"
    path.write_text(ROWS, encoding="utf-8")
    return path


def rca(*arguments):
    return CliRunner().invoke(main, [str(one) for one in arguments])


def test_an_open_question_is_refused_with_the_line_that_answers_it(export, tmp_path):
    done = rca("import", export, "--out", tmp_path / "fleet")
    assert done.exit_code == 4
    assert "words.action" in done.output
    assert "greased up" in done.output
    assert not (tmp_path / "fleet").exists()


def test_questions_are_laid_out_in_a_file_that_then_answers_them(export, tmp_path):
    answers, out = tmp_path / "answers.yaml", tmp_path / "fleet"
    done = rca("import", export, "--out", out, "--answers", answers)
    assert done.exit_code == 4
    assert "fill that file in and run the same command again" in done.output
    assert "'greased up':" in answers.read_text(encoding="utf-8")
    text = answers.read_text(encoding="utf-8").replace("'greased up':", "'greased up': adjusted")
    answers.write_text(text, encoding="utf-8")
    done = rca("import", export, "--out", out, "--answers", answers)
    assert done.exit_code == 0, done.output
    assert "4 used" in done.output
    assert read_fleet(out).account("repairs").used == 4


def test_an_answers_file_is_never_written_over(export, tmp_path):
    answers = tmp_path / "answers.yaml"
    answers.write_text("# mine\n", encoding="utf-8")
    with pytest.raises(Refused, match=r"words\.action"):
        import_with_answers(export, tmp_path / "fleet", answers=answers)
    assert answers.read_text(encoding="utf-8") == "# mine\n"


def test_a_file_without_questions_needs_no_answers(export, tmp_path):
    export.write_text(ROWS.replace("greased up", "adjusted"), encoding="utf-8")
    answers = tmp_path / "answers.yaml"
    done = import_with_answers(export, tmp_path / "fleet", answers=answers)
    assert done.folder.name == "fleet"
    assert not answers.exists()


def test_a_folder_that_exists_is_not_changed(export, tmp_path):
    export.write_text(ROWS.replace("greased up", "adjusted"), encoding="utf-8")
    (tmp_path / "fleet").mkdir()
    done = rca("import", export, "--out", tmp_path / "fleet")
    assert done.exit_code == 1
    assert "exists already" in done.output
    assert list((tmp_path / "fleet").iterdir()) == []


def test_units_beside_the_repairs_are_taken_in(export, tmp_path):
    export.write_text(ROWS.replace("greased up", "adjusted"), encoding="utf-8")
    units = tmp_path / "units.csv"
    units.write_text("Vehicle,In service,Depot\nB-1,2024-01-01,North\nB-2,2024-01-05,South\n"
                     "B-3,2024-01-09,North\n", encoding="utf-8")  # fmt: skip
    done = rca("import", export, "--out", tmp_path / "fleet", "--units", units)
    assert done.exit_code == 0, done.output
    assert len(read_fleet(tmp_path / "fleet").watch) == 3
