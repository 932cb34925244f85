"""What lies ahead of a part, in words and tables: parts needed, verdicts, what to inspect."""

import html
from collections.abc import Iterable, Mapping

from rca.causes.extent import CONFIDENCE, Extent
from rca.causes.fix.outlook import Outlook
from rca.causes.fix.verdict import Verdict
from rca.causes.planning.forecast import Count, Forecast
from rca.show.forms.tables import listed, paragraph, table
from rca.show.numbers import figures, percent, whole


def needs_text(forecast: Forecast | None) -> str:
    """New parts and failures to come, each with both ranges."""
    if forecast is None:
        return paragraph("Not forecast: the part has no life curve.")
    unknown = forecast.of_unknown_age
    said = (
        f"From {forecast.as_of:%Y-%m-%d}, {whole(forecast.in_service)} in service"
        + (f" (age of {whole(unknown)} not known)" if unknown else "")
        + f"; from {whole(forecast.failures)} failures and {whole(forecast.removals)} parts "
        "replaced before they failed. On all units and the whole record."
    )
    rows = [
        (f"next {row.months} months" if row.months > 1 else "next month", what, *_ranges(count))
        for row in forecast.rows
        for what, count in (("new parts", row.parts), ("failures", row.failures))
    ]
    head = ("When", "What", "Expected", "80 times in 100", "95 times in 100")
    return paragraph(said, kind="small") + table(head, rows, numbers=(2,), caption="Parts needed")


def _ranges(one: Count) -> tuple[str, str, str]:
    return (
        figures(one.expected, 2 if one.expected < 100 else 3),
        f"{whole(one.lower80)} to {whole(one.upper80)}",
        f"{whole(one.lower95)} to {whole(one.upper95)}",
    )


def outlooks_text(fixes: Iterable[Verdict], outlooks: Mapping[str, Outlook]) -> str:
    """For each fix without a verdict, what one will still take."""
    return "".join(
        f"<h4>{html.escape(fix.plan.fix)}: what an answer will still take</h4>"
        + outlook_text(outlooks[fix.plan.fix])
        for fix in fixes
        if fix.plan.fix in outlooks
    )


def outlook_text(one: Outlook) -> str:
    """Months and failures that would decide it, and the chances."""
    free = one.failure_free_months
    said = (
        f"Without a further failure the effect is shown by {one.first_month:%Y-%m} ({free} months)."
        if one.first_month is not None
        else "Not even two years without a failure would show the effect."
    )
    for row in one.deciding.itertuples():
        shows = f"at most {row.at_most} further failures show it and " if row.at_most >= 0 else ""
        said += f" By {row.month:%Y-%m}, {shows}{row.from_on} or more rule the target out."
    rows = [
        (
            f"{percent(row.ratio)} of the failure rate",
            f"{row.months} months",
            percent(row.shown),
            percent(row.missed),
        )
        for row in one.chances.itertuples()
    ]
    head = ("If the fix truly leaves", "Within", "Effect shown", "Target ruled out")
    caption = f"Chance of an answer, in {whole(one.draws)} simulated futures"
    return paragraph(said) + table(head, rows, numbers=(2, 3), caption=caption)


def extent_text(extents: Iterable[Extent]) -> str:
    """Which units first, and how many bound the share affected."""
    said = [_extent(one) for one in extents]
    return "<h4>How far it reaches</h4>" + listed(said) if said else ""


def _extent(one: Extent) -> str:
    first = ""
    if one.first:
        more = f" (of {one.first_of})" if one.first_of > len(one.first) else ""
        first = f"look first at {', '.join(one.first)}{more}: {one.why_first}. "
    share, count = one.samples[0]
    then = (
        f"Then inspect all {count} {one.where}."
        if count == one.population
        else f"Then inspect {count} of the {one.population} {one.where}, drawn at random: if none "
        f"is affected, at most {percent(share)} are, {percent(CONFIDENCE)} sure."
    )
    return f"{one.candidate}: {first}{then}"
