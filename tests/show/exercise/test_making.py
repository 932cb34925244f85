"""A class as it is made, marked and made again, through the commands."""

import csv
import json
import shutil
import zipfile
from functools import cache

import pytest
from click.testing import CliRunner

from rca.cli import main
from rca.errors import Refused
from rca.show.exercise import making
from rca.show.exercise.making import Course, make_again, make_class, read_course, read_keys
from rca.show.exercise.marking_class import mark_class
from rca.show.exercise.play import open_play
from rca.show.exercise.roster import Student
from tests.show.exercise.conftest import SECRET
from tests.show.exercise.personas import gives_up, perfect

COURSE = Course("Autumn", SECRET.hex(), kind="lot", students=(Student("anna"), Student("b", "Bo")))


BUILD = making.build_case


@pytest.fixture(autouse=True, scope="module")
def each_case_built_once():
    """The cases of this module are built once; the test of sameness builds them afresh."""
    built = cache(BUILD)
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(making, "build_case", built)
        yield


@pytest.fixture(scope="module")
def made(tmp_path_factory):
    """A class of two."""
    out = tmp_path_factory.mktemp("made") / "class"
    return out, make_class(COURSE, out, processes=1)


def contents(folder):
    return {path.relative_to(folder).as_posix(): path.read_bytes()
            for path in sorted(folder.rglob("*")) if path.is_file()}  # fmt: skip


def test_folders_as_they_were_handed_out_are_no_work(made, tmp_path):
    out, cases = made
    done = mark_class(out / "students", out / "instructor", tmp_path / "marks", processes=1)
    assert done.marks == ()
    assert set(done.missing) == {one.code for one in cases}
    book = (tmp_path / "marks" / "gradebook.csv").read_text(encoding="utf-8")
    assert book.count("no work was handed in") == len(cases)


def test_students_and_instructor_lie_apart(made):
    out, cases = made
    assert [one.error for one in cases] == ["", ""]
    assert {path.name for path in out.iterdir()} == {"students", "hand_out", "instructor"}
    students = contents(out / "students")
    for name, data in students.items():
        assert COURSE.secret.encode() not in data, name
    assert "instructor/course.json" in contents(out)
    folder = out / "students" / cases[0].folder
    assert {"case.json", "case_sheet.html", "clues", "fleet"} <= {
        path.name for path in folder.iterdir()
    }


def test_the_zip_to_hand_out_holds_the_folder_and_no_dates(made):
    out, cases = made
    folder = out / "students" / cases[0].folder
    with zipfile.ZipFile(out / "hand_out" / f"{cases[0].folder}.zip") as archive:
        inside = {entry.filename: archive.read(entry) for entry in archive.infolist()}
        assert {entry.date_time for entry in archive.infolist()} == {(1980, 1, 1, 0, 0, 0)}
    assert inside == {f"{cases[0].folder}/{name}": data for name, data in contents(folder).items()}


def test_the_same_course_file_gives_the_same_folders(made, tmp_path, monkeypatch):
    monkeypatch.setattr(making, "build_case", BUILD)
    out, _ = made
    course = read_course(out / "instructor" / "course.json")
    assert course == COURSE
    make_class(course, tmp_path / "again", processes=1)
    assert contents(tmp_path / "again") == contents(out)


def test_one_student_is_made_again_and_nothing_is_overwritten(made, tmp_path):
    out, cases = made
    place = tmp_path / "class"
    shutil.copytree(out, place)
    course = place / "instructor" / "course.json"
    with pytest.raises(Refused, match="exists already"):
        make_again(course, "anna")
    shutil.rmtree(place / "students" / cases[0].folder)
    made_again = make_again(course, "ANNA")
    assert made_again.code == cases[0].code
    assert contents(place) == contents(out)
    with pytest.raises(Refused, match="is not known"):
        make_again(course, "zoe")


def test_one_case_that_cannot_be_made_stops_no_other(tmp_path, monkeypatch):
    """Whatever goes wrong with one student is listed; the rest of the class is made."""
    real = making.build_case

    def failing(secret, student, **options):
        if student == "anna":
            raise ZeroDivisionError("planted")
        return real(secret, student, **options)

    monkeypatch.setattr(making, "build_case", failing)
    cases = make_class(COURSE, tmp_path / "class", processes=1)
    assert [bool(one.error) for one in cases] == [True, False]
    assert "planted" in (tmp_path / "class" / "instructor" / "cases.csv").read_text()


