"""One case: the same again byte by byte, solvable, of the level that was wanted, and no leak."""

import re

import pytest

from rca.errors import RcaError
from rca.show.exercise.building import build_case, case_code
from rca.show.exercise.case_sheet import case_sheet
from rca.show.exercise.menu import right_repairs
from rca.show.exercise.scenario import SUSPECTS
from rca.show.exercise.search import BANDS, LEAST_SEPARATION, draws_of
from rca.show.exercise.setting import HIDDEN, draw_kind, draw_setting
from rca.show.exercise.suspicion import solve
from rca.show.exercise.traps import TRAPS
from tests.show.exercise.conftest import SECRET, STUDENT


def readable(case) -> dict[str, str]:
    """Everything in a student's folder that an editor shows."""
    held = {**case.files, "case_sheet.html": case_sheet(case.case).encode()}
    return {name: data.decode() for name, data in held.items() if not name.endswith(".sealed")}


def test_the_same_secret_gives_the_same_bytes(cases):
    again = build_case(SECRET, STUDENT, course="Test", kind="supply")
    assert again.files == cases["supply"].files
    assert again.key == cases["supply"].key


def test_every_student_has_another_case(cases):
    other = build_case(SECRET, "bert", kind="supply")
    mine = cases["supply"]
    assert other.case.code != mine.case.code
    assert other.files["fleet/repairs.csv"] != mine.files["fleet/repairs.csv"]
    assert case_code(SECRET, "anna") != case_code(bytes(16), "anna")


def test_every_kind_can_be_built_and_solved(cases):
    assert set(cases) == set(SUSPECTS)
    for kind, case in cases.items():
        key = case.key
        assert kind in key.guilty
        assert key.separation >= LEAST_SEPARATION
        again = solve(key.prices, key.outcomes, frozenset(key.guilty), budget=key.budget)
        assert round(again.share, 4) == key.share_of_budget
        assert again.order[-1].spent <= key.budget


def test_the_level_is_what_was_measured(cases):
    """The share of the budget that the best order spends lies in the band of the level."""
    for case in cases.values():
        low, high = BANDS[case.key.level]
        assert low <= case.key.share_of_budget <= high
    as_wanted = [case.key.level == case.key.wanted_level for case in cases.values()]
    assert sum(as_wanted) >= len(as_wanted) - 1


def test_nothing_but_the_records_and_the_sealed_clues_differs_between_kinds(cases):
    """For one student, what an editor shows of the case is the same whatever the cause.

    Fleets that were drawn at another attempt are another setting and are compared among
    themselves only.
    """
    attempts = [case.key.attempt for case in cases.values()]
    same = [case for case in cases.values() if case.key.attempt == attempts[0]]
    assert len(same) >= 5
    for name in ("case.json", "case_sheet.html", "fleet/fleet.yaml", "fleet/parts.csv"):
        assert len({readable(case)[name] for case in same}) == 1, name


def test_file_names_columns_and_sizes_tell_nothing(cases):
    shapes, heads = set(), set()
    for case in cases.values():
        sealed = {name: len(data) for name, data in case.files.items() if "sealed" in name}
        shapes.add((tuple(sorted(case.files)), tuple(sorted(sealed.items()))))
        heads.add(tuple(case.files[f"fleet/{name}.csv"].decode().partition("\n")[0]
                        for name in ("repairs", "units", "parts", "readings")))  # fmt: skip
    assert len(shapes) == 1
    assert len(heads) == 1


def test_no_word_of_the_answer_stands_in_the_student_folder(cases):
    """No secret, no seed, no trap, no truth; nothing that a program kept of its state."""
    tells = re.compile(
        r"\b(guilty|decoy|planted|seed|hmac|random state|answer key|right_repairs|outcome)\b", re.I
    )
    for case in cases.values():
        key = case.key
        for name, text in readable(case).items():
            assert not tells.search(text), name
            assert SECRET.hex() not in text
            for trap in TRAPS:
                assert trap not in text, (name, trap)
            assert key.student not in text, name
        order = [one.id for one in case.case.candidates]
        assert sorted(order) == sorted(SUSPECTS)


def test_sealed_files_hold_no_readable_text(cases):
    case = cases["supply"]
    words = [one.says.encode() for one in case.case.candidates] + [b"outside", b"failures", b"{"]
    for name, data in case.files.items():
        if name.endswith(".sealed"):
            assert not any(word in data for word in words[:-1]), name
            assert len(set(data)) > 180, name


def test_candidates_and_repairs_stand_in_an_order_that_tells_nothing():
    """The place of the guilty one in the list is spread evenly over students (drawn, not built)."""
    from rca.show.exercise.menu import candidates_of
    from rca.show.exercise.scenarios import SCENARIOS

    place = SCENARIOS["rollers"]
    first = [
        candidates_of(place, draws_of(SECRET, f"s{n}", "menu").child("candidates"))[0].id
        for n in range(400)
    ]
    counts = [first.count(name) for name in SUSPECTS]
    # Chi-square with 7 degrees of freedom stays below 24.3 with probability 0.999.
    assert sum((one - 50) ** 2 / 50 for one in counts) < 24.3


def test_kinds_are_drawn_evenly():
    kinds = [draw_kind(draws_of(SECRET, f"s{n}", "kind")) for n in range(400)]
    counts = [kinds.count(name) for name in SUSPECTS]
    assert sum((one - 50) ** 2 / 50 for one in counts) < 24.3


def test_a_named_trap_draws_a_kind_that_can_bear_it():
    kinds = {draw_kind(draws_of(SECRET, f"s{n}", "kind"), ("two causes",)) for n in range(60)}
    assert kinds == {"supply", "control", "mating"}
    with pytest.raises(RcaError, match="no case can bear"):
        draw_kind(draws_of(SECRET, "s", "kind"), ("two causes", "confounded"))


@pytest.mark.parametrize(
    "options",
    [{"level": "nightmare"}, {"kind": "moon"}, {"traps": ("sand",)},
     {"kind": "lot", "traps": ("two causes",)}],
)  # fmt: skip
def test_unknown_wishes_are_refused(options):
    with pytest.raises(RcaError):
        build_case(SECRET, "x", **options)


def test_a_short_secret_is_refused():
    with pytest.raises(RcaError, match="128 bits"):
        build_case(b"short", "x")


def test_two_causes_need_each_other():
    """Two guilty suspects; removing either one is right."""
    one = draw_setting(
        draws_of(SECRET, "s", "x"), level="hard", kind="supply", traps=("two causes",)
    )
    assert len(one.guilty) == 2
    assert right_repairs(one) == one.guilty
    assert one.partner in HIDDEN
