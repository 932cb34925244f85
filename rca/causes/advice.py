"""The five lines and the next steps: rules that turn findings into plain sentences.

Each sentence rests on a finding whose numbers stand on the page; no rule looks at raw data. They
are written for a fleet manager who knows no statistics.
"""

from collections.abc import Callable, Iterator, Sequence

import numpy as np
from scipy.stats import false_discovery_control

from rca.causes.counts.parts import PartFinding
from rca.causes.findings import Findings
from rca.causes.fix.verdict import Verdict
from rca.causes.fix.words import CauseAnswer, Effect
from rca.causes.planning.worth import PartWorth

MOST_STEPS = 8
MOST_NAMED = 4
OFTEN = 0.05  # share of wrong "more frequent" among all that are called so
MOST_EXTENTS = 2
WORTH_TELLING = 0.1  # share of the cost of failures saved by replacing before them
AFTER_MONTH = "lies after the cut-off"  # begins the rule for rows of later months


def five_lines(findings: Findings) -> dict[str, str]:
    """Return the five lines at the head of the page, by name."""
    return {
        "worse": _worse(findings.whole_parts),
        "verified": _fixes(findings.fixes, _is_verified, "no fix is verified effective yet"),
        "relapsed": _fixes(findings.fixes, _has_relapsed, "no verified fix has relapsed"),
        "decision": _decision(findings),
        "data": _data(findings),
    }


def _is_verified(fix: Verdict) -> bool:
    return fix.verified


def _has_relapsed(fix: Verdict) -> bool:
    return fix.effect is Effect.RELAPSED


def rising_parts(parts: Sequence[PartFinding]) -> list[str]:
    """Return the parts that fail more often over time, false alarms kept to 1 in 20 of them.

    Benjamini & Hochberg (1995) over all parts tested; each part has its own two tests.
    """
    tested = [one for one in parts if one.trend is not None]
    if not tested:
        return []
    p = [_smaller_p(one) for one in tested]
    kept = false_discovery_control(np.array(p)) <= OFTEN
    return [
        one.part
        for one, keep in zip(tested, kept, strict=True)
        if keep and one.trend is not None and one.trend.direction() == "rising"
    ]


def _smaller_p(one: PartFinding) -> float:
    assert one.trend is not None
    return min(1.0, 2 * min(one.trend.laplace_p, one.trend.chi_square_p))


def _worse(parts: Sequence[PartFinding]) -> str:
    rising = rising_parts(parts)
    back = [one.part for one in parts if one.repeat and one.repeat.beyond_chance]
    said = []
    if rising:
        said.append(f"more failures than before on the same units: {_listed(rising)}")
    if back:
        said.append(f"fail again soon after repair, more than by chance: {_listed(back)}")
    return "; ".join(said) or "no part fails more often than before or comes back beyond chance"


def _fixes(fixes: Sequence[Verdict], chosen: Callable[[Verdict], bool], nothing: str) -> str:
    names = [f"{one.plan.fix} ({one.plan.part})" for one in fixes if chosen(one)]
    return _listed(names) if names else nothing


_NOT_WORKING = {
    Effect.NOT_EFFECTIVE: "did not work",
    Effect.RELAPSED: "no longer works",
    Effect.BELOW_TARGET: "helps less than planned",
}


def _decision(findings: Findings) -> str:
    said = [
        f"{one.plan.fix} {_NOT_WORKING[one.effect]} ({one.plan.part})"
        for one in findings.fixes
        if one.effect in _NOT_WORKING
    ]
    critical = list(dict.fromkeys(one.part for one in findings.safety_repeats))
    if critical:
        said.append(f"safety-critical and failing again soon after repair: {_listed(critical)}")
    late = [one.title for one in findings.backlog.causes if one.overdue]
    if late:
        said.append(f"action overdue on {_listed(late, most=2)}")
    return "; ".join(said) or "nothing needs a decision"


