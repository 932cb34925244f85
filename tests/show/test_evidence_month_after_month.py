"""Two reports of a fleet with an investigation: what moved in its evidence, and who moved it."""

import re

import jsonschema
import pytest
from click.testing import CliRunner

from rca.cli import main
from rca.records import files
from rca.show.running.report import write_report
from tests.little_fleet import change, little_fleet, read

CASE = """\
investigation: bearings
title: Hub bearings of two units
part: hub bearing
problem: {statement: Hub bearings of two units fail again and again, because: [spindle]}
causes:
  spindle: {says: The spindle is bent, layer: upstream, branch: mating parts}
measurements:
  run-out: {quantity: run-out of the spindle, unit: mm, at_most: 0.10, limit_source: invented,
            standard_uncertainty: 0.01, as_found: {reading: 0.31, date: 2026-01-20}}
evidence:
  bent: {kind: measured, shows: The spindle runs out, measurement: run-out, proves: outside limit,
         for: spindle}
  two-units: {kind: recorded, shows: Two units fail far more often, for: spindle,
              claim: {units: 'unit in ("U01", "U02")', ratio_above: 1.5}}
  no-order: {kind: recorded, shows: An order tells of a bent spindle, for: spindle,
             record: order = "SP1"}
""".replace("because: [spindle]", "because: spindle")


@pytest.fixture(scope="module")
def two_months(tmp_path_factory, module_in_process):
    """February; then the reading is corrected, and an order tells of the spindle; March."""
    place = tmp_path_factory.mktemp("evidence")
    folder, out = little_fleet(place / "fleet"), place / "out"
    case = folder / "investigations" / "bearings.yaml"
    case.parent.mkdir()
    case.write_text(CASE, encoding="utf-8")
    first = write_report(folder, month="2026-02", out=out)
    case.write_text(CASE.replace("reading: 0.31", "reading: 0.04"), encoding="utf-8")
    rows = read(folder / "repairs.csv")
    told = {**rows[0], "date": "2026-03-11", "order": "SP1"}
    change(folder / "repairs.csv", [*rows, told])
    return folder, first, write_report(folder, month="2026-03", out=out)


def test_each_run_keeps_what_an_investigation_stood_on(two_months):
    _, first, second = two_months
    schema = files.package_json("causes/summary/summary.schema.json")
    for done in (first, second):
        jsonschema.validate(done.summary, schema)
    (kept,) = first.summary["investigations"]
    by_name = {one["evidence"]: one for one in kept["evidence"]}
    assert by_name["bent"]["reading"]["value"] == 0.31
    ratio = by_name["two-units"]["ratio"]
    assert 1.5 < ratio["lower"] < ratio["value"] < ratio["upper"]
    assert ratio["counted"] > 0
    assert ratio["counted_others"] > 0
    assert all(one["last_run"] is None for one in kept["evidence"])


def test_the_next_run_says_what_changed_in_evidence_and_why(two_months):
    _, first, second = two_months
    told = {one["about"]: one for one in second.summary["changes"] if one["kind"] == "evidence"}
    assert set(told) == {"The spindle runs out", "An order tells of a bent spindle"}
    edited, moved = told["The spindle runs out"], told["An order tells of a bent spindle"]
    assert (edited["was"], edited["now"], edited["rows"]) == ("holds", "does not hold", None)
    assert edited["why"].startswith("the file was edited: ")
    assert (moved["was"], moved["now"]) == ("does not hold", "holds")
    assert moved["why"].startswith("the records changed: 1 repair row")
    assert "new" in moved["rows"]
    before = {one["evidence"]: one for one in first.summary["investigations"][0]["evidence"]}
    for one in second.summary["investigations"][0]["evidence"]:
        assert one["last_run"]["standing"] == before[one["evidence"]]["standing"]
        assert one["last_run"]["ratio"] == before[one["evidence"]]["ratio"]


def test_the_page_shows_chain_evidence_and_what_is_missing(two_months):
    _, _, second = two_months
    page = (second.folder / "report.html").read_text(encoding="utf-8")
    said = re.sub(r"\s+", " ", re.sub(r"<[^>]+>", " ", page))
    assert "the file was edited: run-out of the spindle as found inside limit" in said
    assert "Last report" in said
    assert "What is missing:" in said
    ratio = second.summary["investigations"][0]["evidence"][1]["ratio"]
    place = "investigations[0].evidence[1].ratio.lower"
    assert f'<data value="{ratio["lower"]}" data-of="{place}">' in page
    assert f'data-of="{place.replace(".ratio", ".last_run.ratio")}"' in page


def test_the_command_says_the_same_against_a_report(two_months):
    folder, first, second = two_months
    file = folder / "investigations" / "bearings.yaml"
    command = ["case", "show", str(file), "--fleet", str(folder), "--since", str(first.folder)]
    done = CliRunner().invoke(main, command)
    assert done.exit_code == 0, done.output
    said = done.output[done.output.index("WHAT CHANGED IN EVIDENCE SINCE 2026-02") :]
    for one in second.summary["changes"]:
        if one["kind"] in ("evidence", "link"):
            assert f"- {one['about']}: {one['was']} before, {one['now']} now" in said


def test_sheets_are_compared_with_earlier_sheets_where_there_is_no_fleet(tmp_path):
    """A single case: the sheets of last week tell what its evidence stood on."""
    file, sheets = tmp_path / "case.yaml", tmp_path / "week1.html"
    file.write_text(CASE, encoding="utf-8")
    run = CliRunner().invoke(main, ["case", "show", str(file), "--out", str(sheets)])
    assert run.exit_code == 0, run.output
    assert "WHAT CHANGED" not in run.output
    file.write_text(CASE.replace("reading: 0.31", "reading: 0.04"), encoding="utf-8")
    after = tmp_path / "week2.html"
    again = ["case", "show", str(file), "--since", str(sheets), "--out", str(after)]
    run = CliRunner().invoke(main, again)
    assert run.exit_code == 0, run.output
    assert "The spindle runs out: holds before, does not hold now" in run.output
    assert "What changed in evidence since" in after.read_text(encoding="utf-8")


@pytest.mark.parametrize("text", [None, "no sheet at all", "{}"])
def test_something_else_to_compare_with_is_refused_in_one_sentence(tmp_path, text):
    file, other = tmp_path / "case.yaml", tmp_path / "other.html"
    file.write_text(CASE, encoding="utf-8")
    if text is not None:
        other.write_text(text, encoding="utf-8")
    run = CliRunner().invoke(main, ["case", "show", str(file), "--since", str(other)])
    assert run.exit_code == 4
    assert run.output.startswith("other.html")
    assert run.output.count("\n") == 1
    assert "Traceback" not in run.output
