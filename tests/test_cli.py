"""The command line: exit codes, one plain message, and earlier reports left as they are.

Three runs of the workbook are shared by the tests: an empty month, a fleet in which nothing ever
failed, and data that is refused.
"""

import hashlib
import json
import subprocess
import sys
from pathlib import Path

import pytest
from click.testing import CliRunner
from filelock import FileLock

import rca.causes.check
import rca.show.running.report
from rca.cli import main
from rca.show.running.report import Report
from tests.small_fleet import DEFAULT_YAML, REPAIRS, write_as_is

TITLE = "<script>alert(1)</script> & more"
NO_JUNE = REPAIRS.replace("2024-06", "2024-07")


def run(*arguments):
    """Call the command line; exit code, what it printed, and what it said on stderr."""
    found = CliRunner().invoke(main, [str(one) for one in arguments])
    return found.exit_code, found.stdout, found.stderr


def contents(folder):
    """Hash of every file below a folder, and where its links point."""
    return {
        path.relative_to(folder).as_posix(): str(path.readlink())
        if path.is_symlink()
        else hashlib.sha256(path.read_bytes()).hexdigest()
        for path in sorted(folder.rglob("*"))
        if path.is_symlink() or path.is_file()
    }


@pytest.fixture(scope="module")
def place(tmp_path_factory):
    return tmp_path_factory.mktemp("cli")


@pytest.fixture(scope="module")
def quiet_month(place):
    """Report of a month without repairs, of a fleet with a trying name."""
    yaml = DEFAULT_YAML.replace("name: Small fleet", f'name: "{TITLE}"')
    fleet = write_as_is(place / "quiet", yaml=yaml, repairs=NO_JUNE)
    out = place / "reports"
    return out, run("report", fleet, "--month", "2024-06", "--out", out)


@pytest.fixture(scope="module")
def no_failures(place):
    """Report of a fleet in which nothing failed."""
    fleet = write_as_is(place / "sound", repairs=REPAIRS.replace("failure", "planned"))
    return place / "sound_reports", run("report", fleet, "--out", place / "sound_reports")


@pytest.fixture(scope="module")
def refused(place, quiet_month):
    """A run on data that is refused, into the folder of an earlier report."""
    out = quiet_month[0]
    before = contents(out)
    changed = {"repairs": REPAIRS.replace("replaced", "swapped"), "units": "unit\nA0\nA0\n"}
    fleet = write_as_is(place / "bad", parts="part,fitted_to\npump,model ==\n", **changed)
    return before, contents(out), run("report", fleet, "--out", out)


def summary(folder):
    return json.loads((folder / "summary.json").read_text(encoding="utf-8"))


def test_an_empty_month_is_reported_and_is_no_failure(quiet_month):
    out, (code, said, errors) = quiet_month
    assert (code, "Traceback" in errors) == (0, False)
    assert said == f"report: {out.resolve() / '2024-06' / 'report.html'}\n"
    names = {path.name for path in (out / "2024-06").iterdir()}
    assert names >= {"report.html", "report.ipynb", "summary.json", "set_aside.csv"}
    assert (out / "latest").resolve() == (out / "2024-06").resolve()
    assert summary(out / "2024-06")["month"] == "2024-06"


def test_rows_read_are_rows_used_and_set_aside_in_the_summary(quiet_month):
    records = summary(quiet_month[0] / "2024-06")["records"]
    assert records["read"] == 24 == records["used"] + records["set_aside"]
    assert sum(records["set_aside_by_reason"].values()) == records["set_aside"]
    assert records["set_aside"] > 0


def test_names_from_the_records_are_text_on_the_page_and_no_code(quiet_month):
    page = (quiet_month[0] / "2024-06" / "report.html").read_text(encoding="utf-8")
    assert TITLE not in page
    assert "&lt;script&gt;alert(1)&lt;/script&gt;" in page


def test_a_fleet_without_any_failure_has_a_report(no_failures):
    out, (code, _, errors) = no_failures
    assert (code, "Traceback" in errors) == (0, False)
    found = summary(out / "latest")
    assert found["month"] == "2024-12"
    assert [part["failures"] for part in found["parts"]] in ([], [0])


def test_refused_data_ends_with_4_and_leaves_earlier_reports_alone(refused):
    before, after, (code, said, errors) = refused
    assert (code, said) == (4, "")
    assert after == before
    assert "repairs.csv, line 2, action = 'swapped': is not an allowed word" in errors
    assert "Traceback" not in errors
    assert "this should not happen" not in errors


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ("tables: [", "is not valid YAML"),
        ("tables: {repairs: ../repairs.csv}\n", "lies outside the fleet folder"),
        ("tables: {repair: repairs.csv}\n", "did you mean 'repairs'?"),
        ("tables: {repairs: gone.csv}\n", "gone.csv"),
    ],
)
def test_a_fleet_yaml_that_is_refused_writes_nothing(quiet_month, tmp_path, text, told):
    before = contents(quiet_month[0])
    fleet = write_as_is(tmp_path, files={"fleet.yaml": text})
    code, said, errors = run("report", fleet, "--out", quiet_month[0])
    assert (code, said) == (4, "")
    assert told in errors
    assert contents(quiet_month[0]) == before


