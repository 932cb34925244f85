"""Evidence, judged anew at every run, and how well each link stands on it."""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from enum import StrEnum

import pandas as pd

from rca.causes.case.claims import RatioFound, compute_claim
from rca.causes.case.conformity import Conformity, Verdict, conformity
from rca.causes.case.entries import Link
from rca.causes.case.investigation import Investigation
from rca.causes.case.observations import Evidence, EvidenceKind
from rca.causes.case.support import LinkSupport, Support
from rca.causes.case.surveys import OddsFound, compute_survey
from rca.errors import RcaError
from rca.life.sample import Interval
from rca.records.conditions import rows_where
from rca.records.fleet import Fleet

ALL_MODES = "all"


class Standing(StrEnum):
    """Whether a piece of evidence still shows what it was written down for."""

    HOLDS = "holds"
    FAILS = "does not hold"
    NOT_PROVED = "not proved"
    NOT_CHECKED = "not checked"


@dataclass(frozen=True, slots=True)
class Judged:
    """One piece of evidence as it stands today, with the reason and what was computed.

    `brief` is the reason as it stands beside a link, "" where the reason itself is short.
    """

    id: str
    kind: EvidenceKind
    standing: Standing
    reason: str
    conformity: Conformity | None = None
    ratio: RatioFound | OddsFound | None = None
    brief: str = ""

    @property
    def sound(self) -> bool:
        """Whether it holds and is of a kind that can support a link by itself."""
        return self.standing is Standing.HOLDS and self.kind.sound

    def __str__(self) -> str:
        return f"{self.id} ({self.kind}) {self.standing}: {self.reason}"


def judge_evidence(
    case: Investigation, *, fleet: Fleet | None = None, lives: pd.DataFrame | None = None
) -> dict[str, Judged]:
    """Judge every piece of evidence of an investigation.

    Parameters
    ----------
    case
        The investigation.
    fleet
        The records; without them claims are not checked and recorded events stand as they
        were written down.
    lives
        Rows of the lives table, for claims per meter unit.
    """
    return {name: _judge(case, one, fleet, lives) for name, one in case.evidence.items()}


def _judge(
    case: Investigation, one: Evidence, fleet: Fleet | None, lives: pd.DataFrame | None
) -> Judged:
    if one.measurement:
        return _judge_measurement(case, one)
    if one.claim is not None:
        return _judge_claim(case, one, fleet, lives)
    if one.survey is not None:
        return _judge_survey(one)
    if one.test:
        return _judge_test(case, one)
    if one.record:
        return _judge_record(one, fleet)
    who = f" by {one.by}" if one.by else ""
    return Judged(one.id, one.kind, Standing.HOLDS, f"as {one.kind}{who}: {one.shows}")


def _judge_measurement(case: Investigation, one: Evidence) -> Judged:
    """The reading must prove what the evidence says it proves."""
    measured = case.measurements[one.measurement]
    found = conformity(measured, measured.taken(one.when), guard_factor=case.guard_factor)
    if found.verdict == one.proves:
        standing = Standing.HOLDS
    elif found.verdict in (Verdict.INSIDE, Verdict.OUTSIDE):
        standing = Standing.FAILS
    elif found.verdict is Verdict.NEITHER:
        standing = Standing.NOT_PROVED
    else:
        standing = Standing.NOT_CHECKED
    read = f"{measured.quantity} {one.when} {found.verdict}: "
    return Judged(
        one.id, one.kind, standing, read + found.reason, conformity=found,
        brief=read + (found.brief or found.reason),
    )  # fmt: skip


def _judge_claim(
    case: Investigation, one: Evidence, fleet: Fleet | None, lives: pd.DataFrame | None
) -> Judged:
    if fleet is None or one.claim is None:
        return Judged(one.id, one.kind, Standing.NOT_CHECKED, "there are no records here")
    mode = one.claim.mode or case.mode
    part = one.claim.part or case.part
    claim = replace(one.claim, part=part, mode="" if mode == ALL_MODES else mode)
    try:
        found = compute_claim(claim, fleet, lives=lives)
    except RcaError as error:
        reason = f"cannot be computed: {error.message}"
        return Judged(one.id, one.kind, Standing.NOT_CHECKED, reason)
    above, below = one.claim.ratio_above, one.claim.ratio_below
    standing, rule = _against_bounds(found.interval, above, below)
    stated = f"; {one.claim.times:g} times when it was written" if one.claim.times else ""
    missed = "" if standing is Standing.HOLDS else f"; {rule}"
    return Judged(one.id, one.kind, standing, f"{found}{stated}{missed}", ratio=found)


