"""What a part costs and which way of going on would pay, as plain data for summary.json."""

from typing import Any

from rca.causes.fix.part_and_cause import RateRatio, RepairComparison
from rca.causes.plain_numbers import number, with_limits
from rca.causes.planning.money import AgeReplacement, CostRate, PartOrCause
from rca.causes.planning.restore import RestoredLives, SpellGroup
from rca.causes.planning.worth import HORIZON_DAYS, PartWorth
from rca.life.sample import Interval

PER = 1000
"""Running that a cost rate is given for, in the unit of the part's ages."""


def money_data(one: PartWorth | None) -> dict[str, Any] | None:
    """Return `money` of one part; each answer is null where `why_not` says why."""
    if one is None:
        return None
    return {
        "per": one.unit_of_running,
        "cost_rate": None if one.cost_rate is None else _cost_rate(one.cost_rate),
        "replace_at": None
        if one.replacement is None
        else _replace_at(one.replacement, one.early_replacement_pays),
        "repairs": None if one.repairs is None else _repairs(one.repairs),
        "cause_worth": None if one.cause is None else _cause(one.cause, one.cause_from),
        "restored": None if one.restored is None else _restored(one.restored),
        "why_not": dict(one.why_not),
    }


def _cost_rate(rate: CostRate) -> dict[str, Any]:
    limits = Interval(PER * rate.interval.lower, PER * rate.interval.upper)
    return with_limits(
        PER * rate.value, limits, rows=rate.rows, unknown=rate.unknown, units=rate.units
    )


def _replace_at(age: AgeReplacement, pays: bool) -> dict[str, Any]:
    return with_limits(
        age.age,
        age.age_interval,
        saving=number(age.saving),
        flat_from=number(age.flat_from),
        flat_to=number(age.flat_to),
        pays=pays,
    )


def _repairs(one: RepairComparison) -> dict[str, Any]:
    return {
        "lives_with_cause": one.lives_with_cause,
        "failures_with_cause": one.failures_with_cause,
        "lives_part_only": one.lives_part_only,
        "failures_part_only": one.failures_part_only,
        "not_stated": one.not_stated,
        "within_units": _ratio(one.within_units),
        "by_repair_number": _ratio(one.by_repair_number),
    }


def _ratio(one: RateRatio) -> dict[str, Any]:
    return with_limits(
        one.ratio,
        one.interval,
        why_null=one.why_not,
        failures=one.failures,
        strata=one.strata,
    )


def _cause(one: PartOrCause, shown_by: str) -> dict[str, Any]:
    return with_limits(
        one.saving,
        one.saving_interval,
        horizon=number(one.horizon),
        horizon_days=number(HORIZON_DAYS),
        shown_by=shown_by,
        failures_part_only=number(one.failures_part_only),
        failures_with_cause=with_limits(one.failures_with_cause, one.failures_with_cause_interval),
        cost_part_only=number(one.cost_part_only),
        cost_with_cause=number(one.cost_with_cause),
    )


def _restored(one: RestoredLives) -> dict[str, Any]:
    return with_limits(
        one.ratio,
        one.interval,
        horizon=number(one.horizon),
        restored=_group(one.restored),
        new=_group(one.new),
        within_units=_ratio(one.rate_ratio),
    )


def _group(one: SpellGroup) -> dict[str, Any]:
    return {
        "spells": one.spells,
        "failures": one.failures,
        "units": one.units,
        "mean": number(one.mean),
    }
