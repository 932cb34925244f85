"""A report of the demo fleet as a whole: files, numbers, page, print, browser with no network."""

import json
import re
from html.parser import HTMLParser

import jsonschema
import pytest

from rca.causes.findings import open_findings
from rca.causes.summary import summary as make_summary
from rca.errors import Busy, RcaError
from rca.records import files
from rca.show import report
from rca.show.report import check_parameters, last_summary, what_needs_a_person
from tests.browser import browser_page

FILES = {"report.html", "report.ipynb", "summary.json", "set_aside.csv", "manifest.json"}


class Numbers(HTMLParser):
    """Collects the page's <data> elements: place in the summary and value."""

    def __init__(self):
        super().__init__()
        self.found = []

    def handle_starttag(self, tag, attrs):
        if tag == "data":
            named = dict(attrs)
            self.found.append((named["data-of"], float(named["value"])))


def at(summary, place):
    """Follow a place such as parts[3].shape.value or records.x["a rule"] through the summary."""
    here = summary
    for name, index, key in re.findall(r'(\w+)|\[(\d+)\]|\["((?:[^"\\]|\\.)*)"\]', place):
        if name:
            here = here[name]
        elif index:
            here = here[int(index)]
        else:
            here = here[json.loads(f'"{key}"')]
    return here


def test_everything_is_there_and_latest_points_at_it(demo_report):
    assert {path.name for path in demo_report.folder.iterdir()} == FILES
    assert (demo_report.folder.parent / "latest").resolve() == demo_report.folder


def test_every_number_on_the_page_is_that_of_the_summary(demo_report):
    numbers = Numbers()
    numbers.feed((demo_report.folder / "report.html").read_text(encoding="utf-8"))
    assert len(numbers.found) > 300
    for place, value in numbers.found:
        assert at(demo_report.summary, place) == pytest.approx(value), place


def test_the_summary_is_that_of_the_findings_and_fits_its_schema(demo_report, demo_folder):
    schema = files.package_json("causes/summary.schema.json")
    jsonschema.Draft202012Validator.check_schema(schema)
    jsonschema.validate(demo_report.summary, schema)
    again = make_summary(open_findings(demo_folder, month="2026-10"))
    assert json.loads(json.dumps(again)) == demo_report.summary


def test_rows_read_are_rows_used_and_set_aside(demo_report):
    records = demo_report.summary["records"]
    assert records["read"] == records["used"] + records["set_aside"]
    assert sum(records["set_aside_by_reason"].values()) == records["set_aside"]


def test_the_page_asks_nothing_of_any_network_and_draws_every_figure(demo_report):
    page_file = demo_report.folder / "report.html"
    with browser_page() as page:
        page.goto(page_file.as_uri())
        page.wait_for_timeout(500)
        figures = page.locator(".figure")
        drawn = page.locator(".figure svg.main-svg").count()
        assert figures.count() >= 10
        assert drawn >= figures.count()
        assert [url for url in page.requests if not url.startswith("file:")] == []
        assert page.errors == []
        labels = figures.evaluate_all("all => all.map(f => f.getAttribute('aria-label'))")
        assert all(labels)
        wide = page.evaluate("document.documentElement.scrollWidth - window.innerWidth")
        assert wide <= 0, "the page is wider than the window"


def test_the_first_page_prints_on_one_a4(demo_report, tmp_path):
    """The appendix begins on the second printed page."""
    with browser_page() as page:
        page.goto((demo_report.folder / "report.html").as_uri())
        page.emulate_media(media="print")
        page.wait_for_timeout(300)
        height = page.evaluate(
            "document.querySelector('.first-page-end').getBoundingClientRect().top"
        )
        # A4 less the margins of 11 + 12 mm at 96 dots an inch, at the width of the print.
        page.set_viewport_size({"width": int((210 - 22) / 25.4 * 96), "height": 1040})
        page.wait_for_timeout(300)
        height = page.evaluate(
            "document.querySelector('.first-page-end').getBoundingClientRect().top + scrollY"
        )
        assert height <= (297 - 23) / 25.4 * 96


def test_code_and_widgets_are_not_on_the_page(demo_report):
    text = (demo_report.folder / "report.html").read_text(encoding="utf-8")
    assert "workbook.open_month(" not in text
    assert "application/vnd.jupyter.widget" not in text


def test_a_rerun_takes_a_new_folder_and_says_nothing_changed(demo_folder, tmp_path, monkeypatch):
    """Same inputs, same numbers; the runner itself is replaced to spare a second execution."""
    out = tmp_path / "out"
    first = make_summary(open_findings(demo_folder, month="2026-09"))

    def run(work, parameters, *, failed, progress):
        files.write_json(work / "summary.json", first)

    monkeypatch.setattr(report, "_run_workbook", run)
    monkeypatch.setattr(report, "_write_page", lambda work, summary: None)
    one = report.write_report(demo_folder, month="2026-09", out=out)
    two = report.write_report(demo_folder, month="2026-09", out=out)
    assert (one.folder.name, two.folder.name) == ("2026-09", "2026-09.2")
    assert (out / "latest").resolve() == two.folder
    assert last_summary(out, "2026-10") == two.folder / "summary.json"
    assert last_summary(out, "2026-09") is None


def test_a_failed_run_leaves_the_last_good_report_and_keeps_its_notebook(
    demo_folder, tmp_path, monkeypatch
):
    out = tmp_path / "out"
    (out / "2026-08").mkdir(parents=True)
    files.point_to(out / "latest", out / "2026-08")
    broken = tmp_path / "workbooks"
    broken.mkdir()
    source = (files.shipped("workbooks") / report.WORKBOOK).read_text(encoding="utf-8")
    text = source.replace("page.first_page(summary)", "raise ValueError('planted')")
    (broken / report.WORKBOOK).write_text(text, encoding="utf-8")
    monkeypatch.setattr(files, "shipped", lambda name: broken)
    with pytest.raises(RcaError, match="planted"):
        report.write_report(demo_folder, month="2026-10", out=out)
    assert (out / "latest").resolve().name == "2026-08"
    assert not (out / "2026-10").exists()
    assert len(list((out / "failed").glob("*.ipynb"))) == 1
    assert [path for path in out.iterdir() if path.name.startswith(".2026")] == []


def test_two_runs_at_once_are_refused(demo_folder, tmp_path):
    with report._lock(tmp_path), pytest.raises(Busy):
        report.write_report(demo_folder, month="2026-10", out=tmp_path)


def test_a_misspelt_parameter_is_refused_before_the_run():
    book = files.shipped("workbooks") / report.WORKBOOK
    check_parameters(book, report.PARAMETERS)
    with pytest.raises(RcaError, match="must take"):
        check_parameters(book, (*report.PARAMETERS[:-1], "sead"))


def test_only_what_is_new_needs_a_person():
    part = {"part": "pump", "mode": None, "safety_critical": True, "repeat_rate": {"repeats": 2}}
    now = {"fixes": [], "blocked": [{"result": "money", "reason": "no costs"}], "parts": [part]}
    assert what_needs_a_person(now, now) == ()
    fewer = {**now, "blocked": [], "parts": [{**part, "repeat_rate": {"repeats": 1}}]}
    new = what_needs_a_person(now, fewer)
    assert len(new) == 2
    assert "money" in new[0]
    assert "pump" in new[1]
