"""kill -9 at random moments of a real report: the last good one stays (section "Report").

python -m tests.benchmarks.kill_runs [kills]
"""

import json
import os
import random
import signal
import subprocess
import sys
import tempfile
import time
from pathlib import Path

from rca.records import files
from tests.little_fleet import little_fleet


def start(fleet: Path, out: Path, month: str) -> subprocess.Popen:
    """Start a report by the command line, in a session of its own."""
    command = [sys.executable, "-m", "rca.cli", "report", str(fleet), "--month", month, "--out"]
    nowhere = {"stdout": subprocess.DEVNULL, "stderr": subprocess.DEVNULL}
    return subprocess.Popen([*command, str(out)], start_new_session=True, **nowhere)


def check(out: Path) -> int:
    """Demand that every visible run is whole and that `latest` names one; count them."""
    runs = [path for path in out.glob("2026-*") if path.is_dir()]
    assert (out / "latest").resolve() in runs
    for folder in runs:
        about = json.loads((folder / "manifest.json").read_text(encoding="utf-8"))
        for name, mark in about["outputs"].items():
            assert files.sha256(folder / name) == mark, (folder, name)
    return len(runs)


def main(kills: int = 50) -> None:
    """Kill the run alone or with its kernel, then let one finish."""
    rng = random.Random(50)
    with tempfile.TemporaryDirectory() as place:
        fleet, out = little_fleet(Path(place) / "fleet"), Path(place) / "out"
        began = time.monotonic()
        start(fleet, out, "2026-02").wait()
        seconds = time.monotonic() - began
        made = 1
        for _ in range(kills):
            run = start(fleet, out, "2026-03")
            time.sleep(rng.uniform(0, 1.1 * seconds))
            if rng.random() < 0.5:
                run.send_signal(signal.SIGKILL)
            else:
                os.killpg(run.pid, signal.SIGKILL)
            run.wait()
            made = check(out)
        last = start(fleet, out, "2026-03")
        last.wait()
        left = list(out.glob(".run.*"))
        print(
            f"{kills} kills over {seconds:.1f} s: {made - 1} runs had already finished, all "
            f"{check(out)} visible runs whole; then one more ended with code {last.returncode}, "
            f"{len(left)} hidden folders left"
        )


if __name__ == "__main__":
    main(*map(int, sys.argv[1:]))
