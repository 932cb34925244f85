"""Make the marked class of the debrief: `python data_demo/make_class.py` writes it again.

Sixteen invented students work on a case each, some with care and some by guessing; their work is
marked as that of any class. What each does is drawn from a seed, and stands below.
"""

import sys
import tempfile
from datetime import UTC, datetime
from pathlib import Path

import numpy as np

from rca.records import files
from rca.show.exercise.answer_key import AnswerKey
from rca.show.exercise.making import Course, make_class, read_keys
from rca.show.exercise.marking_class import CLASS, mark_class
from rca.show.exercise.play import Play, open_play
from rca.show.exercise.questions import VERDICTS
from rca.show.exercise.roster import numbered

SECRET = "8b1d4c3f0a92e65788c1f0b3d5a7e921"
STUDENTS, SEED = 16, 20261125
FOLDER = Path(__file__).parent / "marked_class"
REASON = "It parts the causes that still lead; upon each answer another reading follows"


def work_on(play: Play, key: AnswerKey, rng: np.random.Generator) -> None:
    """Play one student: `care` from 0 to 1 says how far along the best order they go."""
    care = rng.uniform()
    best = [step["clue"] for step in key.order]
    wanted = best[: max(1, round(care * len(best) + rng.uniform(0, 1)))]
    others = rng.permutation([one.id for one in play.case.clues if one.id not in best])
    names = [one.id for one in play.case.candidates]
    for clue in [*wanted, *others[: rng.integers(0, 6)]]:
        if play.case.clue(clue).price <= play.left:
            play.buy(clue, reason=REASON)
    knows = rng.uniform() < 0.05 + 0.7 * care
    cause = key.guilty[0] if knows else str(rng.choice(names))
    play.add_candidate(cause)
    for clue in play.bought[:3]:
        play.cite(clue, shows=f"What {clue} shows", supports=[cause])
    for question, found in key.numbers.items():
        wrong = next((v for k, v in found.items() if k not in ("value", "lower", "upper")), 0)
        if any(one.id == question for one in play.questions()):
            play.answer(question, found["value"] if rng.uniform() < 0.3 + 0.6 * care else wrong)
    play.answer("problem", f"The {play.case.part} fails often since {play.case.records_begin}")
    play.answer("pattern", key.patterns[0] if rng.uniform() < care else "random")
    play.answer("cause", cause)
    play.answer("confidence", round(float(np.clip(rng.normal(55 + 35 * care, 15), 5, 99))))
    repair = next(one for one in play.case.repairs if one.id == cause)
    play.repair(repair.id, reason=REASON)
    course = key.course_of(play.repairs_made, 1)
    word = course["accepted"][0] if rng.uniform() < 0.3 + 0.6 * care else str(rng.choice(VERDICTS))
    play.verdict(word, reason="Failures seen against those expected", confidence=60 + 30 * care)
    play.finish()


def class_files(work: Path) -> dict[str, bytes]:
    """Make, play and mark the class in a folder; return what the debrief needs."""
    course = Course("Invented class", SECRET, students=numbered(STUDENTS))
    make_class(course, work / "class", processes=1)
    keys = read_keys(work / "class" / "instructor")
    (work / "handed_in").mkdir()
    for number, folder in enumerate(sorted((work / "class" / "students").iterdir())):
        play = open_play(folder, now=lambda: datetime(2026, 11, 25, 9, tzinfo=UTC))
        work_on(play, keys[play.case.code], np.random.default_rng([SEED, number]))
        play.hand_in(work / "handed_in" / f"{folder.name}.zip")
    mark_class(work / "handed_in", work / "class" / "instructor", work / "marked")
    key = min((work / "class" / "instructor" / "keys").glob("*.json"))  # one case is replayed
    return {
        CLASS: files.file_bytes(work / "marked" / CLASS),
        f"keys/{key.name}": files.file_bytes(key),
    }


def main() -> None:
    """Write the marked class, or write it into the folder named."""
    folder = Path(sys.argv[1]) if len(sys.argv) > 1 else FOLDER
    with tempfile.TemporaryDirectory() as place:
        held = class_files(Path(place))
    for name, data in held.items():
        files.make_folder((folder / name).parent)
        files.write_bytes(folder / name, data)


if __name__ == "__main__":
    main()
