"""Simulated students: each plays a case in one way, through the same calls as the notebook."""

import json
from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path

from rca.records import files
from rca.show.exercise.answer_key import AnswerKey
from rca.show.exercise.building import BuiltCase
from rca.show.exercise.case_sheet import case_sheet
from rca.show.exercise.menu import CARE, PART_ONLY
from rca.show.exercise.play import Play, open_play
from rca.show.exercise.scenario import SUSPECTS

WHY = "it separates the causes that are left; I act upon either answer"


def lay_out(built: BuiltCase, folder: Path) -> Path:
    """Write a student's folder."""
    for name, data in {**built.files, "case_sheet.html": case_sheet(built.case).encode()}.items():
        (folder / name).parent.mkdir(parents=True, exist_ok=True)
        (folder / name).write_bytes(data)
    return folder


def begin(built: BuiltCase, folder: Path) -> Play:
    """Open a fresh case with a clock that stands still."""
    return open_play(lay_out(built, folder), now=lambda: datetime(2026, 3, 2, 9, tzinfo=UTC))


def buy(play: Play, clues) -> None:
    """Buy clues in order, as far as the money goes."""
    for clue in clues:
        offer = next(one for one in play.offers() if one.id == clue)
        if not offer.why_not:
            play.buy(clue, reason=WHY)


def answer_records(play: Play, key: AnswerKey) -> None:
    """Answer what is asked of the records as the kit would."""
    numbers = key.numbers
    play.answer("problem", f"{numbers['failures']['value']} failures in four years, on all depots")
    play.answer("is_not", "not on units of the other duty, not in the first year")
    play.answer("left_out", "4 rows stand twice; planned and good parts are no failures")
    play.answer("failures", numbers["failures"]["value"])
    play.answer("running", numbers["running"]["value"])
    play.answer("shape", numbers["shape"]["value"])
    play.answer("pattern", key.patterns[0])


def name_causes(play: Play, guilty, *, confidence: float) -> None:
    """Name one cause or two."""
    play.answer("cause", guilty[0])
    play.answer("cause_two", guilty[1] if len(guilty) > 1 else "")
    play.answer("confidence", confidence)


def write_chain(play: Play, guilty) -> None:
    """Write a chain from problem through mechanism and cause to what lies behind, with rivals."""
    path = play.investigation
    data = files.read_yaml(path)
    rivals = [one for one in SUSPECTS if one not in guilty][:3]
    causes = {
        "mechanism": {"says": "The part is damaged as the teardown shows", "layer": "physical",
                      "branch": "part itself", "because": {"any": [*guilty, *rivals]}},
        "behind": {"says": "The change was made without a look at the part",
                   "layer": "organisational", "branch": "maintenance",
                   "stop": "how changes are made is ours to decide"},
    }  # fmt: skip
    for name in (*guilty, *rivals):
        one = play.case.candidate(name)
        causes[name] = {"says": one.says, "layer": one.layer, "branch": one.branch}
    for name in guilty:
        causes[name]["because"] = "behind"
    data["problem"]["because"] = "mechanism"
    data["purpose"] = "find what we control"
    data["causes"] = causes
    files.write_yaml(path, data)
    bought = list(play.bought)
    first = next((one for one in bought if one.startswith(("records", "teardown-lab"))), None)
    if first:
        play.cite(first, shows="what the records say of the failures", supports=["mechanism"])
    for name in guilty:
        # A survey counts only where its odds ratio is clearly above 1; a reading stands as it is.
        about = sorted(one for one in bought if one.endswith(f"-{name}"))[::-1]
        about = [one for one in about if not one.startswith("survey")] or about or bought[-1:]
        if about:
            play.cite(about[0], shows=f"the condition of {name} was measured", supports=[name])
    if "changes" in bought:
        play.cite("changes", shows="the change and how it came about", supports=["behind"])


def repair_and_judge(play: Play, key: AnswerKey, repair: str, *, well: bool = True) -> None:
    """Repair, look at the months after, and give the verdict (the kit's own, or a hasty one)."""
    if well:
        play.answer("needed", key.numbers["needed"]["value"])
        play.answer("measure", "failures on all repaired units over 9 months, ended at a ratio 0.5")
    play.repair(repair, reason="it removes the cause that I named")
    course = key.course_of(play.repairs_made, len(play.repairs_made))
    if well:
        play.answer("expected", course["expected"])
        word = course["accepted"][0]
        play.verdict(word, reason="observed against expected", confidence=85, ratio=course["ratio"])
    else:
        play.verdict("effect shown", reason="it looks better to me now", confidence=95)


