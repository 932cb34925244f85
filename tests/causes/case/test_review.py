"""The reviewer: each rule fires where it should and is silent where it should."""

import copy
from collections.abc import Callable
from typing import Any

import pytest

from rca.causes.case.assessment import assess
from rca.causes.case.parsing import parse_investigation
from rca.causes.case.review_words import Finding, told_together

# A case with which a critical reader has nothing to say.
CLEAN: dict[str, Any] = {
    "investigation": "clean",
    "purpose": "Find what we control",
    "part": "pump",
    "problem": {
        "statement": "The pump failed 3 times in a year",
        "trigger": "third failure",
        "what": {"is": "worn", "is_not": "cracked"},
        "where": {"is": "unit 1", "is_not": "unit 2"},
        "when": {"is": "hot", "is_not": "cold"},
        "how_much": {"is": "3 times", "is_not": "growing"},
        "changes_before": ["new oil"],
        "good_units": "four like units",
        "because": {"any": ["starved", "dirt"]},
        "not_caught_because": "no-check",
    },
    "causes": {
        "starved": {"says": "The oil does not reach it", "layer": "physical",
                    "branch": "upstream supply", "because": "hose"},
        "hose": {"says": "The hose is narrow", "layer": "upstream", "branch": "upstream supply",
                 "stop": "hoses are replaced", "check": "Look", "also_on_good_units": "no"},
        "dirt": {"says": "The oil is dirty", "layer": "upstream", "branch": "maintenance",
                 "stop": "spoken against", "check": "Look"},
        "no-check": {"says": "Nothing is logged", "layer": "organisational",
                     "branch": "measurement", "stop": "can be bought"},
    },
    "evidence": {
        "e1": {"kind": "measured", "shows": "low flow", "date": "2026-01-01", "by": "fitter",
               "for": ["starved", "hose"], "if_true": {"hose": "expected", "dirt": "unlikely",
                                                         "something else": "unlikely"}},
        "e2": {"kind": "measured", "shows": "clean oil", "date": "2026-01-02", "by": "lab",
               "against": "dirt", "if_true": {"dirt": "impossible"}},
        "e3": {"kind": "recorded", "shows": "no log", "source": "handbook", "date": "2026-01-02",
               "for": "no-check"},
    },
    "fixes": {
        "wide hose": {"does": "Fit a wide hose", "kind": "corrective", "cause": "hose",
                      "owner": "workshop", "due": "2026-02-01", "done": "2026-01-20",
                      "registered": "2026-01-10", "review": "2026-12-01",
                      "measure": "failures against expected"},
    },
    "conclusion": {"cause": "hose", "confidence": "proved", "date": "2026-01-05"},
}  # fmt: skip


def findings(change: Callable[[dict[str, Any]], Any] = lambda case: None) -> list[Finding]:
    """Findings on the clean case after a change."""
    case = copy.deepcopy(CLEAN)
    change(case)
    return list(assess(parse_investigation(case)).findings)


def test_clean_case_has_no_findings() -> None:
    """A sound chain with evidence, upstream layer, escape, fix and review passes."""
    assert findings() == []


def put(path: str, value: Any) -> Callable[[dict[str, Any]], None]:
    """A change that sets one key, or removes it where the value is None."""
    *way, last = path.split("/")

    def change(case: dict[str, Any]) -> None:
        for step in way:
            case = case[step]
        if value is None:
            del case[last]
        else:
            case[last] = value

    return change


