"""The page: sections of HTML made from summary.json alone, so that both always say the same.

Every number is a `<data value=... data-of=...>` element that names its place in the summary. All
text is escaped by the templates. Numbers are written in the fleet's style.
"""

import calendar
import importlib.resources
import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import cache
from typing import Any

import jinja2
from markupsafe import Markup

from rca.records.number_style import NumberStyle

MOST_PARTS = 8
MOST_FIXES = 4  # on the first page, so that it stays one page
MOST_CHANGES = 3
MOST_STEPS = 6
MOST_SIGNS = {"worse": 190, "verified": 150, "relapsed": 150, "decision": 230, "data": 230}
MOST_SIGNS_OF_STEP = 150
_LINES = {
    "worse": "Getting worse",
    "verified": "Verified effective",
    "relapsed": "Relapsed",
    "decision": "Needs a decision",
    "data": "Data",
}
PLACES = (
    ("changes", "what changed"), ("merits", "figures of merit"), ("open", "causes still open"),
    ("money", "cost and downtime"), ("parts", "part by part"), ("upstream", "what comes before"),
    ("units", "units"),
    ("time", "failures over time"), ("needs", "parts needed"), ("no-fault", "no fault found"),
    ("records", "the records"), ("method", "how to read this page"),
)  # fmt: skip
_HOW = {
    "wear-out": "by wear",
    "early": "early, soon after fitting",
    "random": "at random, not by age",
    "one depot": "mostly at one depot",
    "a few units": "mostly on a few units",
    "bad lot": "mostly one lot",
    "a burst in time": "in a burst in time",
    "mixed modes": "partly early, partly by wear",
    "not enough to say": "not enough to say",
}
_PLACED = {"one depot": "depot ", "bad lot": "lot "}  # readings whose place names its own kind
_NUMBER = re.compile(r"\d[.,]\d")


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
    environment.globals.update(how=how_it_fails, next_of=next_of, short=short)
    return environment


def style() -> str:
    """Return the page's style sheet."""
    place = importlib.resources.files("rca").joinpath("show", "templates", "page.css")
    return place.read_text(encoding="utf-8")


def number_style(summary: Mapping[str, Any]) -> NumberStyle:
    """Return how the numbers of a summary are to be written."""
    return NumberStyle(**summary["numbers"])


