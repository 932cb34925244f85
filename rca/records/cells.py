"""Reading cells: text to names, numbers and days. What cannot be read becomes NaN or NaT."""

import re
from collections.abc import Mapping, Sequence
from datetime import date
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

Days = NDArray[np.datetime64]

DATE_ORDERS = ("year first", "day first", "month first")
# Days outside are no dates of a repair shop but stand-ins such as 0001-01-01 or 9999-12-31.
FIRST_DAY, LAST_DAY = np.datetime64("1900-01-02"), np.datetime64("2199-12-31")
STAND_INS = "words for no date, such as 9999-12-31, belong under missing"
FEW_UNREAD = 0.01  # share of dates that the right order may leave unread
CLEARLY_BEST = 0.2  # by this share an order must read more dates than any other


def cell_text(value: Any) -> str:
    """Return a cell as one line of text; whole numbers lose their `.0`, dates become ISO."""
    if isinstance(value, str):
        return " ".join(value.split())
    if value is None or value is pd.NaT or value is pd.NA:
        return ""
    if isinstance(value, float | np.floating):
        if np.isnan(value):
            return ""
        return str(int(value)) if float(value).is_integer() else repr(float(value))
    if hasattr(value, "isoformat"):
        return str(value.isoformat()).replace("T00:00:00", "")
    return " ".join(str(value).split())


def wildcard(pattern: str) -> re.Pattern[str]:
    """Match a text in which * stands for any text, without regard to case or outer blanks."""
    plain = " ".join(pattern.split())
    return re.compile(".*".join(map(re.escape, plain.split("*"))), re.IGNORECASE | re.DOTALL)


def merged_names(texts: Sequence[str], counts: NDArray[np.int64]) -> list[str]:
    """Give names that differ only in case or spaces the most frequent of their spellings.

    Of equally frequent ones the first in the alphabet is taken, so that row order never matters.
    """
    best: dict[str, str] = {}
    for place in sorted(range(len(texts)), key=lambda place: (-counts[place], texts[place])):
        best.setdefault(texts[place].casefold(), texts[place])
    return [best[text.casefold()] for text in texts]


def parse_numbers(
    texts: Sequence[str], *, decimal: str = ".", thousands: str = "", affixes: Sequence[str] = ()
) -> NDArray[np.float64]:
    """Read numbers written with these marks; NaN where a text is blank or no finite number."""
    plain = pd.Series(list(texts), dtype=object)
    for affix in affixes:
        plain = plain.str.replace(affix, "", regex=False).str.strip()
    if thousands:
        mark = re.escape(thousands)
        grouped = plain.str.fullmatch(rf"[-+]?\d{{1,3}}(?:{mark}\d{{3}})+(?:\D\d+)?")
        plain = plain.where(~plain.str.contains(thousands, regex=False) | grouped, "unreadable")
        plain = plain.str.replace(thousands, "", regex=False)
    if decimal == ",":
        plain = plain.where(~plain.str.contains(".", regex=False), "unreadable")
        plain = plain.str.replace(",", ".", regex=False)
    numbers = pd.to_numeric(plain.mask(plain.eq(""), None), errors="coerce")
    values = numbers.to_numpy(dtype=np.float64, na_value=np.nan)
    return np.where(np.isinf(values), np.nan, values)


def may_be_thousands(texts: Sequence[str]) -> NDArray[np.bool_]:
    """Tell which texts are 1234 as much as 1.234, where nothing in the column decides between them.

    That is so if every point is followed by three digits, at least three distinct texts have one,
    and no number without a point has more than three digits. Common practice, no source.
    """
    pointed = np.array(["." in text for text in texts], dtype=bool)
    grouped = re.compile(r"[-+]?[1-9]\d{0,2}(?:\.\d{3})+")
    plain = re.compile(r"[-+]?\d{0,3}")
    undecided = all(
        (grouped if "." in text else plain).fullmatch(text) is not None for text in texts
    )
    return pointed & (undecided and int(pointed.sum()) >= 3)


