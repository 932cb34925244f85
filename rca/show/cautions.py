"""Cautions that stand first on every sheet that sends someone to a bench or a vehicle.

They are not advice on how to do the work: the maker's procedure, local code and licensed people
come first. Law is named as an example where its text was read or restated; it differs by country.
"""

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Caution:
    """One caution: what it is about, and what to do."""

    about: str
    do: str


CAUTIONS = (
    Caution(
        "Who decides",
        "Follow the maker's procedure, local code and your licensed technician. This sheet sorts "
        "evidence; it is no repair instruction and gives no permission.",
    ),
    Caution(
        "Stored energy",
        "Isolate, lock out and prove dead before any test or teardown: electrical, hydraulic, "
        "pneumatic, spring, gravity, heat.",
    ),
    Caution(
        "High voltage, restraints, pressure",
        "High-voltage systems: qualified persons only. Airbags and belt tensioners: the maker's "
        "disabling and waiting time, and never probe them. Hydraulic and fuel-injection pressure, "
        "spring brakes, tyres and rims, refrigerant and hot coolant can injure at once.",
    ),
    Caution(
        "Lifting, pinch and crush",
        "Lift by the maker's points, on stands, wheels chocked. An actuator that is powered on the "
        "bench can pinch or crush: clear hands first. Fuse and current-limit bench supplies; "
        "ventilate.",
    ),
    Caution(
        "Restored parts",
        "Brake, steering, restraint, fuel, high-voltage and driver-assistance parts are not "
        "refitted on the word of this sheet: only where maker and law permit. Never bypass a "
        "safety interlock to bring a fault back.",
    ),
    Caution(
        "Defects, recalls and evidence",
        "A reported defect that affects safety is repaired and certified before the unit runs "
        "(for example 49 CFR 396.11). Check open recalls; a suspected safety defect can be "
        "reported to the authority. Keep the part, its readings as found and its papers until all "
        "is settled: cores go back last; keep repair records beyond the legal minimum, since parts "
        "outlive it. State facts, blame nobody; what is written here may be "
        "read in court.",
    ),
)


def cautions_text() -> str:
    """The cautions for a terminal."""
    return "\n".join(["CAUTIONS"] + [f"- {one.about}: {one.do}" for one in CAUTIONS])
