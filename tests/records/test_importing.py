"""Imports from end to end: two public exports as a user would, answers, refusals, round trips.

The public exports are read where RCA_OPEN_DATA names a folder; what the import says of them is
counted again here with plain pandas, and checked against the counts published beside the sets.
"""

import tempfile
from datetime import date
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from rca.errors import NotWritten, RcaError, Refused
from rca.records import files
from rca.records.fleet import read_fleet
from rca.records.importing import (
    Kind,
    answers_text,
    import_file,
    propose,
    read_answers,
    write_fleet_folder,
)
from tests.records.invented_export import TODAY, faultless, with_cells, write

# PM01 is ordinary repair, PM02 planned change-outs, PM06 accident damage: read off the set's texts.
EXCAVATOR_ANSWERS = {
    "several": {"part": "set aside", "position": "set aside", "mode": "not stated",
                "system": "not stated"},
    "words": {
        "reason": {"PM01": "failure", "PM02": "planned", "PM06": "accident", "PM04": "other",
                   "PM05": "other", "PM13": "other"},
        "action": {
            "CM": "not stated", "Minor Maint": "not stated", "Modify": "not stated",
            "Administration": "not stated", "CM_Minor Maint": "not stated",
            "Minor Maint_Modify": "not stated", "Minor Maint_Repair": "repaired",
            "CM_Repair": "repaired", "Modify_Repair": "repaired", "CM_Replace": "replaced",
            "Minor Maint_Replace": "replaced", "Administration_Replace": "replaced",
            "Modify_Replace": "replaced", "Repair_Replace": "replaced",
            "Minor Maint_Repair_Replace": "replaced", "Modify_Repair_Replace": "replaced",
        },
    },
    "cutoff": "2011-12-01",
    "merge": {"position": "all"},
}  # fmt: skip


@pytest.fixture(scope="module")
def excavator(open_data) -> Path:
    """Work orders of mining excavators (public; four of the five machines)."""
    return open_data / "excavator_work_orders" / "excavator_work_orders.csv"


@pytest.fixture(scope="module")
def raw(excavator) -> pd.DataFrame:
    """The same file by plain pandas, the one shifted row left out."""
    frame = pd.read_csv(excavator, dtype=str, keep_default_na=False, index_col=False)
    return frame[frame["Unnamed: 16"] == ""].drop(columns="Unnamed: 16")


@pytest.fixture(scope="module")
def asked(excavator):
    """The first proposal, nothing answered."""
    return propose(excavator, today=TODAY)


FEW = settings(
    max_examples=6, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
)


def one(proposal, kind: Kind, column: str = ""):
    """Return the only fault of a kind (in one column)."""
    (fault,) = [f for f in proposal.faults_of(kind) if not column or f.column == column]
    return fault


def test_excavator_columns_and_date_order_are_found(asked):
    """The mapping that the set's notes give, and D/M/Y as the only order that reads the dates."""
    assert dict(asked.tables["repairs"].columns) == {
        "unit": "Asset", "date": "Date", "part": "Part", "position": "Location",
        "action": "Action", "reason": "PMType", "mode": "FM", "complaint": "OriginalShorttext",
        "cost": "Cost", "system": "MajorSystem",
    }  # fmt: skip
    assert asked.guesses["date order of Date"].value == "day first"
    assert asked.guesses["date order of Date"].sure == "certain"


def test_excavator_running_time_is_recognised_as_no_meter(asked, raw):
    """Published: nearly all RunningTime values are the days since the row above."""
    days = pd.to_datetime(raw["Date"], format="%d/%m/%Y").groupby(raw["Asset"]).diff().dt.days
    told = pd.to_numeric(raw["RunningTime"], errors="coerce")
    both = told.notna() & days.notna()
    fault = one(asked, Kind.MISNAMED, "RunningTime")
    assert f"{int((told[both] == days[both]).sum())} of {int(both.sum())} values" in fault.what
    assert fault.blocked == "meter lives"


