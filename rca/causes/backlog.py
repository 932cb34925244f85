"""Causes still open, oldest first: who owes what by when, and what the chain still lacks.

An investigation is open until a corrective fix of it is verified effective. That its actions are
done closes nothing.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from statistics import median, quantiles

from rca.causes.case.assessment import Assessment
from rca.causes.case.entries import PROBLEM, Fix
from rca.causes.fix.verdict import Verdict
from rca.causes.fix.words import Effect

CONTAINMENT, CORRECTIVE = "containment", "corrective"


@dataclass(frozen=True, slots=True)
class OpenCause:
    """One open investigation on the day of the report.

    Attributes
    ----------
    age_days
        Days since it was opened; None where the file does not say when.
    owes, owner, due
        The action that is next, who has it and by when; "" and None where nobody or no day is
        named. Where all actions are done, it is the review of the effect.
    overdue
        Whether that day has passed.
    containment
        Since when the effect is held back, or that it is not.
    unproved
        Ends of the chain without sound evidence, of all `ends`.
    """

    investigation: str
    title: str
    part: str
    opened: date | None
    age_days: int | None
    owes: str
    owner: str
    due: date | None
    overdue: bool
    containment: str
    contained: bool
    ends: int
    unproved: int

    def __str__(self) -> str:
        age = "age not known" if self.age_days is None else f"{self.age_days} days"
        late = ", overdue" if self.overdue else ""
        return f"{self.title} ({age}): {self.owes}, {self.owner or 'no owner'}{late}"


@dataclass(frozen=True, slots=True)
class Backlog:
    """All open causes, oldest first, and how many investigations were closed by a verified fix."""

    causes: tuple[OpenCause, ...]
    closed: int

    @property
    def median_age(self) -> float | None:
        """Half of the open causes are older; None where no age is known."""
        ages = self._ages()
        return float(median(ages)) if ages else None

    @property
    def ninetieth_age(self) -> float | None:
        """A tenth of the open causes are at least so old; the oldest where there are few."""
        ages = self._ages()
        if len(ages) < 10:
            return float(max(ages)) if ages else None
        return float(quantiles(ages, n=10)[-1])

    @property
    def overdue(self) -> int:
        """Open causes whose next action is past its day."""
        return sum(one.overdue for one in self.causes)

    @property
    def uncontained(self) -> int:
        """Open causes whose effect nothing holds back."""
        return sum(not one.contained for one in self.causes)

    @property
    def unproved(self) -> int:
        """Open causes with an end of their chain that no sound evidence supports."""
        return sum(one.unproved > 0 for one in self.causes)

    def _ages(self) -> list[int]:
        return [one.age_days for one in self.causes if one.age_days is not None]


def open_causes(cases: Sequence[Assessment], fixes: Sequence[Verdict], *, on: date) -> Backlog:
    """List the investigations that were open on a day; those opened later are left out.

    Parameters
    ----------
    cases, fixes
        Investigations assessed on the records, and the verdicts on fixes, both of that day.
    """
    effects = {one.plan.fix.casefold(): one.effect for one in fixes}
    verified = {one.plan.fix.casefold() for one in fixes if one.verified}
    begun = [one for one in cases if (_day(one.case.opened) or on) <= on]
    closed = [
        one
        for one in begun
        if any(
            fix.kind == CORRECTIVE and name.casefold() in verified
            for name, fix in one.case.fixes.items()
        )
    ]
    still = [_open(one, effects, on) for one in begun if one not in closed]
    still.sort(key=lambda one: (-(one.age_days if one.age_days is not None else -1), one.title))
    return Backlog(tuple(still), len(closed))


def _open(assessed: Assessment, effects: Mapping[str, Effect], on: date) -> OpenCause:
    case = assessed.case
    opened = _day(case.opened)
    owes, owner, due = _next_action(list(case.fixes.values()), effects, on)
    contained, containment = _containment(list(case.fixes.values()), on)
    ends = case.ends(PROBLEM)
    return OpenCause(
        investigation=case.id,
        title=case.title or case.id,
        part=case.part,
        opened=opened,
        age_days=None if opened is None else (on - opened).days,
        owes=owes,
        owner=owner,
        due=due,
        overdue=due is not None and due < on,
        containment=containment,
        contained=contained,
        ends=len(ends),
        unproved=sum(not assessed.supported(end) for end in ends),
    )


def _next_action(
    fixes: Sequence[Fix], effects: Mapping[str, Effect], on: date
) -> tuple[str, str, date | None]:
    """Return what is owed next, by whom and by when."""
    waiting = [fix for fix in fixes if not _is_done(fix, on)]
    if waiting:
        first = min(waiting, key=lambda fix: (_day(fix.due) or date.max, fix.id))
        return first.does, first.owner, _day(first.due)
    if not any(fix.kind == CORRECTIVE for fix in fixes):
        return "no corrective action is planned", next((f.owner for f in fixes), ""), None
    reviews = [fix for fix in fixes if fix.kind == CORRECTIVE and _day(fix.review)]
    if not reviews:
        return "no day is set for the review of the effect", "", None
    last = max(reviews, key=lambda fix: _day(fix.review) or date.min)
    if effects.get(last.id.casefold()) in (Effect.NOT_EFFECTIVE, Effect.RELAPSED):
        return f"{last.id} does not hold: find the cause that does", last.owner, _day(last.review)
    return f"review of the effect of {last.id}", last.owner, _day(last.review)


def _containment(fixes: Sequence[Fix], on: date) -> tuple[bool, str]:
    held = [fix for fix in fixes if fix.kind == CONTAINMENT]
    done = [fix for fix in held if _is_done(fix, on)]
    if done:
        return True, f"since {done[0].done}"
    if held:
        return False, f"planned for {held[0].due}" if held[0].due else "planned"
    return False, "none"


def _is_done(fix: Fix, on: date) -> bool:
    done = _day(fix.done)
    return done is not None and done <= on


def _day(text: str) -> date | None:
    try:
        return date.fromisoformat(text)
    except ValueError:
        return None
