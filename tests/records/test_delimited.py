"""Delimited text to rows: every line ends up as a row or in the list of broken ones."""

import csv
import io

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from rca.records.delimited import split_text


def split(text, **options):
    return split_text(text, file="t.csv", **options)


def test_plain_rows_keep_their_text_and_line():
    found = split("a,b\n007,\n, x \n")
    assert found.frame.to_numpy().tolist() == [["007", ""], ["", " x "]]
    assert found.lines.tolist() == [2, 3]
    assert found.broken == ()


def test_a_missing_token_is_text_here_and_not_yet_missing():
    assert split("a,b\nNA,null\n").frame.to_numpy().tolist() == [["NA", "null"]]


def test_rows_of_another_length_are_broken_with_their_line_and_text():
    found = split("a,b\n1,2\n1,2,3\n4\n5,6\n")
    assert found.frame.to_numpy().tolist() == [["1", "2"], ["5", "6"]]
    assert found.lines.tolist() == [2, 5]
    assert [(one.line, one.value) for one in found.broken] == [(3, "1,2,3"), (4, "4")]
    assert found.broken[0].rule == "the row has 3 fields, the header 2"


@pytest.mark.parametrize("text", ["a,b,c\n1,2,3\n4,5\n", 'a,b,c\n1,2,3\n4,"5,6"\n'])
def test_a_row_that_is_cut_short_is_broken_and_not_filled_up(text):
    """Pandas takes the fields that are not there for blank ones."""
    found = split(text)
    assert found.frame.to_numpy().tolist() == [["1", "2", "3"]]
    assert [(one.line, one.rule) for one in found.broken] == [
        (3, "the row has 2 fields, the header 3")
    ]


def test_line_breaks_and_quotes_inside_quoted_cells_are_part_of_the_cell():
    found = split('a,b\n1,"two\nlines, ""quoted"""\n2,x\n')
    assert found.frame["b"].tolist() == ['two\nlines, "quoted"', "x"]
    assert found.lines.tolist() == [2, 4]


@pytest.mark.parametrize(
    "damaged",
    ['a,b,c\n1,2,3\n4,"5,6\n7,8,9\n10,11,12\n', 'a,b,c\n1,2,3\n4,5,"6\n7,8,9\n10,11,12\n'],
)
def test_a_quote_that_is_never_closed_costs_its_own_line_only(damaged):
    found = split(damaged)
    assert found.frame["a"].tolist() == ["1", "7", "10"]
    assert [one.line for one in found.broken] == [3]
    assert "quote" in found.broken[0].rule


def test_two_stray_quotes_do_not_swallow_the_rows_between_them():
    """A general CSV reader takes lines 2 to 4 for one row with the right number of fields."""
    damaged = 'a,b\n1,"x\n2,y\n3,"z"\n4,w\n'
    assert len(list(csv.reader(io.StringIO(damaged)))) < 5
    found = split(damaged)
    assert found.frame["a"].tolist() == ["2", "3", "4"]
    assert [one.line for one in found.broken] == [2]


def test_an_inch_mark_inside_a_cell_is_an_ordinary_character():
    assert split('a,b\n3" hose,x\n').frame["a"].tolist() == ['3" hose']


def test_nul_characters_mark_a_damaged_row_and_are_not_cut_off():
    found = split("a,b\nx\0y,1\nz,2\n")
    assert found.frame["a"].tolist() == ["z"]
    assert [one.line for one in found.broken] == [2]
    assert "NUL" in found.broken[0].rule


@pytest.mark.parametrize("ending", ["\n", "\r\n", "\r"])
def test_every_kind_of_line_end_gives_the_same_rows(ending):
    found = split(ending.join(["a,b", "1,2", "3,4", ""]))
    assert found.frame.to_numpy().tolist() == [["1", "2"], ["3", "4"]]
    assert found.lines.tolist() == [2, 3]


def test_blank_lines_and_blank_rows_are_no_records():
    found = split("a,b\n\n1,2\n,\n\n3,4\n\n\n")
    assert found.frame["a"].tolist() == ["1", "3"]
    assert found.lines.tolist() == [3, 6]
    assert found.broken == ()


def test_lines_above_the_header_are_skipped_whatever_stands_in_them():
    found = split('Report "Q1\n\na;b\n1;2\n', delimiter=";", header_line=3)
    assert found.frame.to_numpy().tolist() == [["1", "2"]]
    assert found.lines.tolist() == [4]


@pytest.mark.parametrize("text", ["", "\n", "\r\n\r\n"])
def test_text_without_a_header_has_no_columns(text):
    assert len(split(text).frame.columns) == 0


def test_repeated_and_unnamed_columns_are_told_apart_on_both_ways():
    plain, careful = split("a,a,\n1,2,3\n"), split("a,a,\n1,2,3\n4\n")
    assert plain.frame.columns.tolist() == ["a", "a.1", "Unnamed: 2"]
    assert careful.frame.columns.tolist() == ["a", "a.1", "Unnamed: 2"]


def test_a_huge_cell_is_read_whole():
    assert split(f'a,b\n1,"{"x" * 400_000}\ny"\n').frame["b"].str.len().tolist() == [400_002]


cells = st.text(st.characters(codec="utf-8", exclude_characters='\r\n\0"'), max_size=6)
tables = st.lists(st.lists(cells, min_size=3, max_size=3), max_size=6)


@given(tables, st.sampled_from(",;\t|"))
def test_what_a_csv_writer_wrote_is_read_back(rows, delimiter):
    """The standard library's writer is the reference for quoting."""
    stream = io.StringIO()
    writer = csv.writer(stream, delimiter=delimiter, lineterminator="\n")
    writer.writerows([["a", "b", "c"], *rows])
    found = split(stream.getvalue(), delimiter=delimiter)
    kept = [row for row in rows if any(row)]
    assert found.frame.to_numpy().tolist() == kept
    assert found.broken == ()


@given(st.lists(st.text(st.sampled_from('a",x '), max_size=12), max_size=12))
def test_no_line_is_lost_whatever_the_quotes(lines):
    """Each line begins a row, is broken, is blank, or lies inside a quoted cell of a sound row."""
    found = split("\n".join(["p,q", *lines]))
    inside = sum(str(cell).count("\n") for cell in found.frame.to_numpy().ravel())
    blank = sum(not line.strip(',"') for line in lines)
    covered = len(found.frame) + len(found.broken) + inside
    assert covered <= len(lines) <= covered + blank
    assert np.all(np.diff(found.lines) > 0)