def _data(findings: Findings) -> str:
    rows = findings.fleet.account("repairs")
    later = rows_after(findings)
    left = int(findings.lives.left_out["pieces"].sum()) if len(findings.lives.left_out) else 0
    faulty = rows.set_aside - later
    said = [
        f"{rows.used:,} of {rows.read - later:,} repair rows used, {faulty:,} set aside as faulty"
    ]
    if later:
        said.append(f"{later:,} rows of later days not counted yet")
    if left:
        lives = "life is" if left == 1 else "part lives are"
        said.append(f"{left:,} {lives} left out because nobody knows when the part was fitted")
    return "; ".join(said) + f"; records up to {findings.fleet.cutoff}"


def rows_after(findings: Findings) -> int:
    """Count the repair rows that only lie after the month, and will count in a later report."""
    aside = findings.set_aside
    repairs = aside[aside["table"].eq("repairs") & aside["scope"].eq("row")]
    return int(repairs["rule"].astype(str).str.startswith(AFTER_MONTH).sum())


def _listed(names: Sequence[str], most: int = MOST_NAMED) -> str:
    more = f" and {len(names) - most} more" if len(names) > most else ""
    return ", ".join(names[:most]) + more


def next_steps(findings: Findings) -> list[str]:
    """Return what to do next, the most urgent first, at most eight steps."""
    steps = [
        *_for_critical_parts(findings),
        *_for_fixes(findings.fixes),
        *_for_overdue(findings),
        *_for_upstream(findings),
        *_for_extent(findings),
        *_for_repeats(findings),
        *_for_units(findings),
        *_for_early_replacement(findings),
        *_for_data(findings),
    ]
    return list(dict.fromkeys(steps))[:MOST_STEPS]


def _for_critical_parts(findings: Findings) -> Iterator[str]:
    """One step a safety-critical part, naming the units where it came back last."""
    by_part: dict[str, list[str]] = {}
    for one in findings.safety_repeats:
        by_part.setdefault(one.part, []).append(one.unit)
    for part, units in by_part.items():
        times = "once" if len(units) == 1 else f"{len(units)} times"
        named = _listed(list(dict.fromkeys(units)), most=2)
        yield (
            f"{part} (safety-critical) failed again soon after repair {times} in the last "
            f"year: look at {named} now, by the maker's procedure"
        )


def _for_fixes(fixes: Sequence[Verdict]) -> Iterator[str]:
    for one in fixes:
        name = f"{one.plan.fix} ({one.plan.part})"
        if one.effect is Effect.NOT_EFFECTIVE:
            if one.cause_answer is CauseAnswer.REMOVED:
                yield f"{name} did not work though its cause is gone: look for another cause"
            else:
                yield f"{name} did not work: read the upstream cause, to see whether it is gone"
        elif one.effect is Effect.RELAPSED:
            yield f"{name} worked and no longer does: find out what changed since"
        elif one.cause_answer is CauseAnswer.STILL_PRESENT:
            yield f"{name}: the cause is still there ({one.cause.why}); finish the fix"
        elif one.effect is Effect.SHOWN and one.cause_answer is CauseAnswer.NOT_CHECKED:
            yield f"{name} brought the failures down: read the upstream cause, to know it is gone"
        elif one.effect is Effect.TOO_EARLY:
            yield f"{name}: too early to say; {_when(one)}"
        elif one.effect is Effect.CANNOT_JUDGE:
            yield f"{name} cannot be judged: {_listed(one.reasons, most=1)}"


def _when(one: Verdict) -> str:
    if one.likely_month is not None:
        return f"keep recording, an answer is likely about {one.likely_month:%Y-%m}"
    if one.earliest_month is not None:
        return f"keep recording, no answer before {one.earliest_month:%Y-%m}"
    return "no answer within two years at this pace: treat more units, or read the cause"


def _for_overdue(findings: Findings) -> Iterator[str]:
    told = {fix.plan.part for fix in findings.fixes if fix.effect in _NOT_WORKING}
    for one in findings.backlog.causes:
        if one.overdue and one.part not in told:
            owner = f" ({one.owner})" if one.owner else ""
            yield f"{one.title}: {one.owes}{owner}, due {one.due}"


