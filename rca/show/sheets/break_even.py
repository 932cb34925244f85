"""Restore or replace, and whether removing the cause pays: the break-even of a single case."""

import math
from collections.abc import Iterator

from rca.causes.case.entries import Costs
from rca.causes.case.investigation import Investigation
from rca.causes.case_ways import CaseWays
from rca.causes.planning.restore import break_even_horizon, break_even_share
from rca.show.numbers import figures, percent, whole

TO_RESTORE = ("restored_part", "new_part", "each_failure")
TO_REMOVE = (
    "new_part", "each_failure", "cause_removed", "life_with_cause", "life_without_cause",
)  # fmt: skip


def money_lines(case: Investigation) -> list[str]:
    """Break-even of restoring and of removing the cause, or which cost is still to be stated."""
    costs = case.costs or Costs()
    return [*_restore(costs, case.currency), *_remove(costs, case.currency)]


def ways_lines(found: CaseWays, currency: str) -> list[str]:
    """What each way of going on will cost from now, by the failures that the records lead to."""
    days = whole(found.horizon_days)
    lines = [
        f"{way.name}: {whole(way.cost)} {currency}".rstrip()
        + f" ({whole(way.cost_interval.lower)} to {whole(way.cost_interval.upper)}) over {days} "
        f"days, with {figures(way.failures)} further failures "
        f"({figures(way.failures_interval.lower)} to {figures(way.failures_interval.upper)}), "
        f"from {whole(way.spells)} parts followed"
        for way in found.ways
    ]
    return [*lines, *found.missing]


def _restore(costs: Costs, currency: str) -> Iterator[str]:
    share = break_even_share(costs)
    if share is None:
        yield (
            "restore or replace: a restored part must last more than (restored part + each failure)"
            " / (new part + each failure) of what a new one lasts; to have it computed, state "
            f"{_missing(costs, TO_RESTORE)}"
        )
        return
    assert costs.restored_part is not None
    assert costs.new_part is not None
    assert costs.each_failure is not None
    restored, new = costs.restored_part, costs.new_part
    failure = _money(costs.each_failure, currency)
    yield (
        f"restore or replace: a restored part at {_money(restored, currency)} costs less per time "
        f"in service than a new one at {_money(new, currency)} only if it lasts more than "
        f"{percent(share)} as long, each failure costing {failure} besides the part"
    )


def _remove(costs: Costs, currency: str) -> Iterator[str]:
    horizon = break_even_horizon(costs)
    if horizon is None:
        yield (
            "removing the upstream cause: to be told after what time it has paid, state "
            f"{_missing(costs, TO_REMOVE)}"
        )
        return
    assert costs.cause_removed is not None
    assert costs.life_with_cause is not None
    assert costs.life_without_cause is not None
    unit = costs.life_unit or "units of life"
    lives = (
        f"a part lasts {_plain(costs.life_with_cause)} {unit} with the cause and "
        f"{_plain(costs.life_without_cause)} without it"
    )
    once = _money(costs.cause_removed, currency)
    if math.isinf(horizon):
        yield f"removing the upstream cause, {once} once, never pays for itself: {lives}"
    else:
        yield (
            f"removing the upstream cause, {once} once, has paid for itself after "
            f"{figures(horizon, 2)} {unit}: {lives}"
        )


def _missing(costs: Costs, names: tuple[str, ...]) -> str:
    missing = [name for name in names if getattr(costs, name) is None]
    if not missing:  # stated, yet both are 0
        return "costs above 0"
    return f"{', '.join(missing)} under costs:"


def _money(value: float, currency: str) -> str:
    return f"{_plain(value)} {currency}".strip()


def _plain(value: float) -> str:
    """A stated number as it was written, thousands set apart."""
    return whole(value) if float(value).is_integer() else figures(value)