def perfect(play: Play, key: AnswerKey) -> None:
    """Best order of purchases, sound chain, right cause, plan and verdict."""
    buy(play, [one["clue"] for one in key.order])
    buy(play, ["changes", *[_telling(key, name) for name in key.guilty]])
    answer_records(play, key)
    name_causes(play, key.guilty, confidence=90)
    write_chain(play, list(key.guilty))
    repair_and_judge(play, key, key.right_repairs[0])
    play.finish()


def _telling(key: AnswerKey, name: str) -> str:
    """The cheapest clue on a suspect that points to it."""
    about = [f"{group}-{name}" for group in ("bench", "demonstration", "survey")]
    return next(one for one in about if key.outcomes[one] == "fail")


def sound_but_wrong(play: Play, key: AnswerKey) -> None:
    """The same care, but the evidence is read wrongly and another cause is named."""
    wrong = next(one for one in reversed(SUSPECTS) if one not in (*key.guilty, "age"))
    buy(play, [one["clue"] for one in key.order])
    buy(play, ["changes", f"bench-{wrong}"])
    answer_records(play, key)
    name_causes(play, (wrong,), confidence=60)
    write_chain(play, [wrong])
    repair_and_judge(play, key, wrong)
    play.finish()


def buys_everything(play: Play, key: AnswerKey) -> None:
    """Right in the end, but spends the whole budget down the list."""
    buy(play, ["changes", *[_telling(key, name) for name in key.guilty]])
    buy(play, [one.id for one in sorted(play.offers(), key=lambda one: -one.price)])
    answer_records(play, key)
    name_causes(play, key.guilty, confidence=90)
    write_chain(play, list(key.guilty))
    repair_and_judge(play, key, key.right_repairs[0])
    play.finish()


def lucky_guesser(play: Play, key: AnswerKey) -> None:
    """No clue, no chain; the right cause, repair and verdict by luck."""
    name_causes(play, key.guilty, confidence=99)
    play.repair(key.right_repairs[0], reason="my feeling says that this is it")
    course = key.course_of(play.repairs_made, 1)
    play.verdict(course["accepted"][0], reason="it looks like it to me", confidence=99)
    play.finish()


def part_swapper(play: Play, key: AnswerKey) -> None:
    """Replaces the part again and again."""
    buy(play, ["teardown-one"])
    play.answer("problem", f"the {play.case.part} is bad because it is worn")
    play.answer("failures", key.numbers["failures"]["every replacement"] + 30)
    for _ in range(2):
        play.repair(PART_ONLY, reason="a new part will do, as always")
        play.verdict("effect shown", reason="the new parts run well so far", confidence=90)
        if play.can_go_on:
            play.go_on()
    play.finish()


def blames_a_person(play: Play, key: AnswerKey) -> None:
    """Ends the chain at careless drivers."""
    buy(play, ["teardown-one"])
    data = files.read_yaml(play.investigation)
    data["problem"]["because"] = "careless"
    data["causes"] = {"careless": {"says": "Drivers are careless with the units",
                                   "layer": "human or procedural"}}  # fmt: skip
    files.write_yaml(play.investigation, data)
    play.answer("problem", "parts fail because drivers are careless")
    play.repair(CARE, reason="they must take more care of the units")
    play.verdict("too early", reason="they need time to improve", confidence=50)
    play.finish()


def gives_up(play: Play, key: AnswerKey) -> None:
    """Buys one clue and stops."""
    buy(play, ["records-life"])
    play.finish()


def alters_files(play: Play, key: AnswerKey) -> None:
    """Plays perfectly, then rewrites a line of the log."""
    perfect(play, key)
    path = play.folder / "work" / "log.jsonl"
    lines = path.read_text().splitlines()
    at = next(n for n, line in enumerate(lines) if json.loads(line)["does"] == "buy")
    line = json.loads(lines[at])
    line["reason"] = "I knew it all along, of course"
    lines[at] = json.dumps(line)
    path.write_text("\n".join(lines) + "\n")


PERSONAS: dict[str, Callable[[Play, AnswerKey], None]] = {
    "perfect": perfect,
    "sound but wrong": sound_but_wrong,
    "buys everything": buys_everything,
    "lucky guesser": lucky_guesser,
    "part-swapper": part_swapper,
    "blames a person": blames_a_person,
    "gives up": gives_up,
    "alters files": alters_files,
}
