"""The log: every line bound to the one before, so that a change by hand is seen and placed."""

import json

import pytest
from hypothesis import given
from hypothesis import strategies as st

from rca.errors import Refused
from rca.show.exercise.log import log_text, next_step, read_log, sound_steps

CODE = "abcd-efgh-ijkl"


def steps_of(count: int):
    steps = []
    for number in range(count):
        details = {"clue": f"bench-{number}", "reason": "because, says Ünal"}
        steps.append(next_step(steps, "buy", details, code=CODE, at="2026-03-02T09:00:00Z"))
    return steps


TEXT = log_text(steps_of(6))


def test_a_log_comes_back_as_it_was_written():
    assert list(read_log(TEXT, code=CODE)) == steps_of(6)


def test_a_log_belongs_to_its_case():
    with pytest.raises(Refused, match="line 1"):
        read_log(TEXT, code="other-case-code")


@given(st.integers(0, 5), st.sampled_from(["reason", "clue", "at", "does"]), st.text(max_size=8))
def test_a_changed_value_is_seen_at_its_line(number, key, value):
    lines = [json.loads(line) for line in TEXT.splitlines()]
    if lines[number][key] == value:
        return
    lines[number][key] = value
    steps, broken = sound_steps("\n".join(json.dumps(one) for one in lines), code=CODE)
    assert len(steps) == number
    assert broken is not None
    assert broken.line == number + 1


@given(st.permutations(range(6)))
def test_moved_lines_are_seen(order):
    lines = TEXT.splitlines()
    steps, broken = sound_steps("\n".join(lines[n] for n in order), code=CODE)
    if list(order) == list(range(6)):
        assert broken is None
    else:
        first = next(n for n, one in enumerate(order) if n != one)
        assert (len(steps), broken.line) == (first, first + 1)


@given(st.integers(0, 4))
def test_a_line_taken_out_of_the_middle_is_seen(number):
    lines = TEXT.splitlines()
    del lines[number]
    assert sound_steps("\n".join(lines), code=CODE)[1] is not None


@given(st.binary(max_size=60).map(lambda raw: raw.decode("latin-1")))
def test_any_text_is_read_without_an_exception(text):
    steps, broken = sound_steps(text, code=CODE)
    assert steps == ()
    assert (broken is None) == (not text.splitlines())
