"""What an import guesses: encoding, delimiter, dates, numbers, columns, words and spellings."""

import zipfile
from datetime import date, timedelta

import numpy as np
import openpyxl
import pandas as pd
import pyarrow as pa
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from rca.errors import Refused
from rca.records.importing import Kind, propose
from rca.records.importing.days import read_date_order
from rca.records.importing.guessing import guess_delimiter, guess_encoding
from rca.records.importing.numerals import read_numerals
from rca.records.importing.spellings import propose_merges
from rca.records.importing.wording import side_name
from tests.records.invented_export import TODAY, faultless, with_cells, write

FEW = settings(max_examples=60, deadline=None)


@pytest.mark.parametrize(
    ("data", "encoding"),
    [
        (b"plain,text\n", "utf-8"),
        ("Kühler".encode(), "utf-8"),
        (b"\xef\xbb\xbf" + "Kühler".encode(), "utf-8"),
        ("Kühler;a\n".encode("utf-16"), "utf-16"),
        ("Kuehler;a\n".encode("utf-16-le"), "utf-16-le"),
    ],
)
def test_unicode_is_recognised_with_certainty(data, encoding):
    """Byte-order marks and valid UTF-8 leave nothing to ask."""
    guess = guess_encoding(data)
    assert (guess.value, guess.sure) == (encoding, "certain")


def test_a_code_page_is_asked_with_the_words_it_would_give():
    """The bytes alone do not tell code pages apart: the words in each are shown."""
    guess = guess_encoding("Kühler;Größe;Öldruck;überhitzt".encode("cp1252"))
    assert (guess.value, guess.sure) == ("cp1252", "asked")
    assert "Größe" in guess.examples[0]
    assert "cp850" in guess.others
    dos = guess_encoding("Kühler;Größe;Öldruck;überhitzt".encode("cp850"))
    assert (dos.value, dos.sure) == ("cp850", "asked")


def test_a_file_in_a_code_page_is_imported_as_answered(tmp_path):
    """Unanswered it is open; answered, the names read right and fleet.yaml states it."""
    frame = with_cells(faultless(), "Depot", dict.fromkeys(range(0, 300, 3), "Köln"))
    path = write(tmp_path, frame, encoding="cp1252")
    asked = propose(path, today=TODAY)
    assert [question.id for question in asked.open] == ["encoding"]
    assert asked.tables["repairs"].export is None
    with pytest.raises(Refused, match="encoding"):
        asked.fleet()
    read = asked.answer("encoding", "cp1252")
    assert read.is_complete
    assert read.fleet().repairs["Depot"].eq("Köln").sum() == 100


@pytest.mark.parametrize("mark", [",", ";", "\t", "|"])
def test_the_delimiter_is_found(mark):
    """The mark that splits every line into equally many fields wins over those inside texts."""
    rows = [f"T{n}{mark}2024-01-{n:02d}{mark}leak, again{mark}1{mark}2" for n in range(1, 20)]
    text = "\n".join([mark.join(["unit", "date", "text", "a", "b"]), *rows])
    if mark == ",":
        text = text.replace("leak, again", '"leak, again"')
    guess = guess_delimiter(text)
    assert (guess.value, guess.sure) == (mark, "certain")


def test_a_file_that_no_delimiter_splits_is_refused(tmp_path):
    """One number a line holds no columns: it is asked, and nothing is read."""
    path = tmp_path / "numbers.csv"
    path.write_text("\n".join(str(n) for n in range(100)))
    found = propose(path, today=TODAY)
    assert [question.id for question in found.open] == ["delimiter"]
    with pytest.raises(Refused):
        found.fleet()


def test_lines_above_the_names_are_skipped_and_lines_counted(tmp_path):
    """A title above the header: row numbers stay those of the file."""
    above = ["Repairs of the year", "printed by the depot"]
    path = write(tmp_path, with_cells(faultless(), "Date Opened", {0: "soon"}), above=above)
    found = propose(path, today=TODAY)
    assert found.guesses["header line"].value == "3"
    assert found.fleet().set_aside["line"].tolist() == [4]


def test_a_file_without_names_of_columns_is_refused(tmp_path):
    """Data in the first line: the person is told to put names above it."""
    path = tmp_path / "bare.csv"
    faultless().to_csv(path, index=False, header=False)
    with pytest.raises(Refused, match="names of the columns"):
        propose(path, today=TODAY)


