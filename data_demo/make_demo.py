"""Make the tables of the demo fleet: `python data_demo/make_demo.py` writes the same bytes again.

Everything here is invented: the operator, its depots, its units, their failures and every limit.
What is planted, and how it should come out, is told in README.md beside this file.
"""

import sys
from dataclasses import replace
from datetime import date
from pathlib import Path

import numpy as np
import pandas as pd

from rca.records.files import write_text
from rca.records.simulate import (
    AttributePlan,
    CausePlan,
    FaultPlan,
    FixPlan,
    FleetPlan,
    LotPlan,
    ModelPlan,
    ModePlan,
    PartPlan,
    RecallPlan,
    RowPlan,
    SignPlan,
    SimulatedFleet,
    WorkmanshipPlan,
    csv_texts,
    simulate,
    with_faults,
)
from rca.records.simulate.draws import Draws

SEED = 20261036
FOLDER = Path(__file__).parent / "fleet"
CORNERS = ("front left", "front right", "rear left", "rear right")

HOSE_CAUSE = "oil softens the liner of the suction hose"
HOSE_FIX = "oil-resistant suction hose"
COOLANT_FIX = "stronger coolant additive"
INTAKE_FIX = "wider compressor intake line"

PARTS = (
    PartPlan(
        "coolant pump",
        (
            ModePlan(
                "leaks", 1.4, 150_000,
                ("coolant puddle under unit", "low coolant warning", "sweet smell, level drops"),
                ("shaft seal worn", "seal leaking", "pump leaking", "not stated"),
                ("pump and seal replaced", "pump replaced, system filled"),
            ),
            ModePlan(
                "bearing noisy", 2.0, 420_000,
                ("grinding noise at engine front",), ("pump bearing worn",), ("pump replaced",),
            ),
        ),
        system="cooling", effects={"model": {"Orrund U12": 2.6}}, spread=0.15, mode_stated=0.95,
        removals={"no fault found": 0.01}, fitted_known=0.35, cause_stated=0.2,
        planned_cost=380, failure_cost=760, downtime_hours=9,
    ),
    PartPlan(
        "radiator",
        (
            ModePlan(
                "leaks", 1.6, 380_000,
                ("engine hot on hills", "coolant loss"), ("core leaking", "stone damage"),
            ),
        ),
        system="cooling", mended=0.3, mends=("repaired",), removals={"accident": 0.02},
        spread=0.1, fitted_known=0.3, planned_cost=700, failure_cost=1_250, downtime_hours=12,
    ),
    PartPlan(
        "coolant hose",
        (ModePlan("leaks", 1.3, 105_000, ("coolant on ground",), ("hose chafed", "hose soft")),),
        system="cooling", mended=0.2, mends=("repaired",), fitted_known=0.15,
        planned_cost=80, failure_cost=210, downtime_hours=3,
    ),
    PartPlan(
        "drive belt",
        (
            ModePlan("frayed", 3.0, 100_000, ("squeal at start",), ("belt worn", "belt glazed")),
        ),
        system="cooling", planned_at=55_000, planned_kept=0.75, fitted_known=0.2,
        planned_cost=90, failure_cost=240, downtime_hours=3,
    ),
    PartPlan(
        "fuel filter",
        (ModePlan("blocked", 2.0, 80_000, ("loss of power", "stalls on hills"), ("dirty fuel",)),),
        system="fuel", planned_at=26_000, planned_kept=0.9,
        planned_cost=70, failure_cost=190, downtime_hours=2,
    ),
    PartPlan(
        "fuel injector",
        (
            ModePlan(
                "uneven spray", 1.7, 400_000,
                ("rough idle", "smoke on load", "hard start"), ("nozzle worn", "deposits"),
            ),
        ),
        system="fuel", positions=tuple(f"cylinder {number}" for number in range(1, 5)),
        spread=0.2, removals={"no fault found": 0.006}, fitted_known=0.25,
        planned_cost=310, failure_cost=520, downtime_hours=6,
    ),
    PartPlan(
        "air filter",
        (ModePlan("blocked", 2.5, 70_000, ("black smoke", "loss of power"), ("dust",)),),
        system="air", planned_at=25_000, planned_kept=0.92,
        planned_cost=60, failure_cost=150, downtime_hours=1,
    ),
    PartPlan(
        "turbocharger",
        (
            ModePlan(
                "oil leaks", 1.8, 420_000,
                ("blue smoke", "oil at intake pipe"), ("seal worn", "return line coked"),
            ),
        ),
        system="air", spread=0.15, tested_good=0.03, removals={"no fault found": 0.01},
        fitted_known=0.4, planned_cost=1_400, failure_cost=2_300, downtime_hours=14,
    ),
    PartPlan(
        "air compressor",
        (
            ModePlan(
                "carbon in outlet", 1.7, 270_000,
                ("air builds up slowly", "low air warning", "relief valve blows"),
                ("outlet coked", "runs too hot", "compressor worn"),
                ("compressor replaced, outlet line cleaned",),
            ),
        ),
        system="air", effects={"model": {"Ulvarn T30": 2.0}}, spread=0.15, fitted_known=0.4,
        planned_cost=900, failure_cost=1_650, downtime_hours=10,
    ),
    PartPlan(
        "air dryer cartridge",
        (ModePlan("saturated", 2.5, 1_150, ("water in air tanks",), ("cartridge saturated",)),),
        system="air", scale_on="days", planned_at=730, planned_kept=0.85,
        planned_cost=110, failure_cost=230, downtime_hours=2,
    ),
    PartPlan(
        "hydraulic pump",
        (
            ModePlan(
                "loses pressure", 1.6, 190_000,
                ("hydraulics slow when cold", "will not reach pressure", "whining pump, slow lift"),
                ("pump worn inside", "pump worn", "pitted plates", "not stated"),
                ("pump replaced", "pump replaced, oil changed"),
            ),
            ModePlan(
                "shaft seal leaks", 1.3, 520_000,
                ("oil drips at pump",), ("shaft seal worn",), ("pump replaced",),
            ),
        ),
        system="hydraulics", fitted_to='hydraulics = "yes"', spread=0.1, mode_stated=0.97,
        fitted_known=0.45, cause_stated=0.4, tested_good=0.02,
        planned_cost=1_350, failure_cost=2_480, downtime_hours=16,
    ),
    PartPlan(
        "hydraulic suction strainer",
        (ModePlan("blocked", 1.0, 420_000, ("whining pump",), ("dirt in tank",)),),
        system="hydraulics", fitted_to='hydraulics = "yes"', mended=1.0, mends=("cleaned",),
        planned_at=48_000, planned_kept=0.9, planned_cost=85, failure_cost=320, downtime_hours=3,
    ),
    PartPlan(
        "hydraulic suction hose",
        (ModePlan("collapsed", 1.5, 900_000, ("pump starves",), ("hose soft",)),),
        system="hydraulics", fitted_to='hydraulics = "yes"', fitted_known=0.2,
        planned_cost=140, failure_cost=310, downtime_hours=4,
    ),
    PartPlan(
        "hydraulic hose",
        (
            ModePlan(
                "burst", 1.0, 62_000, ("oil on road", "lift stops"),
                ("chafed", "struck", "fitting cracked", "not stated"),
            ),
        ),
        system="hydraulics", fitted_to='hydraulics = "yes"', fitted_known=0.3,
        planned_cost=120, failure_cost=410, downtime_hours=5,
    ),
    PartPlan(
        "lift cylinder",
        (ModePlan("seal leaks", 1.5, 310_000, ("lift sinks",), ("rod scored", "seal worn")),),
        system="hydraulics", fitted_to='hydraulics = "yes"', mended=0.4, mends=("repaired",),
        spread=0.1, fitted_known=0.3, planned_cost=520, failure_cost=940, downtime_hours=8,
    ),
    PartPlan(
        "clutch",
        (
            ModePlan(
                "slips", 4.0, 185_000,
                ("slips on hills", "smell on start"), ("lining worn", "worn out"),
            ),
        ),
        system="drivetrain", planned_at=160_000, planned_kept=0.06, fitted_known=0.5,
        effects={"duty": {"town": 1.3}}, planned_cost=1_450, failure_cost=5_600, downtime_hours=22,
    ),
    PartPlan(
        "propshaft joint",
        (ModePlan("play", 2.1, 220_000, ("vibration", "knock on take-up"), ("needle wear",)),),
        system="drivetrain", positions=("front", "rear"), mended=0.1, mends=("adjusted",),
        spread=0.1, fitted_known=0.25, planned_cost=260, failure_cost=480, downtime_hours=5,
    ),
    PartPlan(
        "wheel bearing",
        (
            ModePlan(
                "worn", 2.5, 360_000,
                ("hum from wheel", "wheel play at inspection"), ("bearing worn", "race pitted"),
            ),
        ),
        system="wheels", positions=CORNERS, safety_critical=True, spread=0.1,
        workmanship=WorkmanshipPlan(
            'depot = "Hill Road"', share=0.6,
            early=ModePlan(
                "runs hot", 0.9, 75_000,
                ("hot hub", "hub smokes", "pulls to one side"),
                ("bearing overheated", "too tight", "bearing blue", "not stated"),
            ),
        ),
        inspected_at_visits=0.4, fitted_known=0.35, mode_stated=0.95,
        planned_cost=330, failure_cost=690, downtime_hours=7,
    ),
    PartPlan(
        "brake pads",
        (ModePlan("worn to limit", 5.0, 88_000, ("wear warning", "scraping"), ("pads worn",)),),
        system="brakes", positions=("front", "rear"), safety_critical=True,
        planned_at=66_000, planned_kept=0.7, found_at_visits=0.4, inspected_at_visits=0.75,
        effects={"duty": {"town": 1.5}}, fitted_known=0.2,
        planned_cost=240, failure_cost=330, downtime_hours=4,
    ),
    PartPlan(
        "brake disc",
        (ModePlan("cracked", 4.0, 190_000, ("judder when braking",), ("heat cracks",)),),
        system="brakes", positions=("front", "rear"), safety_critical=True,
        planned_at=130_000, planned_kept=0.8, found_at_visits=0.4, fitted_known=0.2,
        planned_cost=310, failure_cost=460, downtime_hours=5,
    ),
    PartPlan(
        "brake chamber",
        (ModePlan("diaphragm leaks", 1.2, 900_000, ("air leak at wheel",), ("diaphragm torn",)),),
        system="brakes", positions=CORNERS, safety_critical=True, fitted_known=0.25,
        inspected_at_visits=0.2, recall=RecallPlan(date(2025, 3, 3), over_days=60, share=0.08),
        planned_cost=190, failure_cost=360, downtime_hours=5,
    ),
    PartPlan(
        "air spring",
        (
            ModePlan(
                "leaks down", 1.8, 270_000,
                ("sits low in the morning", "leans to one side"), ("bellows cracked", "not stated"),
            ),
        ),
        system="suspension", positions=CORNERS, spread=0.1, fitted_known=0.25,
        lots=LotPlan(date(2022, 11, 1), 162, 9, prefix="AS-", bad=(4,), factor=9.0,
                     carried_over=0.25, recorded=0.88),
        planned_cost=210, failure_cost=430, downtime_hours=5,
    ),
    PartPlan(
        "shock absorber",
        (ModePlan("oil leaks", 2.2, 280_000, ("bounces", "uneven tyre wear"), ("seal worn",)),),
        system="suspension", positions=CORNERS, fitted_known=0.2,
        planned_cost=150, failure_cost=270, downtime_hours=4,
    ),
    PartPlan(
        "transfer pump",
        (
            ModePlan(
                "vanes worn", 1.9, 170_000, ("slow to empty", "no suction"), ("vanes worn", "grit"),
            ),
        ),
        system="pumps", fitted_to='body = "tanker"', mended=0.2, mends=("adjusted", "repaired"),
        spread=0.15, fitted_known=0.4, planned_cost=980, failure_cost=1_720, downtime_hours=11,
    ),
    PartPlan(
        "spray water pump",
        (
            ModePlan(
                "does not deliver", 1.1, 620,
                ("no spray", "weak spray"), ("frost", "scale", "worn"),
            ),
        ),
        system="pumps", fitted_to='body = "sweeper"', scale_on="days", season=0.6, season_peak=1,
        mended=0.25, mends=("cleaned", "repaired"), fitted_known=0.3,
        planned_cost=180, failure_cost=340, downtime_hours=4,
    ),
)  # fmt: skip

