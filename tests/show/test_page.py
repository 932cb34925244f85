"""Sections made from a summary: plain words, one first page whatever the records hold."""

import copy
import json

import pytest

from rca.show import page
from rca.show.page import how_it_fails, next_of, short
from tests.browser import browser_page

SHAPE = {"value": 2.0, "lower": 1.5, "upper": 2.5}


def test_how_a_part_fails_is_said_in_plain_words():
    part = {"pattern": {"reading": "bad lot", "how": "wear-out", "where": "lot L7"}, "shape": SHAPE}
    assert how_it_fails(part) == "mostly lot L7"
    at_depot = {"reading": "one depot", "how": "early", "where": "depot North, later lives"}
    assert how_it_fails(part | {"pattern": at_depot}) == "mostly at depot North, later lives"
    open_ = {"reading": "not enough to say", "how": "wear-out", "where": "none shown"}
    assert how_it_fails({"pattern": open_, "shape": SHAPE}) == "by wear, and perhaps more"
    assert how_it_fails({"pattern": None, "shape": SHAPE}) == "by wear"
    early = {"value": 0.5, "lower": 0.3, "upper": 0.8}
    assert how_it_fails({"pattern": None, "shape": early}) == "early, soon after fitting"
    wide = {"value": 1.0, "lower": 0.2, "upper": 3.0}
    assert how_it_fails({"pattern": None, "shape": wide}) == "not enough to say"


def test_what_comes_next_for_a_fix():
    fix = {"effect": "too early", "likely_month": None, "earliest_month": None, "verified": False}
    assert next_of(fix) == "no answer within two years at this pace"
    assert next_of({**fix, "likely_month": "2027-02"}) == "answer likely about 2027-02"
    assert next_of({**fix, "effect": "relapsed"}) == "find out what changed"
    assert next_of({**fix, "effect": "effect shown", "verified": True}).startswith("watched")


def test_long_texts_are_cut_at_a_word_and_say_so():
    assert short("short enough", 40) == "short enough"
    cut = short("a long name of a part that nobody would write on one line", 30)
    assert len(cut) <= 30
    assert cut.endswith("…")
    assert not cut[:-1].endswith(" ")


def crowded(summary):
    """Return a summary as full as can be: long names, many fixes, changes and steps."""
    full = copy.deepcopy(summary)
    long = "the very long name that somebody once gave to a part and to all that belongs to it"
    for part in full["parts"]:
        part["part"] = f"{long} {part['part']}"
        part["safety_critical"] = True
        if part["pattern"]:
            part["pattern"].update(reading="bad lot", where=f"lot {long}")
    full["fixes"] = [{**full["fixes"][0], "fix": f"{long} {n}", "part": long} for n in range(12)]
    change = {"kind": "verdict", "about": long, "was": long, "now": long, "why": long * 9,
              "rows": None}  # fmt: skip
    full["changes"] = [change] * 30
    full["restated"] = [{"figure": long, "last_run": 1, "now": 2, "why": long * 9}] * 30
    full["last_month"] = "2026-09"
    full["provisional"] = "records end on 2026-10-20, before the month does; figures will change"
    full["next_steps"] = [f"{n} {long * 9}" for n in range(8)]
    full["lines"] = dict.fromkeys(full["lines"], long * 9)
    return full


@pytest.mark.parametrize("full", [False, True])
def test_the_first_page_is_one_a4_however_much_there_is_to_say(demo_report, tmp_path, full):
    summary = crowded(demo_report.summary) if full else demo_report.summary
    figure = '<div class="figure" style="height:281px"></div>'  # eight parts, as figures.py draws
    parts = [page.first_page(summary).html, figure, page.changes_and_steps(summary).html]
    text = "".join(parts)
    html = f"<!doctype html><meta charset=utf-8><style>{page.style()}</style><main>{text}</main>"
    (tmp_path / "page.html").write_text(html, encoding="utf-8")
    with browser_page(width=int((210 - 22) / 25.4 * 96), height=1040) as sheet:
        sheet.goto((tmp_path / "page.html").as_uri())
        sheet.emulate_media(media="print")
        sheet.wait_for_timeout(100)
        bottom = sheet.evaluate(
            "document.querySelector('.first-page-end').getBoundingClientRect().top + scrollY"
        )
        wide = sheet.evaluate("document.documentElement.scrollWidth - window.innerWidth")
    assert bottom <= (297 - 23) / 25.4 * 96
    assert wide <= 0