DAYS = st.dates(min_value=date(1995, 1, 1), max_value=date(2024, 12, 31))
WRITTEN = {"day first": "%d/%m/%Y", "month first": "%m/%d/%Y", "year first": "%Y-%m-%d"}


@FEW
@given(st.lists(DAYS, min_size=1, max_size=60), st.sampled_from(list(WRITTEN)))
def test_the_date_order_is_right_or_undecided_never_wrong(days, order):
    """Dates written in one order are never read, decided, as other days."""
    texts = sorted({day.strftime(WRITTEN[order]) for day in days})
    reading = read_date_order(texts, np.arange(len(texts), dtype=np.int32))
    same = all(day.day == day.month for day in days)
    assert reading.decided == order or order in reading.orders or same
    if any(day.day > 12 for day in days) or order == "year first":
        assert reading.decided == order


def test_undecidable_dates_are_asked_once_for_the_column(tmp_path):
    """All days up to 12: both orders read every date, so the person is asked, with examples."""
    frame = faultless().drop(columns="Date Closed")
    days = [date(2022 + row // 120, 1 + row // 10 % 12, 1 + row % 10) for row in range(300)]
    path = write(tmp_path, frame.assign(**{"Date Opened": [f"{d:%d/%m/%Y}" for d in days]}))
    found = propose(path, today=TODAY)
    (question,) = found.open
    assert question.id == "date_order.date"
    assert set(question.choices) == {"day first", "month first"}
    assert question.proposed == "day first"  # so the rows follow each other by date
    assert found.tables["repairs"].checked is None
    read = found.answer("date_order.date", "day first").fleet()
    assert read.repairs["date"].dt.date.tolist() == days


def test_two_date_columns_may_have_two_orders(tmp_path):
    """The order is decided column by column, and fleet.yaml states it for each."""
    frame = faultless()
    closed = pd.to_datetime(frame["Date Closed"]).dt.strftime("%d.%m.%Y")
    found = propose(write(tmp_path, frame.assign(**{"Date Closed": closed})), today=TODAY)
    rules = found.tables["repairs"].export.rules
    assert rules.date_order == {"date": "year first", "closed": "day first"}
    assert found.fleet().repairs["closed"].notna().all()


def test_dates_without_a_day_are_refused_with_the_reason(tmp_path):
    """`Jan-23` states no day: nothing is invented."""
    frame = faultless().drop(columns="Date Closed")
    month = pd.to_datetime(frame["Date Opened"]).dt.strftime("%b-%y")
    found = propose(write(tmp_path, frame.assign(**{"Date Opened": month})), today=TODAY)
    (fault,) = found.faults_of(Kind.DATE_FORM)
    assert "no day" in fault.what
    with pytest.raises(Refused, match="no full dates"):
        found.fleet()


def test_true_dates_mixed_with_texts_are_told_and_asked(tmp_path):
    """A spreadsheet that turned some texts into dates may have swapped day and month."""
    frame = faultless(60).drop(columns="Date Closed")
    days = pd.to_datetime(frame["Date Opened"])
    cells = [d.to_pydatetime() if d.day <= 12 else d.strftime("%d/%m/%Y") for d in days]
    frame["Date Opened"] = pd.Series(cells, dtype=object)
    path = tmp_path / "export.xlsx"
    frame.to_excel(path, index=False)
    found = propose(path, today=TODAY)
    assert any("true dates" in fault.what for fault in found.faults_of(Kind.DATE_FORM))
    assert "date_order.date" in [question.id for question in found.open]


NUMBERS = st.lists(st.floats(0.01, 5e6), min_size=1, max_size=40)


@FEW
@given(NUMBERS, st.sampled_from([(".", ","), (",", "."), (".", ""), (",", ""), (",", " ")]))
def test_the_decimal_mark_is_right_or_undecided_never_wrong(numbers, style):
    """Numbers with two decimals, written in one style, vote for that style's marks only."""
    decimal, thousands = style
    texts = [
        f"{n:,.2f}".replace(",", "T").replace(".", decimal).replace("T", thousands) for n in numbers
    ]
    found = read_numerals(pa.array(texts))
    assert found.numbers == len(texts)
    assert set(found.decimals) == {decimal}
    assert set(found.thousands) <= {thousands}


@FEW
@given(st.lists(st.integers(1000, 999_999), min_size=1, max_size=20))
def test_whole_numbers_with_one_mark_are_either(numbers):
    """1.234 may be a thousand or one and a bit: it decides nothing."""
    texts = [f"{n:,}".replace(",", ".") for n in numbers]
    found = read_numerals(pa.array(texts))
    assert not found.decimals
    assert found.either["."] == len(texts)


def test_a_decimal_comma_is_read_with_its_thousands(tmp_path):
    """1.234,50 EUR in a file split by semicolons, as office programs of many countries write."""
    frame = faultless().drop(columns="Downtime Hours")
    cost = [f"{float(c) * 10:,.2f}" for c in frame["Cost"]]
    german = [c.replace(",", "T").replace(".", ",").replace("T", ".") + " EUR" for c in cost]
    found = propose(write(tmp_path, frame.assign(Cost=german), delimiter=";"), today=TODAY)
    assert found.guesses["decimal mark"].value == ","
    assert found.settings["currency"] == "EUR"
    expected = sum(round(float(c) * 10, 2) for c in frame["Cost"])
    assert found.fleet().repairs["cost"].sum() == pytest.approx(expected)


def test_an_undecidable_decimal_mark_is_asked_and_nothing_read_before(tmp_path):
    """All costs like 1.234: thousands, or three decimals?"""
    frame = faultless().drop(columns="Downtime Hours")
    cost = [f"{1 + row % 9}.{100 + row:03d}" for row in range(300)]
    found = propose(write(tmp_path, frame.assign(Cost=cost)), today=TODAY)
    assert [question.id for question in found.open] == ["decimal"]
    as_comma = found.answer("decimal", "decimal comma").fleet()
    assert as_comma.repairs["cost"].iloc[0] == 1100
    as_point = found.answer("decimal", "decimal point").fleet()
    assert as_point.repairs["cost"].iloc[0] == pytest.approx(1.1)


def test_columns_are_found_under_the_headings_of_the_trade(tmp_path):
    """Other usual headings, another order of columns: the same mapping."""
    names = {
        "Order No": "WO Number", "Unit No": "Fleet No", "Date Opened": "Repair Date",
        "Date Closed": "Date Completed", "Component": "Part Description", "Side": "Location",
        "Odometer km": "Odometer Reading", "Action": "Work Done", "Order Type": "Reason Code",
        "Failure Mode": "Defect", "Complaint": "Concern", "Cost": "Total Cost",
        "Downtime Hours": "Hours Down", "Lot": "Batch No",
    }  # fmt: skip
    plain = propose(write(tmp_path, faultless(), name="a.csv"), today=TODAY)
    renamed = faultless().rename(columns=names).iloc[:, ::-1]
    other = propose(write(tmp_path, renamed, name="b.csv"), today=TODAY)
    expected = {o: names.get(t, t) for o, t in plain.tables["repairs"].columns.items()}
    assert dict(other.tables["repairs"].columns) == expected
    assert [question.id for question in other.open] == ["meter_unit"]


def test_two_dates_that_fit_alike_are_asked(tmp_path):
    """Reported and created may both be the date of a repair."""
    frame = faultless().rename(columns={"Date Opened": "Reported On"}).drop(columns="Date Closed")
    frame = frame.assign(**{"Created On": frame["Reported On"]})
    found = propose(write(tmp_path, frame), today=TODAY)
    (question,) = found.open
    assert question.id == "columns.date"
    assert {"Reported On", "Created On"} <= set(question.choices)
    assert found.answer("columns.date", "Created On").is_complete


def test_a_column_can_be_left_out_or_named_against_the_proposal(tmp_path):
    """What is sure can still be overruled by the person."""
    found = propose(write(tmp_path, faultless()), today=TODAY)
    without = found.answer("columns.position", "leave out")
    assert "position" not in without.tables["repairs"].columns
    other = found.answer("columns.position", "Depot")
    assert set(other.fleet().repairs["position"].unique()) == {"North", "South"}


def test_words_that_stand_alone_are_read_and_codes_are_asked(tmp_path):
    """`PM` is planned work by the trade's usage; `PM01` means what its owner says."""
    frame = faultless()
    kind = ["PM" if one == "Planned" else "PM01" for one in frame["Order Type"]]
    found = propose(write(tmp_path, frame.assign(**{"Order Type": kind})), today=TODAY)
    (question,) = found.open
    assert question.id == "words.reason"
    assert {i.text: (i.proposed, i.sure) for i in question.items} == {
        "PM": ("planned", True), "PM01": ("", False),
    }  # fmt: skip
    fleet = found.answer("words.reason", {"PM01": "failure"}).fleet()
    assert fleet.repairs["reason"].value_counts()["failure"] == kind.count("PM01")


@pytest.mark.parametrize(
    ("text", "name"),
    [
        ("L/H", "Left"), ("LHS", "Left"), ("R.H.", "Right"), ("Front_Left", "Front Left"),
        ("LEFT FRONT", "Front Left"), ("near side rear", None), ("Left_Right", ""),
        ("rear inner right", "Rear Inner Right"), ("axle 2", None), ("pump", None),
    ],
)  # fmt: skip
def test_places_have_one_usual_name(text, name):
    """Words of one axis exclude each other (""); other words are no place (None)."""
    assert side_name(text) == name


MERGED = [
    ({"SHD24": 90, "SHD 24": 3, "SHD0024": 2}, "unit", {"SHD 24": "SHD24", "SHD0024": "SHD24"}),
    ({"coolant pump": 50, "pump, coolant": 3}, "part", {"pump, coolant": "coolant pump"}),
    ({"coolant pump": 50, "coolant pumps": 9}, "part", {"coolant pumps": "coolant pump"}),
    ({"aftercooler": 50, "aftercoolar": 2}, "part", {"aftercoolar": "aftercooler"}),
    ({"inlet valve": 50, "outlet valve": 2}, "part", {}),
    ({"pump 1": 50, "pump 2": 2}, "part", {}),
    ({"T101": 50, "T102": 2, "T110": 1}, "unit", {}),
    ({"mount": 50, "joint": 2}, "part", {}),
    ({"filter": 50, "filler": 49}, "part", {}),
]


@pytest.mark.parametrize(("names", "column", "merges"), MERGED)
def test_merges_are_proposed_where_names_differ_by_accident(names, column, merges):
    """Punctuation, zeros, order, plural, a letter; never figures, opposites or short words."""
    assert {m.text: m.into for m in propose_merges(names, column)} == merges


@FEW
@given(st.dictionaries(st.from_regex(r"[a-z]{3,9}( [a-z]{3,9})?( \d{1,2})?", fullmatch=True),
                       st.integers(1, 500), min_size=1, max_size=25))  # fmt: skip
def test_merges_never_chain_and_never_cross_figures(names):
    """A name that others are merged into is itself merged into none, and has their figures."""
    merges = propose_merges(names, "part")
    assert not {merge.into for merge in merges} & {merge.text for merge in merges}
    for merge in merges:
        figures = ["".join(c for c in text if c.isdigit()) for text in (merge.text, merge.into)]
        assert figures[0] == figures[1]


def test_a_stray_last_row_makes_the_cutoff_a_question(tmp_path):
    """One row a year after all others: is it the end of the records, or a slip?"""
    frame = faultless()
    last = (date.fromisoformat(frame["Date Opened"].max()) + timedelta(days=200)).isoformat()
    frame = with_cells(frame, "Date Opened", {4: last})
    frame = with_cells(frame, "Date Closed", {4: last})
    found = propose(write(tmp_path, frame), today=TODAY)
    (question,) = found.open
    assert (question.id, question.choices[0]) == ("cutoff", last)
    early = found.answer("cutoff", question.choices[1]).fleet()
    assert early.account("repairs").set_aside == 1
    assert found.answer("cutoff", last).fleet().account("repairs").set_aside == 0


def test_packed_files_and_workbooks_are_read_alike(tmp_path):
    """CSV, gzip, zip, XLSX and Parquet of one export give the same rows used."""
    frame = faultless(60)
    plain = write(tmp_path, frame)
    frame.to_csv(tmp_path / "a.csv.gz", index=False)
    with zipfile.ZipFile(tmp_path / "a.zip", "w") as archive:
        archive.write(plain, "export.csv")
    frame.to_excel(tmp_path / "a.xlsx", index=False)
    typed = frame.assign(
        **{n: pd.to_datetime(frame[n]) for n in ("Date Opened", "Date Closed")},
        Cost=frame["Cost"].astype(float),
    )
    typed.to_parquet(tmp_path / "a.parquet")
    kept = ["unit", "date", "part", "position", "meter", "action", "reason", "cost"]
    first = propose(plain, today=TODAY).fleet().repairs[kept].astype({"meter": float})
    for name in ("a.csv.gz", "a.zip", "a.xlsx", "a.parquet"):
        other = propose(tmp_path / name, today=TODAY).fleet().repairs[kept]
        pd.testing.assert_frame_equal(first, other, check_categorical=False, check_dtype=False)


@pytest.mark.parametrize("ending", ["csv", "xlsx"])
def test_names_stand_below_a_title_and_blank_lines(tmp_path, ending):
    """Lines are counted as in the file, blank ones too, so that messages name the right one."""
    frame = faultless(60).assign(Cost=["none given", *faultless(60)["Cost"][1:]])
    path = tmp_path / f"export.{ending}"
    if ending == "csv":
        write(tmp_path, frame, above=["Workshop list", "", 'made by,"A\nB"', ""])
    else:
        frame.to_excel(path, index=False, startrow=5)
        sheet = openpyxl.load_workbook(path)
        sheet.active["A1"] = "Workshop list"
        sheet.save(path)
    found = propose(path, today=TODAY)
    assert found.guesses["header line"].value == "6"
    fleet = found.fleet()
    assert fleet.account("repairs").read == 60
    assert fleet.set_aside.query("column == 'Cost'")["line"].tolist() == [7]


def test_numbers_of_a_sheet_beside_texts_with_a_comma(tmp_path):
    """A number that the sheet holds as such has no mark that could be misread."""
    frame = faultless(60)
    cost = frame["Cost"].astype(float)
    path = tmp_path / "export.xlsx"
    texts = frame["Downtime Hours"].str.replace(".", ",")
    frame.assign(Cost=cost.where(cost.index != 3), **{"Downtime Hours": texts}).to_excel(
        path, index=False
    )
    found = propose(path, today=TODAY)
    assert found.open == ()
    read = found.fleet().repairs
    assert read["cost"].drop(3).to_numpy() == pytest.approx(cost.drop(3).to_numpy())
    hours = frame["Downtime Hours"].astype(float)
    assert read["downtime_hours"].to_numpy() == pytest.approx(hours.to_numpy())


def test_a_heading_that_stands_twice_is_asked(tmp_path):
    """Two columns called Cost: nothing in the file says which one is meant."""
    frame = faultless().rename(columns={"Downtime Hours": "Cost"})
    found = propose(write(tmp_path, frame), today=TODAY)
    assert [q.id for q in found.open] == ["columns.cost"]
    (fault,) = found.faults_of(Kind.DOUBLED_HEADING)
    assert (fault.count, fault.column, fault.examples) == (1, "Cost", ("Cost.1",))
    chosen = found.answer("columns.cost", "Cost.1")
    hours = faultless()["Downtime Hours"].astype(float)
    assert chosen.fleet().repairs["cost"].to_numpy() == pytest.approx(hours.to_numpy())


def test_of_several_sheets_one_is_asked_for(tmp_path):
    """The workbook has a sheet of notes before the records."""
    path = tmp_path / "export.xlsx"
    with pd.ExcelWriter(path) as book:
        pd.DataFrame({"Notes": ["made by hand"]}).to_excel(book, sheet_name="Notes", index=False)
        faultless(60).to_excel(book, sheet_name="Repairs", index=False)
    found = propose(path, today=TODAY)
    assert [question.id for question in found.open] == ["sheet"]
    assert found.answer("sheet", "Repairs").fleet().account("repairs").read == 60


def test_an_umlaut_written_as_two_letters_is_the_same_name():
    """Kühler and Kuehler are one name; figures still keep names apart."""
    (merge,) = propose_merges({"Kühler 2": 40, "Kuehler 2": 9, "Kuehler 3": 12}, "part")
    assert (merge.text, merge.into) == ("Kuehler 2", "Kühler 2")
