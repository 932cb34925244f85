"""A simulated fleet as it would reach the kit: the texts of a fleet folder, or a checked fleet."""

from collections.abc import Mapping
from datetime import date
from typing import Any

import numpy as np
import pandas as pd

from rca.records.columns import Rules
from rca.records.files import RawTable, yaml_text
from rca.records.fleet import Fleet, assemble
from rca.records.settings import MOST_USE_A_DAY, REPEAT_DAYS, REPEAT_METER, FixSettings, Settings
from rca.records.simulate.plan import FleetPlan
from rca.records.simulate.planted import FixPlan
from rca.records.simulate.simulated import SimulatedFleet
from rca.records.tables import check_table

_WHOLE = ("meter", "fitted_meter", "planned_cost", "failure_cost")


def csv_texts(fleet: SimulatedFleet) -> dict[str, str]:
    """Return the tables as CSV texts by file name; dates are ISO, what is unknown is blank."""
    return {
        f"{name}.csv": _written(table).to_csv(index=False, lineterminator="\n")
        for name, table in fleet.tables.items()
    }


def _written(table: pd.DataFrame) -> pd.DataFrame:
    """Write every cell as text, so that no library's number format decides the bytes."""
    columns = {}
    for name in table.columns:
        column = table[name]
        if pd.api.types.is_datetime64_any_dtype(column.dtype):
            columns[name] = column.dt.strftime("%Y-%m-%d").astype(object)
        elif pd.api.types.is_numeric_dtype(column.dtype):
            form = "{:.0f}" if name in _WHOLE else "{:.1f}" if "hours" in name else "{:.2f}"
            columns[name] = column.map(form.format, na_action="ignore").astype(object)
        else:
            columns[name] = column.astype(object)
        columns[name] = columns[name].where(column.notna(), "")
    return pd.DataFrame(columns)


def fleet_yaml(fleet: SimulatedFleet, *, more: Mapping[str, Any] | None = None) -> str:
    """Return the text of a fleet.yaml for `csv_texts`; `more` adds keys or replaces them."""
    plan = fleet.plan
    keys: dict[str, Any] = {
        "name": plan.name,
        "meter_unit": plan.meter_unit,
        "records_begin": plan.records_begin.isoformat(),
        "cutoff": plan.cutoff.isoformat(),
        "tables": {name: {"file": f"{name}.csv"} for name in fleet.tables},
    }
    fixes = {fix.name: _fix_keys(fix) for fix in plan.fixes}
    return yaml_text({**keys, **({"fixes": fixes} if fixes else {}), **(more or {})})


def _fix_keys(fix: FixPlan) -> dict[str, Any]:
    keys = {
        name: str(getattr(fix, name)) for name in ("part", "mode", "cause", "kind", "chosen_by")
    }
    return {name: value for name, value in keys.items() if value}


def as_fleet(fleet: SimulatedFleet, *, until: date | None = None) -> Fleet:
    """Check the tables of a simulated fleet as the reader would, without any file."""
    settings = _settings(fleet.plan)
    checked = {}
    for name, table in fleet.tables.items():
        raw = RawTable(f"{name}.csv", table, np.arange(2, len(table) + 2))
        checked[name] = check_table(raw, name, rules=Rules())
    return assemble(settings, checked, until=until)


def _settings(plan: FleetPlan) -> Settings:
    return Settings(
        name=plan.name,
        meter_unit=plan.meter_unit,
        currency="",
        records_begin=plan.records_begin,
        cutoff=plan.cutoff,
        timezone="UTC",
        sources={},
        rules={},
        renews=("replaced",),
        repeat_days=REPEAT_DAYS,
        repeat_meter=REPEAT_METER[plan.meter_unit],
        most_use_a_day=MOST_USE_A_DAY[plan.meter_unit],
        fixes={fix.name: FixSettings(fix=fix.name, **_fix_keys(fix)) for fix in plan.fixes},
        defaults=(),
    )
