"""Edits to an investigation file: it stays valid or is refused, and its comments stay."""

from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from rca.causes.case import editing
from rca.causes.case.assessment import assess
from rca.causes.case.entries import NOT_CAUGHT, PROBLEM, Link
from rca.causes.case.parsing import investigation_mapping, parse_investigation
from rca.causes.case.support import Support
from rca.errors import RcaError, Refused
from rca.records.files import yaml_of, yaml_text
from tests.cases import RICH, case_of, files, yaml_mapping


@pytest.fixture
def rich():
    """The rich file as it is read, to be edited."""
    return yaml_mapping(RICH)


def again(data: Any):
    """The investigation after the data was written and read again."""
    text = yaml_text(data, like=RICH)
    return parse_investigation(yaml_of(text, file="turbo.yaml"), file="turbo.yaml")


def comments(text: str) -> list[str]:
    return [line.partition("#")[2] for line in text.splitlines() if "#" in line]


def test_a_new_file_from_a_sentence_is_a_valid_one():
    text = editing.new_investigation("pump-7", "The pump failed 3 times: 2 in May", part="pump")
    case = parse_investigation(yaml_of(text, file="new.yaml"))
    assert (case.id, case.part, case.causes) == ("pump-7", "pump", {})
    assert case.problem.statement == "The pump failed 3 times: 2 in May"


def test_names_are_short_and_never_used_twice(rich):
    assert editing.new_name(rich, "The oil in use softens the liner") == "oil-use-softens-liner"
    assert editing.new_name(rich, "Öl läuft über") == "ol-lauft-uber"
    assert editing.new_name(rich, "Dry") == "dry-2"
    assert editing.new_name(rich, "???") == "entry"
    assert editing.new_name(rich, "The problem") == "problem-2"


def test_two_whys_and_a_reading_outside_its_limit_support_the_links():
    """From an empty case to supported links, with nothing written by hand."""
    data = yaml_of(editing.new_investigation("p", "It failed 3 times"), file="p.yaml")
    first = editing.add_cause(data, "The pump starves", layer="physical", effect=PROBLEM)
    second = editing.add_cause(data, "The hose is narrow", layer="upstream", effect=first)
    before = assess(again(data)).support
    assert before[Link(second, first)].state is Support.UNSUPPORTED
    vacuum = editing.add_measurement(
        data, "vacuum at the inlet", unit="bar", at_most=0.2, limit_source="manual, page 3",
        standard_uncertainty=0.01,
    )  # fmt: skip
    data["measurements"][vacuum]["as_found"] = {"reading": 0.41}
    editing.attach_measurement(data, vacuum, proves="outside limit", causes=[first, second])
    after = assess(again(data)).support
    assert {one.state for one in after.values()} == {Support.SUPPORTED}
    data["measurements"][vacuum]["as_found"]["reading"] = 0.1
    broken = assess(again(data)).support
    assert {one.state for one in broken.values()} == {Support.UNSUPPORTED}


def test_comments_stay_through_all_edits(rich):
    name = editing.add_cause(rich, "The pipe is bent", layer="upstream", effect="blocked",
                             branch="mating parts")  # fmt: skip
    editing.set_cause(rich, name, {"stop": "it is ours", "also_on_good_units": "no"})
    editing.join_causes(rich, PROBLEM, ["dry", "dirty"], word="all")
    editing.move_cause(rich, "no-rule", away_from="hot-stop", to="dirty")
    editing.attach_claim(rich, {"units": 'duty = "quarry"', "ratio_above": 2.0},
                         shows="Quarry loaders fail more often", against=["dirty"])  # fmt: skip
    editing.add_test(rich, "Look into the pipe", cost=5, would_show={name: "bent", "dirty": "ok"})
    editing.set_problem(rich, {"purpose": "Find it", "effect": "unit stops", "trigger": ""})
    editing.move_cause(rich, name, away_from="blocked", to="")
    assert comments(yaml_text(rich, like=RICH)) == comments(RICH)
    editing.set_cause(rich, "dirty", {"probability": None})
    held = again(rich)
    assert held.problem.because.word == "all"
    assert held.problem.trigger == ""
    assert held.because("dirty").inputs == ("no-rule",)
    assert held.because("hot-stop") is None
    assert name in held.causes


