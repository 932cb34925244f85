"""Invented fleets with planted causes: plans in plain words, exact lives, rows as written."""

from rca.records.simulate.faults import FaultPlan, with_faults
from rca.records.simulate.plan import AttributePlan, FleetPlan, ModelPlan
from rca.records.simulate.planted import (
    CausePlan,
    FixPlan,
    LotPlan,
    ModePlan,
    PartPlan,
    RecallPlan,
    RowPlan,
    SignPlan,
    WorkmanshipPlan,
)
from rca.records.simulate.simulated import SimulatedFleet, Truth, simulate
from rca.records.simulate.texts import as_fleet, csv_texts, fleet_yaml

__all__ = [
    "AttributePlan",
    "CausePlan",
    "FaultPlan",
    "FixPlan",
    "FleetPlan",
    "LotPlan",
    "ModePlan",
    "ModelPlan",
    "PartPlan",
    "RecallPlan",
    "RowPlan",
    "SignPlan",
    "SimulatedFleet",
    "Truth",
    "WorkmanshipPlan",
    "as_fleet",
    "csv_texts",
    "fleet_yaml",
    "simulate",
    "with_faults",
]