def test_excavator_faults_are_counted_as_plain_pandas_counts_them(asked, raw):
    """Blanks, spreadsheet errors, joined cells, zero and negative costs, cut texts, shifted row."""
    assert one(asked, Kind.SHIFTED_ROW).count == 1
    assert one(asked, Kind.BLANK_WORDS).count == int((raw == "NA").sum().sum())
    assert one(asked, Kind.SPREADSHEET_ERROR).count == 81  # published, too
    assert int(raw["FuncLocation"].eq("#NAME?").sum()) == 81
    for column in ("Part", "FM", "MajorSystem"):
        joined = int(raw[column].str.contains("_").sum())
        assert one(asked, Kind.SEVERAL_VALUES, column).count == joined
    assert one(asked, Kind.ZERO_COST).count == int(raw["Cost"].eq("0").sum())
    below = pd.to_numeric(raw["Cost"]).lt(0) & raw["Part"].ne("NA")
    assert one(asked, Kind.NEGATIVE_COST).count == int(below.sum())
    long = int(raw["OriginalShorttext"].str.strip().str.len().eq(40).sum())
    assert one(asked, Kind.TEXT_CUT).count == long


def test_excavator_words_are_asked_with_their_counts(asked, raw):
    """Codes such as PM01 and words such as Minor Maint are not the trade's: they are asked."""
    reason = {item.text: item.count for item in asked.question("words.reason").items}
    assert reason == raw["PMType"].value_counts().to_dict()
    action = asked.question("words.action")
    assert {i.text: i.proposed for i in action.items if i.sure} == {
        "Replace": "replaced", "Repair": "repaired",
    }  # fmt: skip
    assert {q.id for q in asked.open} == {
        "several.part", "several.position", "several.mode", "several.system", "words.action",
        "words.reason", "cutoff",
    }  # fmt: skip


def test_excavator_import_refuses_until_everything_is_answered(excavator, tmp_path):
    """Every open question is listed with the line that answers it; nothing is written."""
    with pytest.raises(Refused) as caught:
        import_file(excavator, tmp_path / "fleet", today=TODAY)
    assert caught.value.exit_code == 4
    named = {problem.column for problem in caught.value.problems}
    assert {"several.part", "words.reason", "cutoff"} <= named
    assert all("answers file" in problem.next_step for problem in caught.value.problems)
    assert not (tmp_path / "fleet").exists()


def test_excavator_round_trip_gives_the_counts_that_the_proposal_said(excavator, raw, tmp_path):
    """The written folder, read by the fleet reader, accounts for every row in the same way."""
    done = import_file(excavator, tmp_path / "fleet", answers=EXCAVATOR_ANSWERS, today=TODAY)
    again = read_fleet(done.folder)
    said, read = done.fleet.account("repairs"), again.account("repairs")
    assert (said.read, said.set_aside) == (read.read, read.set_aside)
    assert read.read == len(raw) + 1
    assert read.used + read.set_aside == read.read
    pd.testing.assert_frame_equal(done.fleet.repairs, again.repairs)
    assert again.blocked == done.fleet.blocked
    assert "money" in dict(again.blocked)
    by_reason = again.repairs["reason"].value_counts()
    kept = raw["Part"].ne("NA") & ~raw["Part"].str.contains("_")
    kept &= ~raw["Location"].isin(["Left_Right", "Front_Rear", "Front_Rear_Right",
                                   "Front_Left_Rear_Right", "Front_Left_Rear",
                                   "Front_Left_Right"])  # fmt: skip
    rows = raw[kept].drop_duplicates()
    rows = rows[rows["Date"].ne("13/12/2012")]
    assert by_reason["accident"] == rows["PMType"].eq("PM06").sum()
    assert by_reason["planned"] == rows["PMType"].eq("PM02").sum()
    assert by_reason["failure"] == rows["PMType"].eq("PM01").sum()


PREDICTIVE_ANSWERS = {
    "columns": {"part": "failure"},
    "all_rows": {"action": "replaced", "reason": "failure"},
}


