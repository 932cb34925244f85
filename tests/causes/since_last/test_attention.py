"""What is new needs a person, once; repeats on safety-critical parts count the day they happen."""

from datetime import date

from rca.causes.counts.no_fault import no_fault_found
from rca.causes.counts.repeats import failures_of, repeat_events
from rca.causes.counts.safety_repeats import safety_repeats
from rca.causes.since_last.attention import what_needs_a_person
from rca.records.lives import build_lives
from tests.small_fleet import small_fleet

FLEET = {
    "units": "unit,in_service,retired\nA,2024-01-01,\nB,2024-01-01,",
    "parts": "part,positions,fitted_to,safety_critical\nbrake,,all,yes\npump,,all,no",
    "readings": "unit,date,meter\nA,2024-01-01,0\nA,2024-12-31,9000\nB,2024-01-01,0\n"
    "B,2024-12-31,9000",
}


def repeats_of(fleet):
    lives = build_lives(fleet)
    return safety_repeats(fleet, repeat_events(fleet, lives.meters, failures_of(fleet)))


def test_a_repeat_counts_at_once_and_only_on_safety_critical_parts(tmp_path):
    """Failed on 10 December and again on the 20th: the window of 90 days has not passed."""
    fleet = small_fleet(
        tmp_path,
        repairs="unit,date,part,action,reason\nA,2024-12-10,brake,replaced,failure\n"
        "A,2024-12-20,brake,replaced,failure\nB,2024-12-10,pump,replaced,failure\n"
        "B,2024-12-20,pump,replaced,failure\nB,2024-03-01,brake,replaced,failure\n"
        "B,2024-09-01,brake,replaced,failure",
        **FLEET,
    )
    found = repeats_of(fleet)
    assert [(one.unit, one.first, one.again) for one in found] == [
        ("A", date(2024, 12, 10), date(2024, 12, 20))
    ]
    assert str(found[0]).endswith("10 days later")


def run(**more):
    base = {"fixes": [], "causes": [], "blocked": [], "safety_repeats": [], "parts": []}
    return {**base, **more}


def test_nothing_old_is_told_again():
    cause = {"investigation": "i", "cause": "c", "says": "oil", "why_not": "gone"}
    repeat = {"key": "brake|A||1|2", "says": "brake on A"}
    last = run(causes=[{**cause, "supported": True}], safety_repeats=[repeat])
    same = run(causes=[{**cause, "supported": True}], safety_repeats=[repeat])
    assert what_needs_a_person(same, last) == []
    fix = {"fix": "f", "part": "p", "effect": "relapsed", "cause_answer": "removed",
           "changed_from": {"effect": "effect shown", "cause_answer": "removed"}}  # fmt: skip
    now = run(
        fixes=[fix],
        causes=[{**cause, "supported": False}],
        blocked=[{"result": "money", "reason": "no costs"}],
        safety_repeats=[repeat, {"key": "brake|B||1|2", "says": "brake on B"}],
    )
    said = [one["says"] for one in what_needs_a_person(now, last)]
    assert said == [
        "f (p): effect shown became relapsed",
        "no longer supported: oil (gone)",
        "can no longer be answered: money (no costs)",
        "safety-critical: brake on B",
    ]


def test_in_a_first_run_only_safety_critical_repeats_are_new():
    now = run(
        blocked=[{"result": "money", "reason": "r"}], safety_repeats=[{"key": "k", "says": "brake"}]
    )
    assert [one["key"] for one in what_needs_a_person(now, None)] == ["repeat|k"]


def test_no_fault_found_by_part_with_exact_limits(tmp_path):
    """1 of 4: Clopper & Pearson (1934) 95 % limits 0.0063 and 0.8059 (printed tables)."""
    fleet = small_fleet(
        tmp_path,
        repairs="unit,date,part,action,reason\nA,2024-02-10,pump,replaced,failure\n"
        "A,2024-05-20,pump,replaced,failure\nB,2024-08-10,pump,replaced,failure\n"
        "B,2024-10-20,pump,replaced,no fault found",
        **FLEET,
    )
    (found,) = no_fault_found(fleet)
    assert (found.part, found.without_fault, found.failed, found.share) == ("pump", 1, 3, 0.25)
    assert round(found.interval.lower, 4) == 0.0063
    assert round(found.interval.upper, 4) == 0.8059
