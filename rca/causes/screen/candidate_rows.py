"""What is told of a candidate that was found: its order, ratio, lags, and what explains it."""

import math
from typing import Any

import numpy as np
import pandas as pd

from rca.causes.screen.attributes import AttributeTest
from rca.causes.screen.background import Array, Ints
from rca.causes.screen.company import WINDOWS, Order, days_since, order_of
from rca.causes.screen.explaining import FoundEvent, explain_attribute, explain_events
from rca.causes.screen.occurrences import FAR_DAYS
from rca.causes.screen.target_tests import Run, TargetTests, looks
from rca.causes.screen.within_units import case_series_ratio, sequence_ratio

LEVEL = 0.05
ORDER_LEVEL = 0.01
LEAST_EXCESS = 1.2

COMES_BEFORE = "comes before"
GOES_WITH = "goes with it"
EXPLAINED = "explained"
"""Words of the column `word`; `note` says the rest."""

COLUMNS = (
    "target", "candidate", "kind", "word", "note", "ratio", "lower", "upper", "p", "q", "events",
    "expected", "failures", "window_days", "lag_median", "lag_lower", "lag_upper", "same_day",
    "before", "after", "order_ratio", "order_lower", "order_upper",
)  # fmt: skip


def event_rows(run: Run, found: list[FoundEvent], tested: pd.DataFrame) -> list[dict[str, Any]]:
    """Describe found events: their order, ratio, lags, and what explains them."""
    explained = explain_events(run, found)
    orders = [_order(run, one) for one in found]
    first = _in_order(orders)
    q = tested.set_index(["target", "candidate"])["q"]
    rows = []
    for one, order, is_first in zip(found, orders, first, strict=True):
        name = run.events.names[one.kind]
        why = explained.get((one.target.kind, one.kind), "")
        word, note = (EXPLAINED, why) if why else _word(one, is_first)
        row: dict[str, Any] = {
            "target": one.target.name,
            "candidate": name,
            "kind": "event",
            "word": word,
            "note": note,
            "p": one.p,
            "q": float(q[one.target.name, name]),
        }
        rows.append(row | event_strength(run, one) | _order_columns(order))
    return rows


def _order(run: Run, one: FoundEvent) -> Order:
    places = np.array([one.place])
    return order_of(one.company, run.events, run.background, places=places, window=one.window)


def _in_order(orders: list[Order]) -> list[bool]:
    """Which come before rather than after: Holm's step-down over all found, at 1 %."""
    ranked = sorted(range(len(orders)), key=lambda place: float(orders[place].p[0]))
    first = [False] * len(orders)
    for step, place in enumerate(ranked):
        if float(orders[place].p[0]) >= ORDER_LEVEL / (len(orders) - step):
            break
        columns = _order_columns(orders[place])
        first[place] = columns["order_ratio"] >= LEAST_EXCESS
    return first


def _order_columns(order: Order) -> dict[str, float]:
    before, after, share = (float(one[0]) for one in (order.before, order.after, order.share))
    divided = float(order.clustering[0])
    ratio, limits = sequence_ratio(before / divided, after / divided, expected_share=share)
    return {
        "before": before,
        "after": after,
        "order_ratio": ratio,
        "order_lower": limits.lower,
        "order_upper": limits.upper,
    }


def _word(one: FoundEvent, is_first: bool) -> tuple[str, str]:
    if is_first:
        return COMES_BEFORE, ""
    company = one.company
    if company.after.p(company.total, company.clustering)[one.window, one.place] < LEVEL:
        return GOES_WITH, "before and after alike: a common cause, or found at the same visits"
    return GOES_WITH, "order not settled"


def event_strength(run: Run, one: FoundEvent) -> dict[str, float]:
    """Ratio by case series, failures preceded, lags and same-day count."""
    failures, place = one.target.failures, one.window
    window, usual = int(WINDOWS[place]), float(one.company.before.usual[place, one.place])
    unit, day = run.events.of(one.kind)
    lag = days_since(unit, day, of_unit=failures.unit, of_day=failures.day)
    preceded = lag <= window
    units = np.unique(failures.unit)
    events = run.background.count[units, one.target.kind]
    due = _due(run, one.target.kind, unit, day, window)[units]
    ratio, limits = case_series_ratio(
        float(preceded.sum()),
        events,
        np.clip(due / events, 0, 1),
        dispersion=float(run.clustering[place, one.target.kind]),
    )
    quartiles = np.quantile(lag[preceded], [0.25, 0.5, 0.75]) if preceded.any() else [math.nan] * 3
    same = np.isin(failures.unit * FAR_DAYS + failures.day, unit * FAR_DAYS + day)
    return {
        "ratio": ratio / usual,
        "lower": limits.lower / usual,
        "upper": limits.upper / usual,
        "events": int(preceded.sum()),
        "expected": float(due.sum()) * usual,
        "failures": len(failures),
        "window_days": window,
        "lag_lower": float(quartiles[0]),
        "lag_median": float(quartiles[1]),
        "lag_upper": float(quartiles[2]),
        "same_day": int(same.sum()),
    }


def _due(run: Run, target: int, unit: Ints, day: Ints, window: int) -> Array:
    """Failures of the target by unit that chance would put into the days after the events."""
    events = run.events
    final = np.append(unit[1:] != unit[:-1], True)[: len(unit)]
    following = np.where(final, events.last[unit], np.append(day[1:], 0)[: len(day)])
    end = np.minimum(np.minimum(day + window, following), events.last[unit])
    due = run.background.expected(
        unit, day + 1, end, unit, n_groups=len(events.units), kinds=np.array([target])
    )
    return due[:, 0]


def attribute_rows(screened: list[TargetTests], tested: pd.DataFrame) -> list[dict[str, Any]]:
    """Describe found attributes, each looked at again beside the other ones found."""
    q = tested.set_index(["target", "candidate"])["q"]
    rows = []
    for one in screened:
        named = {test.attribute: f"{test.attribute} = {test.level}" for test in one.attributes}
        kept = [
            test for test in one.attributes if q[one.name, named[test.attribute]] < LEVEL
        ]  # fmt: skip
        for place, test in enumerate(kept):
            others = [other.attribute for number, other in enumerate(kept) if number != place]
            hidden, note = explain_attribute(one, test.attribute, others)
            p = test.p * looks(len(one.failures))
            rows.append(
                {
                    "target": one.name,
                    "candidate": named[test.attribute],
                    "kind": "attribute",
                    "word": EXPLAINED if hidden else GOES_WITH,
                    "note": note,
                    "p": min(1.0, p),
                    "q": float(q[one.name, named[test.attribute]]),
                }
                | attribute_strength(test, failures=len(one.failures))
            )
    return rows


def attribute_strength(test: AttributeTest, *, failures: int) -> dict[str, Any]:
    """Ratio and counts of one attribute's level; `failures` are those of the part in all."""
    return {
        "ratio": test.ratio,
        "lower": test.interval.lower,
        "upper": test.interval.upper,
        "events": test.failures,
        "expected": test.expected,
        "failures": failures,
    }
