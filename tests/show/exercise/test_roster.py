"""The roster: a column name or code, any separator; faults with their line."""

import pytest

from rca.errors import Refused
from rca.show.exercise.roster import Student, numbered, read_roster


@pytest.mark.parametrize(
    ("text", "students"),
    [
        ("name\nAnna Berg\nÜnal Öz\n", (Student("Anna Berg", "Anna Berg"),
                                         Student("Ünal Öz", "Ünal Öz"))),
        ("Code;Name\n17;Anna\n18;Anna\n", (Student("17", "Anna"), Student("18", "Anna"))),
        ("e-mail,ID,x\na@b,s1,1\n,,\n", (Student("s1"),)),
        ("\ufeffStudent Name\n  Bo   Li \n", (Student("Bo Li", "Bo Li"),)),
    ],
)  # fmt: skip
def test_students_are_read(text, students, tmp_path):
    path = tmp_path / "roster.csv"
    path.write_text(text, encoding="utf-8")
    assert read_roster(path) == students


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("", "empty"),
        ("mail\na@b\n", "no such column"),
        ("name\n", "nobody"),
        ("code\ns1\ns2\nS1\n", "line 4, code = 'S1': stands twice"),
        ("code\n" + "x" * 200 + "\n", "line 2"),
    ],
)
def test_a_faulty_roster_is_refused(text, said, tmp_path):
    path = tmp_path / "roster.csv"
    path.write_text(text, encoding="utf-8")
    with pytest.raises(Refused, match=said):
        read_roster(path)


def test_a_roster_in_another_encoding_is_refused(tmp_path):
    (tmp_path / "roster.csv").write_bytes("name\nJörg\n".encode("latin-1"))
    with pytest.raises(Refused, match="UTF-8"):
        read_roster(tmp_path / "roster.csv")


def test_two_of_one_name_have_folders_of_their_own():
    assert Student("17", "Anna").folder != Student("18", "Anna").folder
    assert "/" not in Student("../../etc").folder


def test_students_by_number():
    assert [one.code for one in numbered(2)] == ["student-001", "student-002"]
    for count in (0, -3, 5000):
        with pytest.raises(Refused):
            numbered(count)
