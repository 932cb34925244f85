"""The page: sections of HTML made from summary.json alone, so that both always say the same.

Every number is a `<data value=... data-of=...>` element that names its place in the summary. All
text is escaped by the templates.
"""

import calendar
import importlib.resources
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from typing import Any

import jinja2

from rca.show.numbers import figures, p_value, percent, whole

MOST_PARTS = 8


@dataclass(frozen=True, slots=True)
class Section:
    """A piece of HTML that a notebook shows as such."""

    html: str

    def _repr_html_(self) -> str:
        return self.html

    def __str__(self) -> str:
        return self.html


@cache
def _templates() -> jinja2.Environment:
    folder = importlib.resources.files("rca").joinpath("show", "templates")
    environment = jinja2.Environment(
        loader=jinja2.FileSystemLoader(str(folder)),
        autoescape=True,
        trim_blocks=True,
        undefined=jinja2.StrictUndefined,
    )
    environment.globals.update(
        fmt=_number, pct=percent, pv=p_value, how=how_it_fails, next_of=next_of
    )
    return environment


def _number(value: float, digits: int) -> str:
    return whole(value) if digits == 0 else figures(value, digits)


def style() -> str:
    """Return the page's style sheet."""
    place = importlib.resources.files("rca").joinpath("show", "templates", "page.css")
    return place.read_text(encoding="utf-8")


def how_it_fails(part: Mapping[str, Any]) -> str:
    """Return the pattern read, or for a mode what both limits of its shape say."""
    if part["pattern"] is not None:
        reading, where = part["pattern"]["reading"], part["pattern"]["where"]
        return f"{reading} ({where})" if where not in ("none shown", reading) else str(reading)
    lower, upper = part["shape"]["lower"], part["shape"]["upper"]
    if part["shape"]["value"] is None:
        return "not known"
    if lower is not None and lower > 1:
        return "wear-out"
    if upper is not None and upper < 1:
        return "early"
    if lower is not None and upper is not None and lower > 0.6 and upper < 1.6:
        return "random"
    return "not enough to say"


def next_of(fix: Mapping[str, Any]) -> str:
    """Say in a few words what the next look at a fix is for."""
    if fix["effect"] == "too early":
        if fix["likely_month"]:
            return f"verdict likely about {fix['likely_month']}"
        if fix["earliest_month"]:
            return f"no verdict before {fix['earliest_month']}"
        return "no verdict within 24 months at this rate"
    if fix["verified"]:
        return "watched for a relapse"
    if fix["effect"] == "effect shown":
        return "read the upstream cause"
    if fix["effect"] in ("not effective", "relapsed"):
        return "reopen the investigation"
    return "more running" if fix["effect"] == "improved, below target" else "see the reason below"


def first_page(summary: Mapping[str, Any]) -> Section:
    """Head of the first page: five lines, the parts that matter most, the fixes."""
    numbered = [(i, part) for i, part in enumerate(summary["parts"]) if part["mode"] is None]
    window = next(
        (p["repeat_rate"]["window_days"] for _, p in numbered if p["repeat_rate"]), "these"
    )
    year, month = (int(text) for text in summary["month"].split("-"))
    return _section(
        "first_page.html.j2",
        s=summary,
        top=numbered[:MOST_PARTS],
        hidden=max(len(numbered) - MOST_PARTS, 0),
        window=window,
        month_words=f"{calendar.month_name[month]} {year}",
    )


def changes_and_steps(summary: Mapping[str, Any]) -> Section:
    """Foot of the first page: what changed since last month, what to do next, cautions."""
    changed = [fix for fix in summary["fixes"] if fix["changed_from"]]
    return _section("after_figure.html.j2", s=summary, changed=changed)


def part_section(
    summary: Mapping[str, Any], part: str, *, chains: tuple[Mapping[str, str], ...] = ()
) -> Section:
    """One part in full: lives, curve, repeats, trend, modes, and the why as far as it is known."""
    numbered = list(enumerate(summary["parts"]))
    place = next(i for i, one in numbered if one["part"] == part and one["mode"] is None)
    modes = [(i, one) for i, one in numbered if one["part"] == part and one["mode"] is not None]
    return _section(
        "part.html.j2",
        p=summary["parts"][place],
        i=place,
        modes=modes,
        chains=chains,
        fleet_unit=summary["meter_unit"],
    )


def data_section(summary: Mapping[str, Any], *, notes: tuple[str, ...] = ()) -> Section:
    """The row account, what was set aside or blocked, units above their share, and a glossary."""
    needs: dict[str, list[tuple[int, Any]]] = {}
    for place, row in enumerate(summary["forecast"]):
        needs.setdefault(row["part"], []).append((place, row))
    return _section("data.html.j2", s=summary, notes=notes, needs=needs)


def _section(name: str, **values: Any) -> Section:
    return Section(_templates().get_template(name).render(**values))
