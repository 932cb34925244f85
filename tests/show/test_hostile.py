"""A thousand hostile rows: text from records runs nowhere, escapes no folder, loads no code."""

import csv
import random
import re

import pytest

from rca.errors import Refused
from rca.records.settings import read_settings
from rca.show.running import report
from tests.browser import browser_page
from tests.in_process import run_in_process
from tests.little_fleet import little_fleet, write

SNARES = (
    "<script>window.caught=1</script>", "</script><script>window.caught=1</script>",
    "<img src=x onerror=window.caught=1>", '"><svg onload=window.caught=1>', "<!--", "-->",
    "' onmouseover='window.caught=1", "</style><script>window.caught=1</script>", "&lt;b&gt;",
    '<a href="javascript:window.caught=1">part</a>', "<iframe src=//evil.invalid>",
    "{{ 7*7 }}", "{% raw %}", "${7*7}", "%{customdata}", "$\\alpha$", "`rm -rf`",
    "=1+1", "=cmd|' /C calc'!A0", "+1+1", "-1+1", "@SUM(A1)", "\t=1+1", "＝1+1", "\u200b=1+1",
    "../../outside", "..\\..\\outside", "/etc/passwd", "CON", "nul", "a/b", "a\\b", ".", "..",
    "\u202etxt.exe", "\ufeffmark", "emoji \U0001f6e0", "naïve ß İ", "a" * 300, "0", "NaN", "None",
    "line\nbreak", 'quote " and \' quote', "semi;colon", "1e309", "\x07bell",
)  # fmt: skip


@pytest.fixture(scope="module")
def hostile_report(tmp_path_factory):
    """A thousand rows whose every text cell is a snare; enough failures for curves and units."""
    place = tmp_path_factory.mktemp("hostile")
    folder = little_fleet(place / "fleet", fixes=False)
    rng = random.Random(13)
    units = [f"U{number:02d}" for number in range(1, 15)]
    parts = rng.sample(SNARES, 8)
    write(
        folder / "units.csv",
        ["unit", "in_service", "retired", "depot"],
        [[unit, "2024-01-01", "", SNARES[place % 5]] for place, unit in enumerate(units)],
    )
    write(
        folder / "parts.csv",
        ["part", "positions", "fitted_to", "safety_critical"],
        [[part, "", "all", "yes" if place == 0 else "no"] for place, part in enumerate(parts)],
    )
    names = ["unit", "date", "part", "action", "reason", "mode", "complaint", "cause",
             "correction", "cost", "downtime_hours", "lot", "order", "technician"]  # fmt: skip
    rows = [
        [
            rng.choice(units), f"{rng.choice((2024, 2025))}-{rng.randint(1, 12):02d}-"
            f"{rng.randint(1, 28):02d}", rng.choice(parts), "replaced",
            rng.choice(["failure"] * 4 + ["no fault found"]), *rng.choices(SNARES, k=4),
            rng.choice(["100", "=1+1"]) if rng.random() < 0.01 else "100", "2",
            *rng.choices(SNARES, k=3),
        ]
        for _ in range(1000)
    ]  # fmt: skip
    write(folder / "repairs.csv", names, rows)
    write(folder / "fixes.csv", ["fix", "unit", "date", "part", "cause", "kind"],
          [["<b>=fix</b>../x", unit, "2025-01-15", parts[0], SNARES[0], "corrective"]
           for unit in units[:4]])  # fmt: skip
    text = (folder / "fleet.yaml").read_text(encoding="utf-8")
    text = text.replace("Little fleet (invented)", "'<script>window.caught=1</script> & Co'")
    text = text.replace("readings: readings.csv", "readings: readings.csv, fixes: fixes.csv")
    (folder / "fleet.yaml").write_text(text, encoding="utf-8")
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(report, "run_workbook", run_in_process)
        return report.write_report(folder, month="2025-12", out=place / "out")


