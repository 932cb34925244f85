"""Time of the demo's page beside an empty papermill run and nbconvert (section "Report").

python -m tests.benchmarks.page_time [rounds]
"""

import sys
import tempfile
from pathlib import Path

import nbformat
from nbformat import v4

from tests.benchmarks.weighing import BIN, ROOT, run_and_weigh


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
            papermill = run_and_weigh(BIN / "papermill", "-k", "python3", book, ran, cwd=folder)
            convert = run_and_weigh(BIN / "jupyter", "nbconvert", "--to", "html", ran, cwd=folder)
            report = run_and_weigh(
                BIN / "rca", "report", ROOT / "data_demo" / "fleet", "--month", "2026-10",
                "--out", folder / "out", cwd=folder,
            )  # fmt: skip
            for name in ("wall", "processor"):
                empty, page = (
                    sum(getattr(one, name) for one in some)
                    for some in ((papermill, convert), (report,))
                )
                print(
                    f"{name:>9}: empty papermill and nbconvert {empty:.1f} s; page {page:.1f} s = "
                    f"{page / empty:.2f} times; {report.memory:.0f} MiB",
                    flush=True,
                )


if __name__ == "__main__":
    main(*map(int, sys.argv[1:]))
