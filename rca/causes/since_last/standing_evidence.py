"""What each investigation stood on at a run, kept so that the next run can tell what changed."""

import hashlib
import json
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import asdict, dataclass
from typing import Any

from rca.causes.case.assessment import Assessment
from rca.causes.case.claims import RatioFound
from rca.causes.case.conformity import Conformity
from rca.causes.case.evidence import Judged
from rca.causes.case.investigation import Investigation
from rca.causes.case.next_test import RankedTest
from rca.causes.case.review_words import told_together
from rca.causes.case.surveys import OddsFound
from rca.causes.plain_numbers import number, with_limits
from rca.causes.since_last.row_changes import RowChanges, counted

Standing = Mapping[str, Any]
"""One entry of `investigations` in summary.json, from `standing`."""
EVIDENCE, LINK = "evidence", "link"
NO_ROWS = "the rows of the last run are not at hand"


@dataclass(frozen=True, slots=True)
class EvidenceChange:
    """One piece of evidence, or one link, that stands otherwise than at the last run.

    `was` and `now` are None where there was, or is, none; `rows` says which rows of the records
    changed since, "" where that has no part in it.
    """

    investigation: str
    kind: str
    about: str
    was: str | None
    now: str | None
    why: str
    rows: str = ""

    def __str__(self) -> str:
        moved = f"{self.was or 'not there'} before, {self.now or 'not there'} now"
        return f"{self.about}: {moved} ({self.why})"


def standing(assessed: Assessment) -> dict[str, Any]:
    """Return all that an investigation stands on today, as plain data."""
    case = assessed.case
    ahead = assessed.next_tests[0] if assessed.next_tests else None
    return {
        "investigation": case.id,
        "title": case.title or case.id,
        "part": case.part,
        "evidence": [_evidence(case, one) for one in assessed.judged.values()],
        "links": [
            {
                "cause": link.cause,
                "effect": link.effect,
                "says": f"{case.says(link.cause)} -> {case.says(link.effect)}",
                "state": str(one.state),
                "reason": one.reason,
                "evidence": list(one.evidence),
            }
            for link, one in assessed.support.items()
        ],
        "missing": [
            f"{one.where}: {one.says}; {one.do}" for one in told_together(assessed.findings)
        ],
        "next_test": None if ahead is None else _next_test(case, ahead),
    }


def _evidence(case: Investigation, one: Judged) -> dict[str, Any]:
    return {
        "evidence": one.id,
        "shows": case.evidence[one.id].shows,
        "kind": str(one.kind),
        "standing": str(one.standing),
        "reason": one.reason,
        "written": _written(case, one.id),
        "reading": None if one.conformity is None else _reading(one.conformity),
        "ratio": None if one.ratio is None else _ratio(one.ratio),
    }


def _reading(one: Conformity) -> dict[str, Any]:
    return {
        "value": number(one.value),
        "unit": one.unit,
        "standard_uncertainty": number(one.uncertainty),
        "probability_inside": number(one.probability),
        "verdict": str(one.verdict),
    }


def _ratio(one: RatioFound | OddsFound) -> dict[str, Any]:
    """A ratio with its limits and the counts behind it: failures, or units that have the cause."""
    if isinstance(one, OddsFound):
        what, counts = "odds", (one.failed.seen, one.not_failed.seen)
    else:
        what, counts = "failure rates", (one.exposed.failures, one.others.failures)
    why = one.interval.note or "too few to give a limit on this side"
    return with_limits(
        one.ratio, one.interval, why_null=why, of=what, counted=counts[0], counted_others=counts[1]
    )


def _next_test(case: Investigation, one: RankedTest) -> dict[str, Any]:
    return {
        "test": one.test.id,
        "does": one.test.does,
        "cost": number(one.test.cost),
        "currency": case.currency or None,
        "information": number(one.information),
        "why_now": one.turn.reason or None,
    }


