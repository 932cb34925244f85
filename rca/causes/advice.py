"""The five lines and the next steps: rules that turn findings into plain sentences.

Each sentence rests on a finding whose numbers stand on the page; no rule looks at raw data.
"""

from collections.abc import Callable, Iterator, Sequence

from rca.causes.findings import Findings
from rca.causes.parts import PartFinding
from rca.causes.verdict import Verdict
from rca.causes.words import CauseAnswer, Effect

MOST_STEPS = 8


def five_lines(findings: Findings) -> dict[str, str]:
    """Return the five lines at the head of the page, by name."""
    return {
        "worse": _worse(findings.whole_parts),
        "verified": _fixes(findings.fixes, _is_verified, "no fix is verified effective"),
        "relapsed": _fixes(findings.fixes, _has_relapsed, "no verified fix has relapsed"),
        "decision": _decision(findings),
        "data": _data(findings),
    }


def _is_verified(fix: Verdict) -> bool:
    return fix.verified


def _has_relapsed(fix: Verdict) -> bool:
    return fix.effect is Effect.RELAPSED


def _worse(parts: Sequence[PartFinding]) -> str:
    rising = [one.part for one in parts if one.trend and one.trend.direction() == "rising"]
    back = [one.part for one in parts if one.repeat and one.repeat.beyond_chance]
    said = []
    if rising:
        said.append(f"failures grow more frequent: {_listed(rising)}")
    if back:
        said.append(f"come back more often than chance: {_listed(back)}")
    return "; ".join(said) or "no part fails more often over time or comes back beyond chance"


def _fixes(fixes: Sequence[Verdict], chosen: Callable[[Verdict], bool], nothing: str) -> str:
    names = [f"{one.plan.fix} ({one.plan.part})" for one in fixes if chosen(one)]
    return _listed(names) if names else nothing


def _decision(findings: Findings) -> str:
    failed = [
        f"{one.plan.fix} ({one.plan.part}): {one.effect}"
        for one in findings.fixes
        if one.effect in (Effect.NOT_EFFECTIVE, Effect.RELAPSED, Effect.BELOW_TARGET)
    ]
    critical = [
        one.part
        for one in findings.whole_parts
        if one.safety_critical and one.repeat and one.repeat.repeats
    ]
    said = failed + ([f"safety-critical and repeating: {_listed(critical)}"] if critical else [])
    return "; ".join(said) or "nothing new needs a decision"


def _data(findings: Findings) -> str:
    rows = findings.fleet.account("repairs")
    out = findings.lives.left_out
    left = int(out["pieces"].sum()) if len(out) else 0
    share = rows.set_aside / max(rows.read, 1)
    return (
        f"{rows.used} of {rows.read} repair rows used, {rows.set_aside} set aside ({share:.1%}); "
        f"{left} lives left out because their age is not proved; cut-off {findings.fleet.cutoff}"
    )


def _listed(names: Sequence[str], most: int = 4) -> str:
    more = f" and {len(names) - most} more" if len(names) > most else ""
    return ", ".join(names[:most]) + more


def next_steps(findings: Findings) -> list[str]:
    """Return what to do next, the most urgent first, at most eight steps."""
    steps = [
        *_for_critical_parts(findings),
        *_for_fixes(findings.fixes),
        *_for_upstream(findings),
        *_for_repeats(findings),
        *_for_units(findings),
        *_for_data(findings),
    ]
    return list(dict.fromkeys(steps))[:MOST_STEPS]


def _for_critical_parts(findings: Findings) -> Iterator[str]:
    for one in findings.whole_parts:
        if one.safety_critical and one.repeat and one.repeat.repeats:
            yield (
                f"{one.part} (safety-critical) came back {one.repeat.repeats} times within "
                f"{one.repeat.window_days} days: look at these units now, whatever the statistics "
                "say, by the maker's procedure"
            )


def _for_fixes(fixes: Sequence[Verdict]) -> Iterator[str]:
    for one in fixes:
        name = f"{one.plan.fix} ({one.plan.part})"
        if one.effect is Effect.NOT_EFFECTIVE:
            yield f"{name} did not work: reopen the investigation, look for another upstream cause"
        elif one.effect is Effect.RELAPSED:
            yield f"{name} worked and no longer does: find what changed since"
        elif one.effect is Effect.SHOWN and one.cause_answer is not CauseAnswer.REMOVED:
            yield f"{name}: the effect is shown; {one.cause.why or 'read the upstream cause'}"
        elif one.cause_answer is CauseAnswer.STILL_PRESENT:
            yield f"{name}: the cause is still present ({one.cause.why}); finish the fix there"
        elif one.effect is Effect.TOO_EARLY:
            yield f"{name}: too early; {_when(one)}"


def _when(one: Verdict) -> str:
    if one.likely_month is not None:
        return f"a verdict is likely about {one.likely_month:%Y-%m}; wait, and record on"
    if one.earliest_month is not None:
        return f"no verdict before {one.earliest_month:%Y-%m}; wait, and record on"
    return "no verdict within 24 months at this rate: treat more units, or take readings"


def _for_upstream(findings: Findings) -> Iterator[str]:
    """For each part the strongest candidate that no investigation has taken up yet."""
    if findings.screen is None:
        return
    asked = {one.part for one in findings.causes}
    for part in findings.whole_parts:
        rows = findings.screen.of(part.part)
        if rows.empty or part.part in asked:
            continue
        first = rows.iloc[0]
        if first["kind"] == "event":
            yield (
                f"look at {first['candidate']} whenever {part.part} fails: it comes before "
                f"{first['ratio']:.1f} times as often as chance (a hypothesis, test it)"
            )
        else:
            yield (
                f"{part.part} fails {first['ratio']:.1f} times as often with {first['candidate']}: "
                "compare these units and lives with the others (a hypothesis, test it)"
            )


def _for_repeats(findings: Findings) -> Iterator[str]:
    known = {one.part for one in findings.causes}
    for one in findings.whole_parts:
        if one.repeat and one.repeat.beyond_chance and one.part not in known:
            yield (
                f"{one.part} comes back beyond chance and nobody has asked why: open an "
                "investigation (rca case new) and look upstream before the next one is fitted"
            )


def _for_units(findings: Findings) -> Iterator[str]:
    for one in findings.units[:2]:
        yield (
            f"inspect {one.unit} upstream of {one.part}: {one.failures} failures where "
            f"{one.expected:.1f} were expected"
        )


def _for_data(findings: Findings) -> Iterator[str]:
    for result, why in findings.fleet.blocked:
        yield f"{result} cannot be answered: {why}"
    rows = findings.fleet.account("repairs")
    if rows.set_aside > 0.05 * rows.read:
        yield f"{rows.set_aside} repair rows were set aside: see set_aside.csv for lines and rules"