def test_predictive_failures_with_their_unit_list(open_data, tmp_path):
    """Published counts of the simulated sample: failures by part, machines without one."""
    place = open_data / "predictive_sample"
    done = import_file(
        place / "PdM_failures.csv", tmp_path / "fleet", units=place / "PdM_machines.csv",
        answers=PREDICTIVE_ANSWERS, today=TODAY,
    )  # fmt: skip
    fleet = read_fleet(done.folder)
    assert fleet.account("repairs").read == 761
    assert fleet.account("units").read == 100
    assert fleet.repairs["part"].astype(str).value_counts().to_dict() == {
        "comp2": 259, "comp1": 192, "comp4": 179, "comp3": 131,
    }  # fmt: skip
    assert len(set(fleet.units["unit"]) - set(fleet.repairs["unit"])) == 2
    (survivors,) = done.proposal.faults_of(Kind.NO_RUNNING_UNITS)
    assert survivors.count == 2
    assert fleet.repairs["reason"].eq("failure").all()


def test_predictive_replacements_lie_on_a_grid_of_days(open_data):
    """Published: 2220 of 2886 gaps of one part are multiples of 15 days."""
    found = propose(open_data / "predictive_sample" / "PdM_maint.csv", today=TODAY)
    fault = one(found, Kind.HEAPED)
    assert (fault.count, fault.of) == (2220, 2886)
    assert "15 days" in fault.what
    assert {q.id for q in found.open} == {"all_rows.action", "all_rows.reason"}


def test_a_unit_list_is_not_taken_for_repairs(open_data):
    """The machines table has no dates: it is refused as repairs, and says what it is for."""
    with pytest.raises(Refused, match="list of units"):
        propose(open_data / "predictive_sample" / "PdM_machines.csv", today=TODAY)


def test_a_faultless_export_needs_no_answer(tmp_path):
    """Headings and words of the trade: imported without a question, fleet.yaml states it all."""
    done = import_file(write(tmp_path, faultless()), tmp_path / "fleet", today=TODAY)
    assert done.fleet.account("repairs").used == 300
    text = (done.folder / "fleet.yaml").read_text()
    for line in ("date_order: year first", "meter_unit: km", "Breakdown: failure"):
        assert line in text
    assert read_fleet(done.folder).settings.meter_unit == "km"


def test_units_missing_from_the_list_and_survivors_are_counted(tmp_path):
    """Repairs of a unit that the list does not know are set aside; units without one are kept."""
    units = pd.DataFrame(
        {"Fleet No": [f"T{n}" for n in (*range(101, 120), 130, 131)], "Commissioned": "2021-05-03"}
    )
    export = faultless()
    missing = int(export["Unit No"].eq("T120").sum())
    found = propose(
        write(tmp_path, export), units=write(tmp_path, units, name="units.csv"), today=TODAY
    )
    assert one(found, Kind.NOT_IN_LIST).count == missing > 0
    assert one(found, Kind.NO_RUNNING_UNITS).count == 2
    fleet = write_fleet_folder(found, tmp_path / "fleet").fleet
    assert fleet.account("repairs").set_aside == missing
    assert len(fleet.watch) == 21
    assert {one.result: one.possible for one in found.answerable}["rates by unit and of the fleet"]


def test_questions_of_a_further_table_carry_its_name(tmp_path):
    """`units: {columns: ...}` answers for the unit list; its dates have their own order."""
    days = [f"{1 + n % 12:02d}/{1 + n % 9:02d}/2021" for n in range(20)]
    units = pd.DataFrame({"Fleet No": [f"T{n}" for n in range(101, 121)], "Bought": days})
    files_ = {"path": write(tmp_path, faultless()), "units": write(tmp_path, units, name="u.csv")}
    plain = propose(**files_, today=TODAY)
    assert plain.open == ()
    assert "in_service" not in plain.tables["units"].columns
    answers = {"units": {"columns": {"in_service": "Bought"}}}
    asked = propose(**files_, answers=answers, today=TODAY)
    assert [question.id for question in asked.open] == ["units.date_order.in_service"]
    answers["units"]["date_order"] = {"in_service": "month first"}
    fleet = import_file(**files_, out=tmp_path / "fleet", answers=answers, today=TODAY).fleet
    assert fleet.units["in_service"].dt.strftime("%m/%d/%Y").tolist() == days


