"""Investigation files: read, written back, and refused with one clear error for each fault."""

import random
import re
from collections.abc import Callable
from itertools import pairwise
from pathlib import Path
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from jsonschema import Draft202012Validator

from rca.causes.case.entries import PROBLEM, Layer, Link, Seen
from rca.causes.case.new_case import new_case_text
from rca.causes.case.parsing import investigation_mapping, investigation_schema, parse_investigation
from rca.causes.case.why_chain import count_readings, first_readings
from rca.errors import Refused
from rca.records.files import line_of, read_yaml, yaml_of, yaml_text
from tests.cases import RICH, case_of, causes, files, rich_case, yaml_mapping


def refusal(data: Any) -> Refused:
    """The refusal of a mapping."""
    with pytest.raises(Refused) as caught:
        parse_investigation(data, file="case.yaml")
    return caught.value


def test_schema_is_a_json_schema() -> None:
    """What editors are given is valid by the open standard itself (JSON Schema 2020-12)."""
    Draft202012Validator.check_schema(investigation_schema())


def test_rich_file_is_read_as_it_stands() -> None:
    """Every kind of entry arrives with its values and its line."""
    case = rich_case()
    assert (case.unit, case.part, case.opened) == ("17", "turbocharger", "2026-03-02")
    assert case.causes["dry"].because.word == "all"
    assert case.causes["blocked"].probability == Seen(3, 40)
    assert case.causes["hot-stop"].layer is Layer.PROCEDURAL
    assert case.measurements["coil"].as_found.reading == "open circuit"
    assert case.measurements["oil-flow"].on_units["L-08"].reading == 1.5
    assert Link("dry", PROBLEM) in case.links()
    assert case.fixes["larger feed"].causes == ("blocked",)
    line = case.causes["hot-stop"].line
    assert RICH.splitlines()[line - 1].strip() == "hot-stop:"


def test_blank_values_count_as_left_out() -> None:
    """A form that is partly filled in is a valid file."""
    case = parse_investigation(yaml_mapping(new_case_text(unit='U "7" \\', part="starter motor")))
    assert case.unit == 'U "7" \\'
    assert case.part == "starter motor"
    assert case.measurements["supply"].as_found.reading is None
    assert case.opened == ""


def test_rich_file_survives_reading_and_writing() -> None:
    """Text in, text out: the same bytes, comments and all, and the same investigation."""
    data = yaml_mapping(RICH)
    assert "# both are needed" in yaml_text(data)
    again = yaml_mapping(yaml_text(data))
    assert parse_investigation(again) == parse_investigation(data)
    assert comments(yaml_text(again)) == comments(RICH)


def comments(text: str) -> list[str]:
    """All comments of a YAML text in which # occurs in comments only."""
    return re.findall(r"#.*", text)


