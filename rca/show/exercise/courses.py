"""The months after the repairs, on every course that things can take, as they will be sealed."""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import date
from typing import Any

import pandas as pd

from rca.causes.fix.verdict import Verdict
from rca.causes.fixes import judge_fixes
from rca.records.lives import build_lives
from rca.records.months import month_end
from rca.records.simulate import SimulatedFleet, as_fleet, csv_texts, simulate
from rca.show.exercise.past import Past
from rca.show.exercise.planting import fix_day, plan_of, seen_until, with_repair
from rca.show.exercise.setting import ROUNDS, Setting

TARGET = 0.5
LATER_COLUMNS = (
    "unit", "date", "part", "position", "meter", "action", "reason", "mode", "lot", "order",
)  # fmt: skip
"""Columns of the part's repairs after the cut-off; the texts of each row are left out."""


@dataclass(frozen=True, slots=True, eq=False)
class Course:
    """What comes after the repair of one round, when the first right one was made in `right`.

    `right` is 0 where none has been right so far. `verdict` is what the kit says of this round's
    repair at the end of the months (None where an earlier one had removed the cause already: a
    second repair then has nothing to show), `naive_ratio` a plain count of failures a unit-year
    after against before.
    """

    round: int
    right: int
    content: Mapping[str, Any]
    verdict: Verdict | None
    naive_ratio: float | None


def all_courses(setting: Setting, past: Past, *, seed: int) -> tuple[Course, ...]:
    """Simulate every course that follows on the records at the cut-off."""
    plan = plan_of(setting)
    futures = [
        _meters_as_shown(simulate(with_repair(plan, right, setting=setting), seed=seed), past)
        for right in range(ROUNDS + 1)
    ]
    return tuple(
        _course(setting, past.fleet, futures[right], number, right)
        for number in range(1, ROUNDS + 1)
        for right in range(number + 1)
    )


def _meters_as_shown(fleet: SimulatedFleet, past: Past) -> SimulatedFleet:
    """Later meters of the units whose meter was replaced go on from what it shows now."""
    tables = {}
    for name in ("repairs", "readings"):
        table = getattr(fleet, name)
        lost = table["unit"].map(past.meter_lost).fillna(0.0).to_numpy(float)
        tables[name] = table.assign(meter=table["meter"] - lost)
    return replace(fleet, **tables)


def _course(
    setting: Setting, past: SimulatedFleet, future: SimulatedFleet, number: int, right: int
) -> Course:
    until, applied = seen_until(setting, number), fix_day(setting, number)
    listed = set(past.units["unit"])
    later = _between(future.repairs, setting.cutoff, until, listed)
    readings = _last_readings(setting, future.readings, number, listed)
    fixes = future.truth.fixes
    named = [f"repair {one}" for one in range(1, number + 1)]
    fixes = fixes[fixes["fix"].isin(named) & fixes["unit"].isin(listed)]
    fixes = fixes[["fix", "unit", "date"]].reset_index(drop=True)
    since = fixes[fixes["fix"] == named[-1]].set_index("unit")["date"]
    treated = [str(unit) for unit in since.index]
    failed = _failed_since(later, since)
    whole = _joined(setting, past, future, later, readings, fixes, until, number)
    judged = right in (0, number)
    verdict = _verdict(whole, named[-1]) if judged else None
    months = _months(failed, since, applied, until)
    texts = csv_texts(replace(whole, repairs=later[list(LATER_COLUMNS)], readings=readings))
    chosen = _chosen_by(setting)
    first = _first_failure(failed)
    naive = _naive_ratio(setting, past, months, treated, applied)
    content = {
        "applied_on": applied.isoformat(),
        "seen_until": until.isoformat(),
        "units": treated,
        "chosen_by": chosen,
        "paragraphs": _said(setting, treated, applied, until, months, first),
        "months": months,
        "first_failure_after": first,
        "fix_names": named,
        "repairs": texts["repairs.csv"],
        "readings": texts["readings.csv"],
        "fixes": texts["fixes.csv"],
    }
    return Course(number, right, content, verdict, naive)


def _chosen_by(setting: Setting) -> str:
    return "most failures" if "picked worst" in setting.traps else "all units"


def _between(rows: pd.DataFrame, after: date, until: date, listed: set[str]) -> pd.DataFrame:
    inside = (rows["date"] > pd.Timestamp(after)) & (rows["date"] <= pd.Timestamp(until))
    return rows[inside & rows["unit"].isin(listed)].reset_index(drop=True)


def _last_readings(
    setting: Setting, readings: pd.DataFrame, number: int, listed: set[str]
) -> pd.DataFrame:
    """One meter reading a unit for each round: the last before the end of its months."""
    found, begin = [], setting.cutoff
    for one in range(1, number + 1):
        until = seen_until(setting, one)
        mine = _between(readings, begin, until, listed)
        found.append(mine.groupby("unit", sort=False).tail(1))
        begin = until
    return pd.concat(found, ignore_index=True)


