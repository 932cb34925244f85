"""Months: their last day, the last complete one, and which of them a fleet's records can answer."""

import calendar
import re
from datetime import date
from pathlib import Path

from rca.errors import Problem, Refused
from rca.records.fleet import Fleet, Source, today
from rca.records.groups import Group

_STEP = "write it as YYYY-MM, for example 2026-10"


def month_end(month: str) -> date:
    """Return the last day of a month written YYYY-MM.

    Raises
    ------
    Refused
        It is not a month.
    """
    try:
        if not re.fullmatch(r"[0-9]{4}-[0-9]{2}", month):
            raise ValueError(month)
        year, number = (int(part) for part in month.split("-"))
        return date(year, number, calendar.monthrange(year, number)[1])
    except (ValueError, calendar.IllegalMonthError) as error:
        raise Refused([Problem("--month", 0, "", month, "is not a month", _STEP)]) from error


def last_complete_month(cutoff: date, *, now: date) -> str:
    """Return the last month that had ended by `now`, as YYYY-MM, not later than the cut-off's."""
    year, month = (now.year, now.month - 1) if now.month > 1 else (now.year - 1, 12)
    return min(f"{year:04d}-{month:02d}", f"{cutoff:%Y-%m}")


def reportable_month(fleet: Fleet, month: str | None, *, now: date) -> str:
    """Return the month to report, by default the last complete one.

    Raises
    ------
    Refused
        It is not a month, lies after the cut-off, or ended before any unit was watched.
    """
    month = month or last_complete_month(fleet.cutoff, now=now)
    end, latest = month_end(month), f"{fleet.cutoff:%Y-%m}"
    if month > latest:
        rule = f"lies after the cut-off {fleet.cutoff}"
        step = f"the latest month that can be reported is {latest}"
        raise Refused([Problem("--month", 0, "", month, rule, step)])
    first = fleet.watch["watched_from"].min()
    if end < first.date():
        rule = f"ended before the first unit was watched, on {first:%Y-%m-%d}"
        step = f"the earliest month that can be reported is {first:%Y-%m}"
        raise Refused([Problem("--month", 0, "", month, rule, step)])
    return month


def read_month(
    folder: Path | str, *, month: str | None = None, group: Group | None = None
) -> tuple[Fleet, str]:
    """Read a fleet folder as its records stood at the end of a month; also return that month.

    Parameters
    ----------
    month
        By default the last complete one in the fleet's time zone.
    group
        Read only the units of this group, as a fleet of its own.

    Raises
    ------
    Refused
        The folder cannot be used, or its records do not reach the month.
    """
    source = Source.of(folder, group=group)
    fleet = source.fleet()
    chosen = reportable_month(fleet, month, now=today(fleet.settings.timezone))
    end = month_end(chosen)
    return (source.fleet(until=end) if end < fleet.cutoff else fleet), chosen