def _for_upstream(findings: Findings) -> Iterator[str]:
    """For each part the strongest candidate that no investigation has taken up yet."""
    if findings.screen is None:
        return
    asked = asked_about(findings)
    for part in findings.whole_parts:
        rows = findings.screen.of(part.part)
        if rows.empty or part.part.casefold() in asked:
            continue
        first = rows.iloc[0]
        times = f"{first['ratio']:.1f} times as often"
        if first["kind"] == "event":
            yield (
                f"when {part.part} fails, look at {first['candidate']}: it comes before "
                f"{times} as chance would have it (a hint, not proof)"
            )
        else:
            yield (
                f"{part.part} fails {times} with {_named(first['candidate'])}: find out what "
                "differs there (a hint, not proof)"
            )


def _for_extent(findings: Findings) -> Iterator[str]:
    """How far the clearest finding reaches, and of a lot or a place every one."""
    for one in findings.extents[:MOST_EXTENTS]:
        first = f"look first at {_listed(one.first, most=2)}" if one.first else ""
        share, count = one.samples[0]
        such = "other units" if one.kind == "event" else "such units"
        then = f"inspect all {count} {such}"
        if count < one.population:
            then = (
                f"inspect {count} of {one.population} {such}, drawn at random: if none is "
                f"affected, at most {100 * share:.0f} % are"
            )
        about = f"how far it reaches, {one.part} and {_named(one.candidate)}"
        yield f"{about}: {'; then '.join(filter(None, (first, then)))}"


def _named(candidate: str) -> str:
    """Write an attribute and its level as people say it: lot L7, not lot = L7."""
    return candidate.replace(" = ", " ", 1)


def asked_about(findings: Findings) -> set[str]:
    """Return the parts, in small letters, that an investigation of the fleet asks about."""
    files = findings.fleet.investigations.values()
    return {str(data.get("part", "")).casefold() for data in files if hasattr(data, "get")}


def _for_repeats(findings: Findings) -> Iterator[str]:
    asked = asked_about(findings)
    for one in findings.whole_parts:
        if one.repeat and one.repeat.beyond_chance and one.part.casefold() not in asked:
            yield (
                f"{one.part} fails again soon after repair and nobody has asked why: open an "
                "investigation (rca case new) before the next one is fitted"
            )


def _for_units(findings: Findings) -> Iterator[str]:
    for one in findings.units[:2]:
        yield (
            f"look at {one.unit} for what ruins its {one.part}: {one.failures} failures where its "
            f"running leads one to expect {one.expected:.1f}"
        )


def _for_early_replacement(findings: Findings) -> Iterator[str]:
    """The part for which replacing before it fails saves the largest share, if a tenth or more."""
    pays = [one for one in findings.worth.values() if one.early_replacement_pays]
    best = max(pays, key=_saving, default=None)
    if best is not None and best.replacement is not None and _saving(best) >= WORTH_TELLING:
        safe = findings.part(best.part).safety_critical
        age = float(f"{best.replacement.age:.2g}")
        yield (
            f"plan to replace {best.part} at about {age:,.0f} {best.unit_of_running}, before it "
            f"fails: saves {100 * _saving(best):.0f} % of what failures cost"
            f"{', where the maker names no earlier one' if safe else ''}"
        )


def _saving(one: PartWorth) -> float:
    return 0.0 if one.replacement is None else one.replacement.saving


def _for_data(findings: Findings) -> Iterator[str]:
    for result, why in findings.fleet.blocked:
        yield f"{result} cannot be answered: {why}"
    rows = findings.fleet.account("repairs")
    faulty = rows.set_aside - rows_after(findings)
    if faulty > 0.05 * rows.read:
        yield f"mend {faulty:,} repair rows: set_aside.csv says what is wrong in each line"
