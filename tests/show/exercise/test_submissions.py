"""Broken and hostile work is reported and harmless: nothing is run, followed, unpacked or grown."""

import io
import json
import os
import time
import zipfile

import pytest

from rca.show.exercise.log import log_text
from rca.show.exercise.making import KEYS, RUBRIC, default_rubric_text, key_text
from rca.show.exercise.marking_class import mark_class
from rca.show.exercise.submissions import read_submissions
from tests.show.exercise.conftest import built

GOOD = "perfect"


@pytest.fixture(scope="module")
def handed(played):
    """A sound hand-in: log, investigation and case file as bytes."""
    folder, _, _ = played("supply", GOOD)
    return {
        "case.json": (folder / "case.json").read_bytes(),
        "work/log.jsonl": (folder / "work/log.jsonl").read_bytes(),
        "work/investigation.yaml": (folder / "work/investigation.yaml").read_bytes(),
    }


@pytest.fixture
def instructor(tmp_path):
    """The instructor's folder of a class of one."""
    key = built("supply").key
    folder = tmp_path / "class" / "instructor"
    (folder / KEYS).mkdir(parents=True)
    (folder / KEYS / f"{key.code}.json").write_text(key_text(key))
    (folder / RUBRIC).write_text(default_rubric_text())
    return folder


def write(folder, held):
    for name, data in held.items():
        path = folder / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_bytes(data)


