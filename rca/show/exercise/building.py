"""One student's case, from the course secret and the student's code: folder and answer key.

The same secret, code and options give the same files byte by byte.
"""

from base64 import b32encode
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

from rca.errors import RcaError
from rca.records.simulate import csv_texts, fleet_yaml
from rca.records.simulate.draws import Draws
from rca.show.exercise.answer_key import AnswerKey
from rca.show.exercise.case_file import CaseFile, case_text
from rca.show.exercise.courses import TARGET, Course, all_courses
from rca.show.exercise.history import history_of, story_of
from rca.show.exercise.keying import key_for
from rca.show.exercise.later_records import course_key, repair_key
from rca.show.exercise.menu import CURRENCY, GROUPS, candidates_of, repairs_of, right_repairs
from rca.show.exercise.play import HISTORY
from rca.show.exercise.seal import key_of, sealed
from rca.show.exercise.search import Solvable, digest, draws_of, search
from rca.show.exercise.setting import ROUNDS

CLUE_BYTES, LATER_BYTES = 1_024, 8_192
"""Sizes of the sealed files: of clues and repairs, and of the months after a repair."""


@dataclass(frozen=True, slots=True, eq=False)
class BuiltCase:
    """A case: its public side, the files of the student's folder by name, and the key."""

    case: CaseFile
    files: Mapping[str, bytes]
    key: AnswerKey


def build_case(
    secret: bytes,
    student: str,
    *,
    course: str = "",
    level: str = "middle",
    kind: str = "",
    traps: Sequence[str] | None = None,
) -> BuiltCase:
    """Build the case of one student.

    Parameters
    ----------
    secret
        The course secret, at least 16 bytes.
    student
        The student's code in the roster.
    level
        Wanted level: easy, middle or hard; what came of it stands in the key.
    kind, traps
        To choose the layer of the cause and the traps; default: drawn.

    Raises
    ------
    RcaError
        No case that can be solved was found within the tries.
    """
    if len(secret) < 16:
        raise RcaError("the course secret must have at least 16 bytes (128 bits)")
    found = search(secret, student, level=level, kind=kind, traps=traps)
    code = case_code(secret, student)
    draws = draws_of(secret, student, "menu")
    setting = found.setting
    case = CaseFile(
        code=code,
        course=course,
        title=f"{setting.operator}: the {setting.scenario.part} keeps failing",
        story=story_of(setting, found.past),
        part=setting.scenario.part,
        unit_word=setting.scenario.units_word,
        meter_unit=setting.scenario.meter_unit,
        currency=CURRENCY,
        records_begin=setting.records_begin.isoformat(),
        cutoff=setting.cutoff.isoformat(),
        budget=found.solution.budget,
        rounds=ROUNDS,
        months_after=setting.months_after,
        groups=GROUPS,
        clues=found.menu,
        candidates=candidates_of(setting.scenario, draws.child("candidates")),
        repairs=repairs_of(setting.scenario, draws.child("repairs")),
        target_ratio=TARGET,
    )
    courses = all_courses(setting, found.past, seed=found.seed)
    token = _token(draws, "history")
    held = {
        "case.json": case_text(case).encode(),
        **dict(_fleet_files(found)),
        **dict(_clue_files(case, found, draws, token)),
        **dict(_later_files(case, found, courses, draws.child("later"), token)),
    }
    return BuiltCase(case, held, key_for(case, found, courses, student, level))


def case_code(secret: bytes, student: str) -> str:
    """Code of a student's case: twelve letters and digits that tell nothing of the case."""
    text = b32encode(digest(secret, student, "code")[:8]).decode().lower()
    return "-".join((text[:4], text[4:8], text[8:12]))


def _fleet_files(found: Solvable) -> Iterator[tuple[str, bytes]]:
    fleet = found.past.fleet
    names = [name for name in fleet.tables if name != "fixes"]
    more = {
        "currency": CURRENCY,
        "timezone": "UTC",
        "tables": {name: {"file": f"{name}.csv"} for name in names},
    }
    yield "fleet/fleet.yaml", fleet_yaml(fleet, more=more).encode()
    texts = csv_texts(fleet)
    for name in names:
        yield f"fleet/{name}.csv", texts[f"{name}.csv"].encode()


def _token(draws: Draws, what: str) -> str:
    """A word of 64 random bits."""
    values = draws.child(what).uniform(4)
    return "".join(f"{int(value * 65536):04x}" for value in values)


def _clue_files(
    case: CaseFile, found: Solvable, draws: Draws, token: str
) -> Iterator[tuple[str, bytes]]:
    content = {**history_of(found.setting, found.past, found.study, draws), "token": token}
    history = sealed(content, key=key_of(case.code, HISTORY), size=CLUE_BYTES)
    yield "clues/history.sealed", history
    for clue in case.clues:
        key = key_of(case.code, clue.id, token)
        shown = found.shown[clue.id].content
        yield f"clues/{clue.file}", sealed(shown, key=key, size=CLUE_BYTES)


def _later_files(
    case: CaseFile, found: Solvable, courses: Sequence[Course], draws: Draws, token: str
) -> Iterator[tuple[str, bytes]]:
    """Files of the repairs and of the courses; their order is drawn, so that it tells nothing."""
    order = draws.child("order").uniform(len(courses)).argsort(kind="stable")
    place = {
        (one.round, one.right): {
            "file": f"later_{int(order[number]) + 1:02d}.sealed",
            "token": _token(draws, f"course {one.round} {one.right}"),
        }
        for number, one in enumerate(courses)
    }
    classes = {False: _token(draws, "class wrong"), True: _token(draws, "class right")}
    for repair in case.repairs:
        right = repair.id in right_repairs(found.setting)
        says = {"class": classes[right], "first": place[1, int(right)]}
        key = repair_key(case.code, repair.id, token)
        yield f"clues/{repair.file}", sealed(says, key=key, size=CLUE_BYTES)
    for one in courses:
        following = {
            classes[right]: place.get((one.round + 1, one.right or (one.round + 1) * right))
            for right in (False, True)
        }
        content = {**one.content, "next": following}
        at = place[one.round, one.right]
        key = course_key(case.code, one.round, token, at["token"])
        yield f"clues/{at['file']}", sealed(content, key=key, size=LATER_BYTES)
