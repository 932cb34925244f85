"""Run each story of the forms in JupyterLab several times; all runs must pass.

`python -m tests.benchmarks.forms_in_lab [runs]` (default 10) prints, for each story, how many runs
passed and how long they took. RCA_OPEN_DATA must name the folder of open data, or the import of
the excavator export is left out. Chromium must be there.
"""

import os
import subprocess
import sys
import time

STORIES = (
    "test_the_excavator_export_becomes_a_fleet_and_a_page",
    "test_a_part_is_studied_and_exported",
    "test_two_whys_and_a_reading_support_a_link_and_are_there_again",
    "test_a_case_is_played_from_the_first_clue_to_the_saved_answer",
)


def run(story: str) -> tuple[bool, float, str]:
    """Run one story once: whether it passed, seconds, and the last line of what it printed."""
    begin = time.perf_counter()
    done = subprocess.run(
        [sys.executable, "-m", "pytest", "-q", f"tests/test_forms_in_lab.py::{story}"],
        env={**os.environ, "RCA_BROWSER_MUST_RUN": "1"},
        capture_output=True,
        text=True,
        check=False,
    )
    last = done.stdout.strip().splitlines()[-1] if done.stdout.strip() else done.stderr[-200:]
    return done.returncode == 0 and "1 passed" in last, time.perf_counter() - begin, last


def main(runs: int = 10) -> int:
    """Run every story `runs` times; return how many runs failed."""
    failed = 0
    for story in STORIES:
        if "export" in story and "excavator" in story and not os.environ.get("RCA_OPEN_DATA"):
            print(f"{story}: left out, RCA_OPEN_DATA names no folder")
            continue
        found = [run(story) for _ in range(runs)]
        passed = sum(ok for ok, _, _ in found)
        seconds = sorted(took for _, took, _ in found)
        failed += runs - passed
        print(f"{story}: {passed} of {runs} passed; {seconds[0]:.0f} to {seconds[-1]:.0f} s")
        for ok, _, last in found:
            if not ok:
                print(f"  {last}")
    return failed


if __name__ == "__main__":
    sys.exit(1 if main(int(sys.argv[1]) if len(sys.argv) > 1 else 10) else 0)
