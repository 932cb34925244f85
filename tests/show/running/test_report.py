"""A report of the demo fleet as a whole: files, numbers, rows behind them, print, browser."""

import csv
import json
import re
from html.parser import HTMLParser

import jsonschema
import pytest

from rca.causes.findings import open_findings
from rca.causes.summary.whole import summary as make_summary
from rca.records import files
from tests.browser import browser_page

FILES = {
    "report.html", "report.ipynb", "summary.json", "set_aside.csv", "manifest.json",
    "known_rows.parquet", "rows",
}  # fmt: skip


class Page(HTMLParser):
    """Collects the page's <data> elements, links and anchors."""

    def __init__(self, text):
        super().__init__()
        self.numbers, self.links, self.places = [], [], set()
        self.feed(text)

    def handle_starttag(self, tag, attrs):
        named = dict(attrs)
        if tag == "data":
            self.numbers.append((named["data-of"], float(named["value"])))
        if tag == "a":
            self.links.append(named["href"])
        if "id" in named:
            self.places.add(named["id"])


@pytest.fixture(scope="module")
def page(demo_report):
    return Page((demo_report.folder / "report.html").read_text(encoding="utf-8"))


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


def rows(folder, name):
    with (folder / "rows" / f"{name}.csv").open(newline="", encoding="utf-8") as stream:
        return list(csv.DictReader(stream))


def test_everything_is_there_and_latest_points_at_it(demo_report):
    assert {path.name for path in demo_report.folder.iterdir()} == FILES
    assert (demo_report.folder.parent / "latest").resolve() == demo_report.folder


def test_every_number_on_the_page_is_that_of_the_summary(demo_report, page):
    assert len(page.numbers) > 1000
    for place, value in page.numbers:
        assert at(demo_report.summary, place) == pytest.approx(value), place


def test_the_summary_is_that_of_the_findings_and_fits_its_schema(demo_report, demo_folder):
    schema = files.package_json("causes/summary/summary.schema.json")
    jsonschema.Draft202012Validator.check_schema(schema)
    jsonschema.validate(demo_report.summary, schema)
    again = make_summary(open_findings(demo_folder, month="2026-10"))
    assert json.loads(json.dumps(again)) == demo_report.summary


def test_rows_read_are_rows_used_and_set_aside(demo_report):
    records = demo_report.summary["records"]
    assert records["read"] == records["used"] + records["set_aside"]
    assert sum(records["set_aside_by_reason"].values()) == records["set_aside"]
    assert len(rows(demo_report.folder, "all-repairs")) == records["used"]


def test_every_part_leads_to_rows_that_add_up_to_its_figures(demo_report):
    for part in demo_report.summary["parts"]:
        if part["mode"] is not None:
            continue
        own = rows(demo_report.folder, part["rows"])
        assert sum(row["failure"] == "yes" for row in own) == part["failures_recorded"]
        repeat = part["repeat_rate"]
        assert sum(row["came_back"] == "yes" for row in own) == repeat["repeats"]
        assert sum(row["window_complete"] == "yes" for row in own) == repeat["complete"]
        hours = sum(float(row["downtime_hours"] or 0) for row in own)
        assert hours == pytest.approx(part["downtime_hours"]["value"])
        cost = sum(float(row["cost"] or 0) for row in own)
        assert cost == pytest.approx(part["cost"]["value"], rel=1e-6)
        lives = rows(demo_report.folder, part["lives_rows"])
        assert len(lives) == part["lives"]
        assert sum(life["failed"] == "yes" for life in lives) == part["failures"]


def test_the_lines_are_those_of_the_file(demo_report, demo_folder):
    """The header is line 1; each row told with a line says the same as that line."""
    lines = (demo_folder / "repairs.csv").read_text(encoding="utf-8").splitlines()
    for row in rows(demo_report.folder, "repairs-clutch")[:50]:
        told = lines[int(row["line"]) - 1]
        assert told.startswith(f"{row['unit']},{row['date'][:10]},")
        assert row["order"] in told


def test_every_fix_leads_to_its_units_and_to_the_failures_that_its_verdict_counts(demo_report):
    assert len(demo_report.summary["fixes"]) == 3
    for fix in demo_report.summary["fixes"]:
        own = rows(demo_report.folder, fix["rows"])
        assert len({row["unit"] for row in own if row["what"] == "treated"}) == fix["units"]
        after = [row for row in own if row["what"] == "failure after the fix"]
        assert len(after) == fix["observed"]


def test_monthly_sums_are_those_of_the_figures_of_merit(demo_report):
    months = rows(demo_report.folder, "months")
    merits = {one["figure"]: one for one in demo_report.summary["figures_of_merit"]}
    last, year = months[-1], months[1:]
    between = merits["Mean running between failures"]
    assert float(last["failures"]) == between["month"]["count"]
    assert sum(float(one["running"]) for one in year) == pytest.approx(between["year"]["of"])
    hours = merits["Downtime of a unit in 30 days"]
    assert float(last["days"]) == hours["month"]["of"]


def test_every_link_of_the_page_leads_somewhere(demo_report, page):
    assert len(page.links) > 60
    for link in page.links:
        if link.startswith("#"):
            assert link[1:] in page.places, link
        else:
            assert (demo_report.folder / link).is_file(), link


def test_the_page_asks_nothing_of_any_network_and_draws_every_figure(demo_report):
    page_file = demo_report.folder / "report.html"
    with browser_page() as page:
        page.goto(page_file.as_uri())
        page.wait_for_timeout(500)
        figures = page.locator(".figure")
        drawn = page.locator(".figure svg.main-svg").count()
        assert figures.count() >= 20
        assert drawn >= figures.count()
        assert [url for url in page.requests if not url.startswith("file:")] == []
        assert page.errors == []
        labels = figures.evaluate_all("all => all.map(f => f.getAttribute('aria-label'))")
        assert all(labels)
        wide = page.evaluate("document.documentElement.scrollWidth - window.innerWidth")
        assert wide <= 0, "the page is wider than the window"


def test_the_first_page_prints_on_one_a4(demo_report):
    """The appendix begins on the second printed page."""
    with browser_page() as page:
        page.goto((demo_report.folder / "report.html").as_uri())
        page.emulate_media(media="print")
        # A4 less the margins of 11 + 12 mm at 96 dots an inch, at the width of the print.
        page.set_viewport_size({"width": int((210 - 22) / 25.4 * 96), "height": 1040})
        page.wait_for_timeout(300)
        height = page.evaluate(
            "document.querySelector('.first-page-end').getBoundingClientRect().top + scrollY"
        )
        assert height <= (297 - 23) / 25.4 * 96


def test_code_widgets_and_paths_of_the_machine_are_nowhere(demo_report, demo_folder):
    page = (demo_report.folder / "report.html").read_text(encoding="utf-8")
    assert "workbook.open_month(" not in page
    assert "application/vnd.jupyter.widget" not in page
    home = str(demo_report.folder.parent.parent)
    for path in demo_report.folder.rglob("*"):
        if path.is_file():
            data = path.read_bytes()
            assert home.encode() not in data, path.name
            assert str(demo_folder).encode() not in data, path.name
