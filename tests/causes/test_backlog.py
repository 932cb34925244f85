"""Open causes by age: who owes what; only a verified fix closes one."""

from dataclasses import dataclass
from datetime import date
from types import SimpleNamespace

from rca.causes.backlog import open_causes
from rca.causes.case.parsing import parse_investigation
from rca.causes.fix.words import Effect

ON = date(2026, 10, 31)


def case(name, opened, fixes):
    data = {
        "investigation": name, "title": name, "part": "pump", "opened": opened,
        "problem": {"statement": "it leaks", "because": "dry"},
        "causes": {"dry": {"says": "it runs dry", "layer": "upstream", "stop": "ours to change"}},
        "fixes": fixes,
    }  # fmt: skip
    parsed = parse_investigation(data, file=f"{name}.yaml")
    return SimpleNamespace(case=parsed, supported=lambda cause: cause != "dry")


def fix(**more):
    return {
        "does": "fit a bigger line", "kind": "corrective", "cause": "dry", "owner": "workshop",
        "due": "2026-12-01", **more,
    }  # fmt: skip


@dataclass
class Judged:
    name: str
    effect: Effect
    verified: bool

    @property
    def plan(self):
        return SimpleNamespace(fix=self.name)


def test_oldest_first_with_owner_due_date_and_age():
    cases = [
        case("young", "2026-10-01", {"a": fix()}),
        case("old", "2025-10-31", {"b": fix(due="2026-10-01", owner="stores")}),
        case("later", "2026-11-15", {}),
    ]
    found = open_causes(cases, [], on=ON)
    assert [one.title for one in found.causes] == ["old", "young"]
    old, young = found.causes
    assert (old.age_days, old.owner, old.due, old.overdue) == (
        365,
        "stores",
        date(2026, 10, 1),
        True,
    )
    assert (young.owes, young.overdue) == ("fit a bigger line", False)
    assert (found.median_age, found.overdue, found.uncontained, found.unproved) == (197.5, 1, 2, 2)


def test_done_closes_nothing_but_a_verified_effect_does():
    done = case("done", "2026-01-01", {"a": fix(done="2026-02-01", review="2026-09-01")})
    found = open_causes([done], [Judged("a", Effect.TOO_EARLY, False)], on=ON)
    assert found.causes[0].owes == "review of the effect of a"
    assert found.causes[0].overdue, "the review was due in September"
    failed = open_causes([done], [Judged("a", Effect.NOT_EFFECTIVE, False)], on=ON)
    assert "find the cause that does" in failed.causes[0].owes
    closed = open_causes([done], [Judged("A", Effect.SHOWN, True)], on=ON)
    assert (len(closed.causes), closed.closed) == (0, 1)


def test_containment_in_place_planned_or_none():
    held = {"kind": "containment", "done": "2026-09-01"}
    names = {
        "none": {"a": fix()},
        "planned": {"b": fix(kind="containment", due="2026-11-20")},
        "held": {"c": fix(**held), "d": fix()},
    }
    found = open_causes([case(n, "2026-01-01", f) for n, f in names.items()], [], on=ON)
    said = {one.title: (one.contained, one.containment) for one in found.causes}
    assert said == {
        "none": (False, "none"),
        "planned": (False, "planned for 2026-11-20"),
        "held": (True, "since 2026-09-01"),
    }


def test_an_action_done_after_the_day_of_the_report_is_still_owed():
    later = case("x", "2026-01-01", {"a": fix(done="2026-11-05")})
    assert open_causes([later], [], on=ON).causes[0].owes == "fit a bigger line"