STRAINER = RowPlan(
    "hydraulic suction strainer", "cleaned", "failure", mode="blocked",
    complaint="whining pump", cause="black rubber crumbs in strainer",
    correction="strainer cleaned", cost=115, downtime_hours=3,
)  # fmt: skip
CAUSES = (
    CausePlan(
        HOSE_CAUSE, {"hydraulic pump": 6.0}, (date(2023, 3, 6), date(2023, 9, 29)), share=0.36,
        where='hydraulics = "yes" and in_service < "2025-04-01"', mode="loses pressure",
        found_at_repair=0.04,
        signs=(
            SignPlan(replace(STRAINER, fault_code="HY214"), share=0.35, lag=(6, 75), per_year=0.01),
            SignPlan(STRAINER, share=0.3, lag=(6, 75)),
        ),
    ),
)  # fmt: skip
FIXES = (
    FixPlan(
        HOSE_FIX, "hydraulic pump", date(2025, 4, 7), ratio=0.15, over_days=56, share=0.95,
        mode="loses pressure", cause=HOSE_CAUSE, chosen_by="cause found",
        leaves=RowPlan(
            "hydraulic suction hose", "replaced", "other", complaint="planned change of hose",
            correction="oil-resistant suction hose fitted, tank cleaned", cause_addressed="yes",
            cost=265, downtime_hours=4,
        ),
    ),
    FixPlan(
        COOLANT_FIX, "coolant pump", date(2024, 10, 7), ratio=1.0, over_days=35, share=0.3,
        mode="leaks", chosen_by="most failures",
    ),
    FixPlan(
        INTAKE_FIX, "air compressor", date(2026, 8, 24), ratio=0.3, over_days=11,
        mode="carbon in outlet", where='model = "Ulvarn T30"',
    ),
)  # fmt: skip