ONE_CHANGE = [
    ("problem/statement", "The pump failed 3 times because of dirt", "problem", "names a cause"),
    ("problem/when", {"is": "hot"}, "problem", "when (is not)"),
    ("problem/trigger", None, "problem", "why it was started"),
    ("problem/changes_before", None, "problem", "list of changes"),
    ("problem/not_caught_because", None, "problem", "not caught earlier"),
    ("purpose", None, "head of the file", "purpose"),
    ("title", "(part and complaint)", "title", "not filled in"),
    ("problem/because", {"any": ["starved"]}, "causes", "one branch only"),
    ("causes/hose/stop", None, "hose", "why the chain stops"),
    ("causes/starved/stop", "here", "starved", "it goes on"),
    ("causes/hose/check", None, "hose", "without a check"),
    ("causes/hose/replaced_part", True, "hose", "ends at the replaced part"),
    ("causes/no-check/layer", "human or procedural", "no-check", "ends at a person"),
    ("causes/hose/says", "A careless fitter bent it", "hose", "blames a person"),
    ("causes/hose/also_on_good_units", "yes", "hose", "just as common"),
    ("evidence/e1/kind", "told", "starved -> problem", "only told"),
    ("evidence/e3/kind", "assumed", "no-check -> not caught", "only assumed"),
    ("evidence/e1/date", None, "e1", "no date"),
    ("evidence/e1/by", None, "e1", "nobody stands for it"),
    ("evidence/e1/if_true", {"hose": "expected", "dirt": "expected",
                             "something else": "expected"}, "e1", "equally likely"),
    ("fixes/wide hose/owner", None, "wide hose", "no owner"),
    ("fixes/wide hose/due", None, "wide hose", "no due"),
    ("fixes/wide hose/review", None, "wide hose", "effectiveness review"),
    ("fixes/wide hose/measure", None, "wide hose", "how its effect will be shown"),
    ("fixes/wide hose/registered", "2026-01-25", "wide hose", "before it was done"),
    ("fixes/wide hose/does", "Inspect the hose every week", "wide hose", "removes no cause"),
    ("fixes/wide hose/does", "Retrain the fitters", "wide hose", "removes no cause"),
    ("fixes/wide hose/kind", "containment", "fixes", "nothing removes a cause"),
    ("fixes/wide hose/cause", "no-check", "wide hose", "does not touch the named cause"),
    ("fixes/wide hose/cause", "no-check", "hose", "no action touches it"),
    ("fixes/wide hose/cause", "dirt", "wide hose", "what the evidence contradicts"),
    ("measurements", {"flow": {"quantity": "flow", "unit": "l/min", "at_least": 2,
                               "limit_source": "s", "standard_uncertainty": 0.1,
                               "as_found": {"reading": 1}}}, "flow", "no evidence rests on it"),
    ("causes/dirt/because", "hose", "dirt", "same ends as starved"),
    ("conclusion", None, "conclusion", "nothing is concluded"),
    ("conclusion/cause", "dirt", "conclusion", "favours another"),
    ("conclusion/date", "2025-12-31", "conclusion", "gathered after it"),
]  # fmt: skip


@pytest.mark.parametrize(("path", "value", "place", "words"), ONE_CHANGE)
def test_one_change_is_found(path: str, value: Any, place: str, words: str) -> None:
    """Each thing that a reader would reject is found at its place, with what to do."""
    found = [one for one in findings(put(path, value)) if words in one.says and one.place == place]
    assert len(found) == 1, findings(put(path, value))
    assert found[0].do


def test_effect_without_a_number_is_found() -> None:
    """Neither the statement nor "how much" says how often."""

    def change(case: dict[str, Any]) -> None:
        case["problem"]["statement"] = "The pump failed often"
        case["problem"]["how_much"]["is"] = "again and again"

    assert [one.says for one in findings(change)] == ["the effect has no number"]


def test_no_upstream_layer_is_found() -> None:
    """A chain that never leaves the part is told so."""

    def change(case: dict[str, Any]) -> None:
        for name in ("hose", "dirt"):
            case["causes"][name]["layer"] = "physical"

    assert any("upstream of the part" in one.says for one in findings(change))


def test_chain_that_ends_at_the_failed_part_is_found_by_its_words() -> None:
    """'The pump was worn' at a physical end of a case about the pump is the replaced part."""

    def change(case: dict[str, Any]) -> None:
        case["causes"]["hose"] |= {"says": "The pump was worn", "layer": "physical"}

    assert any("replaced part" in one.says for one in findings(change))


def test_command_fault_that_nobody_thought_of_is_found() -> None:
    """No cause on the branches of supply and command: the healthy part told wrongly is missing."""

    def change(case: dict[str, Any]) -> None:
        for cause in case["causes"].values():
            cause["branch"] = "environment"

    assert any("told or fed wrongly" in one.says for one in findings(change))


def test_good_units_never_looked_at_is_found() -> None:
    """Neither a sentence, nor a survey, nor a yes or no on any cause."""

    def change(case: dict[str, Any]) -> None:
        del case["problem"]["good_units"]
        del case["causes"]["hose"]["also_on_good_units"]

    assert any("never examined" in one.says for one in findings(change))


def test_survey_that_finds_the_cause_everywhere_is_found() -> None:
    """As common on good units (interval holds 1) and yet said to suffice by itself."""

    def change(case: dict[str, Any]) -> None:
        case["evidence"]["e4"] = {
            "kind": "measured", "shows": "s", "for": "hose", "date": "2026-01-03", "by": "fitter",
            "survey": {"failed": {"seen": 5, "of": 9}, "not_failed": {"seen": 6, "of": 12}},
        }  # fmt: skip

    assert any(one.place == "hose" and "just as common" in one.says for one in findings(change))