def zipped(held) -> bytes:
    stream = io.BytesIO()
    with zipfile.ZipFile(stream, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, data in held.items():
            archive.writestr(name, data)
    return stream.getvalue()


CODE = built("supply").case.code
HEAD = f"investigation: {CODE}\nproblem: {{statement: x}}\n".encode()
BOMB = b"a: &a [x, x, x, x, x, x, x, x, x]\n" + b"".join(
    f"{chr(98 + n)}: &{chr(98 + n)} [{', '.join(['*' + chr(97 + n)] * 9)}]\n".encode()
    for n in range(9)
)

LOOP = (
    b"causes:\n  a: {says: a, layer: upstream, because: b}\n"
    b"  b: {says: b, layer: upstream, because: a}\n"
)
MARKUP = b"'<script>alert(1)</script>'}"

HOSTILE = {
    "code in YAML": {"work/investigation.yaml": HEAD + b"x: !!python/object/apply:os.system [l]\n"},
    "aliases that grow": {"work/investigation.yaml": HEAD + BOMB},
    "YAML nested deeply": {"work/investigation.yaml": HEAD + b"x: " + b"[" * 1000 + b"]" * 1000},
    "huge YAML": {"work/investigation.yaml": HEAD + b"# " + b"x" * 400_000 + b"\n"},
    "huge log": {"work/log.jsonl": b'{"does": "open", "x": "' + b"y" * 6_000_000 + b'"}\n'},
    "wrong encoding": {"work/investigation.yaml": HEAD.decode().encode("utf-16")},
    "Latin letters": {"work/log.jsonl": b'{"does": "buy", "reason": "f\xfcr"}\n'},
    "binary log": {"work/log.jsonl": bytes(range(256)) * 20},
    "empty files": {"work/log.jsonl": b"", "work/investigation.yaml": b""},
    "JSON nested deeply": {"work/log.jsonl": b'{"does": ' + b"[" * 50_000 + b"]" * 50_000 + b"}\n"},
    "log is a list": {"work/log.jsonl": b'[1, 2, 3]\n"does"\n'},
    "log of another case": {"work/log.jsonl": b'{"step": 1, "at": "", "does": "o", "hash": ""}\n'},
    "case file is a number": {"case.json": b'{"code": 17}'},
    "loop of causes": {"work/investigation.yaml": HEAD + LOOP},
    "markup in text": {"work/investigation.yaml": HEAD.replace(b"x}", MARKUP)},
    "zip that is none": {"work.zip": b"PK\x03\x04 no zip at all"},
    "zip that grows": {"work.zip": zipped({"log.jsonl": b"0" * 30_000_000})},
    "zip that climbs": {"work.zip": zipped({"../../../tmp/climbed/log.jsonl": b'{"does": 1}\n'})},
    "zip of many": {"work.zip": zipped({f"n/{n}.txt": b"" for n in range(2_500)})},
    "odd names": {"w\u202eork/lo\ng.jsonl": b'{"does": "open"}\n'},
    "folder named like a log": {"log.jsonl/inside.txt": b"text"},
    "nested far too deep": {"/".join(["d"] * 30) + "/log.jsonl": b'{"does": "open"}\n'},
}  # fmt: skip
IN_PLACE = ("code in YAML", "huge YAML", "huge log", "wrong encoding", "binary log", "empty files",
            "JSON nested deeply", "loop of causes", "case file is a number")  # fmt: skip
SILENT = {"folder named like a log", "case file is a number", "markup in text"}
"""Nothing is wrong with these files as files."""


@pytest.mark.parametrize("name", HOSTILE)
def test_hostile_work_is_reported_and_the_class_goes_on(name, handed, instructor, tmp_path):
    """Beside it, sound work of the same class is marked as if it were alone."""
    folder, out = tmp_path / "handed in", tmp_path / "marks"
    write(folder / "sound", handed)
    write(folder / "odd", HOSTILE[name])
    began = time.process_time()
    done = mark_class(folder, instructor, out, processes=1)
    assert time.process_time() - began < 20
    assert [one.total for one in done.marks] == [pytest.approx(100, abs=6)]
    if name not in SILENT:
        assert done.problems or done.marks[0].flags
    assert (out / "class.json").is_file()
    assert not (tmp_path.parent / "climbed").exists()
    pages = "".join(path.read_text() for path in (out / "feedback").glob("*.html"))
    assert "<script>alert" not in pages


@pytest.mark.parametrize("name", IN_PLACE)
def test_hostile_work_in_place_of_sound_work_is_harmless_too(name, handed, instructor, tmp_path):
    """The same, as the only work of the student: a mark or none, never an exception."""
    folder = tmp_path / "handed in"
    write(folder / "sent", {**handed, **HOSTILE[name]})
    done = mark_class(folder, instructor, tmp_path / "marks", processes=1)
    assert len(done.marks) + len(done.missing) >= 1
    assert (tmp_path / "marks" / "gradebook.csv").is_file()


def test_links_are_reported_and_not_followed(handed, instructor, tmp_path):
    outside = tmp_path / "outside"
    write(outside, handed)
    folder = tmp_path / "handed in"
    folder.mkdir()
    os.symlink(outside, folder / "anna")
    os.symlink("/etc/passwd", folder / "log.jsonl")
    os.symlink(folder, folder / "round-and-round")
    done = mark_class(folder, instructor, tmp_path / "marks", processes=1)
    assert done.marks == ()
    assert sum("is a link" in one.rule for one in done.problems) == 3


def test_a_pipe_does_not_stop_the_class(handed, instructor, tmp_path):
    folder = tmp_path / "handed in"
    write(folder / "sound", handed)
    os.mkfifo(folder / "log.jsonl")
    done = mark_class(folder, instructor, tmp_path / "marks", processes=1)
    assert len(done.marks) == 1
    assert any("no ordinary file" in one.rule for one in done.problems)


@pytest.mark.parametrize("how", ["renamed", "zip", "flat", "zip without a case file"])
def test_work_is_known_by_the_code_inside(how, handed, tmp_path):
    renamed = {"homework/my answers.txt": handed["work/log.jsonl"],
               "homework/thoughts.md": handed["work/investigation.yaml"]}  # fmt: skip
    flat = {name.rpartition("/")[2]: data for name, data in handed.items()}
    held = {
        "renamed": renamed,
        "zip": {"Anna final FINAL.zip": zipped(handed)},
        "flat": flat,
        "zip without a case file": {"x.zip": zipped(renamed)},
    }[how]
    write(tmp_path, held)
    works, problems = read_submissions(tmp_path, [CODE, "other-case-code"])
    assert list(works) == [CODE]
    assert problems == ()
    work = works[CODE]
    assert log_text(work.steps).encode() == handed["work/log.jsonl"]
    assert work.investigation.encode() == handed["work/investigation.yaml"]
    assert work.altered == ""


def test_of_two_versions_the_furthest_sound_one_counts(handed, tmp_path):
    lines = handed["work/log.jsonl"].splitlines(keepends=True)
    bad = json.loads(lines[2]) | {"reason": "changed afterwards, by hand"}
    write(tmp_path, {
        "early/log.jsonl": b"".join(lines[:5]),
        "late/log.jsonl": handed["work/log.jsonl"],
        "altered/log.jsonl": b"".join([*lines[:2], json.dumps(bad).encode() + b"\n", *lines[3:]]),
    })  # fmt: skip
    works, problems = read_submissions(tmp_path, [CODE])
    work = works[CODE]
    assert len(work.steps) == len(lines)
    assert work.altered == ""
    assert any("3 different logs" in note for note in work.notes)
    assert len(problems) == 1


def test_a_folder_of_nothing_is_a_class_that_handed_nothing_in(instructor, tmp_path):
    (tmp_path / "nothing").mkdir()
    done = mark_class(tmp_path / "nothing", instructor, tmp_path / "marks", processes=1)
    assert done.marks == ()
    assert done.missing == (CODE,)
    assert "no work was handed in" in (tmp_path / "marks" / "gradebook.csv").read_text()
