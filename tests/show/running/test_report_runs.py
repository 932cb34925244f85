"""Runs of a little fleet: what is new, what is told again, styles of numbers, empty months."""

import json
import re

import pytest
from click.testing import CliRunner

from rca.cli import main
from rca.records import files
from rca.show.running import report
from rca.show.running.report import write_report
from tests.little_fleet import change, little_fleet, read


@pytest.fixture(scope="module")
def february_and_march(tmp_path_factory, module_in_process):
    """A report of February, then a row that comes late, then March twice; commas in numbers."""
    place = tmp_path_factory.mktemp("runs")
    folder, out = little_fleet(place / "fleet", more='numbers: "1.234,5"'), place / "out"
    write_report(folder, month="2026-02", out=out)
    rows = read(folder / "repairs.csv")
    late = {**rows[0], "date": "2025-11-11", "order": "LATE1", "part": "feed pump"}
    change(folder / "repairs.csv", [*rows, {**late, "reason": "failure", "cost": "70"}])
    return [write_report(folder, month="2026-03", out=out) for _ in range(2)]


def body_of(done):
    """Return the page without its style and scripts."""
    page = (done.folder / "report.html").read_text(encoding="utf-8")
    return re.sub(r"<script.*?</script>", "", page[page.index("<main>") :], flags=re.DOTALL)


def test_two_runs_of_the_same_inputs_differ_in_the_time_alone(february_and_march):
    one, two = february_and_march
    assert (one.folder.name, two.folder.name) == ("2026-03", "2026-03.2")
    names = sorted(path.relative_to(one.folder) for path in one.folder.rglob("*") if path.is_file())
    assert len(names) > 15
    for name in names:
        first, second = ((run.folder / name).read_bytes() for run in (one, two))
        if name.name == "manifest.json":
            first, second = (_without_time(json.loads(data)) for data in (first, second))
        if name.name == "report.html":
            first, second = (re.sub(rb"<time>.*?</time>", b"", data) for data in (first, second))
        assert first == second, name


def _without_time(manifest):
    outputs = {key: value for key, value in manifest["outputs"].items() if key != "report.html"}
    return {**manifest, "made_at": "", "outputs": outputs}


def test_what_changed_stands_on_the_page_with_the_rows_that_changed_it(february_and_march):
    done = february_and_march[0]
    told = {one["figure"]: one for one in done.summary["restated"]}
    failures = told["failures of feed pump to 2026-02"]
    assert failures["now"] == failures["last_run"] + 1
    assert "order LATE1" in failures["why"]
    assert "last report said" in body_of(done)
    assert "LATE1" in (done.folder / "rows" / "changes.csv").read_text(encoding="utf-8")
    assert done.summary["moves"]
    for one in done.summary["moves"]:
        steps = ("last_run", "new", "late", "corrected", "withdrawn", "recounted")
        assert sum(one[step] for step in steps) == pytest.approx(one["now"], rel=1e-5), one


def demand_numbers(done, *, decimal, thousands):
    """Each number of the page, read back in the fleet's style, is the one in the summary."""
    shown = re.findall(r'<data [^>]*value="([^"]+)"[^>]*>([^<]+)</data>', body_of(done))
    assert len(shown) > 300
    for value, text in shown:
        plain = text.replace("\u2212", "-").removeprefix("p = ").removeprefix("p < ")
        plain = plain.replace(thousands, "").replace(decimal, ".").rstrip("%\u202f")
        number = float(plain) / (100 if "%" in text else 1)
        assert number == pytest.approx(float(value), rel=0.06, abs=0.06), (value, text)
    page = (done.folder / "report.html").read_text(encoding="utf-8")
    assert f'"separators": "{decimal}{thousands}"' in page


def test_numbers_are_written_with_a_comma_where_the_fleet_wants_it(february_and_march):
    done = february_and_march[0]
    demand_numbers(done, decimal=",", thousands=".")
    said = re.sub(r"<[^>]+>", " ", body_of(done))
    assert "per 1.000 km" in said
    assert not re.findall(r"(?<![\w.])\d+\.\d{1,2}(?![\d.])", said), "a decimal point was left"


def test_names_of_people_are_in_no_file_of_a_report(february_and_march):
    for path in february_and_march[0].folder.rglob("*"):
        data = path.read_bytes() if path.is_file() else b""
        assert b"Brandt" not in data, path.name
        assert b"Ostrow" not in data, path.name


