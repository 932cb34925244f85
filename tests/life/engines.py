"""Histories that several tests of recurrence share, and the slow formulas they are checked by."""

from importlib.metadata import version

import numpy as np
import pytest
from hypothesis import strategies as st

from rca.life.histories import Histories
from tests.published import VALVE_SEAT

# Faults of other libraries are shown as they were met; a later version may have mended them.
peers_as_met = pytest.mark.skipif(
    (version("statsmodels"), version("lifelines")) != ("0.15.0", "0.30.3"),
    reason="faults shown are those of statsmodels 0.15.0 and lifelines 0.30.3",
)

# S16, one system watched to 1500 h. NIST/SEMATECH e-Handbook of Statistical Methods, section
# 8.4.5.2: the numbers were READ in a public copy of the handbook's commands, which is INFERRED to
# be the handbook's own from matching data and formulas.
ONE_SYSTEM = (5, 40, 43, 175, 389, 712, 747, 795, 1299, 1478)
ONE_SYSTEM_END = 1500.0


def valve_seats(*, cost: bool = False) -> Histories:
    """41 engines, 48 replacements; the costs are constructed."""
    unit, age, event, money = np.array(VALVE_SEAT).T
    happened = event == 1
    return Histories.of(
        unit[~happened],
        np.zeros((~happened).sum()),
        age[~happened],
        event_unit=unit[happened],
        event_age=age[happened],
        event_value=money[happened] if cost else None,
        unit_of_age="days",
        unit_of_value="dollars" if cost else "",
    )


def one_system() -> Histories:
    """One system, ten failures, watching ended at a set time."""
    return Histories.of(
        ["system"],
        [0],
        [ONE_SYSTEM_END],
        event_unit=["system"] * len(ONE_SYSTEM),
        event_age=ONE_SYSTEM,
        unit_of_age="h",
    )


@st.composite
def whole_day_histories(draw: st.DrawFn, *, costs: bool = False) -> Histories:
    """Units with up to three stretches on whole days, many ties, gaps and late starts."""
    unit, start, end, event_unit, event_age = [], [], [], [], []
    for name in range(draw(st.integers(2, 7))):
        cuts = draw(st.lists(st.integers(0, 20), min_size=2, max_size=6, unique=True))
        for low, high in zip(*[iter(sorted(cuts))] * 2, strict=False):
            ages = draw(st.lists(st.integers(low, high), max_size=4))
            unit.append(name)
            start.append(low)
            end.append(high)
            event_unit += [name] * len(ages)
            event_age += ages
    values = None
    if costs:
        size = len(event_age)
        values = draw(st.lists(st.floats(-5, 50), min_size=size, max_size=size))
    return Histories.of(
        unit, start, end, event_unit=event_unit, event_age=event_age, event_value=values
    )


def mean_and_variance(histories: Histories, ages: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Mean cumulative function and unit-wise variance by the definition, one unit at a time."""
    mean, influence = 0.0, np.zeros(len(histories))
    means, variances = [], []
    for age in ages:
        watched = np.zeros(len(histories))
        inside = (histories.start <= age) & (age <= histories.end)
        watched[histories.stretch_unit[inside]] = 1
        now = histories.event_age == age
        own = np.bincount(
            histories.event_unit[now],
            weights=histories.event_value[now],
            minlength=len(histories),
        )
        rise = own.sum() / watched.sum()
        mean += rise
        influence += watched / watched.sum() * (own - rise)
        means.append(mean)
        variances.append((influence**2).sum())
    return np.array(means), np.array(variances)
