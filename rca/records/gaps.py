"""What the tables of a fleet cannot answer, or would answer wrongly: blocked results and gaps."""

from collections.abc import Iterator, Mapping

import numpy as np
import pandas as pd

from rca.records.settings import Settings
from rca.records.tables import CheckedTable

Frames = Mapping[str, pd.DataFrame]

LIVES, METER_LIVES, MONEY = "lives", "meter lives", "money"
MOST_ORDERS_OFF = 0.01  # share of orders whose rows may differ from the order's total
OUTLIER_YEARS = 3  # by which the first repair may lie before all but one in a hundred
_UNIT_SPELLINGS = {
    "km": ("km", "kms", "kilometres", "kilometers", "kilometre", "kilometer"),
    "miles": ("miles", "mile", "mi"),
    "hours": ("hours", "hour", "h", "hr", "hrs"),
}


def blocked_results(
    frames: Frames, checked: Mapping[str, CheckedTable], settings: Settings
) -> list[tuple[str, str]]:
    """Name the results that these tables cannot give, or would give wrongly, each with why."""
    found = [*settings.blocked.items()]
    found += [block for table in checked.values() for block in table.blocked]
    found += _lives(checked["repairs"].frame, settings)
    if all(result != MONEY for result, _ in found):
        found += _money(checked["repairs"])
    found += _meters(frames, checked["repairs"].frame, settings)
    return list(dict.fromkeys(found))


def _lives(repairs: pd.DataFrame, settings: Settings) -> Iterator[tuple[str, str]]:
    if _is_blank(repairs, "reason"):
        why = "no row states its reason: fleet.yaml must say how rows are to be read"
        yield LIVES, why + ' (values: {reason: {"": failure}}, or columns: {reason: ...})'
    if _is_blank(repairs, "action"):
        why = "no row states its action, so which repairs renewed the part is unknown; if all did, "
        yield LIVES, why + 'say so in fleet.yaml (values: {action: {"": replaced}})'
    days = np.sort(repairs["date"].to_numpy())
    if settings.records_begin is not None or len(days) < 2:
        return
    usual = days[max(1, len(days) // 100)]
    if (usual - days[0]) / np.timedelta64(365, "D") > OUTLIER_YEARS:
        first, next_one = (np.datetime64(day, "D") for day in (days[0], usual))
        why = f"the earliest repair, {first}, lies long before nearly all others (from {next_one} "
        yield LIVES, why + "on): state records_begin, or correct that date"


def _is_blank(table: pd.DataFrame, column: str) -> bool:
    return column not in table.columns or not table[column].ne("").any()


def _money(table: CheckedTable) -> Iterator[tuple[str, str]]:
    if "cost" not in table.frame.columns or table.frame["cost"].isna().all():
        yield MONEY, "the repairs table has no costs"
    elif "order_cost" in table.frame.columns and (why := _do_not_add_up(table)):
        yield MONEY, why


def _do_not_add_up(table: CheckedTable) -> str:
    """Compare the rows' costs with their orders' totals, rows set aside included.

    Orders with a cost that is not known, or without a total, cannot be compared.
    """
    if "order" not in table.frame.columns:
        return ""
    rows = table.frame.drop_duplicates()
    if len(table.unused):
        rows = pd.concat([rows, table.unused])
    rows = rows.loc[rows["order"].ne(""), ["order", "cost", "order_cost"]]
    orders = rows.groupby("order").agg(
        known=("cost", lambda cost: cost.notna().all()),
        total=("cost", "sum"),
        low=("order_cost", "min"),
        high=("order_cost", "max"),
    )
    orders = orders[orders["known"].astype(bool) & orders["low"].notna()]
    allowed = 0.01 * orders["low"].abs() + 0.01
    off = ((orders["total"] - orders["low"]).abs() > allowed) | (orders["high"] > orders["low"])
    if off.sum() <= MOST_ORDERS_OFF * len(orders):
        return ""
    first = orders[off].iloc[0]
    return (
        f"costs do not add up: in {off.sum()} of {len(orders)} orders the rows differ from the "
        f"order's total, first in order {orders.index[off][0]} (rows {first['total']:.2f}, order "
        f"{first['low']:.2f})"
    )


def _meters(frames: Frames, repairs: pd.DataFrame, settings: Settings) -> Iterator[tuple[str, str]]:
    known = repairs["meter"].notna().sum() if "meter" in repairs.columns else 0
    if "readings" not in frames and known < 2:
        yield METER_LIVES, "no meter readings, in a table of their own or at repairs"
    for name in ("readings", "repairs"):
        if name in frames and "meter_unit" in frames[name].columns:
            written = set(frames[name]["meter_unit"].astype(str).str.strip().str.casefold())
            other = written - {"", *_UNIT_SPELLINGS[settings.meter_unit]}
            if other:
                why = f"{name} has meters in {', '.join(sorted(other))}, fleet.yaml says "
                yield METER_LIVES, why + settings.meter_unit


def gaps(frames: Frames, watch: pd.DataFrame) -> list[str]:
    """Say what the absent tables and blank cells cost."""
    return [*_absent_tables(frames), *_blank_cells(frames, watch)]


def _absent_tables(frames: Frames) -> Iterator[str]:
    if "units" not in frames:
        yield (
            "no units table: retirements and survivors without repairs are unknown; "
            "rates by unit and rates of the fleet are left out"
        )
    if "parts" not in frames:
        yield (
            "no parts table: only lives that begin at a recorded renewal are used, since which "
            "units carry which part is unknown"
        )
    if "fixes" not in frames:
        yield "no fixes table: no verdict on fixes"


def _blank_cells(frames: Frames, watch: pd.DataFrame) -> Iterator[str]:
    repairs = frames["repairs"]
    blank = repairs["position"].eq("")
    placed = repairs.loc[~blank, "part"].unique()
    if count := int((blank & repairs["part"].isin(placed)).sum()):
        yield (
            f"{count} repair rows of parts with positions state none: no life can be told from them"
            if "parts" in frames
            else f"{count} repair rows state no position: blank counts as a position of its own"
        )
    if 0 < (count := int(repairs["reason"].eq("").sum())) < len(repairs):
        yield f"{count} of {len(repairs)} repair rows state no reason: they count as no failure"
    if count := int(repairs["cost"].eq(0).sum()):
        yield f"{count} repair rows cost 0: unknown where a part was replaced or repaired"
    if count := int(repairs["cost"].lt(0).sum()):
        yield f"{count} repair rows cost less than 0: kept as credits"
    if "units" in frames and (count := len(frames["units"]) - len(watch)):
        yield f"{count} units were not in service at any time between records begin and cut-off"
