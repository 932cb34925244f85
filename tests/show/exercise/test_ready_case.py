"""The ready case in data_demo: made by its script byte by byte, small, and playable."""

import importlib.util
import shutil

from rca.records import files
from rca.show.exercise.making import read_keys
from rca.show.exercise.play import open_play

FOLDER = files.shipped("data_demo") / "exercise"


def test_the_ready_case_is_that_of_its_script():
    spec = importlib.util.spec_from_file_location(
        "make_exercise", FOLDER.parent / "make_exercise.py"
    )
    script = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(script)
    held = {path.relative_to(FOLDER).as_posix(): path.read_bytes()
            for path in FOLDER.rglob("*") if path.is_file() and path.name[0] != "."}  # fmt: skip
    assert held == script.exercise_files()


def test_the_ready_case_is_small():
    assert sum(path.stat().st_size for path in FOLDER.rglob("*") if path.is_file()) < 400_000


def test_the_ready_case_opens_and_has_its_key(tmp_path):
    shutil.copytree(FOLDER / "case", tmp_path / "case")
    play = open_play(tmp_path / "case")
    key = read_keys(FOLDER / "instructor")[play.case.code]
    assert play.case.budget == key.budget
    for step in key.order:
        result = play.buy(step["clue"], reason="the next best by what it tells for its price")
        assert result.paragraphs
    assert play.spent == key.order[-1]["spent"]