def short(text: str, most: int) -> str:
    """Return a text cut at a word so that the first page stays one page; the rest is beside it."""
    if len(text) <= most:
        return text
    cut = text[: most - 1]
    return (cut.rsplit(" ", 1)[0] if " " in cut[most // 2 :] else cut).rstrip(" ,;:") + "…"


def how_it_fails(part: Mapping[str, Any]) -> str:
    """Return the pattern read in plain words, or for a mode what both limits of its shape say."""
    if part["pattern"] is not None:
        reading, where = part["pattern"]["reading"], part["pattern"]["where"]
        words = _HOW.get(reading, reading)
        if reading == "not enough to say" and part["pattern"]["how"] in _HOW:
            return f"{_HOW[part['pattern']['how']]}, and perhaps more"
        if reading in _PLACED and where.startswith(_PLACED[reading]):
            return f"mostly {where}" if reading == "bad lot" else f"mostly at {where}"
        return f"{words} ({where})" if where not in ("none shown", reading) else words
    lower, upper = part["shape"]["lower"], part["shape"]["upper"]
    if part["shape"]["value"] is None:
        return "not known"
    if lower is not None and lower > 1:
        return _HOW["wear-out"]
    if upper is not None and upper < 1:
        return _HOW["early"]
    if lower is not None and upper is not None and lower > 0.6 and upper < 1.6:
        return _HOW["random"]
    return _HOW["not enough to say"]


def next_of(fix: Mapping[str, Any]) -> str:
    """Say in a few words what comes next for a fix."""
    if fix["effect"] == "too early":
        if fix["likely_month"]:
            return f"answer likely about {fix['likely_month']}"
        if fix["earliest_month"]:
            return f"no answer before {fix['earliest_month']}"
        return "no answer within two years at this pace"
    if fix["verified"]:
        return "watched, in case it relapses"
    if fix["effect"] == "effect shown":
        return "read the upstream cause"
    if fix["effect"] == "not effective":
        return "look for another cause"
    if fix["effect"] == "relapsed":
        return "find out what changed"
    if fix["effect"] == "improved, below target":
        return "find what is left of the cause"
    return "see why in the appendix"


def first_page(summary: Mapping[str, Any], *, folder: str = "") -> Section:
    """Head of the first page: five lines, the parts that matter most, the fixes.

    Parameters
    ----------
    folder
        Folder of the rows behind the figures, to which names lead; "" for no links.
    """
    numbered = [(i, part) for i, part in enumerate(summary["parts"]) if part["mode"] is None]
    window = next(
        (p["repeat_rate"]["window_days"] for _, p in numbered if p["repeat_rate"]), "these"
    )
    fixes = sorted(enumerate(summary["fixes"]), key=lambda pair: _urgency(pair[1]))[:MOST_FIXES]
    return _section(
        "first_page.html.j2",
        summary,
        folder,
        top=numbered[:MOST_PARTS],
        hidden=max(len(numbered) - MOST_PARTS, 0),
        fixes=sorted(fixes, key=lambda pair: pair[0]),
        more_fixes=max(len(summary["fixes"]) - MOST_FIXES, 0),
        window=window,
        month_words=month_words(summary),
        most_of=MOST_SIGNS,
    )


def _urgency(fix: Mapping[str, Any]) -> tuple[bool, bool, bool]:
    """Changed fixes first, then those that do not work, those that are verified last."""
    failing = fix["effect"] in ("not effective", "relapsed", "improved, below target")
    return not fix["changed_from"], not failing, fix["verified"]


def month_words(summary: Mapping[str, Any]) -> str:
    """Return the month of a summary as people write it."""
    year, month = (int(text) for text in summary["month"].split("-"))
    return f"{calendar.month_name[month]} {year}"


def changes_and_steps(summary: Mapping[str, Any], *, folder: str = "") -> Section:
    """Foot of the first page: what changed since last month, what to do next, cautions."""
    said = list(_worth_saying(summary))
    restated = list(enumerate(summary["restated"]))
    room = max(MOST_CHANGES - min(len(said), MOST_CHANGES - 1), 1)
    shown = said[: MOST_CHANGES - min(len(restated), 1)]
    return _section(
        "after_figure.html.j2",
        summary,
        folder,
        said=shown,
        restated=restated[:room],
        unsaid=len(summary["changes"]) + len(restated) - len(shown) - len(restated[:room]),
        steps=summary["next_steps"][:MOST_STEPS],
        most_of_step=MOST_SIGNS_OF_STEP,
    )


def _worth_saying(summary: Mapping[str, Any]) -> Iterator[Mapping[str, Any]]:
    """Give the changes that belong on the first page, the weightiest first."""
    top = {p["part"] for p in [p for p in summary["parts"] if p["mode"] is None][:MOST_PARTS]}
    for kind in ("verdict", "cause", "evidence", "blocked", "kit", "rank", "pattern"):
        for one in summary["changes"]:
            if one["kind"] == kind and (kind != "pattern" or one["about"] in top):
                yield one


def contents(summary: Mapping[str, Any]) -> Section:
    """Head of the appendix: where everything is."""
    return _section("contents.html.j2", summary, "", places=PLACES)


def part_section(
    summary: Mapping[str, Any],
    part: str,
    *,
    chains: tuple[tuple[int, str], ...] = (),
    folder: str = "",
) -> Section:
    """One part in full: lives, curve, repeats, trend, modes, and the why as far as it is known.

    Parameters
    ----------
    chains
        Place in the summary and why-chain of each investigation of the part.
    """
    numbered = list(enumerate(summary["parts"]))
    place = next(i for i, one in numbered if one["part"] == part and one["mode"] is None)
    modes = [(i, one) for i, one in numbered if one["part"] == part and one["mode"] is not None]
    return _section(
        "part.html.j2",
        summary,
        folder,
        p=summary["parts"][place],
        i=place,
        modes=modes,
        chains=chains,
        fleet_unit=summary["meter_unit"],
        currency=summary["currency"] or "(currency not stated)",
    )


def changes_section(summary: Mapping[str, Any], *, folder: str = "") -> Section:
    """Everything that changed since the last report, and the rows that changed it."""
    return _section("changes.html.j2", summary, folder, cut=list(_cut(summary)))


def _cut(summary: Mapping[str, Any]) -> Iterator[tuple[str, str]]:
    """Give the lines and steps that the first page could not show in full."""
    for key, name in _LINES.items():
        if len(summary["lines"][key]) > MOST_SIGNS[key]:
            yield name, summary["lines"][key]
    for number, step in enumerate(summary["next_steps"], start=1):
        if number > MOST_STEPS or len(step) > MOST_SIGNS_OF_STEP:
            yield f"Step {number}", step


def merits_section(summary: Mapping[str, Any], *, folder: str = "") -> Section:
    """Figures of merit of the whole fleet, with their definitions."""
    return _section("merits.html.j2", summary, folder, month_words=month_words(summary))


def open_causes_section(summary: Mapping[str, Any], *, folder: str = "") -> Section:
    """Causes still open by age, with owner and due date."""
    return _section("open_causes.html.j2", summary, folder)


def fixes_section(summary: Mapping[str, Any], *, folder: str = "") -> Section:
    """Every fix with its plan, both answers, and what was assumed."""
    return _section("fixes.html.j2", summary, folder)


def upstream_section(summary: Mapping[str, Any]) -> Section:
    """How to read the figures of what comes before the failures or goes with them."""
    looked = any(part["upstream_says"] for part in summary["parts"])
    return _section("upstream.html.j2", summary, "", looked=looked)


def units_section(summary: Mapping[str, Any], *, folder: str = "") -> Section:
    """Units with clearly more failures of a part than their running leads one to expect."""
    return _section("units.html.j2", summary, folder)


def needs_section(summary: Mapping[str, Any], *, folder: str = "") -> Section:
    """Parts needed in the coming months, and how past forecasts held."""
    needs: dict[str, list[tuple[int, Any]]] = {}
    for place, row in enumerate(summary["forecast"]):
        needs.setdefault(row["part"], []).append((place, row))
    months = sorted({row["months"] for row in summary["forecast"]})
    return _section(
        "needs.html.j2", summary, folder, needs=needs, months=months, all_alike=_all_alike
    )


def _all_alike(needed: Sequence[tuple[int, Mapping[str, Any]]]) -> bool:
    """Say whether every failure takes a new part and nothing else does."""
    return all(row["failures"] == {key: row[key] for key in row["failures"]} for _, row in needed)


def no_fault_section(summary: Mapping[str, Any], *, folder: str = "") -> Section:
    """Parts that came off and were good."""
    return _section("no_fault.html.j2", summary, folder)


def data_section(
    summary: Mapping[str, Any], *, notes: tuple[str, ...] = (), folder: str = ""
) -> Section:
    """The row account, what was set aside or blocked, and how the tables were understood."""
    return _section("data.html.j2", summary, folder, notes=notes)


def method_section(summary: Mapping[str, Any]) -> Section:
    """The terms of the page and its methods, in plain words."""
    return _section("method.html.j2", summary, "")


def overview(rows: Sequence[Mapping[str, Any]], *, made: str) -> str:
    """Return the page over many reports as a whole document."""
    failed = [one for one in rows if one["error"]]
    template = _templates().get_template("overview.html.j2")
    return template.render(
        title="Repeat failures: all reports of this run",
        css=Markup(style()),
        rows=rows,
        failed=failed,
        fresh=[one for one in rows if one["attention"]],
        made_count=len(rows) - len(failed),
        whole=NumberStyle().whole,
        made=made,
    )


def _section(name: str, summary: Mapping[str, Any], folder: str, **values: Any) -> Section:
    style = number_style(summary)
    keep = tuple(_names(summary))

    def number(value: float, digits: int) -> str:
        return style.whole(value) if digits == 0 else style.figures(value, digits)

    def say(text: str) -> str:
        return style.sentence(text, keep=keep)

    return Section(
        _templates()
        .get_template(name)
        .render(
            s=summary,
            folder=folder,
            fmt=number,
            pct=style.percent,
            pv=style.p_value,
            say=say,
            **values,
        )
    )


def _names(summary: Mapping[str, Any]) -> Iterator[str]:
    """Give names from the records that hold a number with a sign in it, which must stay as is."""
    for part in summary["parts"]:
        yield from (name for name in (part["part"], part["mode"]) if name and _NUMBER.search(name))
        for one in part["upstream"]:
            if _NUMBER.search(one["candidate"]):
                yield one["candidate"]
    for table, key in (("fixes", "fix"), ("units", "unit"), ("open_causes", "title")):
        yield from (one[key] for one in summary[table] if _NUMBER.search(one[key]))
