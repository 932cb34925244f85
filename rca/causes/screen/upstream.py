"""The upstream screen: what is recorded before a part's failures, and what goes with them.

Events of other parts, other work and fault codes are counted before and after the failures on the
same units (`company`), attributes by observed and expected failures (`attributes`); one
Benjamini-Hochberg list holds everything screened for all parts of the run. What is found is then
looked at twice more: in which order it comes, and whether something found more clearly explains
it. A screen says "comes before" and "goes with it"; it never names a cause.

The screen is rerun every month on growing records, and the best of many looks at pure chance
looks good. So each p is multiplied by 1 + 3 log(F / 10), F being the failures of the part so far:
the number of looks that matter grows with the logarithm of the evidence. That keeps the chance
that a fleet in which nothing comes before anything EVER shows a candidate within 24 monthly runs
at about 5 % (simulated, tests/benchmarks/README.md). It needs no memory of earlier runs.

Two methods were put through one simulation (same README). The simpler one, a single window and the
larger of two p-values, showed hardly anything false, but found a precursor of ratio 4 with lags of
10 to 120 days in 5 to 40 % of fleets with 80 failures, depending on a window that nobody knows
beforehand; this one, six windows with the order as a second step, in 80 %. It was fooled by weeks
in which everything is found (70 % of such fleets) and by repairs that come back (15 %): the rule
for crowded weeks is taken over from the simpler method, the correction for clusters was added, and
both are down to the level of fleets in which nothing is.
"""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd

from rca.causes.screen.attributes import Levels, levels_of
from rca.causes.screen.background import Array
from rca.causes.screen.candidate_rows import (
    COLUMNS,
    COMES_BEFORE,
    EXPLAINED,
    LEAST_EXCESS,
    LEVEL,
    attribute_rows,
    event_rows,
)
from rca.causes.screen.company import FEWEST_INSIDE, WINDOWS, WINDOWS_AS
from rca.causes.screen.explaining import FoundEvent
from rca.causes.screen.lags import Lags, lags_of
from rca.causes.screen.nearest import nearest_rows
from rca.causes.screen.occurrences import occurrences_of
from rca.causes.screen.target_tests import FEWEST_FAILURES, Run, TargetTests, looks
from rca.causes.screen.within_units import tail_chance


@dataclass(frozen=True, slots=True, eq=False)
class Screen:
    """What was found for all parts of a run, and what was looked at.

    found
        One row a candidate, strongest first within its part (columns `COLUMNS`). `kind` is
        "event" or "attribute". For events: `events` of the `failures` had the candidate in the
        `window_days` before them where `expected` would by chance; `ratio` is the failure rate
        in those days over that on the unit's other days; lags are days from the last candidate
        event to the failure (median and quartiles). For attributes: failures at that level.
    explained
        Candidates that passed but are explained by one found more clearly; same columns.
    tested
        Every pair tested: target, candidate, kind, p, q, rank within the target.
    targets
        One row a part: target, failures, candidates (tested), found, would_have_shown (ratio
        that had shown with a chance of about 80 %), text.
    nearest
        The strongest candidates of each part that were not found, as in `found`: what chance can
        do. No finding.
    lags
        For each (target, candidate) found: how long before or after the failures its events lie.
    """

    found: pd.DataFrame
    explained: pd.DataFrame
    tested: pd.DataFrame
    targets: pd.DataFrame
    nearest: pd.DataFrame
    lags: Mapping[tuple[str, str], Lags]
    crowded: int

    def of(self, target: str) -> pd.DataFrame:
        """Return the rows found for one part."""
        return self.found[self.found["target"] == target]

    def text(self, target: str) -> str:
        """What the screen says of one part, in a sentence or two."""
        row = self.targets[self.targets["target"] == target]
        return str(row["text"].iloc[0]) if len(row) else f"{target} was not screened"

    def __str__(self) -> str:
        return (
            f"{len(self.tested)} pairs looked at for {len(self.targets)} parts: "
            f"{len(self.found)} found, {len(self.explained)} explained by others"
        )


def screen_upstream(
    repairs: pd.DataFrame,
    watch: pd.DataFrame,
    *,
    lives: pd.DataFrame,
    units: pd.DataFrame | None = None,
    targets: Sequence[str] | None = None,
    scales: Mapping[str, str] | None = None,
    seed: int = 0,
) -> Screen:
    """Screen everything recorded against the failures of each part.

    Parameters
    ----------
    repairs, watch
        As in `rca.records.fleet.Fleet`; see `occurrences_of` for what counts as an event.
    lives
        Rows of `LifeTable`, for what is expected of each unit and lot.
    units
        Unit attributes; without them only events and lots are screened.
    targets
        Parts to screen; default: every part with a failure. Those with fewer than 10 failures
        are listed as too few to look.
    scales
        Part to "meter" or "days", the age scale of its lives; default "days".

    Raises
    ------
    NoAnswer
        The reason of repairs is not recorded, so that nobody knows which rows are failures.
    """
    events = occurrences_of(repairs, watch, units=units)
    levels = levels_of(units) if units is not None else Levels({}, {}, pd.Index([]))
    run = Run.of(events)
    names = list(targets) if targets is not None else run.failing_parts()
    by_part = {str(part): rows for part, rows in lives.groupby("part", observed=True)}
    screened = [
        TargetTests.of(
            run, name, by_part.get(name), levels, scale=(scales or {}).get(name, "days"), seed=seed
        )
        for name in names
    ]
    return _judged(run, screened)