def test_every_row_is_used_or_set_aside(hostile_report):
    records = hostile_report.summary["records"]
    assert records["read"] == 1000
    assert records["read"] == records["used"] + records["set_aside"]
    assert len(hostile_report.summary["parts"]) >= 8


def test_nothing_of_it_runs_in_the_page(hostile_report):
    page_file = hostile_report.folder / "report.html"
    with browser_page() as page:
        page.on("dialog", lambda dialog: page.errors.append("dialog"))
        page.goto(page_file.as_uri())
        page.wait_for_timeout(500)
        assert page.evaluate("typeof window.caught") == "undefined"
        assert page.errors == []
        assert page.locator(".figure svg.main-svg").count() >= page.locator(".figure").count()
        assert page.locator("main script:not([src])").count() == page.locator(".figure").count()
        assert page.locator("main img, main iframe, main svg[onload]").count() == 0
        links = page.locator("main a").evaluate_all("all => all.map(a => a.getAttribute('href'))")
        assert links
        assert all(re.match(r"(#|rows/|set_aside\.csv$)", link) for link in links)
        assert [url for url in page.requests if not url.startswith("file:")] == []
        shown = page.locator("main").inner_text()
        assert "7*7" in shown
        assert "49" not in re.findall(r"\{\{ (.*?) \}\}", shown)


def test_figures_hold_text_and_no_markup(hostile_report):
    page = (hostile_report.folder / "report.html").read_text(encoding="utf-8")
    plots = re.findall(r"Plotly\.newPlot\((.*?)\);</script>", page, flags=re.DOTALL)
    assert len(plots) >= 5
    assert not any("<" in plot for plot in plots)


def test_no_spreadsheet_would_run_a_cell(hostile_report):
    tables = [*(hostile_report.folder / "rows").glob("*.csv"),
              hostile_report.folder / "set_aside.csv"]  # fmt: skip
    cells = 0
    for path in tables:
        with path.open(newline="", encoding="utf-8") as stream:
            for row in csv.reader(stream):
                for cell in row:
                    cells += 1
                    bare = re.sub(r"^[\s\ufeff\u200b]+", "", cell)
                    if bare[:1] in "=+-@＝" and bare[:1]:
                        assert re.fullmatch(r"[+-]?\d+([.,]\d+)*(e[+-]?\d+)?", bare), cell
    assert cells > 10_000


def test_no_file_lies_outside_and_every_name_is_harmless(hostile_report):
    out = hostile_report.folder.parent
    assert sorted(path.name for path in out.parent.iterdir()) == ["fleet", "out"]
    assert {path.name for path in out.iterdir()} == {".lock", "latest", "2025-12"}
    for path in (hostile_report.folder / "rows").iterdir():
        assert re.fullmatch(r"[a-z0-9-]+\.csv", path.name)


@pytest.mark.parametrize(
    "line",
    [
        "name: !!python/object/apply:os.system ['touch caught']",
        "name: !!python/name:os.system",
        "name: !custom {a: 1}",
        "cutoff: &a [*a]",
        "x: &x [1,1,1,1,1,1,1,1,1]\ny: &y [*x,*x,*x,*x,*x,*x,*x,*x,*x]\n"
        "z: &z [*y,*y,*y,*y,*y,*y,*y,*y,*y]\nw: &w [*z,*z,*z,*z,*z,*z,*z,*z,*z]\n"
        "v: [*w,*w,*w,*w,*w,*w,*w,*w,*w,*w,*w,*w,*w,*w,*w,*w,*w,*w]",
    ],
)
def test_yaml_loads_no_code_and_does_not_blow_up(tmp_path, monkeypatch, line):
    monkeypatch.chdir(tmp_path)
    folder = little_fleet(tmp_path / "fleet")
    path = folder / "fleet.yaml"
    text = path.read_text(encoding="utf-8").replace("name: Little fleet (invented)", line)
    path.write_text(text, encoding="utf-8")
    with pytest.raises(Refused):
        read_settings(folder)
    assert not (tmp_path / "caught").exists()
