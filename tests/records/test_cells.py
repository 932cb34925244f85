"""Cells to names, numbers and days; Python's own datetime and float are the reference."""

import datetime
import decimal

import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from rca.records.cells import (
    cell_text,
    decide_order,
    is_day_number,
    may_be_thousands,
    merged_names,
    parse_days,
    parse_numbers,
    wildcard,
)


@pytest.mark.parametrize(
    ("cell", "text"),
    [
        ("  a \n b ", "a b"), ("007", "007"), (7.0, "7"), (7.5, "7.5"),
        (np.float64(1e6), "1000000"), (None, ""), (pd.NaT, ""), (pd.NA, ""), (float("nan"), ""),
        (np.int64(7), "7"),
        (datetime.datetime(2024, 1, 31), "2024-01-31"), (datetime.date(2024, 1, 31), "2024-01-31"),
        (datetime.datetime(2024, 1, 31, 5, 6), "2024-01-31T05:06:00"),
        (decimal.Decimal("1.50"), "1.50"), (True, "True"), ("a\u00a0b", "a b"),
    ],
)  # fmt: skip
def test_a_cell_is_one_line_of_text(cell, text):
    assert cell_text(cell) == text


def test_names_that_differ_in_case_take_the_most_frequent_spelling():
    assert merged_names(["Pump", "pump", "PUMP", "fan"], np.array([1, 5, 2, 1])) == [
        "pump", "pump", "pump", "fan",
    ]  # fmt: skip


@given(st.permutations(["Pump", "pump", "PUMP", "fan"]))
def test_ties_between_spellings_do_not_hang_on_row_order(texts):
    assert set(merged_names(texts, np.ones(4, dtype=np.int64))) == {"PUMP", "fan"}


@pytest.mark.parametrize(
    ("marks", "text", "number"),
    [
        ({}, "1234.5", 1234.5), ({}, "-3", -3.0), ({}, "1e3", 1000.0), ({}, "", None),
        ({}, "1,5", None), ({}, "1 234", None), ({}, "inf", None), ({}, "1e400", None),
        ({}, "0x10", None), ({}, "1_000", None), ({}, "480-", None), ({}, "EUR 5", None),
        ({"decimal": ","}, "1234,5", 1234.5), ({"decimal": ","}, "1.234", None),
        ({"decimal": ",", "thousands": "."}, "1.234,5", 1234.5),
        ({"decimal": ",", "thousands": "."}, "1234,5", 1234.5),
        ({"decimal": ",", "thousands": "."}, "12.34", None),
        ({"thousands": ","}, "12,345.6", 12345.6), ({"thousands": ","}, "1,2345", None),
        ({"thousands": " "}, "1 234 567", 1234567.0), ({"thousands": "'"}, "-1'234.5", -1234.5),
        ({"affixes": ["EUR", "€"]}, "EUR 5", 5.0), ({"affixes": ["€"]}, "5 €", 5.0),
    ],
)  # fmt: skip
def test_numbers_are_read_by_their_marks_or_not_at_all(marks, text, number):
    found = parse_numbers([text], **marks)[0]
    assert np.isnan(found) if number is None else found == number


@given(st.floats(-1e9, 1e9, allow_nan=False))
def test_every_number_that_python_writes_is_read_back(number):
    assert parse_numbers([f"{number:.4f}"])[0] == float(f"{number:.4f}")
    german = f"{number:,.2f}".translate(str.maketrans(",.", ".,"))
    assert parse_numbers([german], decimal=",", thousands=".")[0] == float(f"{number:.2f}")


@pytest.mark.parametrize(
    ("texts", "doubtful"),
    [
        (["1.234", "12.500", "2.000"], True),
        (["1.234", "12.500", "2.000", "480", ""], True),
        (["1.234", "12.500"], False),  # two are too few to tell
        (["1.234", "12.500", "2.000", "0.480"], False),  # no thousand begins with 0
        (["1.234", "12.500", "2.000", "1.5"], False),
        (["1.234", "12.500", "2.000", "4800"], False),  # thousands are written without a mark
        (["480", "500", "20"], False),
    ],
)
def test_numbers_that_may_be_thousands_are_doubted(texts, doubtful):
    assert may_be_thousands(texts).any() == doubtful


