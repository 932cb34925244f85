"""The forms in JupyterLab, in a real browser, with nothing asked of any network."""

import csv
import re
import shutil
from pathlib import Path

import pytest

from rca.records import files
from rca.show.exercise.play import open_play
from rca.show.numbers import whole
from rca.show.sheets.draft import Draft
from tests.browser import chromium
from tests.lab import layout_faults, open_workbook, outside, reload, workbook_with
from tests.student import built, student_folder

FEW_PARTS = ("hydraulic pump", "hydraulic suction strainer", "starter battery")
EXPORT = Path("excavator_work_orders", "excavator_work_orders.csv")


@pytest.fixture(autouse=True)
def browser_here():
    """Skip without a browser, before anything is prepared."""
    chromium()


@pytest.fixture
def small_demo(demo_folder, tmp_path) -> Path:
    """The demo fleet with few of its parts, so that a study takes seconds."""
    folder = tmp_path / "fleet"
    shutil.copytree(demo_folder, folder, ignore=shutil.ignore_patterns("investigations"))
    for name in ("repairs.csv", "parts.csv"):
        with (folder / name).open(encoding="utf-8", newline="") as stream:
            head, *rows = csv.reader(stream)
        place = head.index("part")
        kept = [row for row in rows if row[place].strip().casefold() in FEW_PARTS]
        with (folder / name).open("w", encoding="utf-8", newline="") as stream:
            csv.writer(stream, lineterminator="\n").writerows([head, *kept])
    return folder


def click(page, name: str) -> None:
    page.get_by_role("button", name=name, exact=True).click()


def choose(page, label: str, option: str) -> None:
    page.get_by_label(label, exact=True).select_option(label=option)


def said(page, text: str, *, timeout: int = 90_000) -> None:
    """Wait until a message says something; another one that says "Not done" ends the wait."""
    wanted = page.locator(".rca-message").filter(has_text=text)
    refused = page.locator(".rca-message .failed")
    wanted.or_(refused).first.wait_for(timeout=timeout)
    assert wanted.count(), refused.first.text_content()


def test_the_excavator_export_becomes_a_fleet_and_a_page(open_data, tmp_path):
    """A user's way through the import: look, answer, write, first page.

    Real work orders of four mining excavators (public; source in the folder's NOTES). What its
    order types mean is told by the source's notes: PM01 failure, PM02 planned, PM06 accident.
    """
    export = open_data / EXPORT
    shutil.copy(export, tmp_path / export.name)
    workbook_with(tmp_path, "import_records.ipynb", file=export.name, out_folder="excavators",
                  report_folder="reports")  # fmt: skip
    with open_workbook(tmp_path, "import_records.ipynb") as page:
        said(page, "7 questions are open")
        click(page, "Fill in what is proposed")
        said(page, "Filled in where something is proposed")
        for label in page.locator(".rca-card label").all_text_contents():
            if found := re.match(r"'(.*)' \(\d+ rows", label):
                field = page.get_by_label(label, exact=True)
                meaning = {"PM01": "failure", "PM02": "planned", "PM06": "accident"}
                if field.input_value() == "choose …":
                    field.select_option(label=meaning.get(found[1], "not stated"))
        choose(page, "Up to which day is every repair in the file?", "2011-12-01")
        click(page, "Use these answers")
        said(page, "Nothing is open")
        assert layout_faults(page) == []
        page.get_by_label("Folder for the fleet").focus()
        press_with_the_keyboard(page, "Write the fleet folder")
        said(page, "is written")
        click(page, "Make the first page")
        said(page, "The report is in reports", timeout=180_000)
        assert page.locator(".rca-form h1", has_text="excavator work orders").count() == 1
        assert page.locator(".rca-form dl.lines dt", has_text="Getting worse").count() == 1
        assert outside(page) == []
    assert {path.name for path in (tmp_path / "excavators").iterdir()} == {
        "fleet.yaml", export.name
    }  # fmt: skip
    assert list((tmp_path / "reports").glob("*/report.html"))


def test_a_part_is_studied_and_exported(small_demo, tmp_path):
    workbook_with(tmp_path, "part_study.ipynb", fleet_folder="fleet", export_folder="exports")
    with open_workbook(tmp_path, "part_study.ipynb") as page:
        said(page, "Shown: hydraulic pump")
        page.locator(".rca-form .js-plotly-plot svg.main-svg").first.wait_for()
        assert page.locator(".rca-form .js-plotly-plot").count() >= 3
        assert page.get_by_text("hydraulic suction strainer comes before").count() >= 1
        choose(page, "Depot or other group of units", "depot: Hill Road")
        choose(page, "Age counted in", "days")
        click(page, "Show this")
        said(page, "depot Hill Road, whole record, by days")
        assert page.get_by_text("63 % have failed by (days)").count() == 1
        assert layout_faults(page) == []
        click(page, "Export lives and figures")
        said(page, "Written")
        page.get_by_label("To day (blank: the end)").fill("2031-01-01")
        click(page, "Show this")
        said(page, "the records end on")
        assert outside(page) == []
    written = sorted(path.name for path in (tmp_path / "exports").iterdir())
    assert [name.rpartition("-")[2] for name in written] == ["figures.csv", "lives.csv"]