def test_the_first_page_speaks_no_statistics(demo_report):
    """Terms that a fleet manager would have to look up stand in the appendix only."""
    text = page.first_page(demo_report.summary).html
    text += page.changes_and_steps(demo_report.summary).html
    text += json.dumps([demo_report.summary["lines"], demo_report.summary["next_steps"]])
    terms = (
        "shape", "Weibull", "interval", "p =", "p <", "q-value", "hazard", "censor", "suspen",
        "significan", "likelihood", "Poisson", "quantile", "confidence", "exposure", "MTBF",
        "mean cumulative", "hypothesis",
    )  # fmt: skip
    for term in terms:
        assert term not in text, term


def test_each_term_of_the_page_is_explained_in_its_last_section(demo_report):
    text = page.method_section(demo_report.summary).html
    for term in ("Life", "Shape", "Failed again", "Effect", "Cause", "Range in brackets", "Hints"):
        assert f"{term.lower()}" in text.lower()


def money_of(summary, **changed):
    """Return the section of a part whose worth of removing the cause is changed."""
    found = copy.deepcopy(summary)
    part = next(one for one in found["parts"] if one["money"] and one["money"]["cause_worth"])
    part["money"]["cause_worth"].update(changed)
    return page.part_section(found, part["part"]).html


def test_what_removing_the_cause_may_cost_is_said_as_far_as_it_is_settled(demo_report):
    summary = demo_report.summary
    pays = money_of(summary, value=900, lower=300, upper=1200)
    assert "pays as long as it costs less than" in pays
    assert "is not settled" in money_of(summary, value=100, lower=-300, upper=500)
    assert "does not pay" in money_of(summary, value=-300, lower=-500, upper=-100)


def test_replacing_early_is_advised_only_where_it_pays_and_safety_comes_first(demo_report):
    found = copy.deepcopy(demo_report.summary)
    part = next(one for one in found["parts"] if one["money"] and one["money"]["replace_at"])
    part["money"]["replace_at"]["pays"], part["safety_critical"] = True, True
    text = page.part_section(found, part["part"]).html
    assert "would cost least at" in text
    assert "the maker's interval comes first" in text
    part["money"]["replace_at"]["pays"] = False
    assert "by cost alone, let it run" in page.part_section(found, part["part"]).html


def test_what_is_not_answered_says_why(demo_report):
    for part in demo_report.summary["parts"]:
        if part["mode"] is None:
            text = page.part_section(demo_report.summary, part["part"]).html
            assert ("Not answered:" in text) == bool(part["money"]["why_not"])


def test_parts_needed_stand_apart_from_failures_where_they_differ(demo_report):
    text = page.needs_section(demo_report.summary).html
    rows = demo_report.summary["forecast"]
    differ = {row["part"] for row in rows
              if row["failures"] != {key: row[key] for key in row["failures"]}}  # fmt: skip
    assert differ
    assert text.count(">new parts<") - text.count("<td>new parts</td>") == len(differ)
    alike = {row["part"] for row in rows} - differ
    assert text.count("failures, each with a new part") == len(alike)


def test_a_fix_under_way_says_what_would_decide_it(demo_report):
    summary = demo_report.summary
    text = page.fixes_section(summary).html
    open_ = [fix for fix in summary["fixes"] if fix["outlook"]]
    planned = [fix for fix in summary["planned_fixes"] if fix["outlook"]]
    assert open_
    assert text.count("Chance of an answer") == len(open_) + len(planned)
    never = copy.deepcopy(summary)
    for fix in never["fixes"]:
        if fix["outlook"]:
            fix["outlook"].update(first_month=None, failure_free_months=None, likely_month=None)
    assert "Not even failure-free months" in page.fixes_section(never).html
