"""Make the ready case of the class exercise: `python data_demo/make_exercise.py` writes it again.

The same bytes come out each time, for the course secret below is no secret: this case is for
trying. Its answer key lies beside it, in `exercise/instructor`. The case sheet and the notebook,
which every case gets when a class is made, are left out: the notebook shows the same.
"""

import sys
from pathlib import Path

from rca.records.files import make_folder
from rca.show.exercise.answer_key import key_text
from rca.show.exercise.building import build_case
from rca.show.exercise.making import default_rubric_text

SECRET = bytes.fromhex("5f2d8c1e9b7a40366a1b0c9d8e7f6051")
STUDENT = "ready case"
TRAPS = ("good parts returned", "picked worst")
FOLDER = Path(__file__).parent / "exercise"


def exercise_files() -> dict[str, bytes]:
    """Return every file of the ready case by its name below `data_demo/exercise`."""
    built = build_case(SECRET, STUDENT, course="Ready case, to try", kind="supply", traps=TRAPS)
    held = {f"case/{name}": data for name, data in built.files.items()}
    held["instructor/rubric.yaml"] = default_rubric_text().encode()
    held[f"instructor/keys/{built.case.code}.json"] = key_text(built.key).encode()
    return held


def main() -> None:
    """Write the ready case, or write it into the folder named."""
    folder = Path(sys.argv[1]) if len(sys.argv) > 1 else FOLDER
    for name, data in exercise_files().items():
        make_folder((folder / name).parent)
        (folder / name).write_bytes(data)


if __name__ == "__main__":
    main()
