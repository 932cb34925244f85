"""One part on one selection in words and tables: lives, curve, repeats, pattern, upstream."""

import html
import math
from collections.abc import Iterator

from rca.causes.counts.parts import PartFinding
from rca.causes.fix.verdict import Verdict
from rca.causes.fixes import first_fix_date
from rca.causes.selection import PartStudy
from rca.life.sample import Interval
from rca.show.forms.study_ahead import extent_text, needs_text
from rca.show.forms.study_worth import worth_text
from rca.show.forms.tables import listed, paragraph, table
from rca.show.numbers import figures, p_value, percent, whole

DIRECTIONS = {
    "rising": "failures grow more frequent",
    "falling": "failures grow rarer",
    "none shown": "no trend is shown",
}


def study_text(study: PartStudy) -> str:
    """The whole study but for its figures."""
    return "".join(
        [
            f"<h3>{html.escape(str(study.selection))}</h3>",
            numbers_table(study.finding),
            "<h4>How it fails</h4>",
            pattern_text(study),
            "<h4>What comes before it</h4>",
            upstream_text(study),
            extent_text(study.findings.extents),
            "<h4>What it costs, and which way pays</h4>",
            worth_text(
                study.findings.worth.get(study.selection.part),
                currency=study.findings.fleet.settings.currency,
            ),
            "<h4>What will be needed</h4>",
            needs_text(study.findings.forecasts.get(study.selection.part)),
        ]
    )


def numbers_table(finding: PartFinding) -> str:
    """Counts and the life curve, each with its unit, interval and what it rests on."""
    head = ("What", "Value", "95 % limits", "From")
    return table(head, list(_numbers(finding)), numbers=(1,), caption="In numbers")


def _numbers(one: PartFinding) -> Iterator[tuple[str, str, str, str]]:
    critical = " (safety-critical part)" if one.safety_critical else ""
    yield f"failures recorded{critical}", whole(one.failures_recorded), "", (
        f"{whole(one.units)} units that carry it"
    )  # fmt: skip
    yield "lives used", whole(one.lives), "", (
        f"{whole(one.failures)} failed, {whole(one.suspended)} still ran or came off for other "
        f"reasons; {whole(one.left_out)} left out, their age is not proved"
    )  # fmt: skip
    unit, lives = one.unit_of_age, f"{whole(one.failures)} failures in {whole(one.lives)} lives"
    if one.fit is None:
        yield "life curve", "none", "", one.no_fit
    else:
        yield ("shape (below 1 early, about 1 random, above 1 wear)", figures(one.fit.shape),
               _limits(one.limits("shape")), lives)  # fmt: skip
        yield (f"63 % have failed by ({unit})", figures(one.fit.scale),
               _limits(one.limits("scale")), lives)  # fmt: skip
        yield f"a tenth has failed by ({unit})", figures(one.b10), _limits(one.limits("b10")), lives
    yield from _coming_back(one)
    if one.trend is not None:
        p = min(1.0, 2 * min(one.trend.laplace_p, one.trend.chi_square_p))
        yield "over the calendar", DIRECTIONS[one.trend.direction()], "", (
            f"{whole(one.trend.n_events)} failures, {p_value(p)}"
        )  # fmt: skip
    for name, (shape, scale) in one.other_first_lives.items():
        said = f"63 % by {figures(scale)} {unit}; shows how much hangs on leaving them out"
        yield f"shape with first lives of unknown age taken {name}", figures(shape), "", said


def _coming_back(one: PartFinding) -> Iterator[tuple[str, str, str, str]]:
    repeat = one.repeat
    if repeat is None:
        return
    window = f"{repeat.window_days} days"
    if repeat.window_meter:
        window += f" and {whole(repeat.window_meter)} {repeat.meter_unit}"
    if not repeat.complete:
        yield f"came back within {window}", "not known", "", "no failure has a complete window"
        return
    low, high = percent(repeat.interval.lower), percent(repeat.interval.upper)
    chance = "no life curve" if math.isnan(repeat.chance) else percent(repeat.chance)
    yield (f"came back within {window}", percent(repeat.value), f"{low} to {high}",
           f"{whole(repeat.repeats)} of {whole(repeat.complete)} failures; by chance alone: "
           f"{chance}")  # fmt: skip


def _limits(interval: Interval | None) -> str:
    if interval is None:
        return ""
    said = f"{figures(interval.lower)} to {figures(interval.upper)}"
    return f"{said} ({interval.note})" if interval.note else said


def pattern_text(study: PartStudy) -> str:
    """The reading of the failures with its evidence: a hypothesis, worded as one."""
    if study.pattern is None:
        return paragraph("Not read: no life of this part has a known age.")
    said = paragraph(f"{str(study.pattern).rstrip('.')}. A hypothesis: it names where to look.")
    fixed = first_fix_date(study.findings.fleet, study.finding.part)
    if fixed is not None:
        said += paragraph(f"Read on the lives before the first fix of this part, {fixed}.")
    told = study.pattern.because[0].rstrip(".") == str(study.pattern).rstrip(".")
    return said + listed(study.pattern.because[1 if told else 0 :])


def upstream_text(study: PartStudy) -> str:
    """What is recorded before the failures, or goes with them."""
    part, screen = study.finding.part, study.findings.screen
    if screen is None:
        return paragraph("Not looked for: nothing says which rows are failures.")
    found = screen.of(part).to_dict("records")
    where = (
        "in this selection" if study.screened_alone else "in the whole record, all parts at once"
    )
    modes = " (all failure modes of the part)" if study.finding.mode is not None else ""
    said = paragraph(f"Looked for {where}{modes}. {screen.text(part).rstrip('.')}.")
    if not found:
        return said
    rows = [
        (
            row["candidate"],
            row["word"],
            figures(row["ratio"], 2),
            f"{figures(row['lower'], 2)} to {figures(row['upper'], 2)}",
            f"{whole(row['events'])} against {figures(row['expected'])} by chance",
            f"{whole(row['window_days'])} days" if row["kind"] == "event" else "",
            "below 0.001" if row["q"] < 0.001 else f"{row['q']:.2g}",
        )
        for row in found
    ]
    head = ("What", "How", "Ratio", "95 % limits", "Failures with it", "Within",
            "False alarms to be expected (q)")  # fmt: skip
    return said + table(head, rows, numbers=(2,), caption="What comes before or goes with it")


def fixes_text(fixes: tuple[Verdict, ...]) -> str:
    """The fixes of the part, judged on all units and the whole record."""
    if not fixes:
        return paragraph("No fix is recorded for this part.")
    return paragraph("Judged on all units and the whole record.", kind="small") + listed(
        str(one) for one in fixes
    )