def test_two_whys_and_a_reading_support_a_link_and_are_there_again(tmp_path):
    """From a blank page to a supported chain; saved, and found again after a restart."""
    workbook_with(tmp_path, "investigation.ipynb", fleet_folder="", investigation="")
    with open_workbook(tmp_path, "investigation.ipynb") as page:
        page.get_by_label("Short name").fill("pump-7")
        page.get_by_label("Part", exact=True).fill("hydraulic pump")
        page.get_by_label("What was seen, with a number and no cause in it").first.fill(
            "The pump of loader 7 failed 3 times in 14 months"
        )
        click(page, "Begin a new investigation")
        said(page, "Now ask: why did this happen?")
        add_why_with_the_keyboard(page, "The pump runs with too little oil at its inlet")
        choose(page, "How far from the broken part",
               "upstream: what loads, feeds, heats, soils or commands it")  # fmt: skip
        page.get_by_label("Because … (a full sentence)").fill("The suction hose is narrow inside")
        click(page, "Add this why")
        said(page, "“The suction hose is narrow inside” to “The pump runs with too")
        link = page.locator("ul.chain p.state").last
        assert "unsupported" in link.text_content()
        click(page, "Measurement")
        for label, value in {
            "What is measured, and where": "vacuum at the pump inlet", "Unit": "bar",
            "At most": "0.20", "Source of the limit (document, edition, page)": "manual, page 8",
            "Standard uncertainty, in the same unit": "0.01", "Reading": "0.41",
        }.items():  # fmt: skip
            page.get_by_label(label, exact=True).fill(value)
        for_ = page.locator(".rca-ticks").filter(has_text="It speaks for")
        for says in ("The pump runs with too little oil", "The suction hose is narrow"):
            for_.get_by_label(says).check()
        click(page, "Record this")
        said(page, "unsupported became supported")
        assert "supported" in link.text_content()
        assert "unsupported" not in link.text_content()
        assert layout_faults(page) == []
        click(page, "Save")
        said(page, "is saved")
        reload(page)
        page.get_by_label("File", exact=True).fill("pump-7.yaml")
        click(page, "Open")
        said(page, "2 causes, 2 links")
        assert page.locator("ul.chain p.state").filter(has_text="supported").count() == 2
        assert page.get_by_text("model not found").count() == 0
        assert outside(page) == []
    assert Draft.open(tmp_path / "pump-7.yaml").case.part == "hydraulic pump"
    assert "widgets" not in files.read_text(tmp_path / "investigation.ipynb").split("metadata")[-1]


def add_why_with_the_keyboard(page, says: str) -> None:
    """Write an answer and add it without touching the mouse."""
    page.get_by_role("button", name="Add this why", exact=True).wait_for()
    page.get_by_label("Because … (a full sentence)").focus()
    page.keyboard.type(says)
    press_with_the_keyboard(page, "Add this why")
    said(page, f"“{says}” to")


def press_with_the_keyboard(page, name: str) -> None:
    """Go forward from field to field to a button, and press it."""
    for _ in range(10):
        page.keyboard.press("Tab")
        reached = page.evaluate("document.activeElement.textContent")
        if reached == name:
            break
    assert reached == name
    page.keyboard.press("Enter")


def test_a_case_is_played_from_the_first_clue_to_the_saved_answer(tmp_path):
    """A student's way: records, a clue with its reason, evidence, cause, repair, verdict, again."""
    student_folder(tmp_path, workbook=True)
    part = built().case.part
    with open_workbook(tmp_path, "class_exercise.ipynb") as page:
        said(page, "Begin with what you are told")
        click(page, "Study these records")
        said(page, f"Shown: {part}")
        page.locator(".rca-form .js-plotly-plot svg.main-svg").first.wait_for()
        choose(page, "Kind of clue", "Teardown findings")
        page.locator("option", has_text="The last failed part").first.wait_for(state="attached")
        click(page, "Buy this clue")
        page.locator(".rca-message .failed", has_text="say why first").wait_for()
        buy_with_the_keyboard(page, "It tells the mechanism; then I measure what could bring it")
        page.locator(".rca-form h4", has_text="The last failed part").wait_for()
        click(page, "Add this cause")
        said(page, "Added:")
        page.get_by_label("What it shows, in your own words, with its numbers").fill(
            "One side worn"
        )
        page.locator(".rca-ticks input").first.check()
        click(page, "Add this as evidence")
        said(page, "Added as evidence")
        page.get_by_label("Which upstream cause do you name?").select_option(index=1)
        said(page, "Saved.")
        choose(page, "What is to be done", repair_label("part-only"))
        page.get_by_label("Why this, and what do you expect of it?").fill(
            "It is always done like this"
        )
        page.get_by_role("button", name="months pass").click()
        said(page, "What happened stands in the next section")
        choose(page, "Has it worked?", "not effective")
        page.get_by_label("How sure are you of this verdict, in percent?").fill("90")
        page.get_by_label("What is that built on?").fill("As many failures as were expected")
        click(page, "Give this verdict")
        said(page, "Verdict given: not effective")
        assert layout_faults(page) == []
        reload(page)
        said(page, "You go on where you stopped")
        asked = page.get_by_label("Which upstream cause do you name?")
        assert asked.evaluate("e => e.selectedIndex") == 1
        assert page.locator(".rca-form h4", has_text="The last failed part").count() == 1
        assert page.get_by_text("model not found").count() == 0
        assert outside(page) == []
    steps = [step.does for step in open_play(tmp_path).steps]
    assert steps == ["open", "buy", "candidate", "cite", "answer", "repair", "verdict"]


def repair_label(repair: str) -> str:
    """A repair as it stands in the list."""
    one = built().case.repair(repair)
    return f"{one.does} ({whole(one.cost)} {built().case.currency})"


def buy_with_the_keyboard(page, reason: str) -> None:
    """Write a reason and buy the clue without touching the mouse."""
    page.get_by_label("Why this one, and what will you do upon each answer?").focus()
    page.keyboard.type(reason)
    press_with_the_keyboard(page, "Buy this clue")
    page.locator(".rca-message", has_text="Bought: The last failed part").wait_for()
