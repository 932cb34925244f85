"""Repairs that come in several files, each with columns, words and questions of its own."""

from pathlib import Path

import pandas as pd
import pytest

from rca.errors import RcaError, Refused
from rca.records import files
from rca.records.fleet import read_fleet
from rca.records.importing import Kind, import_file, propose
from rca.records.importing.answering import import_with_answers
from rca.records.lives import build_lives
from tests.records.invented_export import TODAY, faultless, write


def two_files(folder: Path, *, undecided: bool = False) -> tuple[Path, Path]:
    """Put the failures of an export into one file, its planned work into another one."""
    frame = faultless()
    failed = frame["Order Type"].eq("Breakdown")
    first = write(folder, frame[failed].drop(columns="Order Type"), name="failures.csv")
    planned = frame[~failed].drop(columns=["Order Type", "Failure Mode", "Complaint", "Lot"])
    for column in ("Date Opened", "Date Closed"):
        days = pd.to_datetime(planned[column])
        if undecided:
            days -= pd.to_timedelta((days.dt.day - 12).clip(lower=0), unit="D")
        planned[column] = days.dt.strftime("%d/%m/%Y")
    planned = planned.rename(columns={"Unit No": "Fahrzeug", "Component": "Bauteil"})
    return first, write(folder, planned, name="planned.csv", delimiter=";")


ANSWERS = {
    "all_rows": {"reason": "failure"},
    "repairs 2": {"all_rows": {"reason": "planned"}},
}


def test_each_file_is_asked_for_what_it_does_not_say(tmp_path):
    first, second = two_files(tmp_path)
    found = propose(first, further=[second], today=TODAY)
    assert [q.id for q in found.open] == ["all_rows.reason", "repairs 2.all_rows.reason"]
    assert found.question("repairs 2.all_rows.reason").text.startswith("planned.csv: ")
    assert dict(found.tables["repairs 2"].columns)["unit"] == "Fahrzeug"
    assert "planned.csv: 74 rows read as repairs" in str(found)


def test_two_files_give_what_one_gave(tmp_path):
    """Taken apart and imported again: the same repairs, the same lives, every row accounted for."""
    first, second = two_files(tmp_path)
    done = import_file(first, tmp_path / "two", further=[second], answers=ANSWERS, today=TODAY)
    whole = import_file(write(tmp_path, faultless()), tmp_path / "one", today=TODAY).fleet
    both = read_fleet(done.folder)
    assert both.account("repairs").read == both.account("repairs").used == 300
    key = ["date", "unit", "part", "position", "meter", "reason", "action", "cost", "order"]
    one, two = (
        fleet.repairs[key].astype({n: str for n in key if n not in ("date", "meter", "cost")})
        .sort_values(key, ignore_index=True)
        for fleet in (whole, both)
    )  # fmt: skip
    pd.testing.assert_frame_equal(one, two)
    lives = [build_lives(fleet).rows for fleet in (whole, both)]
    assert len(lives[0]) == len(lives[1])
    assert lives[0]["failed"].sum() == lives[1]["failed"].sum()
    assert {path.name for path in done.folder.iterdir()} == {
        "fleet.yaml", "failures.csv", "planned.csv"
    }  # fmt: skip


def test_faults_say_in_which_file_they_are(tmp_path):
    first, second = two_files(tmp_path)
    text = files.read_text(second).splitlines(keepends=True)
    files.write_text(second, "".join([*text, text[-1]]))
    found = propose(first, further=[second], today=TODAY)
    (fault,) = found.faults_of(Kind.DUPLICATE)
    assert fault.what.startswith("planned.csv: ")
    absent = {f.what for f in found.faults_of(Kind.COLUMN_ABSENT)}
    assert "planned.csv: file has no column for the mode" in absent
    assert "failures.csv: file has no column for the mode" not in absent


