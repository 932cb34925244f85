"""Readings of the upstream cause on the treated units: fixes table and investigation as one."""

import math
from collections.abc import Iterator, Mapping

import pandas as pd

from rca.causes.case.conformity import Verdict, conformity, reading_words
from rca.causes.case.observations import Measurement, Taken
from rca.causes.case.quantities import known, same_quantity
from rca.causes.fix.cause_reading import Place
from rca.causes.fix_plans import FixOnFile

UnitDay = tuple[str, str]
PLACE = {Verdict.INSIDE: Place.INSIDE, Verdict.OUTSIDE: Place.OUTSIDE}


def readings_after_fix(
    applied: pd.DataFrame, plan: FixOnFile
) -> tuple[pd.DataFrame | None, list[str]]:
    """Return unit, date and place of every reading, and what is to be told of them.

    Parameters
    ----------
    applied
        Rows of the fixes table for this fix: unit, date, perhaps reading.
    plan
        The fix; where an investigation names what is read, its limits and its readings count.
        A reading that stands in both files is one reading.
    """
    if plan.measurement is None:
        return _by_fleet(applied, plan), []
    own, undated = _of_case(applied, plan, plan.measurement)
    told = [f"{undated} readings of the investigation have no date: left out"] if undated else []
    found = dict(_of_table(applied, plan, plan.measurement))
    for place, taken in own.items():
        if place in found and not _same(found[place], taken, plan.measurement):
            told.append(
                f"reading on {place[0]} on {place[1]}: the investigation says "
                f"{reading_words(plan.measurement, taken)}, which counts; the fixes table says "
                f"{reading_words(plan.measurement, found[place])}"
            )
    return _placed(found | own, plan, plan.measurement), told


def _by_fleet(applied: pd.DataFrame, plan: FixOnFile) -> pd.DataFrame | None:
    """Readings of the fixes table with the limits that fleet.yaml gives for them."""
    if "reading" not in applied.columns or applied["reading"].isna().all():
        return None
    taken = applied.loc[applied["reading"].notna(), ["unit", "date", "reading"]]
    reading = plan.said.reading
    limits = {
        name: float(reading[name])
        for name in ("at_least", "at_most", "standard_uncertainty")
        if name in reading
    }
    if not {"at_least", "at_most"} & set(limits):
        return None
    return taken.rename(columns={"reading": "value"}).assign(**limits)


def _of_table(
    applied: pd.DataFrame, plan: FixOnFile, one: Measurement
) -> Iterator[tuple[UnitDay, Taken]]:
    """Readings of the fixes table, in the unit that fleet.yaml states for them."""
    unit = str(plan.said.reading.get("unit", one.unit))
    fits = unit == one.unit or (known(unit) and same_quantity(unit, one.unit))
    if "reading" not in applied.columns or not fits:
        return
    rows = applied[applied["reading"].notna()]
    for name, day, value in zip(rows["unit"], rows["date"], rows["reading"], strict=True):
        yield (str(name), f"{day:%Y-%m-%d}"), Taken(float(value), unit)


def _of_case(
    applied: pd.DataFrame, plan: FixOnFile, one: Measurement
) -> tuple[dict[UnitDay, Taken], int]:
    """Readings of the investigation on treated units, and how many of them have no date.

    What was read as found lies before the work, whatever its date.
    """
    assert plan.case is not None
    taken = [*one.on_units.items()]
    taken += [(plan.case.unit, one.after)] if plan.case.unit and one.after else []
    spelled = {unit.casefold(): unit for unit in applied["unit"]}
    known_units = [
        (spelled[unit.casefold()], each)
        for unit, each in taken
        if unit.casefold() in spelled and each.reading is not None
    ]
    dated = {(unit, each.date): each for unit, each in known_units if each.date}
    return dated, sum(not each.date for _, each in known_units)


def _same(one: Taken, other: Taken, measurement: Measurement) -> bool:
    """Whether two readings say the same, units converted; words are compared as such."""
    values = [conformity(measurement, taken).value for taken in (one, other)]
    if None in values:
        return one.reading == other.reading
    return math.isclose(values[0] or 0.0, values[1] or 0.0, rel_tol=1e-6, abs_tol=1e-12)


def _placed(
    found: Mapping[UnitDay, Taken], plan: FixOnFile, one: Measurement
) -> pd.DataFrame | None:
    """Judge every reading by the rule of the investigation, guard band included."""
    assert plan.case is not None
    factor = plan.case.guard_factor
    rows = [
        (unit, pd.Timestamp(day), PLACE.get(judged.verdict, Place.UNDECIDED))
        for (unit, day), taken in found.items()
        if (judged := conformity(one, taken, guard_factor=factor)) and taken.reading != "no reading"
    ]
    return pd.DataFrame(rows, columns=["unit", "date", "place"]) if rows else None