def test_miles_points_and_a_month_that_the_records_do_not_fill(tmp_path, in_process):
    more = 'cutoff: 2026-03-20\nnumbers: "1,234.5"'
    folder = little_fleet(tmp_path / "fleet", more=more, unit="miles")
    done = write_report(folder, month="2026-03", out=tmp_path / "out")
    demand_numbers(done, decimal=".", thousands=",")
    body = body_of(done)
    assert "per 1,000 miles" in body
    assert not re.search(r"\bkm\b", body)
    assert done.summary["provisional"].startswith("records end on 2026-03-20")
    assert ">provisional<" in body


def test_an_empty_month_is_reported_and_says_so(tmp_path, in_process):
    """Records in which nothing failed yet: exit code 0, a page, no figure of what is not there."""
    folder = little_fleet(tmp_path / "fleet", fixes=False)
    rows = [{**row, "reason": "planned"} for row in read(folder / "repairs.csv")]
    change(folder / "repairs.csv", rows)
    done = write_report(folder, month="2026-03", out=tmp_path / "out")
    assert done.exit_code == 0
    assert done.summary["provisional"] is None
    assert "No failure is on record up to 2026-03-31" in body_of(done)


def test_latest_stays_at_the_latest_month_when_an_older_one_is_made_again(tmp_path, in_process):
    """The default month is the last complete one that the records reach."""
    folder = little_fleet(tmp_path / "fleet")
    assert write_report(folder, out=tmp_path / "out").folder.name == "2026-03"
    assert write_report(folder, month="2026-01", out=tmp_path / "out").folder.name == "2026-01"
    assert (tmp_path / "out" / "latest").resolve().name == "2026-03"


def test_a_failed_run_leaves_the_last_good_report_and_keeps_its_notebook(
    tmp_path, in_process, monkeypatch
):
    folder, out = little_fleet(tmp_path / "fleet"), tmp_path / "out"
    (out / "2026-02").mkdir(parents=True)
    files.point_to(out / "latest", out / "2026-02")
    monkeypatch.setattr("rca.show.page.first_page", _broken)
    with pytest.raises(report.RcaError, match="planted") as caught:
        write_report(folder, month="2026-03", out=out)
    assert "failed/" in caught.value.next_step
    assert (out / "latest").resolve().name == "2026-02"
    assert len(list((out / "failed").glob("*.ipynb"))) == 1
    assert list(out.glob(".run.*")) == []
    assert not (out / "2026-03").exists()


def _broken(*_, **__):
    raise ValueError("planted")


def test_the_command_line_gives_one_exit_code_for_each_end(tmp_path, in_process):
    """First run 3, its rerun 0 since nothing is new, 3 again with a new repeat; refusals 4."""
    folder, out = little_fleet(tmp_path / "fleet"), str(tmp_path / "out")

    def run(*words):
        return CliRunner().invoke(main, ["report", *map(str, words), "--out", out])

    assert run(folder, "--month", "2026-11").exit_code == 4
    assert [path.name for path in (tmp_path / "out").iterdir()] == [".lock"]
    assert run(tmp_path / "nowhere").exit_code == 4
    assert run(folder, "--month", "last").exit_code == 2
    with report.runs.only_run(tmp_path / "out"):
        assert run(folder).exit_code == 5
    assert run(folder, "--month", "2026-03").exit_code == 3
    assert run(folder, "--month", "2026-03").exit_code == 0
    rows = read(folder / "repairs.csv")
    bearing = next(row for row in reversed(rows) if row["part"] == "hub bearing")
    new = {**bearing, "unit": "U09", "reason": "failure"}
    days = {"2026-03-20": "N0", "2026-03-31": "N1"}
    change(
        folder / "repairs.csv",
        [*rows, *({**new, "date": day, "order": order} for day, order in days.items())],
    )
    third = run(folder, "--month", "2026-03")
    assert third.exit_code == 3
    assert "hub bearing on U09 failed on 2026-03-20 and again on 2026-03-31" in third.output
    told = [line for line in third.output.splitlines() if line.startswith("needs a person")]
    assert all("U09" in line for line in told)
    (folder / "repairs.csv").write_text("unit,date\n", encoding="utf-8")
    assert run(folder).exit_code == 4