def test_condition_beside_it_settles_a_common_cause() -> None:
    """The same cause under AND is no fault: something else is needed too."""

    def change(case: dict[str, Any]) -> None:
        case["causes"]["hose"]["also_on_good_units"] = "yes"
        case["causes"]["starved"]["because"] = {"all": ["hose", "heat"]}
        case["causes"]["heat"] = {"says": "It is hot", "layer": "upstream", "stop": "s",
                                  "check": "Look", "branch": "environment"}  # fmt: skip

    assert not any("just as common" in one.says for one in findings(change))


def test_same_source_twice_is_found() -> None:
    """One document of one day, entered twice, is one fact."""

    def change(case: dict[str, Any]) -> None:
        case["evidence"]["e1"]["source"] = case["evidence"]["e2"]["source"] = "Report 7"
        case["evidence"]["e2"]["date"] = "2026-01-01"

    assert any(one.place == "e2" and "same source" in one.says for one in findings(change))


def test_only_confirming_evidence_is_found() -> None:
    """Nothing that could speak against the favourite: said once."""

    def change(case: dict[str, Any]) -> None:
        del case["evidence"]["e2"]
        case["evidence"]["e1"]["if_true"] = {"hose": "expected"}

    assert any("could speak against" in one.says for one in findings(change))


def test_evidence_that_fell_is_found() -> None:
    """A reading that now proves the opposite is told with its reason."""

    def change(case: dict[str, Any]) -> None:
        meter = {"quantity": "flow", "unit": "l/min", "at_least": 1, "limit_source": "s"}
        taken = {"reading": 3, "date": "2026-01-01"}
        case["measurements"] = {"m": meter | {"standard_uncertainty": 0.1, "as_found": taken}}
        case["evidence"]["e1"] |= {"measurement": "m", "proves": "outside limit"}

    assert any(one.place == "e1" and "no longer holds" in one.says for one in findings(change))


def test_proved_with_a_weak_link_is_found() -> None:
    """Proved asks for support at every link of the concluded chain."""

    def change(case: dict[str, Any]) -> None:
        case["evidence"]["e1"]["kind"] = "observed"

    found = [one for one in findings(change) if "called proved" in one.says]
    assert len(found) == 1


def test_rival_within_a_factor_of_three_is_found() -> None:
    """Probable, with a rival nearly as likely: the next test comes first."""

    def change(case: dict[str, Any]) -> None:
        del case["evidence"]["e2"]
        case["evidence"]["e1"]["if_true"]["dirt"] = "possible"

    assert any("rivals within a factor of 3" in one.says for one in findings(change))


def test_stray_cause_is_found() -> None:
    """A cause that leads nowhere is told."""
    stray = {"says": "Stray", "layer": "physical", "branch": "design"}
    found = findings(put("causes/stray", stray))
    assert any(one.place == "stray" and "leads nowhere" in one.says for one in found)


def test_contrary_statements_are_found() -> None:
    """Expected of one cause and unlikely of another in the same explanation."""

    def change(case: dict[str, Any]) -> None:
        case["evidence"]["e1"]["if_true"] = {"hose": "expected", "starved": "unlikely"}

    assert any("expected of one cause" in one.says for one in findings(change))


def test_case_without_causes_is_told_only_that() -> None:
    """The graph rules wait until there is a graph."""

    def change(case: dict[str, Any]) -> None:
        for key in ("causes", "evidence", "fixes", "conclusion"):
            del case[key]
        for key in ("because", "not_caught_because"):
            del case["problem"][key]

    assert [one.says for one in findings(change)] == ["no cause is stated"]


def test_finding_reads_as_one_line() -> None:
    """Place, line, what, and what to do."""
    assert str(Finding("hose", 12, "it ends", "go on")) == "hose (line 12): it ends -> go on"
    assert str(Finding("hose", 0, "it ends", "go on")) == "hose: it ends -> go on"


def test_findings_that_say_the_same_are_told_in_one_line() -> None:
    """Forty items without a date are one thing to look at, not forty; two are still two."""
    many = [Finding(f"e{number}", number, "has no date", "say when") for number in range(40)]
    two = [Finding(name, 0, "has no owner", "add owner:") for name in ("a", "b")]
    lines = told_together([two[0], *many, two[1]])
    assert [line.where for line in lines] == [
        "a",
        "e0, e1 (line 1), e2 (line 2), e3 (line 3), e4 (line 4), e5 (line 5), e6 (line 6), "
        "e7 (line 7) and 32 more",
        "b",
    ]
    assert str(lines[0]) == str(two[0])