def test_a_folder_in_use_is_not_written_into(made):
    out, _ = made
    with pytest.raises(Refused, match="is not empty"):
        make_class(COURSE, out, processes=1)


@pytest.mark.parametrize("text", ["", "{}", '{"secret": "00"}', "[1]"])
def test_what_is_no_course_file_is_refused(text, tmp_path):
    (tmp_path / "course.json").write_text(text)
    with pytest.raises(Refused, match="no course file"):
        read_course(tmp_path / "course.json")


def test_a_folder_without_keys_is_refused(tmp_path):
    with pytest.raises(Refused, match="holds no key"):
        read_keys(tmp_path)


def test_the_commands_make_and_mark_a_class(made, tmp_path):
    """Make by course file, play, mark, fill in a person's points, mark again."""
    out, _ = made
    run = CliRunner()
    place, marks = tmp_path / "class", tmp_path / "marks"
    course = str(out / "instructor" / "course.json")
    done = run.invoke(main, ["class", "make", "--course", course, "--out", str(place),
                             "--processes", "1"])  # fmt: skip
    assert done.exit_code == 0, done.output
    assert "2 cases" in done.output
    keys = {key.student: key for key in read_keys(place / "instructor").values()}
    perfect(open_play(place / "students" / "anna"), keys["anna"])
    gives_up(open_play(next((place / "students").glob("bo*"))), keys["b"])
    mark = ["class", "mark", str(place / "students"), "--instructor", str(place / "instructor"),
            "--out", str(marks), "--processes", "1"]  # fmt: skip
    done = run.invoke(main, mark)
    assert done.exit_code == 0, done.output
    assert "2 marked" in done.output
    rows = {row["student"]: row for row in read(marks / "gradebook.csv")}
    assert float(rows["anna"]["points"]) > 90 > 20 > float(rows["b"]["points"])
    assert rows["b"]["name"] == "Bo"
    assert len(list((marks / "feedback").glob("*.html"))) == 2
    assert len(json.loads((marks / "class.json").read_text())["students"]) == 2
    fill_in(marks / "for_a_person.csv", keys["anna"].code, "problem", "4")
    run.invoke(main, mark)
    again = {row["student"]: row for row in read(marks / "gradebook.csv")}
    assert float(again["anna"]["problem"]) == 4
    assert any(row["points"] == "4" for row in read(marks / "for_a_person.csv"))


def read(path):
    with path.open(encoding="utf-8", newline="") as stream:
        return list(csv.DictReader(stream))


def fill_in(path, code, criterion, points):
    rows = read(path)
    for row in rows:
        if (row["case"], row["criterion"]) == (code, criterion):
            row["points"] = points
    with path.open("w", encoding="utf-8", newline="") as stream:
        writer = csv.DictWriter(stream, list(rows[0]))
        writer.writeheader()
        writer.writerows(rows)


@pytest.mark.parametrize(
    "arguments",
    [[], ["--students", "2", "--roster", "x.csv"], ["--students", "0"], ["--kind", "moon",
     "--students", "1"]],
)  # fmt: skip
def test_wrong_usage_is_said_plainly(arguments, tmp_path):
    done = CliRunner().invoke(
        main, ["class", "make", "--out", str(tmp_path / "x"), "--processes", "1", *arguments]
    )
    assert done.exit_code != 0
    assert "Traceback" not in done.output


def test_work_of_a_student_who_was_never_made_is_reported(made, tmp_path):
    out, _ = made
    (tmp_path / "sent").mkdir()
    (tmp_path / "sent" / "log.jsonl").write_text(
        '{"step": 1, "at": "", "does": "open", "hash": ""}'
    )
    done = CliRunner().invoke(
        main, ["class", "mark", str(tmp_path / "sent"), "--instructor", str(out / "instructor"),
               "--out", str(tmp_path / "marks"), "--processes", "1"],
    )  # fmt: skip
    assert done.exit_code == 3
    assert "needs a person" in done.output
