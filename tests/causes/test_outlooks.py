"""Fixes that are planned only, or still open, from a fleet's files to summary.json and page."""

import json
import re

import jsonschema
import pytest

from rca.causes.findings import open_findings
from rca.causes.summary.whole import summary
from rca.records import files
from rca.show import page
from tests.little_fleet import little_fleet

PLANNED = """
fixes:
  better seal: {part: Feed pump, cause: grit, registered: 2026-02-01, target_ratio: 0.4}
  later idea: {part: feed pump, registered: 2026-06-01}
  for nothing: {part: wing}
"""


@pytest.fixture(scope="module")
def findings(tmp_path_factory):
    folder = little_fleet(tmp_path_factory.mktemp("planned") / "fleet", units=40, more=PLANNED)
    return open_findings(folder, month="2026-03")


@pytest.fixture(scope="module")
def told(findings):
    data = json.loads(json.dumps(summary(findings)))
    jsonschema.validate(data, files.package_json("causes/summary/summary.schema.json"))
    return data


def test_a_planned_fix_is_told_its_chance_at_once(findings, told):
    """What is set down after the last day, or has been applied, is not planned then."""
    planned = {one["fix"]: one for one in told["planned_fixes"]}
    assert set(planned) == {"better seal", "for nothing"}
    seal = planned["better seal"]
    assert seal["part"] == "feed pump"
    assert seal["target_ratio"] == 0.4
    assert seal["outlook"]["units"] == 40
    chances = {(one["ratio"], one["months"]): one["shown"] for one in seal["outlook"]["chances"]}
    assert chances[0.15, 24] > 0.9
    assert chances[1, 24] < 0.05
    assert seal["outlook"]["start"] == "2026-03-31"
    assert "better seal on 40 units" in str(findings.planned[0])


def test_a_planned_fix_without_lives_says_why(told):
    nothing = next(one for one in told["planned_fixes"] if one["fix"] == "for nothing")
    assert nothing["outlook"] is None
    assert nothing["why_not"] == "no life of wing has a known age"


def test_only_open_fixes_have_an_outlook(findings, told):
    for fix in told["fixes"]:
        open_ = fix["effect"] == "too early"
        assert (fix["outlook"] is not None) == open_
    assert set(findings.outlooks) <= {one["fix"] for one in told["fixes"]}


def test_the_page_says_it_in_words_and_with_the_numbers_of_the_summary(told):
    text = page.fixes_section(told).html
    assert "Planned, not applied yet" in text
    assert "Chance of an answer, from 2026-03-31 on" in text
    assert "rule the target out" in text
    seal = next(i for i, one in enumerate(told["planned_fixes"]) if one["fix"] == "better seal")
    shown = re.findall(rf'value="([^"]+)" data-of="planned_fixes\[{seal}\]\.outlook\.chances'
                       r'\[(\d+)\]\.shown"', text)  # fmt: skip
    chances = told["planned_fixes"][seal]["outlook"]["chances"]
    assert len(shown) == len(chances) == 8
    assert all(float(value) == chances[int(at)]["shown"] for value, at in shown)