def _written(case: Investigation, name: str) -> str:
    """Return a short digest of what the file says of one piece of evidence, and of its limits."""
    one = case.evidence[name]
    about = [
        asdict(one),
        asdict(case.measurements[one.measurement]) if one.measurement else None,
        asdict(case.tests[one.test]) if one.test else None,
        [case.guard_factor, case.part, case.mode],
    ]
    for entry in about[:3]:
        if isinstance(entry, dict):
            entry.pop("line")  # entries may move within the file
    text = json.dumps(about, sort_keys=True, default=str)
    return hashlib.sha256(text.encode()).hexdigest()[:16]


def evidence_changes(
    now: Sequence[Standing],
    last: Sequence[Standing] | None,
    *,
    rows: RowChanges | None = None,
) -> list[EvidenceChange]:
    """List what changed in the evidence of all investigations since the last run, and why.

    Parameters
    ----------
    now, last
        `investigations` of both summaries; None where the last run kept none.
    rows
        Rows of the records compared; None where those of the last run are not at hand.
    """
    if last is None:
        return []
    before = {one["investigation"]: one for one in last}
    today = {one["investigation"]: one for one in now}
    found = []
    for name, one in today.items():
        if name in before:
            found += [*_of_evidence(one, before[name], rows), *_of_links(one, before[name])]
        else:
            found.append(_whole(one, was=None, now=_tally(one), why="new investigation"))
    gone = [one for name, one in before.items() if name not in today]
    return found + [
        _whole(one, was=_tally(one), now=None, why="its file is no longer there") for one in gone
    ]


def beside_last_run(now: Sequence[dict[str, Any]], last: Sequence[Standing] | None) -> None:
    """Add to each piece of evidence `last_run`: how it stood then, None where it was not there."""
    before = {
        (one["investigation"], item["evidence"]): item
        for one in last or ()
        for item in one["evidence"]
    }
    for one in now:
        for item in one["evidence"]:
            old = before.get((one["investigation"], item["evidence"]))
            keys = ("standing", "reading", "ratio")
            item["last_run"] = None if old is None else {key: old[key] for key in keys}


def _whole(one: Standing, *, was: str | None, now: str | None, why: str) -> EvidenceChange:
    return EvidenceChange(one["investigation"], EVIDENCE, one["title"], was, now, why)


def _tally(one: Standing) -> str:
    holds = sum(item["standing"] == "holds" for item in one["evidence"])
    return f"{holds} of {len(one['evidence'])} pieces of evidence hold"


def _of_evidence(
    now: Standing, last: Standing, rows: RowChanges | None
) -> Iterator[EvidenceChange]:
    before = {one["evidence"]: one for one in last["evidence"]}
    for one in now["evidence"]:
        old = before.pop(one["evidence"], None)
        edited = old is not None and old["written"] != one["written"]
        if old is not None and not edited and old["standing"] == one["standing"]:
            continue
        yield EvidenceChange(
            now["investigation"],
            EVIDENCE,
            one["shows"],
            None if old is None else old["standing"],
            one["standing"],
            _why(one, old, edited=edited),
            "" if old is None or edited else _rows(rows),
        )
    for old in before.values():
        why = "the file was edited: it is no longer there"
        yield EvidenceChange(
            now["investigation"], EVIDENCE, old["shows"], old["standing"], None, why
        )


def _why(one: Standing, old: Standing | None, *, edited: bool) -> str:
    if old is None:
        return f"the file was edited: it is new; {one['reason']}"
    first = "the file was edited" if edited else "the records changed"
    return f"{first}: {one['reason']}; was: {old['reason']}"


def _rows(rows: RowChanges | None) -> str:
    return NO_ROWS if rows is None else counted(rows.rows) or "no row changed"


def _of_links(now: Standing, last: Standing) -> Iterator[EvidenceChange]:
    before = {(one["cause"], one["effect"]): one for one in last["links"]}
    for one in now["links"]:
        old = before.pop((one["cause"], one["effect"]), None)
        if old is None or old["state"] != one["state"]:
            was = None if old is None else old["state"]
            why = one["reason"] if old is not None else f"the file was edited; {one['reason']}"
            yield EvidenceChange(now["investigation"], LINK, one["says"], was, one["state"], why)
    for old in before.values():
        why = "the file was edited: the link is no longer there"
        yield EvidenceChange(now["investigation"], LINK, old["says"], old["state"], None, why)
