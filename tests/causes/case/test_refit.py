"""What is still open upstream before the part goes back."""

from typing import Any

import pytest

from rca.causes.case.entries import PROBLEM, Link
from rca.causes.case.evidence import judge_evidence, link_support
from rca.causes.case.refit import Clearance, UpstreamCheck, upstream_checks
from tests.cases import case_of


def upstream_case(cause: dict[str, Any], **more: Any) -> UpstreamCheck:
    """The check of one upstream cause `a` of the problem."""
    held = {"a": {"says": "The feed is weak", "layer": "upstream"} | cause}
    case = case_of(problem={"because": "a"}, causes=held, **more)
    (one,) = upstream_checks(case, link_support(case, judge_evidence(case)))
    return one


def meter(**taken: Any) -> dict[str, Any]:
    body = {"quantity": "feed voltage", "unit": "V", "at_least": 11, "limit_source": "s",
            "standard_uncertainty": 0.1, "state": "loaded"}  # fmt: skip
    return {"m": body | taken}


@pytest.mark.parametrize(
    ("taken", "clearance"),
    [
        ({}, Clearance.OPEN),
        ({"as_found": {"reading": 12}}, Clearance.CLEARED),
        ({"as_found": {"reading": 11.1}}, Clearance.OPEN),  # inside, but not by the guard band
        ({"as_found": {"reading": 9}, "after": {"reading": 12}}, Clearance.CLEARED),
        ({"as_found": {"reading": 12}, "after": {"reading": 9}}, Clearance.OPEN),
        ({"as_found": {"reading": 12}, "after": {}}, Clearance.CLEARED),
    ],
)
def test_measurement_clears_when_it_proves_the_limit(
    taken: dict[str, Any], clearance: Clearance
) -> None:
    """The reading after the work counts, else the one as found; on the limit nothing clears."""
    one = upstream_case({"check": {"measurement": "m"}}, measurements=meter(**taken))
    assert one.clearance is clearance
    assert one.check == "Measure feed voltage (loaded): limit at least 11 V"


def test_test_clears_by_another_result_than_the_cause_would_show() -> None:
    """The cause would make it fail: pass clears, fail leaves open, not done leaves open."""
    for done, clearance in (
        ({}, Clearance.OPEN),
        ({"done": {"result": "pass"}}, Clearance.CLEARED),
        ({"done": {"result": "fail"}}, Clearance.OPEN),
    ):
        test = {"t": {"does": "Load the feed", "cost": 1, "would_show": {"a": "fail"}} | done}
        one = upstream_case({"check": {"test": "t"}}, tests=test)
        assert one.clearance is clearance
        assert one.check == "Load the feed"


def test_sentence_clears_by_signature() -> None:
    """Who, when and why stand as the reason."""
    assert upstream_case({"check": "Look"}).clearance is Clearance.OPEN
    signed = {"check": "Look", "cleared": {"by": "foreman", "date": "2026-01-02", "why": "clean"}}
    one = upstream_case(signed)
    assert one.clearance is Clearance.CLEARED
    assert one.reason == "foreman, 2026-01-02: clean"


def test_cause_without_a_check_stays_open() -> None:
    """What nobody can clear is open, and the sheet asks for a check."""
    one = upstream_case({})
    assert one.clearance is Clearance.OPEN
    assert "write down what would show" in one.check


def test_contradicted_cause_is_settled_and_open_ones_come_first() -> None:
    """Sound evidence against all its links settles a cause."""
    held = {name: {"says": f"Cause {name}", "layer": "upstream", "check": "Look"} for name in "ab"}
    case = case_of(
        problem={"because": {"any": ["a", "b"]}},
        causes=held,
        evidence={"e": {"kind": "measured", "shows": "s", "against": "a"}},
    )
    support = link_support(case, judge_evidence(case))
    assert support[Link("a", PROBLEM)].state == "contradicted"
    found = upstream_checks(case, support)
    assert [(one.cause.id, one.clearance) for one in found] == [
        ("b", Clearance.OPEN), ("a", Clearance.CONTRADICTED)
    ]  # fmt: skip