def test_a_date_order_that_only_one_file_leaves_open_is_asked_for_that_file(tmp_path):
    """Days up to the twelfth alone: nothing in the second file tells day from month."""
    first, second = two_files(tmp_path, undecided=True)
    found = propose(first, further=[second], answers=ANSWERS, today=TODAY)
    assert {q.id for q in found.open} == {
        "repairs 2.date_order.date", "repairs 2.date_order.closed"
    }  # fmt: skip
    assert found.guesses["failures.csv: date order of Date Opened"].value == "year first"
    with pytest.raises(Refused, match=r"repairs 2\.date_order\.date"):
        import_file(first, tmp_path / "out", further=[second], answers=ANSWERS, today=TODAY)
    for question in list(found.open):
        found = found.answer(question.id, "day first")
    assert found.is_complete
    assert found.fleet().account("repairs").read == 300


def test_answers_are_laid_out_for_both_files_and_taken_up(tmp_path):
    first, second = two_files(tmp_path)
    place, out = tmp_path / "answers.yaml", tmp_path / "fleet"
    with pytest.raises(Refused, match="laid out"):
        import_with_answers(first, out, further=[second], answers=place)
    text = files.read_text(place)
    assert "\nall_rows.reason: \n" in text
    for line, answer in (("all_rows", "failure"), ("repairs 2.all_rows", "planned")):
        text = text.replace(f"\n{line}.reason: \n", f"\n{line}.reason: {answer}\n")
    files.write_text(place, text)
    done = import_with_answers(first, out, further=[second], answers=place)
    assert done.fleet.repairs["reason"].astype(str).value_counts().to_dict() == (
        faultless()["Order Type"].map({"Breakdown": "failure", "Planned": "planned"})
        .value_counts().to_dict()
    )  # fmt: skip


def test_a_result_needs_what_it_rests_on_in_every_file(tmp_path):
    """Failures are known of the first file only: lives stay off until the second one says."""
    first, second = two_files(tmp_path)
    half = {"all_rows": {"reason": "failure"}}
    found = propose(first, further=[second], answers=half, today=TODAY)
    lives = next(one for one in found.answerable if one.result == "lives of parts in days")
    assert not lives.possible
    found = found.answer("repairs 2.all_rows.reason", "planned")
    assert next(o for o in found.answerable if o.result == "lives of parts in days").possible


def test_too_many_files_are_refused(tmp_path):
    first, second = two_files(tmp_path)
    with pytest.raises(RcaError, match="are the most"):
        propose(first, further=[second] * 9, today=TODAY)


def test_failures_and_replacements_of_the_open_sample_become_one_table(open_data, tmp_path):
    """Published counts of the set: 761 failures, 3286 replacements, 743 of them at a failure.

    A replacement that is not at a failure is planned (notes of the set): 2543, those at the hour
    of no failure; a failure and its replacement on one day are one repair, and the failure wins.
    """
    place = open_data / "predictive_sample"
    answers = {
        "columns": {"part": "failure"},
        "all_rows": {"action": "replaced", "reason": "failure"},
        "repairs 2": {"all_rows": {"action": "replaced", "reason": "planned"}},
    }
    done = import_file(
        place / "PdM_failures.csv", tmp_path / "fleet", further=[place / "PdM_maint.csv"],
        units=place / "PdM_machines.csv", answers=answers, today=TODAY,
    )  # fmt: skip
    fleet = read_fleet(done.folder)
    account = fleet.account("repairs")
    assert (account.read, account.used) == (761 + 3286, 761 + 3286)
    by_reason = fleet.repairs["reason"].astype(str).value_counts().to_dict()
    assert by_reason == {"planned": 3286, "failure": 761}
    key = fleet.repairs[["unit", "part", "date"]].astype(str).agg(" ".join, axis=1)
    failed = set(key[fleet.repairs["reason"].eq("failure")])
    planned = key[fleet.repairs["reason"].eq("planned")]
    assert int(planned.isin(failed).sum()) == 743
    ended = build_lives(fleet).rows["ended_by"].astype(str).value_counts()
    assert ended["planned"] <= 3286 - 743
    assert ended["failure"] <= len(failed)
