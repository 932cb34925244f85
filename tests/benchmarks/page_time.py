"""Time of the demo's page beside an empty papermill run and nbconvert (section "Report").

python -m tests.benchmarks.page_time [rounds]
"""

import resource
import subprocess
import sys
import tempfile
import time
from pathlib import Path

import nbformat
from nbformat import v4

ROOT = Path(__file__).parents[2]
BIN = Path(sys.executable).parent


def spent(*command: str | Path, folder: Path) -> tuple[float, float]:
    """Run a command; return its wall time and the processor time of it and its children."""
    before, began = resource.getrusage(resource.RUSAGE_CHILDREN), time.monotonic()
    done = subprocess.run([str(word) for word in command], cwd=folder, capture_output=True)
    after = resource.getrusage(resource.RUSAGE_CHILDREN)
    if done.returncode not in (0, 3):
        raise SystemExit(done.stderr.decode())
    busy = after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime
    return time.monotonic() - began, busy


def empty_book(folder: Path) -> Path:
    """Write a notebook with nothing but a parameters cell."""
    cell = v4.new_code_cell("x = 1", metadata={"tags": ["parameters"]})
    path = folder / "empty.ipynb"
    nbformat.write(v4.new_notebook(cells=[cell]), path)
    return path


def main(rounds: int = 3) -> None:
    """Take the two in turn, so that a busy machine slows both."""
    with tempfile.TemporaryDirectory() as place:
        folder = Path(place)
        book, ran = empty_book(folder), folder / "ran.ipynb"
        for _ in range(rounds):
            papermill = spent(BIN / "papermill", "-k", "python3", book, ran, folder=folder)
            convert = spent(BIN / "jupyter", "nbconvert", "--to", "html", ran, folder=folder)
            report = spent(
                BIN / "rca", "report", ROOT / "data_demo" / "fleet", "--month", "2026-10",
                "--out", folder / "out", folder=folder,
            )  # fmt: skip
            for name, place_ in (("wall", 0), ("processor", 1)):
                empty = papermill[place_] + convert[place_]
                print(
                    f"{name:>9}: empty papermill {papermill[place_]:.1f} s + nbconvert "
                    f"{convert[place_]:.1f} s; page {report[place_]:.1f} s = "
                    f"{report[place_] / empty:.2f} times"
                )


if __name__ == "__main__":
    main(*map(int, sys.argv[1:]))