_FORMATS = {
    "year first": ("%Y-%m-%d", "%Y/%m/%d", "%Y.%m.%d", "%Y%m%d"),
    "day first": (
        "%d/%m/%Y", "%d.%m.%Y", "%d-%m-%Y", "%d/%m/%y", "%d.%m.%y", "%d-%b-%Y", "%d-%b-%y",
        "%d %b %Y", "%d %B %Y",
    ),
    "month first": (
        "%m/%d/%Y", "%m-%d-%Y", "%m.%d.%Y", "%m/%d/%y", "%b %d %Y", "%b %d, %Y", "%B %d, %Y",
    ),
}  # fmt: skip
_TIME = re.compile(r"[T ]\d{1,2}:\d{2}(?::\d{2}(?:\.\d+)?)?\s*(?:[AaPp]\.?[Mm]\.?)?$")
_ZONED = re.compile(r"[T ]\d{1,2}:\d{2}.*(?:Z|[+-]\d{2}:?\d{2})$")
_DIGITS = re.compile(r"\d+")
_EIGHT_DIGITS = re.compile(r"\d{8}")


def parse_days(texts: pd.Series, order: str, timezone: str) -> Days:
    """Read dates written in the given order; a time of day is left off; unreadable ones are NaT."""
    zoned = texts.str.contains(_ZONED)
    plain = texts.str.replace(_TIME, "", regex=True)
    # A run of digits is a date only as YYYYMMDD: else 452921 would be the year 4529.
    plain = plain.mask(plain.str.fullmatch(_DIGITS) & ~plain.str.fullmatch(_EIGHT_DIGITS), "no")
    days = pd.Series(pd.NaT, index=texts.index, dtype="datetime64[s]")
    for pattern in _FORMATS[order]:
        open_ = days.isna() & ~zoned
        if not open_.any():
            break
        found = pd.to_datetime(plain[open_], format=pattern, errors="coerce")
        days[open_] = found.astype("datetime64[s]")
    if order == "year first" and zoned.any():
        moments = pd.to_datetime(texts[zoned], format="ISO8601", errors="coerce", utc=True)
        days[zoned] = local_days(moments, timezone).astype("datetime64[s]")
    return plausible(days.to_numpy().astype("datetime64[D]"))


def local_days(moments: pd.Series, timezone: str) -> Days:
    """Return the calendar day, in the fleet's time zone where the moments carry a zone."""
    if getattr(moments.dtype, "tz", None) is not None:
        moments = moments.dt.tz_convert(timezone).dt.tz_localize(None)
    return moments.to_numpy().astype("datetime64[D]")


def plausible(days: Days) -> Days:
    """Return the days with those outside 1900 to 2199 taken for unreadable."""
    return np.where((days < FIRST_DAY) | (days > LAST_DAY), np.datetime64("NaT", "D"), days)


def decide_order(tried: Mapping[str, Days]) -> tuple[str, str, str]:
    """Choose the one date order that reads (nearly) all dates.

    Parameters
    ----------
    tried
        For each order the days that it reads, NaT where it reads none.

    Returns
    -------
    The order, "" and ""; or the order that reads most, why it cannot be taken, and what to do.
    """
    size = len(next(iter(tried.values())))
    unread = {order: int(np.isnat(days).sum()) for order, days in tried.items()}
    best = min(unread, key=lambda order: unread[order])
    if all(_same(tried[best], days) for days in tried.values()):
        return best, "", ""  # what is not read is read in no order
    good = [order for order, count in unread.items() if count <= FEW_UNREAD * size]
    if good and all(_same(tried[good[0]], tried[order]) for order in good):
        return good[0], "", ""
    if good:
        why = f"the date order cannot be decided: {' and '.join(good)} both read every date"
        return best, why, f"set date_order in fleet.yaml: {' or '.join(good)}"
    if all(unread[order] > unread[best] + CLEARLY_BEST * size for order in unread if order != best):
        return best, "", ""
    why = f"no date order reads this column ({unread[best]} of {size} dates unreadable)"
    return best, why, f"write dates as YYYY-MM-DD or set date_order; {STAND_INS}"


def _same(one: Days, other: Days) -> bool:
    return bool(((one == other) | (np.isnat(one) & np.isnat(other))).all())


def is_typed_date(value: Any) -> bool:
    """Tell whether a cell is a true date (of a workbook, say) and not a text of one."""
    return isinstance(value, date) and value is not pd.NaT


def is_day_number(text: str) -> bool:
    """Tell whether a text is a day as workbooks count them, from 1920 to 2078."""
    return bool(_DIGITS.fullmatch(text)) and 7306 <= int(text[:6]) <= 65380
