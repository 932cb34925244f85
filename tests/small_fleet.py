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


REPAIRS = "unit,date,part,action,reason,cost,meter\n" + "".join(
    f"A{n % 3},2024-{1 + n // 2:02d}-{1 + n % 2 * 14:02d},pump,replaced,failure,{100 + n},"
    f"{1000 + 100 * n}\n"
    for n in range(24)
)
"""A plain, faultless repairs table: 24 rows, 3 units, 2024; every fault is made from it."""

WHOLE_FLEET = {
    "repairs": REPAIRS,
    "units": "unit,in_service\nA0,2024-01-01\nA1,2024-01-01\nA2,2024-01-01\n",
    "parts": "part,fitted_to\npump,all\n",
}


def write_as_is(
    folder: Path,
    *,
    yaml: str = DEFAULT_YAML,
    tables: str = "",
    files: dict[str, str | bytes] | None = None,
    **changed: str | bytes,
) -> Path:
    """Write the faultless fleet byte for byte, with some tables changed and some files added.

    `tables` is the value of the key of that name in fleet.yaml; by default one CSV file each.
    """
    folder.mkdir(parents=True, exist_ok=True)
    contents = {**WHOLE_FLEET, **changed}
    tables = tables or "{" + ", ".join(f"{name}: {name}.csv" for name in contents) + "}"
    text = yaml if "tables:" in yaml else f"{yaml.rstrip()}\ntables: {tables}\n"
    every = {"fleet.yaml": text, **{f"{name}.csv": one for name, one in contents.items()}}
    for name, one in {**every, **(files or {})}.items():
        place = folder / name
        place.parent.mkdir(parents=True, exist_ok=True)
        place.write_bytes(one if isinstance(one, bytes) else one.encode("utf-8"))
    return folder
