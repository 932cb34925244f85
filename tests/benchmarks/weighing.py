"""What a command takes: wall and processor time and memory of all its processes (Linux)."""

import os
import subprocess
import sys
import time
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

ROOT = Path(__file__).parents[2]
BIN = Path(sys.executable).parent


@dataclass(frozen=True)
class Weighed:
    """What a command took: wall and processor seconds, and its most memory in MiB."""

    wall: float
    processor: float
    memory: float


def run_and_weigh(*command: str | Path, cwd: Path) -> Weighed:
    """Run a command and look at all its processes five times a second (Linux).

    Memory shared between them is counted once; of a process's last moment up to 0.2 s are missed.
    """
    words, nowhere = [str(word) for word in command], subprocess.DEVNULL
    began, most, busy = time.monotonic(), 0.0, {}
    run = subprocess.Popen(words, cwd=cwd, stdout=nowhere, stderr=nowhere, start_new_session=True)
    while run.poll() is None:
        seen = dict(family(run.pid))
        busy |= {process: seconds for process, (seconds, _) in seen.items()}
        most = max(most, sum(memory for _, memory in seen.values()))
        time.sleep(0.2)
    if run.returncode not in (0, 3):
        raise SystemExit(f"ended with code {run.returncode}")
    return Weighed(time.monotonic() - began, sum(busy.values()), most)


def family(first: int) -> Iterator[tuple[int, tuple[float, float]]]:
    """A process and all it has begun: processor seconds so far and proportional memory in MiB.

    By parents, since a kernel is a session of its own.
    """
    stat = dict(_every_process())
    ours = {first}
    while more := {one for one, fields in stat.items() if int(fields[1]) in ours} - ours:
        ours |= more
    for one in ours & stat.keys():
        try:
            text = Path(f"/proc/{one}/smaps_rollup").read_text()
        except OSError:
            continue  # it has just ended
        ticks = int(stat[one][11]) + int(stat[one][12])
        memory = int(text[text.index("Pss:") :].split()[1]) / 1024
        yield one, (ticks / os.sysconf("SC_CLK_TCK"), memory)


def _every_process() -> Iterator[tuple[int, list[str]]]:
    for place in Path("/proc").glob("[0-9]*"):
        try:
            yield int(place.name), (place / "stat").read_text().rsplit(")", 1)[1].split()
        except OSError:
            continue
