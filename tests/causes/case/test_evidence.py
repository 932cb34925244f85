"""Evidence judged anew, links standing on it, and what changed since the last run."""

from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from rca.causes.case.assessment import assess
from rca.causes.case.entries import PROBLEM, Link
from rca.causes.case.evidence import (
    Standing,
    judge_evidence,
    link_support,
)
from rca.causes.case.investigation import Investigation
from rca.causes.case.support import Support
from tests.cases import case_of, causes, rich_case
from tests.small_fleet import small_fleet

METER = {
    "m": {"quantity": "drop", "unit": "V", "at_most": 0.2, "limit_source": "s",
          "standard_uncertainty": 0.01, "as_found": {"reading": 0.5}, "after": {"reading": 0.1}},
}  # fmt: skip


def one_link(*evidence: dict[str, Any], **more: Any) -> Investigation:
    """Cause a -> problem, with evidence that is for it unless it says otherwise."""
    held = {f"e{n}": {"kind": "measured", "shows": "s"} | one for n, one in enumerate(evidence)}
    for one in held.values():
        if "against" not in one:
            one["for"] = "a"
    return case_of(problem={"because": "a"}, causes=causes(a=""), evidence=held, **more)


def state_of(case: Investigation) -> Support:
    return link_support(case, judge_evidence(case))[Link("a", PROBLEM)].state


def test_measured_or_recorded_supports_told_does_not() -> None:
    """At least one measured or recorded item, else the link is unsupported."""
    assert state_of(one_link({})) is Support.SUPPORTED
    assert state_of(one_link({"kind": "recorded"})) is Support.SUPPORTED
    weak = one_link({"kind": "told"}, {"kind": "observed"})
    assert state_of(weak) is Support.UNSUPPORTED
    support = link_support(weak, judge_evidence(weak))
    assert "only told and observed" in support[Link("a", PROBLEM)].reason
    assert state_of(one_link()) is Support.UNSUPPORTED


def test_sound_evidence_against_contradicts() -> None:
    """One sound item against outweighs those for; a told one does not."""
    assert state_of(one_link({}, {"against": "a"})) is Support.CONTRADICTED
    assert state_of(one_link({}, {"kind": "told", "against": "a"})) is Support.SUPPORTED


@pytest.mark.parametrize(
    ("reading", "standing", "state"),
    [
        (0.5, Standing.HOLDS, Support.SUPPORTED),
        (0.1, Standing.FAILS, Support.UNSUPPORTED),
        (0.205, Standing.NOT_PROVED, Support.UNSUPPORTED),
        ("no reading", Standing.NOT_CHECKED, Support.NOT_CHECKED),
    ],
)
def test_link_follows_its_reading(reading: Any, standing: Standing, state: Support) -> None:
    """A link stands while its reading proves the point, and the reason tells when not."""
    meter = {"m": METER["m"] | {"as_found": {"reading": reading}}}
    case = one_link({"measurement": "m", "proves": "outside limit"}, measurements=meter)
    judged = judge_evidence(case)
    assert judged["e0"].standing is standing
    found = link_support(case, judged)[Link("a", PROBLEM)]
    assert found.state is state
    assert "drop as found" in found.reason


def test_reading_after_the_work_is_another_reading() -> None:
    """Evidence may stand on the reading after instead of the one as found."""
    case = one_link(
        {"measurement": "m", "when": "after", "proves": "inside limit"}, measurements=METER
    )
    assert judge_evidence(case)["e0"].standing is Standing.HOLDS


def test_guard_factor_of_the_file_is_used() -> None:
    """0.205 V is 0.5 standard uncertainties outside: proved only with a factor below that."""
    meter = {"m": METER["m"] | {"as_found": {"reading": 0.205}}}
    case = one_link({"measurement": "m", "proves": "outside limit"}, measurements=meter)
    assert judge_evidence(case)["e0"].standing is Standing.NOT_PROVED
    loose = replace(case, guard_factor=0.4)
    assert judge_evidence(loose)["e0"].standing is Standing.HOLDS


def test_single_link_may_be_named() -> None:
    """Evidence for 'x -> a' says nothing of 'x -> b'."""
    case = case_of(
        problem={"because": {"all": ["a", "b"]}},
        causes=causes(a="x", b="x", x=""),
        evidence={"e": {"kind": "measured", "shows": "s", "for": "x -> a"}},
    )
    support = link_support(case, judge_evidence(case))
    assert support[Link("x", "a")].state is Support.SUPPORTED
    assert support[Link("x", "b")].state is Support.UNSUPPORTED