def days(*texts, order, timezone="UTC"):
    return parse_days(pd.Series(texts, dtype=object), order, timezone).tolist()


JAN31 = datetime.date(2024, 1, 31)


@pytest.mark.parametrize(
    ("order", "text"),
    [
        ("year first", "2024-01-31"), ("year first", "2024/1/31"), ("year first", "2024.01.31"),
        ("year first", "20240131"), ("year first", "2024-01-31 14:05"),
        ("year first", "2024-01-31T14:05:06.123"), ("year first", "2024-01-31T14:05:06Z"),
        ("day first", "31/01/2024"), ("day first", "31.1.2024"), ("day first", "31-01-2024"),
        ("day first", "31/01/24"), ("day first", "31-Jan-2024"), ("day first", "31 January 2024"),
        ("day first", "31.01.2024 2:05 pm"), ("month first", "01/31/2024"),
        ("month first", "1/31/24"), ("month first", "Jan 31, 2024"),
        ("month first", "1/31/2024 2:05 PM"),
    ],
)  # fmt: skip
def test_dates_are_read_in_their_order(order, text):
    assert days(text, order=order) == [JAN31]


@pytest.mark.parametrize(
    ("order", "text"),
    [
        ("year first", "2024-02-30"), ("year first", "31.01.2024"), ("year first", "452921"),
        ("year first", "2024011"), ("year first", "1899-12-31"), ("year first", "9999-12-31"),
        ("year first", "1900-01-01"), ("year first", "0001-01-01"), ("year first", "soon"),
        ("day first", "01/31/2024"), ("day first", "2024-01-31"), ("month first", "31/01/2024"),
    ],
)  # fmt: skip
def test_what_is_no_date_in_that_order_is_none(order, text):
    assert days(text, order=order) == [None]


def test_a_moment_with_a_zone_falls_on_the_fleets_own_day():
    moments = ["2024-01-31T23:30:00Z", "2024-02-01T00:30:00+02:00"]
    assert days(*moments, order="year first", timezone="Europe/Vienna") == [
        datetime.date(2024, 2, 1), datetime.date(2024, 1, 31),
    ]  # fmt: skip


FORMATS = {"year first": "%Y-%m-%d", "day first": "%d.%m.%Y", "month first": "%m/%d/%Y"}


@given(
    st.dates(datetime.date(1901, 1, 1), datetime.date(2199, 12, 31)),
    st.sampled_from(list(FORMATS)),
)
def test_every_date_that_python_writes_is_read_back(day, order):
    assert days(day.strftime(FORMATS[order]), order=order) == [day]


def decided(*texts):
    column = pd.Series(texts, dtype=object)
    return decide_order({order: parse_days(column, order, "UTC") for order in FORMATS})


def test_one_day_above_12_decides_the_order():
    assert decided("01/02/2024", "13/02/2024")[:2] == ("day first", "")
    assert decided("01/02/2024", "02/13/2024")[:2] == ("month first", "")


def test_an_undecidable_order_is_asked_for_and_never_guessed():
    _, why, step = decided("01/02/2024", "03/04/2024")
    assert why == "the date order cannot be decided: day first and month first both read every date"
    assert step == "set date_order in fleet.yaml: day first or month first"


def test_days_equal_to_their_month_need_no_decision():
    assert decided("01/01/2024", "02/02/2024")[1] == ""


def test_orders_are_never_mixed_in_one_column():
    assert (
        "no date order reads" in decided("2024-01-31", "31.01.2024", "2024-02-01", "01.02.2024")[1]
    )


def test_a_few_unreadable_dates_leave_the_order_decided():
    texts = [f"2024-01-{n:02d}" for n in range(1, 31)] + ["2024-02-30", "soon"]
    assert decided(*texts)[:2] == ("year first", "")


def test_days_as_workbooks_count_them_are_recognised():
    """45322 is 2024-01-31 where 1 is 1900-01-01 (and 1900 counts as a leap year)."""
    assert is_day_number("45322")
    assert not is_day_number("20240131")
    assert not is_day_number("12")


def test_a_star_stands_for_any_text_and_all_else_for_itself():
    assert wildcard("test*").fullmatch("TEST 12")
    assert wildcard("*").fullmatch("any thing")
    assert wildcard("a.c").fullmatch("abc") is None
    assert wildcard(" a  b ").fullmatch("a b")