@settings(max_examples=30, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(mapping=files())
def test_any_investigation_survives_a_round_trip(mapping: dict[str, Any]) -> None:
    """mapping -> investigation -> mapping -> YAML text -> investigation: nothing is lost."""
    case = parse_investigation(mapping)
    assert parse_investigation(investigation_mapping(case)) == case
    text = yaml_text(investigation_mapping(case))
    assert parse_investigation(yaml_mapping(text)) == case


@settings(max_examples=20, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(mapping=files(), seed=st.integers(0, 2**32))
def test_comments_survive_wherever_they_stand(mapping: dict[str, Any], seed: int) -> None:
    """Comments put on lines of their own between the top entries stay, in order."""
    dice = random.Random(seed)
    lines = yaml_text(investigation_mapping(parse_investigation(mapping))).splitlines()
    noted = ["# note head"]
    for number, line in enumerate(lines):
        if re.match(r"[a-z_]+:", line) and dice.random() < 0.6:
            noted.append(f"# note {number}")
        noted.append(line)
    wanted = [line for line in noted if line.startswith("# note")]
    written = yaml_text(yaml_mapping("\n".join(noted) + "\n"))
    assert [line for line in written.splitlines() if line.startswith("# note")] == wanted
    assert parse_investigation(yaml_mapping(written)) == parse_investigation(mapping)


def test_misspelt_key_is_told_with_line_and_hint() -> None:
    """The message names file, line, key, and the word that was meant."""
    data = yaml_mapping(RICH.replace("    because: no-rule", "    becuase: no-rule"))
    (problem,) = refusal(data).problems
    assert problem.file == "case.yaml"
    assert problem.column == "causes.hot-stop.becuase"
    assert problem.line == 1 + RICH.splitlines().index("    because: no-rule")
    assert "did you mean 'because'" in problem.next_step


def test_all_faults_are_told_at_once() -> None:
    """Two faults in two places give two problems, not one after the other."""
    text = RICH.replace("layer: organisational", "layer: boss", 1).replace("cost: 40", "cost: dear")
    found = refusal(yaml_mapping(text)).problems
    assert [one.column for one in found] == ["causes.no-rule.layer", "tests.oil-sample.cost"]
    assert "organisational" in found[0].next_step


@pytest.mark.parametrize("data", [None, [], "text", 3])
def test_what_is_no_block_of_keys_is_refused(data: Any) -> None:
    """An empty file, a list or a single word is told as such."""
    (problem,) = refusal(data).problems
    assert "key: value" in problem.rule


def test_loop_is_told_as_the_person_would_say_it() -> None:
    """A cause that leads back to itself is refused, and the way round is shown."""
    with pytest.raises(Refused) as caught:
        case_of(problem={"because": "a"}, causes=causes(a="b", b="c", c="a"))
    (problem,) = caught.value.problems
    assert problem.value.count(" because ") == 3
    assert set(problem.value.split(" because ")) == {"a", "b", "c"}


# One fault each: a change to the text, and where the one problem must point.
Break = Callable[[random.Random], tuple[str, str]]
LINES = RICH.splitlines()


def swapped(old: str, new: str, *, nth: int = 0) -> str:
    """The rich text with the nth line that equals `old` (blanks aside) replaced."""
    places = [number for number, line in enumerate(LINES) if line.strip() == old]
    lines = list(LINES)
    place = places[nth % len(places)]
    indent = lines[place][: len(lines[place]) - len(lines[place].lstrip())]
    lines[place] = indent + new
    return "\n".join(lines) + "\n"


def misspelt_key(dice: random.Random) -> tuple[str, str]:
    place = dice.choice([n for n, line in enumerate(LINES) if re.match(r" +[a-z_]{4,}: \S", line)])
    key = LINES[place].strip().split(":")[0]
    wrong = key[:2] + "x" + key[2:]
    lines = list(LINES)
    lines[place] = lines[place].replace(key, wrong, 1)
    return "\n".join(lines) + "\n", wrong


def wrong_word(dice: random.Random) -> tuple[str, str]:
    old = dice.choice(
        ["layer: physical", "kind: told", "kind: corrective", "confidence: probable",
         "proves: outside limit", "when: as found", "branch: measurement"]
    )  # fmt: skip
    word = "".join(dice.choices("abcdefgh", k=6))
    return swapped(old, f"{old.split(':')[0]}: {word}"), old.split(":")[0]


def wrong_kind(dice: random.Random) -> tuple[str, str]:
    old, new = dice.choice(
        [("cost: 90", "cost: [1, 2]"), ("at_most: 28", "at_most: hot"), ("range: 200", "range: {}"),
         ("shows: the oil was clean", "shows: [a, b]"), ("error_rate: 0.1", "error_rate: often"),
         ("changes_before: [new oil]", "changes_before: x"),
         ("standard_uncertainty: 0.05", "standard_uncertainty: yes")]
    )  # fmt: skip
    return swapped(old, new), new.split(":")[0]


def out_of_range(dice: random.Random) -> tuple[str, str]:
    old, new = dice.choice(
        [("cost: 40", "cost: -1"), ("error_rate: 0.1", "error_rate: 1.5"),
         ("false_pass: 0.1", "false_pass: -0.2"), ("probability: 0.02", "probability: 7"),
         ("standard_uncertainty: 0.05", "standard_uncertainty: 0"),
         ("target_ratio: 0.5", "target_ratio: 1")]
    )  # fmt: skip
    return swapped(old, new), new.split(":")[0]


def no_such_day(dice: random.Random) -> tuple[str, str]:
    old = dice.choice(["opened: 2026-03-02", "first_seen: 2025-01-10", "due: 2026-04-01"])
    day = dice.choice(["2026-02-30", "31/12/2026", "2026-3-2", "soon", "20260302", "2026-13-01"])
    return swapped(old, f"{old.split(':')[0]}: {day}"), old.split(":")[0]


def dangling(dice: random.Random) -> tuple[str, str]:
    old = dice.choice(
        ["because: {any: [dry, dirty]}", "not_caught_because: no-gauge", "because: no-rule",
         "for: blocked", "against: dirty", "measurement: oil-flow", "test: oil-sample",
         "cause: blocked", "reading: oil-flow", "cause: [blocked, hot-stop]",
         "check: {measurement: oil-flow}", "check: {test: oil-sample}",
         "if_true: {hot-stop: expected}", "for: [blocked, dry -> problem]"]
    )  # fmt: skip
    key, rest = old.split(":", 1)
    known = sorted({"dry", "dirty", "no-gauge", "no-rule", "blocked", "oil-flow", "oil-sample",
                    "hot-stop"} & set(re.findall(r"[a-z-]+", rest)))  # fmt: skip
    gone = dice.choice(known)
    return swapped(old, f"{key}:{re.sub(rf'{gone}(?![a-z-])', 'nowhere', rest, count=1)}"), key


def doubled_name(dice: random.Random) -> tuple[str, str]:
    old = dice.choice(["coil:", "survey:", "log:", "larger feed:", "said:"])
    new = dice.choice(["dry", "blocked", "problem", "no-gauge"])
    return swapped(old, f"{new}:"), new


def missing_key(dice: random.Random) -> tuple[str, str]:
    old = dice.choice(
        ["says: The bearing ran dry", "layer: physical", "quantity: oil flow at the feed",
         "unit: ohm", "kind: told", "shows: the oil was clean", "does: Fit a larger feed pipe",
         "cost: 90", "kind: corrective", "cause: blocked", "confidence: probable",
         "statement: The turbocharger failed 3 times in 14 months", "result: pass",
         "limit_source: maker's manual, page 8", "proves: outside limit"]
    )  # fmt: skip
    return swapped(old, f"{old.split(':')[0]}:"), old.split(":")[0]


def loop(dice: random.Random) -> tuple[str, str]:
    name = dice.choice(["blocked", "no-rule"])
    old = {"blocked": "stop: nothing deeper is ours", "no-rule": "stop: the rule book is ours"}[
        name
    ]
    text = swapped(old, f"because: {dice.choice(['dry', name])}")
    gone = {"blocked": "    probability: {seen: 3, of: 40}\n", "no-rule": "    probability: 0.3\n"}
    return text.replace(gone[name], ""), "because"


def contrary(dice: random.Random) -> tuple[str, str]:
    old, new, key = dice.choice(
        [("unit: l/min", "unit: gizmo", "unit"),
         ("unit: ohm", "unit: blubb", "unit"),
         ("at_least: 20", "at_least: 30", "at_least"),
         ("range: 200", "", "reading"),
         ("as_found: {reading: 0.3, date: 2026-03-02, by: fitter}",
          "as_found: {reading: open circuit}", "reading"),
         ("probability: {seen: 3, of: 40}", "probability: {seen: 41, of: 40}", "seen"),
         ("stop: filter supplier decides", "prior: 0.2", "prior"),
         ("kind: recorded", "kind: observed", "kind"),
         ("error_rate: 0.1", "false_pass: 0.1", "false_pass"),
         ("false_pass: 0.1", "error_rate: 0.1", "error_rate"),
         ("because: {all: [blocked, hot-stop]}  # both are needed",
          "because: {all: [blocked], any: [hot-stop]}", "because"),
         ("because: {any: [dry, dirty]}", "because: {at_least: 3, of: [dry, dirty]}", "at_least"),
         ("claim: {units: 'duty = \"quarry\"', times: 2, ratio_above: 1}", "claim: {times: 2}",
          "claim"),
         ("survey: {failed: {seen: 3, of: 3}, not_failed: {seen: 0, of: 9}}",
          "survey: {failed: {seen: 4, of: 3}, not_failed: {seen: 0, of: 9}}", "seen"),
         ("done: {result: pass, date: 2026-03-04, by: laboratory}", "done: {result: maybe}",
          "result")]
    )  # fmt: skip
    return swapped(old, new), key


def broken_yaml(dice: random.Random) -> tuple[str, str]:
    old, new = dice.choice(
        [("cost: 90", "cost: 90: 80"), ("layer: physical", "layer: 'physical"),
         ("because: {any: [dry, dirty]}", "because: {any: [dry, dirty}"),
         ("coil:", "oil-flow:"), ("kind: told", "\tkind: told"), ("log:", "oil-sample:")]
    )  # fmt: skip
    return swapped(old, new), ""


BREAKS: list[Break] = [
    misspelt_key, wrong_word, wrong_kind, out_of_range, no_such_day, dangling, doubled_name,
    missing_key, loop, contrary, broken_yaml,
]  # fmt: skip


@pytest.mark.parametrize("seed", range(132))
def test_broken_file_gives_one_clear_error(seed: int) -> None:
    """132 generated files with one fault each: one problem, at its place, with a rule."""
    broken = BREAKS[seed % len(BREAKS)](random.Random(seed))
    text, key = broken
    with pytest.raises(Refused) as caught:
        parse_investigation(yaml_mapping(text), file="case.yaml")
    (problem,) = caught.value.problems
    assert problem.rule
    assert problem.line > 0
    if key:
        assert key in problem.column.split("."), problem
        if "back to themselves" in problem.rule:  # any cause on the way round may be named
            assert "because" in text.splitlines()[problem.line - 1]
        else:
            assert abs(problem.line - line_meant(text)) <= 1, problem


def line_meant(text: str) -> int:
    """First line in which a broken text differs from the rich one, from 1."""
    pairs = zip(text.splitlines(), LINES, strict=False)
    return next(number for number, (new, old) in enumerate(pairs, start=1) if new != old)


def test_line_of_a_problem_is_that_of_the_key() -> None:
    """The line counted by the reader is the line an editor shows."""
    data = yaml_mapping(RICH)
    assert LINES[line_of(data, ("tests", "log", "cost")) - 1].strip() == "cost: 90"


def many(number: int, because: str = "") -> str:
    """So many causes, one above the other or side by side."""
    lines = [f"  c{n}: {{says: x, layer: upstream{because.format(n + 1)}}}" for n in range(number)]
    return "\n".join(["causes:", *lines, f"  c{number}: {{says: x, layer: upstream}}", ""])


def nested(depth: int) -> str:
    return "{any: [" * depth + "a" + "]}" * depth


HEAD = "investigation: i\nproblem: {statement: s, because: "
TOO_MUCH = {
    "a chain without end": (HEAD + "c0}\n" + many(60, ", because: c{}"), 24, "more than 40 causes"),
    "causes without number": (HEAD + "c0}\n" + many(400), 3, "more than 300 causes"),
    "gate in gate in gate": (HEAD + nested(25) + "}\n", 2, "more than 20 blocks"),
    "deeper still": (HEAD + nested(60) + "}\n", 2, "nested too deeply"),
    "power of a power": (
        RICH.replace("unit: l/min", "unit: V**9**9**9**9", 1), 0, "unit of measure"
    ),
    "a command": ("investigation: !!python/object/apply:os.system [ls]\n", 1, "no plain value"),
    "aliases": ("a: &a [x, x]\n" + "".join(
        f"{new}: &{new} [{', '.join([f'*{old}'] * 9)}]\n"
        for old, new in pairwise("abcdefgh")), 0, "entries, aliases counted"),
    "a key that is a block": ("[{a: 1}]: x\n{b: {c: 1}}: {}\n", 0, "YAML"),
    "a list inside itself": ("investigation: &x [*x]\n", 1, "missing or blank"),
    "no letter of any script": ("investigation: a\x00b\n", 0, "YAML"),
}  # fmt: skip


@pytest.mark.parametrize("name", TOO_MUCH)
def test_what_would_take_for_ever_or_run_something_is_refused_at_once(name: str) -> None:
    """One clear error, with the line where there is one; nothing is run, nothing blows up."""
    text, line, rule = TOO_MUCH[name]
    with pytest.raises(Refused) as caught:
        parse_investigation(yaml_of(text, file="case.yaml"), file="case.yaml")
    first = caught.value.problems[0]
    assert first.file == "case.yaml"
    assert rule in first.rule
    assert not line or first.line == line


@pytest.mark.parametrize("code", ["utf-16", "latin-1", "cp1250"])
def test_another_encoding_is_told_as_such(tmp_path: Path, code: str) -> None:
    (tmp_path / "case.yaml").write_bytes("investigation: größe\n".encode(code))
    with pytest.raises(Refused, match=r"case\.yaml, line 1: is not UTF-8 text  -> save"):
        read_yaml(tmp_path / "case.yaml")


def test_millions_of_chains_are_counted_not_followed() -> None:
    """Each of 24 causes has two below: 2 ** 24 chains, a few of them shown."""
    steps = "".join(
        f"  {name}{n}: {{says: {name}, layer: upstream, because: {{any: [a{n + 1}, b{n + 1}]}}}}\n"
        for n in range(24)
        for name in "ab"
    )
    last = "  a24: {says: a, layer: upstream}\n  b24: {says: b, layer: upstream}\n"
    case = parse_investigation(yaml_mapping(f"{HEAD}a0}}\ncauses:\n{steps}{last}"))
    assert count_readings(case) == 2**24
    assert first_readings(case, 3)[-1] == f"and {2**24 - 3} more"