def test_claim_and_record_are_looked_up_in_the_fleet(tmp_path: Path) -> None:
    """The same file with and without records: not checked, then computed."""
    units = "unit, in_service, duty\n" + "\n".join(
        f"U{n}, 2023-12-01, {'quarry' if n <= 3 else 'road'}" for n in range(12)
    )
    rows = [f"U{n % 4}, 2024-{1 + n % 12:02d}-0{1 + n % 7}, pump, replaced, failure, leaks"
            for n in range(24)]  # fmt: skip
    repairs = "unit, date, part, action, reason, mode\n" + "\n".join(rows)
    fleet = small_fleet(tmp_path / "f", units=units, repairs=repairs)
    case = one_link(
        {"kind": "recorded", "claim": {"units": 'duty = "quarry"', "times": 4}},
        {"kind": "recorded", "record": 'unit = "U1" and mode = "leaks"'},
        {"kind": "recorded", "record": 'unit = "U9"'},
        {"kind": "recorded", "record": 'colour = "red"'},
        part="pump",
    )
    alone = judge_evidence(case)
    assert [one.standing for one in alone.values()] == [
        Standing.NOT_CHECKED, Standing.HOLDS, Standing.HOLDS, Standing.HOLDS
    ]  # fmt: skip
    judged = judge_evidence(case, fleet=fleet)
    assert [one.standing for one in judged.values()] == [
        Standing.HOLDS, Standing.HOLDS, Standing.FAILS, Standing.NOT_CHECKED
    ]  # fmt: skip
    assert judged["e0"].ratio.exposed.failures == 24
    assert "4 times when it was written" in judged["e0"].reason
    assert "no repair row" in judged["e2"].reason
    assert "colour" in judged["e3"].reason


def test_claim_must_clear_its_bound(tmp_path: Path) -> None:
    """Equal rates: more is not proved, thrice fails, under thrice holds, under a third fails."""
    units = "unit, in_service, duty\n" + "\n".join(
        f"U{n}, 2023-12-01, {'quarry' if n % 2 else 'road'}" for n in range(40)
    )
    rows = [f"U{n}, 2024-0{1 + n % 9}-11, pump, repaired, failure, x" for n in range(40)]
    fleet = small_fleet(
        tmp_path / "f", units=units,
        repairs="unit, date, part, action, reason, mode\n" + "\n".join(rows),
    )  # fmt: skip
    claims = ({}, {"ratio_above": 3}, {"ratio_below": 3}, {"ratio_below": 0.3})
    case = one_link(
        *({"kind": "recorded", "claim": {"units": 'duty = "quarry"'} | one} for one in claims),
        part="pump",
    )
    standings = [one.standing for one in judge_evidence(case, fleet=fleet).values()]
    assert standings == [Standing.NOT_PROVED, Standing.FAILS, Standing.HOLDS, Standing.FAILS]


def test_mode_of_the_case_is_the_default_of_its_claims(tmp_path: Path) -> None:
    """A claim counts the case's own mode unless it names another, or all."""
    units = "unit, in_service, duty\nA, 2023-12-01, q\nB, 2023-12-01, r"
    repairs = """
    unit, date, part, action, reason, mode
    A, 2024-02-01, pump, repaired, failure, leaks
    A, 2024-03-01, pump, repaired, failure, noisy
    B, 2024-04-01, pump, repaired, failure, leaks
    """
    fleet = small_fleet(tmp_path / "f", units=units, repairs=repairs)
    case = one_link(
        {"kind": "recorded", "claim": {"units": 'duty = "q"'}},
        {"kind": "recorded", "claim": {"units": 'duty = "q"', "mode": "all"}},
        part="pump",
        mode="leaks",
    )
    judged = judge_evidence(case, fleet=fleet)
    assert [one.ratio.exposed.failures for one in judged.values()] == [1, 2]


def test_survey_holds_where_the_cause_is_commoner_on_failed_units() -> None:
    """8 of 9 against 1 of 12 holds; 5 of 9 against 6 of 12 does not; its reverse can be asked."""

    def survey(seen: int, good: int, **bound: float) -> dict[str, Any]:
        counts = {"failed": {"seen": seen, "of": 9}, "not_failed": {"seen": good, "of": 12}}
        return {"survey": counts | bound}

    case = one_link(survey(8, 1), survey(5, 6), survey(5, 6, ratio_below=20))
    standings = [one.standing for one in judge_evidence(case).values()]
    assert standings == [Standing.HOLDS, Standing.NOT_PROVED, Standing.HOLDS]


def test_test_result_is_evidence_once_it_is_there() -> None:
    """Not done: not checked; done as claimed: holds; done otherwise: does not hold."""
    for done, standing in (
        ({}, Standing.NOT_CHECKED),
        ({"done": {"result": "fail"}}, Standing.HOLDS),
        ({"done": {"result": "pass"}}, Standing.FAILS),
    ):
        test = {"t": {"does": "d", "cost": 1, "would_show": {"a": "fail"}} | done}
        case = one_link({"test": "t", "result": "fail"}, tests=test)
        assert judge_evidence(case)["e0"].standing is standing


def test_assessment_finds_the_weakest_link_on_the_way() -> None:
    """A cause counts as supported only if some way to the problem is supported throughout."""
    found = assess(rich_case())
    assert found.supported("dry")
    assert found.supported("blocked")
    assert not found.supported("no-rule")
    link, why = found.weakest_link("no-rule")
    assert (str(link), why.state) == ("no-rule -> hot-stop", Support.UNSUPPORTED)
    assert not found.supported("dirty")
    assert found.weakest_link("dirty")[1].state is Support.CONTRADICTED
    assert not found.supported("no such cause")
    assert str(found).startswith("turbo: 2 of 6 links supported")
