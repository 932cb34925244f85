"""Write the answer key of a case that was found."""

import math
from collections.abc import Sequence
from importlib.metadata import version
from typing import Any

from rca.causes.fix.sequential import expected_to_show
from rca.causes.fix.words import Effect
from rca.show.exercise.answer_key import AnswerKey
from rca.show.exercise.case_file import CaseFile
from rca.show.exercise.courses import TARGET, Course
from rca.show.exercise.menu import right_repairs
from rca.show.exercise.record_study import RecordStudy
from rca.show.exercise.search import BANDS, Solvable
from rca.show.exercise.setting import Setting


def key_for(
    case: CaseFile, found: Solvable, courses: Sequence[Course], student: str, level: str
) -> AnswerKey:
    """Return the key of a case: what is true, what each clue says, and the right numbers."""
    setting, solution = found.setting, found.solution
    share = solution.share or 0.0
    return AnswerKey(
        code=case.code,
        student=student,
        course=case.course,
        scenario=setting.scenario.name,
        kind=setting.kind,
        guilty=tuple(sorted(setting.guilty)),
        right_repairs=tuple(sorted(right_repairs(setting))),
        traps=setting.traps,
        effect=_effect(setting),
        level=next(name for name, (_, high) in BANDS.items() if share <= high),
        wanted_level=level,
        share_of_budget=round(share, 4),
        separation=round(solution.separation, 3),
        budget=case.budget,
        outcomes={name: one.outcome for name, one in found.shown.items()},
        prices={one.id: one.price for one in case.clues},
        order=[
            {
                "clue": one.clue, "price": one.price, "spent": one.spent, "bits": one.bits,
                "leader": one.leader, "share": one.share,
            }
            for one in solution.order
        ],
        patterns=_patterns(setting, found.study),
        numbers=_numbers(found, courses),
        courses=[_course_entry(setting, one) for one in courses],
        attempt=found.attempt,
        kit=version("rca-workbooks"),
    )  # fmt: skip


def _effect(setting: Setting) -> str:
    signs = setting.scenario.signs
    return next((one for one, part in signs.items() if part == setting.effect_part), "")


def _patterns(setting: Setting, study: RecordStudy) -> tuple[str, ...]:
    """Patterns that may be named: the kit's own reading, and what was planted."""
    planted = {
        "lot": "bad lot", "fitting": "one depot", "age": "wear-out", "supply": "a few units",
        "control": "a few units", "mating": "a few units",
    }.get(setting.kind, "")  # fmt: skip
    mixed = "mixed modes" if "mixed modes" in setting.traps else ""
    found = (str(study.pattern.reading), planted, mixed)
    return tuple(dict.fromkeys(one for one in found if one))


def _numbers(found: Solvable, courses: Sequence[Course]) -> dict[str, dict[str, Any]]:
    study, setting = found.study, found.setting
    assert study.fit is not None
    limits = study.fit.interval("shape")
    first = next(one for one in courses if one.round == 1 and one.right == 0)
    worth = first.verdict.worth if first.verdict is not None else None
    needed = float(expected_to_show(0, worth, target=TARGET)) if worth else math.inf
    return {
        "failures": {"value": study.failures, "every replacement": study.replaced},
        "running": {"value": setting.units, "listed": study.running},
        "shape": {
            "value": round(study.fit.shape, 4),
            "lower": round(limits.lower, 4),
            "upper": None if math.isinf(limits.upper) else round(limits.upper, 4),
            "failed only": _or_none(study.failed_only_shape),
        },
        "needed": {"value": _or_none(needed)},
    }


def _or_none(value: float | None) -> float | None:
    return None if value is None or not math.isfinite(value) else round(value, 4)


def _course_entry(setting: Setting, one: Course) -> dict[str, Any]:
    verdict = one.verdict
    entry: dict[str, Any] = {
        "round": one.round, "right": one.right, "naive_ratio": one.naive_ratio,
        "verdict": None, "accepted": [], "observed": None, "expected": None, "ratio": None,
    }  # fmt: skip
    if verdict is None:
        return entry
    word = str(Effect.NOT_EFFECTIVE if verdict.effect is Effect.RELAPSED else verdict.effect)
    accepted = [word]
    picked = "picked worst" in setting.traps and not one.right
    if picked and one.naive_ratio is not None and one.naive_ratio < 0.8:
        accepted.append("only regression to the mean")
    return {
        **entry,
        "verdict": word,
        "accepted": accepted,
        "observed": verdict.observed,
        "expected": _or_none(verdict.expected),
        "ratio": _or_none(verdict.ratio),
    }