def test_a_second_run_into_the_same_folder_ends_with_5(quiet_month, tmp_path):
    out = quiet_month[0]
    before = contents(out)
    with FileLock(out / ".lock"):
        code, _, errors = run("report", write_as_is(tmp_path), "--out", out)
    assert code == 5
    assert "another run is writing" in errors
    assert contents(out) == before


def test_a_folder_that_cannot_be_written_to_ends_with_1(tmp_path):
    fleet = write_as_is(tmp_path / "fleet")
    (tmp_path / "file").write_text("keep")
    for out in (tmp_path / "file", tmp_path / "file" / "below"):
        code, _, errors = run("report", fleet, "--out", out)
        assert code == 1
        assert "cannot be written to" in errors
    assert (tmp_path / "file").read_text() == "keep"


@pytest.mark.parametrize(
    "asked",
    [
        ["--month", "2024-13"], ["--month", "2024-6"], ["--month", "../up"], ["--month", "soon"],
        ["--seed", "-1"], ["--seed", "x"], ["--nonsense"], ["--month"],
    ],
)  # fmt: skip
def test_wrong_usage_ends_with_2_before_anything_is_read(tmp_path, asked):
    code, _, errors = run("report", tmp_path / "nowhere", *asked)
    assert code == 2
    assert "Error: " in errors


@pytest.mark.parametrize("asked", [["check"], ["report"], ["start"], ["chekc", "x"]])
def test_a_missing_argument_or_unknown_command_ends_with_2(asked):
    assert run(*asked)[0] == 2


def test_what_is_new_is_said_on_stderr_and_ends_with_3(monkeypatch, tmp_path):
    done = Report(tmp_path, {}, 3, ("fix new hose: effect shown became relapsed",))
    monkeypatch.setattr(rca.show.running.report, "write_report", lambda *_, **__: done)
    code, said, errors = run("report", tmp_path)
    assert (code, said) == (3, f"report: {tmp_path / 'report.html'}\n")
    assert "needs a person: fix new hose: effect shown became relapsed" in errors


@pytest.mark.parametrize("missing", ["nowhere", "file"])
def test_a_fleet_that_is_no_folder_is_refused(tmp_path, missing):
    (tmp_path / "file").write_text("x")
    for command in ("check", "report"):
        code, said, errors = run(command, tmp_path / missing)
        assert (code, said) == (4, "")
        assert missing in errors
        assert errors.count("\n") == 1


def test_check_gives_the_row_account_the_defaults_and_what_is_missing(tmp_path):
    repairs = REPAIRS.replace("2024-03-01", "2024-13-01")
    code, said, _ = run("check", write_as_is(tmp_path, repairs=repairs))
    assert code == 0
    assert "repairs: 24 read = 23 used + 1 set aside" in said
    assert "line 6 '2024-13-01'" in said
    assert "no fixes table: no verdict on fixes" in said
    assert "tables.repairs: encoding utf-8" in said


def test_check_says_what_is_blocked_and_why(tmp_path):
    code, said, _ = run("check", write_as_is(tmp_path, repairs=REPAIRS.replace("failure", "")))
    assert code == 0
    assert "Cannot be answered\n  lives: no row states its reason" in said


def test_errors_have_a_traceback_only_where_it_is_asked_for(tmp_path):
    found = CliRunner().invoke(main, ["--debug", "check", str(tmp_path / "nowhere")])
    assert type(found.exception).__name__ == "Refused"
    assert "Traceback" not in run("check", tmp_path / "nowhere")[2]


def test_a_fault_of_the_kit_itself_is_one_plain_line_and_ends_with_1(monkeypatch, tmp_path):
    def divide(folder):
        return 1 / 0

    monkeypatch.setattr(rca.causes.check, "check_text", divide)
    code, _, errors = run("check", tmp_path)
    assert code == 1
    assert errors.startswith("this should not happen: ZeroDivisionError")
    found = CliRunner().invoke(main, ["--debug", "check", str(tmp_path)])
    assert isinstance(found.exception, ZeroDivisionError)


def test_start_lays_out_a_folder_once(tmp_path):
    code, said, _ = run("start", tmp_path / "new")
    assert code == 0
    assert "rca check" in said
    code, _, errors = run("start", tmp_path / "new")
    assert code == 4
    assert "the folder is not empty" in errors


def test_help_says_every_exit_code():
    code, said, _ = run("--help")
    assert code == 0
    assert all(f"{number} " in said for number in range(6))
    assert run("--version")[0] == 0


def test_the_program_itself_passes_the_code_on(tmp_path):
    """As a scheduler calls it: a process of its own, its code, only the message on stderr."""
    command = [sys.executable, "-m", "rca.cli", "check", str(tmp_path / "nowhere")]
    root = Path(rca.__file__).parents[1]
    done = subprocess.run(command, capture_output=True, text=True, cwd=root)
    assert (done.returncode, done.stdout) == (4, "")
    assert done.stderr == (
        "nowhere: the folder does not exist  -> rca start DIR lays out a new one\n"
    )