def test_readings_give_the_meter_its_unit(tmp_path):
    """A separate table of readings is mapped, and its heading says what it counts."""
    export = faultless().drop(columns="Odometer km")
    readings = pd.DataFrame({"Unit": "T101", "Date": ["2022-04-01", "2022-05-01"],
                             "Engine Hours": ["100", "180"]})  # fmt: skip
    found = propose(
        write(tmp_path, export), readings=write(tmp_path, readings, name="hours.csv"), today=TODAY
    )
    assert found.settings["meter_unit"] == "hours"
    assert found.fleet().readings["meter"].tolist() == [100, 180]


def test_answers_are_checked(tmp_path):
    """A wrong choice, an unknown question and an unknown word each say what is allowed."""
    frame = faultless().assign(**{"Order Type": "X9"})
    found = propose(write(tmp_path, frame), today=TODAY)
    with pytest.raises(RcaError, match="not allowed") as caught:
        found.answer("words.reason", {"X9": "failed"})
    assert "failure" in caught.value.next_step
    with pytest.raises(RcaError, match="not asked about"):
        found.answer("words.reason", {"X8": "failure"})
    with pytest.raises(RcaError, match="no question"):
        found.answer("words.raeson", {"X9": "failure"})
    with pytest.raises(Refused, match="not asked"):
        propose(found.path, answers={"wrods": {"reason": {}}}, today=TODAY)
    with pytest.raises(RcaError, match="no answer"):
        propose(found.path, answers={"zero_cost": "cheap", "cutoff": "2024-13-01"}, today=TODAY)


def test_a_proposal_never_changes(tmp_path):
    """Answering gives a new proposal; the old one still asks."""
    frame = faultless().assign(**{"Order Type": "X9"})
    found = propose(write(tmp_path, frame), today=TODAY)
    answered = found.answer("words.reason", {"X9": "failure"})
    assert [question.id for question in found.open] == ["words.reason"]
    assert answered.open == ()
    assert answered.answers["words.reason"] == {"X9": "failure"}


def test_the_answers_file_lists_what_is_open_and_can_be_filled_in(tmp_path):
    """Its blank lines answer nothing; filled in, the import goes through."""
    frame = with_cells(faultless(), "Order Type", {3: "X9", 4: "X8"})
    path = write(tmp_path, frame)
    text = answers_text(propose(path, today=TODAY))
    (tmp_path / "answers.yaml").write_text(text)
    blank = read_answers(tmp_path / "answers.yaml")
    with pytest.raises(Refused, match=r"words\.reason"):
        import_file(path, tmp_path / "fleet", answers=blank, today=TODAY)
    filled = text.replace("'X9': ", "'X9': failure").replace("'X8': ", "'X8': other")
    (tmp_path / "answers.yaml").write_text(filled)
    answers = read_answers(tmp_path / "answers.yaml")
    done = import_file(path, tmp_path / "fleet", answers=answers, today=TODAY)
    assert done.fleet.repairs["reason"].iloc[[3, 4]].tolist() == ["failure", "other"]


def test_an_import_never_changes_a_folder_that_exists(tmp_path):
    """The second import into the same folder is refused; the first stays as it was."""
    path = write(tmp_path, faultless())
    done = import_file(path, tmp_path / "fleet", today=TODAY)
    before = files.sha256(done.folder / "fleet.yaml")
    with pytest.raises(NotWritten, match="exists already"):
        import_file(path, tmp_path / "fleet", today=TODAY)
    assert files.sha256(done.folder / "fleet.yaml") == before


@pytest.mark.parametrize(
    ("content", "rule"),
    [(b"", "empty"), (b"Unit No,Date Opened,Component\n", "no rows")],
)
def test_files_without_rows_are_refused(tmp_path, content, rule):
    """An empty file and a lone header say so."""
    path = tmp_path / "export.csv"
    path.write_bytes(content)
    with pytest.raises(Refused, match=rule):
        propose(path, today=TODAY)


def test_a_missing_file_and_an_unknown_kind_are_refused(tmp_path):
    """One clear message each."""
    with pytest.raises(Refused, match="does not exist"):
        propose(tmp_path / "nothing.csv")
    other = tmp_path / "export.pdf"
    other.write_bytes(b"%PDF")
    with pytest.raises(Refused, match="unknown kind"):
        propose(other)


