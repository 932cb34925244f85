"""Folders of runs: the lock, names, the pointer, what killed and failed runs leave."""

import os
import subprocess
import sys

import pytest

from rca.errors import Busy, NotWritten
from rca.show.running import runs


def a_run(out, name, text="whole"):
    with runs.new_run(out) as run:
        run.name = name
        (run.work / "report.html").write_text(text)
    return run.folder


def test_reruns_get_numbers_and_a_gap_is_never_filled(tmp_path):
    assert [a_run(tmp_path, "2026-10").name for _ in range(3)] == [
        "2026-10", "2026-10.2", "2026-10.3",
    ]  # fmt: skip
    (tmp_path / "2026-10.2" / "report.html").unlink()
    (tmp_path / "2026-10.2").rmdir()
    assert a_run(tmp_path, "2026-10").name == "2026-10.4"
    assert runs.newest_of(tmp_path, "2026-10").name == "2026-10.4"


def test_ten_comes_after_nine(tmp_path):
    for _ in range(11):
        a_run(tmp_path, "2026-10")
    assert runs.newest_of(tmp_path, "2026-10").name == "2026-10.11"


def test_the_last_run_before_a_month_is_the_newest_of_the_latest_earlier_one(tmp_path):
    for name in ("2026-07", "2026-09", "2026-09", "2026-10"):
        a_run(tmp_path, name)
    assert runs.newest_before(tmp_path, "2026-10").name == "2026-09.2"
    assert runs.newest_before(tmp_path, "2026-09").name == "2026-07"
    assert runs.newest_before(tmp_path, "2026-07") is None


def test_a_run_that_fails_leaves_nothing_and_a_killed_one_goes_with_the_next(tmp_path):
    with pytest.raises(RuntimeError), runs.new_run(tmp_path):
        raise RuntimeError
    assert list(tmp_path.iterdir()) == []
    (tmp_path / ".run.killed").mkdir()
    (tmp_path / ".run.killed" / "half").write_text("half")
    a_run(tmp_path, "2026-10")
    assert not (tmp_path / ".run.killed").exists()


def test_the_pointer_is_a_link_or_where_links_fail_a_text(tmp_path, monkeypatch):
    a_run(tmp_path, "2026-09")
    assert runs.point_at_latest(tmp_path).name == "2026-09"
    assert runs.latest(tmp_path).name == "2026-09"
    monkeypatch.setattr("pathlib.Path.symlink_to", _no_links)
    a_run(tmp_path, "2026-10")
    runs.point_at_latest(tmp_path)
    assert (tmp_path / "latest").read_text() == "2026-10\n"
    assert runs.latest(tmp_path).name == "2026-10"


def _no_links(*_, **__):
    raise OSError("links are not allowed here")


def test_a_second_run_is_refused_and_a_killed_one_holds_no_lock(tmp_path):
    with runs.only_run(tmp_path), pytest.raises(Busy), runs.only_run(tmp_path):
        pass
    code = (
        "import sys, time; from pathlib import Path; from rca.show.running import runs\n"
        f"with runs.only_run(Path({str(tmp_path)!r})):\n    print('held', flush=True)\n"
        "    time.sleep(60)"
    )
    holder = subprocess.Popen([sys.executable, "-c", code], stdout=subprocess.PIPE, text=True)
    try:
        assert holder.stdout.readline() == "held\n"
        with pytest.raises(Busy), runs.only_run(tmp_path):
            pass
    finally:
        holder.kill()
        holder.communicate()
    with runs.only_run(tmp_path):
        pass


def test_a_place_that_cannot_be_written_is_told_as_such(tmp_path):
    (tmp_path / "file").write_text("in the way")
    with (
        pytest.raises(NotWritten, match="cannot be written"),
        runs.only_run(tmp_path / "file" / "x"),
    ):
        pass


def test_notebooks_of_failed_runs_are_kept_but_not_for_ever(tmp_path):
    notebook = tmp_path / "n.ipynb"
    notebook.write_text("{}")
    for number in range(runs.MOST_FAILED + 3):
        runs.keep_failed(notebook, tmp_path, name=f"2026{number:02d}")
    kept = sorted(path.stem for path in (tmp_path / "failed").iterdir())
    assert len(kept) == runs.MOST_FAILED
    assert kept[-1] == f"2026{runs.MOST_FAILED + 2:02d}"
    assert os.sep not in runs.keep_failed(notebook, tmp_path, name="x").removeprefix("failed/")