def _joined(
    setting: Setting,
    past: SimulatedFleet,
    future: SimulatedFleet,
    later: pd.DataFrame,
    readings: pd.DataFrame,
    fixes: pd.DataFrame,
    until: date,
    number: int,
) -> SimulatedFleet:
    """The part's records up to the end of the months, as the student's folder will hold them."""
    part = setting.scenario.part
    plans = tuple(
        replace(one, chosen_by=_chosen_by(setting))  # type: ignore[arg-type]
        for one in future.plan.fixes[:number]
    )
    before = past.repairs[past.repairs["part"].str.strip().str.casefold() == part]
    return replace(
        past,
        plan=replace(past.plan, cutoff=until, fixes=plans, parts=future.plan.parts, causes=()),
        repairs=pd.concat([before, later], ignore_index=True),
        readings=pd.concat([past.readings, readings], ignore_index=True),
        parts=past.parts[past.parts["part"] == part],
        fixes=fixes,
    )


def _verdict(whole: SimulatedFleet, fix: str) -> Verdict:
    """Judge one fix; the others of the same records would be judged just the same."""
    plans = tuple(one for one in whole.plan.fixes if one.name == fix)
    fixes = whole.fixes[whole.fixes["fix"] == fix].reset_index(drop=True)
    fleet = as_fleet(replace(whole, plan=replace(whole.plan, fixes=plans), fixes=fixes))
    return judge_fixes(fleet, build_lives(fleet))[0]


def _failed_since(later: pd.DataFrame, since: pd.Series) -> pd.DataFrame:
    """Failures on repaired units after the day of their own repair: date, and that day as `own`."""
    failed = later[later["reason"] == "failure"]
    table = pd.DataFrame({"date": failed["date"], "own": failed["unit"].map(since)})
    return table[table["date"] > table["own"]]


def _months(
    failed: pd.DataFrame, since: pd.Series, applied: date, until: date
) -> list[dict[str, Any]]:
    """One row a month from the repair on: units, days that they ran since it, failures on them."""
    rows = []
    first, begin = applied.replace(day=1), pd.Timestamp(applied)
    while begin < pd.Timestamp(until):
        end = pd.Timestamp(min(month_end(f"{first:%Y-%m}"), until))
        inside = (failed["date"] > begin) & (failed["date"] <= end)
        ran = (end - since.clip(lower=begin)).dt.days.clip(lower=0)
        rows.append(
            {
                "month": f"{first:%Y-%m}",
                "units": int((since <= end).sum()),
                "unit_days": int(ran.sum()),
                "failures": int(inside.sum()),
            }
        )
        begin = end
        first = date(first.year + first.month // 12, first.month % 12 + 1, 1)
    return rows


def _first_failure(failed: pd.DataFrame) -> float | None:
    """Months from the repair of a unit to its failure, for the first failure of all."""
    if failed.empty:
        return None
    first = failed.sort_values("date", kind="stable").iloc[0]
    return round((first["date"] - first["own"]).days / 30.4375, 1)


def _naive_ratio(
    setting: Setting,
    past: SimulatedFleet,
    months: list[dict[str, Any]],
    treated: list[str],
    applied: date,
) -> float | None:
    """Failures a unit-year on the repaired units after the repair over those of the year before.

    The plain count that regression to the mean deceives. None where there were none before.
    """
    rows = past.repairs
    rows = rows[
        (rows["part"] == setting.scenario.part) & (rows["reason"] == "failure")
        & rows["unit"].isin(treated)
    ]  # fmt: skip
    day = pd.Timestamp(applied)
    before = int(((rows["date"] > day - pd.Timedelta("365D")) & (rows["date"] <= day)).sum())
    after, days = (sum(one[name] for one in months) for name in ("failures", "unit_days"))
    if before == 0 or days == 0:
        return None
    return round(after / days / (before / 365 / len(treated)), 3)


def _said(
    setting: Setting,
    treated: list[str],
    applied: date,
    until: date,
    months: list[dict[str, Any]],
    first: float | None,
) -> list[str]:
    place = setting.scenario
    failures = sum(one["failures"] for one in months)
    chosen = (
        f"the {len(treated)} units with the most failures so far"
        if "picked worst" in setting.traps
        else f"all {len(treated)} units of the list"
    )
    lines = [
        f"The repair was done on {chosen}, from {applied.isoformat()} on within ten days.",
        f"Time runs on to {until.isoformat()}: {failures} failures of the {place.part} on the "
        "repaired units.",
    ]
    if first is None:
        lines.append(f"No {place.part} failed on them in these months.")
    else:
        lines.append(f"The first of them came {first:g} months after the repair.")
    return lines
