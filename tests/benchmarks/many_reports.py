"""Twenty-four depot pages in one run against fresh commands for each (section "Report").

python -m tests.benchmarks.many_reports [depots] [depots done by fresh commands]
"""

import csv
import shutil
import subprocess
import sys
import tempfile
import time
from pathlib import Path

ROOT = Path(__file__).parents[2]
BIN = Path(sys.executable).parent


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


def fresh_commands(fleet: Path, depot: str, out: Path) -> None:
    """One depot by the command lines of papermill and nbconvert."""
    out.mkdir()
    parameters = {
        "fleet_folder": fleet, "month": "2026-10", "group_attribute": "depot",
        "group_value": depot, "out_folder": out,
    }  # fmt: skip
    given = [word for key, value in parameters.items() for word in ("-r", key, str(value))]
    book, ran = ROOT / "workbooks" / "monthly_report.ipynb", out / "report.ipynb"
    _run(BIN / "papermill", "-k", "python3", book, ran, *given, cwd=out)
    _run(BIN / "jupyter", "nbconvert", "--to", "html", "--no-input", ran, cwd=out)


def _run(*command: str | Path, cwd: Path) -> None:
    done = subprocess.run([str(word) for word in command], cwd=cwd, capture_output=True)
    if done.returncode not in (0, 3):
        raise SystemExit(done.stderr.decode())


def run_and_weigh(*command: str | Path, cwd: Path) -> tuple[float, float]:
    """Run a command; return its wall time and the most memory that its processes shared, MiB."""
    words, nowhere = [str(word) for word in command], subprocess.DEVNULL
    began, most = time.monotonic(), 0.0
    run = subprocess.Popen(words, cwd=cwd, stdout=nowhere, stderr=nowhere, start_new_session=True)
    while run.poll() is None:
        most = max(most, shared_memory(run.pid))
        time.sleep(0.5)
    if run.returncode not in (0, 3):
        raise SystemExit(f"ended with code {run.returncode}")
    return time.monotonic() - began, most


def shared_memory(session: int) -> float:
    """Proportional memory of all processes of a session, MiB (Linux)."""
    total = 0
    for place in Path("/proc").glob("[0-9]*"):
        try:
            fields = (place / "stat").read_text().rsplit(")", 1)[1].split()
            if int(fields[3]) != session:
                continue
            text = (place / "smaps_rollup").read_text()
        except OSError:
            continue  # it has just ended
        total += int(text[text.index("Pss:") :].split()[1])
    return total / 1024


def main(depots: int = 24, fresh: int = 6) -> None:
    """Time both; the fresh commands on some depots, scaled to all."""
    with tempfile.TemporaryDirectory() as place:
        fleet = fleet_of_depots(Path(place) / "fleet", depots)
        names = [f"D{number:02d}" for number in range(1, depots + 1)]
        together, memory = run_and_weigh(
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
            f"{depots} depots in one run, 2 processes: {together:.0f} s, "
            f"{together / depots:.1f} s a page, {min(figures)} to {max(figures)} figures each, "
            f"at most {memory:.0f} MiB in all"
        )
        if not fresh:
            return
        began = time.monotonic()
        for name in names[:fresh]:
            fresh_commands(fleet, name, Path(place) / name)
        alone = (time.monotonic() - began) / fresh * depots
        print(
            f"fresh papermill and nbconvert for each ({fresh} done, scaled): {alone:.0f} s, "
            f"{alone / depots:.1f} s a page; ratio {alone / together:.1f}"
        )


if __name__ == "__main__":
    main(*map(int, sys.argv[1:]))
