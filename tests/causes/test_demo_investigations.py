"""The three demo investigations say what they are there to say, on the demo fleet's own records."""

from pathlib import Path

import pandas as pd
import pytest

from rca.causes.case.assessment import Assessment, assess
from rca.causes.case.next_test import Turn
from rca.causes.case.parsing import parse_investigation
from rca.causes.case.refit import Clearance
from rca.causes.case.support import Support
from rca.records.files import read_yaml
from rca.records.fleet import Fleet, read_fleet
from rca.records.lives import build_lives

NAMES = ("coolant-pump", "hydraulic-pump", "wheel-bearing")


@pytest.fixture(scope="module")
def fleet(demo_folder: Path) -> Fleet:
    return read_fleet(demo_folder)


@pytest.fixture(scope="module")
def assessments(demo_folder: Path, fleet: Fleet) -> dict[str, Assessment]:
    lives = build_lives(fleet).rows
    found = {}
    for name in NAMES:
        path = demo_folder / "investigations" / f"{name}.yaml"
        case = parse_investigation(read_yaml(path), file=path.name)
        found[name] = assess(case, fleet=fleet, lives=lives)
    return found


def test_hydraulic_pump_is_proved_fixed_and_checked_upstream(
    assessments: dict[str, Assessment],
) -> None:
    """Every concluded cause is supported up to the problem; upstream nothing is open."""
    one = assessments["hydraulic-pump"]
    assert one.case.conclusion.confidence == "proved"
    assert all(one.supported(cause) for cause in one.case.conclusion.causes)
    assert {check.clearance for check in one.upstream} == {
        Clearance.CLEARED, Clearance.CONTRADICTED
    }  # fmt: skip
    assert one.findings == ()
    assert one.next_tests == ()
    assert one.weighing.leader.share > 0.9


def test_rivals_of_the_hydraulic_pump_are_spoken_against(
    assessments: dict[str, Assessment],
) -> None:
    """Three rivals were looked at, and sound evidence contradicts each."""
    states = {
        link.cause: state.state for link, state in assessments["hydraulic-pump"].support.items()
    }
    for rival in ("pumps-worn-out", "pumps-poor", "oil-dirty"):
        assert states[rival] is Support.CONTRADICTED


def test_readings_of_the_hydraulic_pump_are_those_of_the_fixes_table(
    assessments: dict[str, Assessment], fleet: Fleet
) -> None:
    """Before and after on the bench unit, and after on others: the same numbers in both places."""
    case = assessments["hydraulic-pump"].case
    vacuum = case.measurements["inlet-vacuum"]
    rows = fleet.fixes[fleet.fixes["fix"].astype(str) == "oil-resistant suction hose"]
    rows = rows.set_index(rows["unit"].astype(str))
    for unit, taken in {case.unit: vacuum.after, **vacuum.on_units}.items():
        assert pd.to_numeric(rows.loc[unit, "reading"]) == taken.reading
        assert str(rows.loc[unit, "date"].date()) == taken.date
    assert pd.to_numeric(rows.loc[case.unit, "reading_before"]) == vacuum.as_found.reading


def test_coolant_pump_contradicts_its_favourite(assessments: dict[str, Assessment]) -> None:
    """The cause concluded upon in 2024 is contradicted, another leads, and the review says so."""
    one = assessments["coolant-pump"]
    (favourite,) = one.case.conclusion.causes
    assert not one.supported(favourite)
    assert one.weakest_link(favourite)[1].state is Support.CONTRADICTED
    assert str(one.weighing.leader.explanation) == "belt-out-of-line"
    assert any("favours another" in finding.says for finding in one.findings)
    assert one.judged["leaks-with-good-coolant"].reason.startswith("3 repair rows")


def test_wheel_bearing_is_open_with_its_next_test(assessments: dict[str, Assessment]) -> None:
    """Nothing concluded, a rival within a factor of 3, and the test for a danger comes first."""
    one = assessments["wheel-bearing"]
    assert one.case.conclusion is None
    assert one.weighing.rivals
    first = one.next_tests[0]
    assert (first.test.id, first.turn) == ("play-of-twenty", Turn.DANGER)
    assert first.could_change_leader
    assert any(check.clearance is Clearance.OPEN for check in one.upstream)


def test_problem_statements_agree_with_the_records(fleet: Fleet) -> None:
    """59 rows "runs hot", all at Hill Road; over 10 units with two pump failures or more."""
    repairs = fleet.repairs.assign(
        **{name: fleet.repairs[name].astype(str) for name in ("unit", "part", "mode", "reason")}
    )
    failed = repairs[repairs["reason"] == "failure"]
    hot = failed[(failed["part"] == "wheel bearing") & (failed["mode"] == "runs hot")]
    depot = fleet.units.set_index(fleet.units["unit"].astype(str))["depot"].astype(str)
    assert len(hot) == 59
    assert set(hot["unit"].map(depot)) == {"Hill Road"}
    pumps = failed[(failed["part"] == "hydraulic pump") & (failed["mode"] == "loses pressure")]
    window = pumps[pumps["date"].between("2023-10-01", "2025-03-31")]
    assert (window.groupby("unit").size() >= 2).sum() > 10


def test_every_claim_of_the_demo_is_computed(assessments: dict[str, Assessment]) -> None:
    """No claim is left unchecked for want of a column, a reason or exposure."""
    for one in assessments.values():
        claims = [name for name, evidence in one.case.evidence.items() if evidence.claim]
        assert claims
        assert all(one.judged[name].ratio is not None for name in claims)
