"""A kernel that is forked ends with the runner, however that ends."""

import os
import signal
import subprocess
import sys
import time

import psutil
import pytest

from rca.show.running.preloading import can_preload
from tests.little_fleet import little_fleet

pytestmark = pytest.mark.skipif(not can_preload(), reason="kernels are not forked on this system")


def of_session(session):
    """Process numbers of a session, zombies left out."""
    found = []
    for process in psutil.process_iter():
        try:
            if os.getsid(process.pid) == session and process.status() != psutil.STATUS_ZOMBIE:
                found.append(process.pid)
        except (ProcessLookupError, psutil.NoSuchProcess):
            continue
    return found


def wait_until(condition, seconds):
    """Tell whether it came true in that time."""
    end = time.monotonic() + seconds
    while not condition():
        if time.monotonic() > end:
            return False
        time.sleep(0.1)
    return True


def has_kernel(session):
    """Tell whether a process forked from the loading one is there: a kernel."""
    processes = [psutil.Process(pid) for pid in of_session(session)]
    return any("forkserver" in " ".join(one.cmdline()) and one.children() for one in processes)


def test_nothing_outlives_a_runner_that_is_killed(tmp_path):
    fleet = little_fleet(tmp_path / "fleet")
    words = ["-m", "rca.cli", "report", str(fleet), "--out", str(tmp_path / "out")]
    nowhere = {"stdout": subprocess.DEVNULL, "stderr": subprocess.DEVNULL}
    run = subprocess.Popen([sys.executable, *words], start_new_session=True, **nowhere)
    assert wait_until(lambda: has_kernel(run.pid), 120)
    run.send_signal(signal.SIGKILL)
    run.wait()
    assert wait_until(lambda: not of_session(run.pid), 30)
