"""What a part costs and which way of going on pays, as a table of the part study."""

from collections.abc import Iterator

from rca.causes.planning.worth import HORIZON_DAYS, PartWorth
from rca.life.sample import Interval
from rca.show.forms.tables import paragraph, table
from rca.show.numbers import figures, percent, whole

Row = tuple[str, str, str, str]
PER = 1000


def worth_text(worth: PartWorth | None, *, currency: str) -> str:
    """Answers with limits and counts; where there is none, why. All units, the whole record."""
    if worth is None:
        return paragraph("Not asked: the part has not failed.")
    money = currency or "currency not stated"
    rows = [*_cost(worth, money), *_early(worth), *_cause(worth, money), *_restored(worth)]
    head = ("What", "Value", "95 % limits", "From")
    return paragraph("On all units and the whole record, all failure modes.", kind="small") + table(
        head, rows, numbers=(1,), caption="Which way pays"
    )


def limits(interval: Interval | None, *, times: float = 1.0) -> str:
    """Both limits as text; "" where there are none."""
    if interval is None:
        return ""
    return f"{figures(times * interval.lower)} to {figures(times * interval.upper)}"


def _cost(one: PartWorth, money: str) -> Iterator[Row]:
    name = f"cost of repairs ({money} per {whole(PER)} {one.unit_of_running})"
    rate = one.cost_rate
    if rate is None:
        yield name, "not known", "", one.why_not["cost_rate"]
        return
    said = f"{whole(rate.rows)} rows on {whole(rate.units)} units"
    said += f", {whole(rate.unknown)} of unknown cost" if rate.unknown else ""
    yield name, figures(PER * rate.value), limits(rate.interval, times=PER), said


def _early(one: PartWorth) -> Iterator[Row]:
    name, age = f"replacing before it fails costs least at ({one.unit_of_running})", one.replacement
    if age is None:
        yield name, "none", "", one.why_not["replacement"]
    elif not one.early_replacement_pays:
        yield name, "none", "", f"saves little ({percent(age.saving)}): by cost alone, let it run"
    else:
        said = f"saves {percent(age.saving)} of what running to failure costs"
        yield name, figures(age.age), limits(age.age_interval), said


def _cause(one: PartWorth, money: str) -> Iterator[Row]:
    name, repairs = "failure rate, cause removed over part alone (same units)", one.repairs
    if repairs is None:
        yield name, "not known", "", one.why_not["repairs"]
    else:
        within = repairs.within_units
        value = "not known" if within.ratio is None else figures(within.ratio, 2)
        said = (
            f"{whole(repairs.failures_with_cause)} failures in {whole(repairs.lives_with_cause)} "
            f"lives with the cause removed, {whole(repairs.failures_part_only)} in "
            f"{whole(repairs.lives_part_only)} with the part alone"
        )
        said += f"; {within.why_not}" if within.why_not else ""
        yield name, value, limits(within.interval), said
    name = f"worth of removing the cause ({money} a unit, {whole(HORIZON_DAYS)} days)"
    if one.cause is None:
        yield name, "not known", "", one.why_not["cause"]
        return
    cause = one.cause
    yield (
        name,
        figures(cause.saving),
        limits(cause.saving_interval),
        f"{figures(cause.failures_part_only, 2)} failures with the part alone, "
        f"{figures(cause.failures_with_cause, 2)} with its cause removed, by {one.cause_from}; "
        "before what removing it costs",
    )


def _restored(one: PartWorth) -> Iterator[Row]:
    name, found = "life of restored parts over that of new ones", one.restored
    if found is None:
        yield name, "not known", "", one.why_not["restored"]
        return
    old, new = found.restored, found.new
    yield (
        name,
        figures(found.ratio, 2),
        limits(found.interval),
        f"{whole(old.failures)} failures in {whole(old.spells)} spells after restoring, "
        f"{whole(new.failures)} in {whole(new.spells)} after a new part, up to "
        f"{figures(found.horizon)} {found.unit}",
    )
