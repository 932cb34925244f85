"""What an investigation stood on is kept, and the next run says what changed and why."""

import pandas as pd
import pytest

from rca.causes.case.assessment import assess
from rca.causes.case.parsing import parse_investigation
from rca.causes.since_last.row_changes import RowChanges
from rca.causes.since_last.standing_evidence import (
    NO_ROWS,
    beside_last_run,
    evidence_changes,
    standing,
)
from tests.cases import yaml_mapping
from tests.causes.case.test_evidence import METER, one_link

ROWS = RowChanges(pd.DataFrame({"how": ["new", "new", "late"], "table": "repairs", "part": "p"}))


def entry(*evidence, **more):
    return standing(assess(one_link(*evidence, **more)))


def test_a_reading_is_kept_with_its_uncertainty_and_what_it_proves():
    """0.5 V against at most 0.2 V: outside, with next to no chance of being inside."""
    found = entry({"measurement": "m", "proves": "outside limit"}, measurements=METER)
    kept = found["evidence"][0]["reading"]
    assert kept["verdict"] == "outside limit"
    assert (kept["value"], kept["unit"]) == (METER["m"]["as_found"]["reading"], METER["m"]["unit"])
    assert kept["probability_inside"] < 0.01
    assert found["links"][0]["state"] == "supported"
    assert found["links"][0]["evidence"] == ["e0"]


def test_a_survey_is_kept_with_its_counts_and_limits():
    """The tea tasting of Fisher again; R prints 6.408309 and 0.2117329 (from memory)."""
    survey = {"failed": {"seen": 3, "of": 4}, "not_failed": {"seen": 1, "of": 4}}
    kept = entry({"kind": "recorded", "survey": survey})["evidence"][0]
    assert kept["standing"] == "not proved"
    assert kept["ratio"]["value"] == pytest.approx(6.408309, rel=1e-5)
    assert kept["ratio"]["lower"] == pytest.approx(0.2117329, rel=1e-4)
    assert (kept["ratio"]["counted"], kept["ratio"]["counted_others"]) == (3, 1)


def test_nothing_changed_where_file_and_records_are_the_same():
    one = entry({"measurement": "m", "proves": "outside limit"}, measurements=METER)
    assert evidence_changes([one], [one]) == []
    assert evidence_changes([one], None) == [], "a run of an older kit kept nothing"


def test_an_edited_reading_is_told_with_what_it_was_and_the_link_that_fell():
    before = entry({"measurement": "m", "proves": "outside limit"}, measurements=METER)
    meter = {"m": METER["m"] | {"as_found": {"reading": 0.1}}}
    after = entry({"measurement": "m", "proves": "outside limit"}, measurements=meter)
    reading, link = evidence_changes([after], [before], rows=ROWS)
    assert (reading.was, reading.now, reading.rows) == ("holds", "does not hold", "")
    assert reading.why.startswith("the file was edited: drop as found inside limit: 0.1")
    assert "; was: drop as found outside limit: 0.5" in reading.why
    assert (link.kind, link.was, link.now) == ("link", "supported", "unsupported")


def test_evidence_that_moved_with_the_records_names_the_rows():
    """The file says the same, the standing differs: only the records can have done it."""
    now = entry({"kind": "recorded"})
    then = {**now, "evidence": [{**now["evidence"][0], "standing": "not proved"}]}
    (change,) = evidence_changes([now], [then], rows=ROWS)
    assert (change.was, change.now) == ("not proved", "holds")
    assert change.why.startswith("the records changed: ")
    assert change.rows == "2 new rows, 1 late"
    assert evidence_changes([now], [then])[0].rows == NO_ROWS


def test_new_and_withdrawn_evidence_and_whole_investigations_are_told_once():
    one, two = entry({"kind": "told"}), entry({"kind": "told"}, {"kind": "observed"})
    added = evidence_changes([two], [one])
    assert [(each.was, each.now) for each in added] == [(None, "holds")]
    gone = evidence_changes([one], [two])
    assert [(each.was, each.now) for each in gone] == [("holds", None)]
    assert "no longer there" in gone[0].why
    (begun,) = evidence_changes([two], [])
    assert (begun.now, begun.why) == ("2 of 2 pieces of evidence hold", "new investigation")
    (closed,) = evidence_changes([], [two])
    assert closed.now is None
    assert "file is no longer there" in closed.why


def test_entries_may_move_within_the_file_unnoticed():
    """Comments and blank lines above an entry are no edit of it."""
    text = (
        "investigation: i\nproblem: {statement: s, because: a}\n"
        "causes:\n  a: {says: A, layer: upstream, branch: environment}\n"
        "evidence:\n  e: {kind: told, shows: t, for: a}\n"
    )
    moved = text.replace("evidence:", "# a note\n\nevidence:")
    one, two = (standing(assess(parse_investigation(yaml_mapping(each)))) for each in (text, moved))
    assert one["evidence"][0]["written"] == two["evidence"][0]["written"]


def test_the_last_run_stands_beside_this_one():
    one = entry({"measurement": "m", "proves": "outside limit"}, measurements=METER)
    again = entry({"measurement": "m", "proves": "outside limit"}, {"kind": "told"},
                  measurements=METER)  # fmt: skip
    beside_last_run([again], [one])
    assert again["evidence"][0]["last_run"]["standing"] == "holds"
    assert again["evidence"][0]["last_run"]["reading"] == one["evidence"][0]["reading"]
    assert again["evidence"][1]["last_run"] is None
