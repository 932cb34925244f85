"""Age of each piece of a life at its begin and end, in days and on the meter."""

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from rca.records.fleet import Fleet
from rca.records.lives.places import Slots
from rca.records.meters import Meters, day_number

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

HALF_DAY = 0.5
NO_DAY = np.iinfo(np.int64).min


def with_ages(
    fleet: Fleet, slots: Slots, pieces: pd.DataFrame, meters: Meters, first_lives: str
) -> pd.DataFrame:
    """Add the age of each piece at its begin and end, in days and on the meter."""
    unit = slots.unit[pieces["slot"].to_numpy()]
    starts = np.flatnonzero(pieces["piece"].to_numpy() == 0)
    life = pieces["life"].to_numpy()
    in_service = _in_service(fleet)[unit]
    watched_from = day_number(fleet.watch["watched_from"].to_numpy())[unit]
    first = pieces["fitting"].to_numpy() == 0
    from_new = first & (in_service != NO_DAY) & (in_service >= watched_from)
    fitted_day, fitted_meter = _proof(fleet, pieces, starts)
    life_begin = pieces["begin"].to_numpy()[starts][life]  # a renewal, or the begin of watching
    born = np.where(~first | from_new, life_begin, fitted_day[life])
    if first_lives != "proved":
        stand_in = np.where(in_service != NO_DAY, in_service, watched_from)
        stand_in = watched_from if first_lives == "as new" else stand_in
        born = np.where(first & ~from_new & (born == NO_DAY), stand_in, born)
    begin = pieces["begin"].to_numpy()
    begin = np.where(first & (born != NO_DAY), np.maximum(begin, born), begin)
    pieces = pieces.assign(begin=begin, unknown_first=first & ~from_new, unit_code=unit)
    proved_meter = np.where(first & ~from_new, fitted_meter[life], np.nan)
    return pieces.assign(
        **_age_in_days(pieces, born), **_age_on_meter(pieces, born, proved_meter, meters)
    )


def _age_in_days(pieces: pd.DataFrame, born: Ints) -> dict[str, Floats]:
    """Age at both ends in days; unknown (NaN) where the day of birth is."""
    known = born != NO_DAY
    entry = np.where(known, pieces["begin"].to_numpy() - born, np.nan).astype(float)
    age = np.where(known, pieces["end"].to_numpy() - born, np.nan).astype(float)
    wrong = known & (age < entry)  # a fitted date after the removal proves nothing
    entry[wrong], age[wrong] = np.nan, np.nan
    return {"entry_days": entry, "age_days": np.maximum(age, entry + HALF_DAY)}


def _age_on_meter(
    pieces: pd.DataFrame, born: Ints, proved_meter: Floats, meters: Meters
) -> dict[str, NDArray[np.generic]]:
    """Age at both ends in meter units, by the meter at the day of birth or by a proved reading."""
    unit = pieces["unit_code"].to_numpy()
    begin, end = pieces["begin"].to_numpy(), pieces["end"].to_numpy()
    known = born != NO_DAY
    use_begin, guess_begin = meters.at(unit, begin)
    use_end, guess_end = meters.at(unit, end)
    use_born, guess_born = meters.at(unit, np.where(known, born, begin))
    use_born = np.where(known, np.minimum(use_born, use_begin), np.nan)
    unbroken = ~np.isin(meters.names[unit], list(meters.replaced))
    by_meter = ~np.isnan(proved_meter) & unbroken
    use_born = np.where(by_meter & (proved_meter <= use_end), proved_meter, use_born)
    entry = np.maximum(use_begin - use_born, 0.0)
    pace = (use_end - use_begin) / np.maximum(end - begin, 1)
    age = use_end - use_born
    shortest = entry + np.where(pace > 0, pace * HALF_DAY, np.nan)
    age = np.where(age > entry, age, shortest)
    return {
        "entry_meter": np.where(np.isnan(age), np.nan, entry),
        "age_meter": age,
        "meter_estimated": guess_begin | guess_end | (guess_born & ~by_meter),
    }


def _proof(fleet: Fleet, pieces: pd.DataFrame, starts: Ints) -> tuple[Ints, Floats]:
    """Fitted day and fitted meter of each life, where a repair during it states them."""
    repairs = fleet.repairs
    row = pieces["row"].to_numpy()
    day = np.append(day_number(repairs["fitted_date"].to_numpy()), NO_DAY)[row]
    day = np.where(day > pieces["end"].to_numpy(), NO_DAY, day)
    meter = np.append(repairs["fitted_meter"].to_numpy(dtype=np.float64), np.nan)[row]
    if not len(starts):
        return day, meter
    return np.maximum.reduceat(day, starts), np.fmax.reduceat(meter, starts)


def _in_service(fleet: Fleet) -> Ints:
    """Day on which each watched unit entered service; NO_DAY where that is unknown."""
    if fleet.units is None:
        return np.full(len(fleet.watch), NO_DAY)
    by_name = pd.Series(
        day_number(fleet.units["in_service"].to_numpy()), index=fleet.units["unit"].astype(str)
    )
    return by_name.reindex(fleet.watch["unit"]).to_numpy(dtype=np.int64)
