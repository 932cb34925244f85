"""A tiny fleet folder written from text, for hand-worked histories."""

from pathlib import Path

from rca.records.fleet import Fleet, read_fleet
from rca.records.lives import LifeTable, build_lives

DEFAULT_YAML = """
name: Small fleet
meter_unit: km
currency: EUR
records_begin: 2024-01-01
cutoff: 2024-12-31
timezone: UTC
"""


def write_fleet(folder: Path, *, yaml: str = DEFAULT_YAML, **tables: str) -> Path:
    """Write fleet.yaml and one CSV file a table; blanks around cells are cut."""
    folder.mkdir(parents=True, exist_ok=True)
    if "tables:" not in yaml:
        yaml += "tables: {" + ", ".join(f"{name}: {name}.csv" for name in tables) + "}\n"
    (folder / "fleet.yaml").write_text(yaml, encoding="utf-8")
    for name, text in tables.items():
        lines = [",".join(c.strip() for c in line.split(",")) for line in text.strip().splitlines()]
        (folder / f"{name}.csv").write_text("\n".join(lines) + "\n", encoding="utf-8")
    return folder


def small_fleet(folder: Path, *, yaml: str = DEFAULT_YAML, **tables: str) -> Fleet:
    """Write and read a small fleet."""
    return read_fleet(write_fleet(folder, yaml=yaml, **tables))


def small_lives(folder: Path, *, yaml: str = DEFAULT_YAML, **tables: str) -> LifeTable:
    """Write a small fleet and make its lives."""
    return build_lives(small_fleet(folder, yaml=yaml, **tables))