@FEW
@given(seed=st.integers(0, 10_000), order=st.randoms(use_true_random=False))
def test_shuffled_rows_change_no_count(tmp_path, seed, order):
    """Row order never matters but for the fault that tells it, and for which row is "first"."""
    frame = faultless(80, seed=seed)
    frame = with_cells(frame, "Unit No", {1: "POOL", 2: ""})
    frame = with_cells(frame, "Cost", {5: "0", 6: "-3.00"})
    frame = pd.concat([frame, frame.iloc[[7]]], ignore_index=True)
    rows = list(range(len(frame)))
    order.shuffle(rows)
    found = [propose(write(tmp_path, one), today=TODAY) for one in (frame, frame.iloc[rows])]
    left_out = (Kind.NOT_IN_ORDER, Kind.CLOSE_EVENTS)
    counts = [
        sorted((f.kind, f.column, f.count) for f in one.faults if f.kind not in left_out)
        for one in found
    ]
    assert counts[0] == counts[1]
    assert found[0].fleet().accounts == found[1].fleet().accounts


@FEW
@given(seed=st.integers(0, 10_000))
def test_any_injected_mixture_survives_the_round_trip(tmp_path, seed):
    """Random faults: the folder read back accounts for the rows exactly as the proposal did."""
    rng = np.random.default_rng(seed)
    frame = faultless(80, seed=seed)
    cells = {"Unit No": ["POOL", "", "NA"], "Date Opened": ["soon", "2099-01-01", ""],
             "Cost": ["0", "abc", "-1"], "Side": ["-", "L/H"], "Component": ["", "brake  pad"],
             "Odometer km": ["-5", "1111", ""]}  # fmt: skip
    for column, bad in cells.items():
        rows = rng.choice(80, len(bad), replace=False)
        frame = with_cells(frame, column, dict(zip(map(int, rows), bad, strict=True)))
    found = propose(write(tmp_path, frame), today=TODAY)
    assert found.open == ()
    folder = Path(tempfile.mkdtemp(dir=tmp_path)) / "fleet"
    written = write_fleet_folder(found, folder)
    again = read_fleet(folder)
    assert again.accounts == written.fleet.accounts
    pd.testing.assert_frame_equal(again.set_aside, written.fleet.set_aside)
    assert again.account("repairs").read == 80
    assert again.cutoff <= date(2025, 6, 1)


CELL = st.one_of(
    st.sampled_from(["", "NA", "0", "T1", "2024-01-05", "05/06/2024", "1,5", "1.234", "leak", "a_b",
                     "replaced", '"', "\n", "é", "12 km", "$5", "failure"]),
    st.text(max_size=6),
)  # fmt: skip
HEADINGS = ["Unit", "Date", "Part", "Side", "Cost", "Action", "Type", "Odometer", "Text", "Status"]


def in_words(path: Path) -> str:
    """Return what is said of a file: the proposal with its row account, or the kit's refusal."""
    try:
        found = propose(path, today=TODAY)
        said = f"{found}\n{answers_text(found)}"
        if found.is_complete:
            account = found.fleet().account("repairs")
            assert account.read == account.used + account.set_aside
    except RcaError as error:
        return error.message
    return said


@settings(
    max_examples=40, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
)
@given(rows=st.lists(st.lists(CELL, min_size=10, max_size=10), max_size=6))
def test_any_table_is_proposed_or_refused_in_words(tmp_path, rows):
    """Whatever the cells hold, the answer is a proposal or one of the kit's own errors."""
    path = tmp_path / "export.csv"
    pd.DataFrame(rows, columns=HEADINGS, dtype=str).to_csv(path, index=False)
    assert in_words(path)


@settings(
    max_examples=40, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
)
@given(data=st.binary(max_size=200))
def test_any_bytes_are_proposed_or_refused_in_words(tmp_path, data):
    """A file that is no table at all ends in words, not in a traceback."""
    path = tmp_path / "export.csv"
    path.write_bytes(data)
    assert in_words(path)
