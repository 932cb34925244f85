"""Make and mark a class, timed; and what the levels of difficulty come to.

    python tests/benchmarks/class_exercise.py [STUDENTS] [FOLDER]

Everything random comes from one fixed course secret. Needs about 0.8 MB a student in FOLDER.
"""

import resource
import statistics
import sys
import tempfile
import time
from collections import Counter
from pathlib import Path

from rca.show.exercise.making import Course, make_class, read_keys
from rca.show.exercise.marking_class import mark_class
from rca.show.exercise.play import open_play
from rca.show.exercise.roster import numbered
from tests.show.exercise.personas import PERSONAS

SECRET = "2f0c1d7e5a9b48c3b6e1f4a7d0925c38"
LEVELS = ("easy", "middle", "hard")


def seconds(what, function, *arguments, **options):
    """Call a function and say how long it took: wall time, and CPU time of all processes."""
    before = [resource.getrusage(who) for who in WHO]
    began = time.perf_counter()
    result = function(*arguments, **options)
    wall = time.perf_counter() - began
    after = [resource.getrusage(who) for who in WHO]
    cpu = sum(
        end.ru_utime + end.ru_stime - start.ru_utime - start.ru_stime
        for start, end in zip(before, after, strict=True)
    )
    print(f"{what}: {wall:.0f} s, {cpu:.0f} s of CPU", flush=True)
    return result


WHO = (resource.RUSAGE_SELF, resource.RUSAGE_CHILDREN)


def play_all(out: Path) -> None:
    """Let the simulated students play, each the next of the list."""
    keys = {key.student: key for key in read_keys(out / "instructor").values()}
    names = list(PERSONAS)
    for number, folder in enumerate(sorted((out / "students").iterdir())):
        key = next(one for student, one in keys.items() if folder.name.startswith(student))
        PERSONAS[names[number % len(names)]](open_play(folder), key)


def levels_met(out: Path) -> None:
    """Say what the levels came to: the share of the budget that the best order spends."""
    keys = list(read_keys(out / "instructor").values())
    shares = sorted(key.share_of_budget for key in keys)
    as_wanted = sum(key.level == key.wanted_level for key in keys)
    attempts = statistics.mean(key.attempt + 1 for key in keys)
    print(f"{as_wanted} of {len(keys)} of the level that was wanted; {attempts:.1f} fleets tried")
    print(f"share of the budget: {shares[0]:.2f} to {shares[-1]:.2f}, median "
          f"{statistics.median(shares):.2f}")  # fmt: skip
    print("kinds:", dict(sorted(Counter(key.kind for key in keys).items())))
    print("traps:", dict(sorted(Counter(trap for key in keys for trap in key.traps).items())))


def main(students: int, folder: Path) -> None:
    """Make the class, play it, mark it."""
    out = folder / "class"
    course = Course("Benchmark", SECRET, students=numbered(students))
    made = seconds(f"{students} cases made by 2 processes", make_class, course, out, processes=2)
    print(f"failed: {sum(bool(one.error) for one in made)}")
    levels_met(out)
    seconds("played, one process", play_all, out)
    done = seconds("marked by 2 processes", mark_class, out / "students", out / "instructor",
                   folder / "marks", processes=2)  # fmt: skip
    print(done)
    for number, name in enumerate(PERSONAS):
        mine = {f"student-{n + 1:03d}" for n in range(number, students, len(PERSONAS))}
        points = [one.provisional for one in done.marks if one.student in mine]
        print(f"{name}: {len(points)} students, {min(points):.0f} to {max(points):.0f} points")


if __name__ == "__main__":
    wanted = int(sys.argv[1]) if len(sys.argv) > 1 else 200
    if len(sys.argv) > 2:
        main(wanted, Path(sys.argv[2]))
    else:
        with tempfile.TemporaryDirectory() as temporary:
            main(wanted, Path(temporary))
