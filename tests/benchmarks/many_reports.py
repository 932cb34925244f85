"""Twenty-four depot pages in one run against fresh commands for each (section "Report").

python -m tests.benchmarks.many_reports [depots] [depots done by fresh commands]
"""

import csv
import shutil
import sys
import tempfile
from pathlib import Path

from tests.benchmarks.weighing import BIN, ROOT, Weighed, run_and_weigh


def fleet_of_depots(folder: Path, depots: int) -> Path:
    """Copy the demo fleet and share its units out over so many depots."""
    shutil.copytree(ROOT / "data_demo" / "fleet", folder)
    path = folder / "units.csv"
    with path.open(newline="", encoding="utf-8") as stream:
        rows = list(csv.DictReader(stream))
    for place, row in enumerate(rows):
        row["depot"] = f"D{place % depots + 1:02d}"
    with path.open("w", newline="", encoding="utf-8") as stream:
        writer = csv.DictWriter(stream, list(rows[0]))
        writer.writeheader()
        writer.writerows(rows)
    return folder


def fresh_commands(fleet: Path, depot: str, out: Path) -> Weighed:
    """One depot by the command lines of papermill and nbconvert."""
    out.mkdir()
    parameters = {
        "fleet_folder": fleet, "month": "2026-10", "group_attribute": "depot",
        "group_value": depot, "out_folder": out,
    }  # fmt: skip
    given = [word for key, value in parameters.items() for word in ("-r", key, str(value))]
    book, ran = ROOT / "workbooks" / "monthly_report.ipynb", out / "report.ipynb"
    one = run_and_weigh(BIN / "papermill", "-k", "python3", book, ran, *given, cwd=out)
    two = run_and_weigh(BIN / "jupyter", "nbconvert", "--to", "html", "--no-input", ran, cwd=out)
    both = one.wall + two.wall, one.processor + two.processor, max(one.memory, two.memory)
    return Weighed(*both)


def main(depots: int = 24, fresh: int = 6) -> None:
    """Time both; the fresh commands on some depots, scaled to all."""
    with tempfile.TemporaryDirectory() as place:
        fleet = fleet_of_depots(Path(place) / "fleet", depots)
        names = [f"D{number:02d}" for number in range(1, depots + 1)]
        together = run_and_weigh(
            BIN / "rca", "report", fleet, "--each", "depot", "--month", "2026-10",
            "--out", Path(place) / "out", cwd=Path(place),
        )  # fmt: skip
        figures = [
            (Path(place) / "out" / name.lower() / "latest" / "report.html")
            .read_text(encoding="utf-8")
            .count('class="figure"')
            for name in names
        ]
        print(
            f"{depots} depots in one run, 2 processes: {together.wall:.0f} s "
            f"({together.processor:.0f} s of processor), {together.wall / depots:.1f} s a page, "
            f"{min(figures)} to {max(figures)} figures each, "
            f"at most {together.memory:.0f} MiB in all"
        )
        if not fresh:
            return
        alone = [fresh_commands(fleet, name, Path(place) / name) for name in names[:fresh]]
        wall, busy = (
            sum(getattr(one, kind) for one in alone) / fresh * depots
            for kind in ("wall", "processor")
        )
        print(
            f"fresh papermill and nbconvert for each ({fresh} done, scaled): {wall:.0f} s "
            f"({busy:.0f} s of processor), {wall / depots:.1f} s a page; "
            f"ratio {wall / together.wall:.1f} ({busy / together.processor:.1f})"
        )


if __name__ == "__main__":
    main(*map(int, sys.argv[1:]))
