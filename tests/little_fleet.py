"""A little invented fleet in a folder of its own, to be changed and reported in a second."""

import csv
import random
from datetime import date, timedelta
from pathlib import Path

YAML = """
name: Little fleet (invented)
meter_unit: {unit}
currency: EUR
records_begin: 2024-01-01
timezone: UTC
{more}
tables: {{repairs: repairs.csv, units: units.csv, parts: parts.csv, readings: readings.csv{fixes}}}
"""
PARTS = {"feed pump": 9000, "hub bearing": 16000, "drive chain": 5000}
PEOPLE = ("Ada Brandt", "Jon Ek", "Mila Ostrow")
LAST_DAY = date(2026, 3, 31)


def little_fleet(folder: Path, *, seed=5, units=14, more="", unit="km", fixes=True) -> Path:
    """Write a fleet of 14 units, three parts, 27 months and two depots; all of it invented."""
    rng = random.Random(seed)
    folder.mkdir(parents=True, exist_ok=True)
    names = [f"U{number:02d}" for number in range(1, units + 1)]
    said = YAML.format(unit=unit, more=more, fixes=", fixes: fixes.csv" if fixes else "")
    (folder / "fleet.yaml").write_text(said, encoding="utf-8")
    depots = ["North", "South"]
    write(
        folder / "units.csv",
        ["unit", "in_service", "retired", "depot"],
        [[name, "2024-01-01", "", depots[place % 2]] for place, name in enumerate(names)],
    )
    write(
        folder / "parts.csv",
        ["part", "positions", "fitted_to", "safety_critical", "planned_cost", "failure_cost"],
        [[name, "", "all", "yes" if name == "hub bearing" else "no", 100, 300] for name in PARTS],
    )
    write(
        folder / "readings.csv",
        ["unit", "date", "meter"],
        [
            [name, date(2024 + (month - 1) // 12, (month - 1) % 12 + 1, 1), 2000 * (month - 1)]
            for name in names
            for month in range(1, 28)
        ],
    )
    rows = []
    for name in names:
        for part, scale in PARTS.items():
            day, bad = date(2024, 1, 1), name in ("U01", "U02") and part == "hub bearing"
            while True:
                life = max(1, int(rng.weibullvariate(scale / (6 if bad else 1), 1.4) / 66))
                day += timedelta(days=life)
                if day > LAST_DAY:
                    break
                rows.append(
                    [name, day, part, "replaced", rng.choice(["failure"] * 4 + ["planned"])]
                )
    rows.sort(key=lambda row: (row[1], row[0]))
    write(
        folder / "repairs.csv",
        ["unit", "date", "part", "action", "reason", "mode", "cost", "downtime_hours", "order",
         "technician", "complaint"],
        [
            [*row, "worn", 100 + place % 7, 2, f"W{place}", PEOPLE[place % 3],
             f"seen by {PEOPLE[place % 3]}"]
            for place, row in enumerate(rows)
        ],
    )  # fmt: skip
    if fixes:
        treated = [
            [
                f"new seal, {'hub bearing'}",
                name,
                "2025-06-01",
                "hub bearing",
                "",
                "dry grease",
                "corrective",
                "cause found",
                0.5,
            ]
            for name in names[:4]
        ]
        write(
            folder / "fixes.csv",
            ["fix", "unit", "date", "part", "mode", "cause", "kind", "chosen_by", "target_ratio"],
            treated,
        )  # fmt: skip
    return folder


def write(path: Path, header, rows) -> None:
    """Write a CSV file."""
    with path.open("w", newline="", encoding="utf-8") as stream:
        csv.writer(stream).writerows([header, *rows])


def read(path: Path) -> list[dict[str, str]]:
    """Read a CSV file as one mapping a row."""
    with path.open(newline="", encoding="utf-8") as stream:
        return list(csv.DictReader(stream))


def change(path: Path, rows: list[dict[str, str]]) -> None:
    """Write changed rows back."""
    write(path, list(rows[0]), [list(row.values()) for row in rows])