def _judged(run: Run, screened: list[TargetTests]) -> Screen:
    """Judge all tests of the run in one list, and describe what was found."""
    tested = _tested(run, screened)
    passing = _passed(tested, screened)
    events = [
        FoundEvent(one, one.company, place, float(p))
        for one, passed in zip(screened, passing, strict=True)
        for place, p in enumerate(one.p[: one.n_events])
        if passed[place] and one.company is not None
        and one.company.excess()[place] >= LEAST_EXCESS
    ]  # fmt: skip
    rows = event_rows(run, events, tested)
    rows += attribute_rows(screened, tested)
    frame = pd.DataFrame(rows, columns=list(COLUMNS))
    frame = frame.sort_values(["target", "p", "candidate"], kind="stable", ignore_index=True)
    hidden = frame["word"] == EXPLAINED
    found, explained = frame[~hidden], frame[hidden]
    targets = pd.DataFrame([_about(one, found, len(tested)) for one in screened])
    return Screen(
        found.reset_index(drop=True),
        explained.reset_index(drop=True),
        tested,
        targets,
        pd.DataFrame(nearest_rows(run, screened, passing, tested), columns=list(COLUMNS)),
        {(one.target.name, run.events.names[one.kind]): lags_of(run, one) for one in events},
        run.events.crowded,
    )


def _tested(run: Run, screened: list[TargetTests]) -> pd.DataFrame:
    """Every pair with p, q over the whole run, and its rank within the target."""
    from scipy.stats import false_discovery_control

    rows: list[tuple[str, str, str, float]] = []
    for one in screened:
        kinds = one.company.kinds if one.company is not None else ()
        names = [(run.events.names[kind], "event") for kind in kinds]
        names += [(f"{test.attribute} = {test.level}", "attribute") for test in one.attributes]
        rows += [
            (one.name, name, kind, float(p)) for (name, kind), p in zip(names, one.p, strict=True)
        ]
    table = pd.DataFrame(rows, columns=["target", "candidate", "kind", "p"])
    table["q"] = false_discovery_control(table["p"].to_numpy()) if len(table) else table["p"]
    table["rank"] = table.groupby("target")["p"].rank(method="min").astype(int)
    return table


def _passed(tested: pd.DataFrame, screened: list[TargetTests]) -> list[Array]:
    """For each target: which of its tests pass, in their order."""
    passed = (tested["q"] < LEVEL).to_numpy()
    ends = np.cumsum([len(one.p) for one in screened])[:-1]
    return np.split(passed, ends.astype(int)) if screened else []


def _about(one: TargetTests, found: pd.DataFrame, tests: int) -> dict[str, Any]:
    """Row of `Screen.targets` for one part."""
    count = len(one.failures)
    mine = found[found["target"] == one.name]
    shown, words = _would_have_shown(one, tests)
    if count < FEWEST_FAILURES:
        text = f"too few to look: {count} failures, {FEWEST_FAILURES} are needed"
    elif len(mine):
        text = " ".join(sentence(row) for _, row in mine.iterrows())
    else:
        text = (
            f"nothing recorded comes before or goes with these failures more often than chance: "
            f"{len(one.p)} candidates looked at over {count} failures; {words}"
        )
    return {
        "target": one.name,
        "failures": count,
        "candidates": len(one.p),
        "found": len(mine),
        "would_have_shown": shown,
        "text": text,
    }


def _would_have_shown(one: TargetTests, tests: int) -> tuple[float, str]:
    """Ratio at which a candidate of middling frequency had shown, with a chance of about 80 %.

    The smallest count in the 60 days before that passes the strictest step of the list, plus
    0.84 of its square root, over the expectation.
    """
    if one.company is None:
        return math.nan, "no other event lies near them, so no event could show"
    window = int(np.searchsorted(WINDOWS, 60))
    due = one.company.before.usual[window] * one.company.before.expected[window]
    middle, total = float(np.median(due)), float(np.median(one.company.total))
    needed = LEVEL / max(tests, 1) / WINDOWS_AS / looks(len(one.failures))
    counts = np.arange(FEWEST_INSIDE, max(int(total), FEWEST_INSIDE) + 1)
    enough = counts[tail_chance(counts, total, middle / max(total, 1)) < needed]
    if not len(enough) or middle <= 0:
        return math.nan, "other events are too rare here for any to show"
    ratio = (enough[0] + 0.84 * math.sqrt(enough[0])) / middle
    return ratio, f"one of middling frequency would have shown from a ratio of about {ratio:.2g}"


def sentence(row: Mapping[str, Any]) -> str:
    """Say one row of `Screen.found` in words, with its numbers."""
    limits = f"{row['lower']:.2g} to {row['upper']:.2g}"
    note = f" ({row['note']})" if row["note"] else ""
    if row["kind"] == "attribute":
        return (
            f"{row['candidate']} goes with {row['target']} failures{note}: {row['events']:.0f} "
            f"where {row['expected']:.3g} were expected (ratio {row['ratio']:.2g}, {limits}; "
            f"q {row['q']:.2g}). A hypothesis: look there."
        )
    verb = "comes before" if row["word"] == COMES_BEFORE else "goes with"
    return (
        f"{row['candidate']} {verb} {row['target']} failures{note}: {row['events']:.0f} of "
        f"{row['failures']:.0f} had it in the {row['window_days']:.0f} days before, "
        f"{row['expected']:.3g} expected (ratio {row['ratio']:.2g}, {limits}; q {row['q']:.2g}); "
        f"half of the lags lie between {row['lag_lower']:.0f} and {row['lag_upper']:.0f} days. "
        f"A hypothesis: test it on the next unit."
    )
