"""Killed, full disk, read-only: the last good report stays whole and reachable."""

import json
import os
import random
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest

from rca.records import files
from tests.little_fleet import little_fleet

ROOT = Path(__file__).parents[3]
DRIVER = """
import sys
from pathlib import Path
limit, user = int(sys.argv[4]), int(sys.argv[5])
from rca.show.running import report
from tests.in_process import run_in_process
report.run_workbook = run_in_process
if limit:
    import resource
    resource.setrlimit(resource.RLIMIT_FSIZE, (limit, limit))
report.read_settings(Path(sys.argv[1]))  # loads what a lesser user may not read
if user:
    import os
    os.setuid(user)
print("ready", flush=True)
try:
    report.write_report(Path(sys.argv[1]), month=sys.argv[3], out=Path(sys.argv[2]))
except report.RcaError as error:
    print(error, file=sys.stderr)
    sys.exit(error.exit_code)
"""


def start(fleet, out, month, *, limit=0, user=0):
    words = [str(fleet), str(out), month, str(limit), str(user)]
    pipes = {"stdout": subprocess.PIPE, "stderr": subprocess.PIPE}
    return subprocess.Popen([sys.executable, "-c", DRIVER, *words], cwd=ROOT, text=True, **pipes)


@pytest.fixture(scope="module")
def fleet_and_reports(tmp_path_factory):
    """A fleet with a good report of February, and how long that took."""
    place = tmp_path_factory.mktemp("unattended")
    fleet, out = little_fleet(place / "fleet"), place / "out"
    run = start(fleet, out, "2026-02")
    assert run.stdout.readline() == "ready\n"
    began = time.monotonic()
    run.communicate(timeout=300)
    assert run.returncode == 0
    return fleet, out, time.monotonic() - began


def demand_good(out):
    """The newest report that `latest` names, and every other visible one, is whole."""
    runs = [path for path in out.glob("2026-*") if path.is_dir()]
    assert (out / "latest").resolve() in runs
    for folder in runs:
        about = json.loads((folder / "manifest.json").read_text(encoding="utf-8"))
        for name, mark in about["outputs"].items():
            assert files.sha256(folder / name) == mark, (folder.name, name)


def test_killed_at_five_random_moments(fleet_and_reports):
    """kill -9; fifty moments with real kernels: tests/benchmarks/kill_runs.py."""
    fleet, out, seconds = fleet_and_reports
    rng = random.Random(6)
    for _ in range(5):
        run = start(fleet, out, "2026-03")
        assert run.stdout.readline() == "ready\n"
        time.sleep(rng.uniform(0, seconds))
        run.send_signal(signal.SIGKILL)
        run.communicate()
        demand_good(out)
    run = start(fleet, out, "2026-03")
    run.communicate(timeout=300)
    assert run.returncode == 0, "a killed run holds no lock"
    demand_good(out)
    assert list(out.glob(".run.*")) == []
    assert (out / "latest").resolve().name.startswith("2026-03")


@pytest.mark.parametrize("limit", [20_000, 400_000])
def test_no_room_for_a_file_is_told_and_changes_nothing(fleet_and_reports, limit):
    """Files larger than the limit cannot be written: the summary, then the page."""
    fleet, out, _ = fleet_and_reports
    before = sorted(path.name for path in out.iterdir())
    run = start(fleet, out, "2026-03", limit=limit)
    _, said = run.communicate(timeout=300)
    assert run.returncode == 1
    assert "written" in said
    assert "Traceback" not in said
    assert sorted(path.name for path in out.iterdir()) == before
    demand_good(out)


def test_a_folder_that_is_read_only_is_told_and_changes_nothing(tmp_path):
    """Root may write everywhere, so where the test is root's the run is nobody's."""
    fleet, out = little_fleet(tmp_path / "fleet"), tmp_path / "out"
    out.mkdir()
    out.chmod(0o555)
    user = 0
    if os.geteuid() == 0:
        user = 65534
        for folder in (tmp_path, tmp_path.parent, tmp_path.parent.parent):
            folder.chmod(0o755)
    _, said = start(fleet, out, "2026-03", user=user).communicate(timeout=300)
    out.chmod(0o755)
    assert "cannot be written to: Permission denied" in said
    assert list(out.iterdir()) == []