def test_an_edit_that_makes_no_sense_is_told_by_the_parser(rich):
    """`blocked` has a probability of its own, which only the end of a chain may have."""
    editing.add_cause(rich, "The pipe is bent", layer="upstream", effect="blocked")
    with pytest.raises(Refused, match="belongs to an end of the chain"):
        parse_investigation(rich)


def test_a_loop_is_told_by_the_parser(rich):
    editing.move_cause(rich, "dry", away_from=PROBLEM, to="no-gauge")
    editing.move_cause(rich, "no-gauge", away_from=NOT_CAUGHT, to="hot-stop")
    with pytest.raises(Refused, match="lead back to themselves"):
        parse_investigation(rich)


def test_evidence_on_a_link_moves_with_the_cause(rich):
    assert rich["evidence"]["flow-low"]["for"] == ["blocked", "dry -> problem"]
    editing.move_cause(rich, "dry", away_from=PROBLEM, to=NOT_CAUGHT)
    assert rich["evidence"]["flow-low"]["for"] == ["blocked", "dry -> not caught"]
    editing.move_cause(rich, "dry", away_from=NOT_CAUGHT, to="")
    assert rich["evidence"]["flow-low"]["for"] == ["blocked", "dry"]


def test_only_a_cause_that_nothing_names_is_removed(rich):
    with pytest.raises(RcaError, match="causes of its own"):
        editing.remove_cause(rich, "dry")
    with pytest.raises(RcaError, match=r"dirty is still named by .*flow-low.*oil-sample"):
        editing.remove_cause(rich, "dirty")
    editing.remove_cause(rich, "no-rule")
    case = again(rich)
    assert "no-rule" not in case.causes
    assert case.causes["hot-stop"].because is None
    assert comments(yaml_text(rich, like=RICH)) == comments(RICH)


def test_nothing_blank_is_written(rich):
    with pytest.raises(RcaError, match="not filled in"):
        editing.add_cause(rich, "  ", layer="physical", effect=PROBLEM)
    with pytest.raises(RcaError, match="no 'dri'"):
        editing.add_cause(rich, "It is", layer="physical", effect="dri")
    name = editing.add_measurement(rich, "play", unit="mm", at_most=None, limit_source="")
    assert dict(rich["measurements"][name]) == {"quantity": "play", "unit": "mm"}


@settings(max_examples=40, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(mapping=files(), choices=st.data())
def test_any_edits_of_any_file_leave_a_file_that_is_read_or_refused_in_words(mapping, choices):
    """Whatever is clicked: the rest of the file is untouched and no other error appears."""
    whole = parse_investigation(mapping)
    data = yaml_of(yaml_text(investigation_mapping(whole)), file="x.yaml")
    names, told = list(mapping["causes"]), []
    for _ in range(3):
        effect = choices.draw(st.sampled_from([PROBLEM, NOT_CAUGHT, *names]))
        cause = choices.draw(st.sampled_from(names))
        edit = choices.draw(st.sampled_from(["add", "join", "move", "remove"]))
        try:
            if edit == "add":
                layer = choices.draw(st.sampled_from(["physical", "upstream"]))
                editing.add_cause(data, "It is so", layer=layer, effect=effect,
                                  needed_together=choices.draw(st.booleans()))  # fmt: skip
            elif edit == "join":
                pair = choices.draw(st.lists(st.sampled_from(names), min_size=2, max_size=3))
                editing.join_causes(data, effect, list(dict.fromkeys(pair)), word="all")
            elif edit == "move":
                editing.move_cause(data, cause, away_from="", to=effect)
            elif cause in data["causes"]:
                editing.remove_cause(data, cause)
        except RcaError as error:
            told.append(error)
    assert all(error.next_step for error in told)
    text = yaml_text(data)
    try:
        case = parse_investigation(yaml_of(text, file="x.yaml"))
    except Refused as refused:
        told += refused.problems
    else:
        assert case.measurements == whole.measurements
        assert case.evidence.keys() == whole.evidence.keys()


def test_a_case_without_causes_takes_its_first_one():
    data = {"investigation": "case", "problem": {"statement": "It failed 3 times"}}
    editing.add_cause(data, "It ran dry", layer="physical", effect=PROBLEM)
    wanted = {"ran-dry": {"says": "It ran dry", "layer": "physical"}}
    assert parse_investigation(data) == case_of(problem={"because": "ran-dry"}, causes=wanted)
