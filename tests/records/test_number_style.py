"""Numbers as each fleet writes them."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from rca.records.number_style import STYLES, NumberStyle

COMMA = NumberStyle.like("1.234,5")


@pytest.mark.parametrize("sample", STYLES)
def test_each_sample_is_how_its_own_style_writes_that_number(sample):
    written = NumberStyle.like(sample).figures(1234.5, 5)
    assert written.replace("\u202f", " ") == sample


def test_figures_percentages_and_the_unknown():
    assert COMMA.figures(0.012345) == "0,0123"
    assert COMMA.whole(1234567) == "1.234.567"
    assert COMMA.percent(0.0333) == "3,3\u202f%"
    assert COMMA.p_value(0.00001) == "p < 0,001"
    assert COMMA.figures(None) == COMMA.whole(float("nan")) == "not known"
    assert COMMA.figures(-2.5) == "\u22122,50"


def test_a_sentence_keeps_dates_names_and_codes():
    said = (
        "48,843 days from 2026-03-20, ratio 0.84 (0.69 to 1.00), order W100.5x, 10.5.2 of line 27."
    )
    assert COMMA.sentence(said) == (
        "48.843 days from 2026-03-20, ratio 0,84 (0,69 to 1,00), order W100.5x, 10.5.2 of line 27."
    )
    assert COMMA.sentence("valve 2.5 fails 2.5 times", keep=["valve 2.5"]) == (
        "valve 2.5 fails 2,5 times"
    )


@given(st.text())
def test_plain_text_without_numbers_is_never_touched(text):
    if not any(sign.isdigit() for sign in text):
        assert COMMA.sentence(text) == text


@given(st.floats(1e-6, 1e9))
def test_the_sign_is_all_that_differs_between_styles(value):
    plain = NumberStyle(".", ",").figures(value)
    swapped = COMMA.figures(value)
    assert swapped.translate(str.maketrans(".,", ",.")) == plain