PLAN = FleetPlan(
    "Tannholm municipal services (invented)",
    PARTS,
    units=250,
    records_begin=date(2022, 11, 1),
    cutoff=date(2026, 10, 31),
    first_in_service=date(2017, 2, 1),
    last_in_service=date(2026, 4, 30),
    models=(
        ModelPlan("Ulvarn T24", 0.26, 150, "TK", {"body": "tanker", "hydraulics": "yes"}),
        ModelPlan("Ulvarn T30", 0.2, 170, "TK", {"body": "tanker", "hydraulics": "yes"}),
        ModelPlan("Quessel S8", 0.24, 70, "SW", {"body": "sweeper", "hydraulics": "yes"}),
        ModelPlan("Orrund U12", 0.3, 95, "UT", {"body": "utility", "hydraulics": "no"}),
    ),
    depots={"Canal Yard": 0.36, "Hill Road": 0.3, "Mill Lane": 0.34},
    attributes=(
        AttributePlan("duty", {"town": 0.45, "mixed": 0.35, "regional": 0.2},
                      use={"town": 0.85, "regional": 1.25}),
    ),
    causes=CAUSES,
    fixes=FIXES,
    spread=0.05,
    use_spread=0.25,
    season=0.12,
    retired_per_year=0.03,
    visit_every_days=182,
)  # fmt: skip

