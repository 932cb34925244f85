"""Fast searches in columns of text; the reader of single cells is the reference."""

import pyarrow as pa
from hypothesis import given
from hypothesis import strategies as st

from rca.records.cells import cell_text
from rca.records.text_search import is_one_of, single_blanks

TEXTS = st.lists(st.text(st.characters(codec="utf-8"), max_size=12), max_size=20)


@given(TEXTS)
def test_whole_columns_get_single_blanks_as_single_cells_do(texts):
    """The quick way through a column must agree with `cell_text` on any characters."""
    assert single_blanks(pa.array(texts, pa.string())) == [cell_text(one) for one in texts]


def test_control_characters_and_odd_blanks_are_blanks():
    odd = ["a\x0bb", "a\x1cb", " a", "a\u2003 b", "a\x85b", "plain text", ""]
    assert single_blanks(pa.array(odd)) == ["a b", "a b", "a", "a b", "a b", "plain text", ""]


@given(TEXTS)
def test_words_are_found_whatever_their_case_and_outer_blanks(texts):
    """Plain letters only: for others the reader looks at each cell itself."""
    cells = [f" {one.upper()} " for one in texts if one.isascii()] + ["n/a", " NA ", "nap"]
    found = is_one_of(pa.array(cells, pa.string()), frozenset({"na", "n/a"}))
    said = [" ".join(one.split()).lower() in ("na", "n/a") for one in cells]
    assert found.tolist()[-3:] == [True, True, False]
    assert all(f == s for f, s, one in zip(found, said, cells, strict=True) if one.isprintable())