def _against_bounds(
    interval: Interval, above: float | None, below: float | None
) -> tuple[Standing, str]:
    """Hold a ratio's interval against the bound that it has to clear."""
    if below is not None:
        rule = f"its upper limit must lie below {below:g}"
        if interval.upper < below:
            return Standing.HOLDS, rule
        return (Standing.FAILS if interval.lower >= below else Standing.NOT_PROVED), rule
    bound = 1.0 if above is None else above
    rule = f"its lower limit must lie above {bound:g}"
    if interval.lower > bound:
        return Standing.HOLDS, rule
    return (Standing.FAILS if interval.upper <= bound else Standing.NOT_PROVED), rule


def _judge_survey(one: Evidence) -> Judged:
    survey = one.survey
    if survey is None:
        return Judged(one.id, one.kind, Standing.NOT_CHECKED, "no survey")
    found = compute_survey(survey)
    standing, rule = _against_bounds(found.interval, survey.ratio_above, survey.ratio_below)
    missed = "" if standing is Standing.HOLDS else f"; {rule}"
    return Judged(one.id, one.kind, standing, f"{found}{missed}", ratio=found)


def _judge_test(case: Investigation, one: Evidence) -> Judged:
    test = case.tests[one.test]
    if test.done is None:
        return Judged(one.id, one.kind, Standing.NOT_CHECKED, f"the test {test.id} is not done")
    standing = Standing.HOLDS if test.result == one.result else Standing.FAILS
    return Judged(one.id, one.kind, standing, f"the test {test.id} showed {test.result}")


def _judge_record(one: Evidence, fleet: Fleet | None) -> Judged:
    """A recorded event must be in the repairs table, where there is one."""
    if fleet is None:
        reason = f"as written down: {one.record}; there are no records here to look it up"
        return Judged(one.id, one.kind, Standing.HOLDS, reason)
    try:
        rows = int(rows_where(fleet.repairs, one.record).sum())
    except RcaError as error:
        reason = f"cannot be looked up: {error.message}"
        return Judged(one.id, one.kind, Standing.NOT_CHECKED, reason)
    if rows == 0:
        return Judged(one.id, one.kind, Standing.FAILS, f"no repair row has {one.record}")
    return Judged(one.id, one.kind, Standing.HOLDS, f"{rows} repair rows have {one.record}")


def link_support(case: Investigation, judged: Mapping[str, Judged]) -> dict[Link, LinkSupport]:
    """State of every link: it needs at least one measured or recorded item that holds."""
    return {link: _support(case, link, judged) for link in case.links()}


def _support(case: Investigation, link: Link, judged: Mapping[str, Judged]) -> LinkSupport:
    bearing = {name: one.bears_on(link) for name, one in case.evidence.items()}
    against = [judged[name] for name, side in bearing.items() if side == "against"]
    supporting = [judged[name] for name, side in bearing.items() if side == "for"]
    names = tuple(name for name, side in bearing.items() if side)
    strong = [one for one in against if one.sound]
    if strong:
        return LinkSupport(Support.CONTRADICTED, _reasons(strong), names)
    sound = [one for one in supporting if one.sound]
    if sound:
        return LinkSupport(Support.SUPPORTED, _reasons(sound), names)
    waiting = [one for one in supporting if one.kind.sound and one.standing is Standing.NOT_CHECKED]
    if waiting:
        return LinkSupport(Support.NOT_CHECKED, _reasons(waiting), names)
    broken = [one for one in supporting if one.standing in (Standing.FAILS, Standing.NOT_PROVED)]
    if broken:
        return LinkSupport(Support.UNSUPPORTED, _reasons(broken), names)
    if supporting:
        kinds = " and ".join(dict.fromkeys(str(one.kind) for one in supporting))
        return LinkSupport(
            Support.UNSUPPORTED, f"only {kinds}, nothing measured or recorded", names
        )
    return LinkSupport(Support.UNSUPPORTED, "no evidence", names)


def _reasons(judged: list[Judged]) -> str:
    return "; ".join(f"{one.id} ({one.kind}) {one.brief or one.reason}" for one in judged)