FAULTS = FaultPlan(
    meters_run_back=14,
    meters_jump=5,
    odometers_replaced=4,
    duplicates=25,
    split_orders=30,
    part_case=40,
    part_spaces=30,
    part_words=45,
    blank_positions=60,
    missing_costs=80,
    zero_costs=12,
    missing_meters=60,
    late_dates=4,
    impossible_dates=4,
    words={
        "coolant pump": ("engine water pump",),
        "hydraulic pump": ("hyd pump",),
        "wheel bearing": ("hub bearing", "wheel brg"),
        "propshaft joint": ("cardan joint",),
        "brake pads": ("disc pads",),
        "air spring": ("air bellows",),
    },
)

READINGS = {  # fix: (share of units read, mean before, mean after, spread, digits)
    HOSE_FIX: (0.9, 0.38, 0.10, 0.13, 2),
    COOLANT_FIX: (0.8, 1.1, 2.6, 0.10, 1),
    INTAKE_FIX: (0.7, 62.0, 24.0, 0.12, 0),
}


def make_demo() -> SimulatedFleet:
    """Simulate the demo fleet and lay the faults of real records over it."""
    fleet = with_faults(simulate(PLAN, seed=SEED), FAULTS, seed=SEED)
    return replace(fleet, fixes=_with_readings(fleet))


def _with_readings(fleet: SimulatedFleet) -> pd.DataFrame:
    """Add the readings of the upstream quantity, taken on the day of the fix: before and after."""
    fixes = fleet.fixes.assign(reading="", reading_before="")
    for name, (share, before, after, spread, digits) in READINGS.items():
        mine = np.flatnonzero(fixes["fix"] == name)
        draws = Draws(SEED, "readings at the fix", name)
        read = draws.chance(len(mine), share)
        for column, mean in (("reading_before", before), ("reading", after)):
            values = mean * draws.lognormal(len(mine), spread)
            texts = [
                f"{value:.{digits}f}" if one else ""
                for value, one in zip(values, read, strict=True)
            ]
            fixes.iloc[mine, fixes.columns.get_loc(column)] = texts
    return fixes


def main() -> None:
    """Write the tables into the demo fleet's folder, or into the folder named."""
    folder = Path(sys.argv[1]) if len(sys.argv) > 1 else FOLDER
    folder.mkdir(parents=True, exist_ok=True)
    for name, text in csv_texts(make_demo()).items():
        write_text(folder / name, text)


if __name__ == "__main__":
    main()
