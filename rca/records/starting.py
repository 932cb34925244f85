"""A new folder to start from: the demo fleet, the workbooks, and blank templates for one's own."""

from pathlib import Path

from rca.errors import Problem, Refused
from rca.records import files
from rca.records.columns import ACTIONS, REASONS, TABLES

EXAMPLES = {
    "repairs": "V001,2026-01-31,coolant pump,,120500,replaced,failure,leaks,no,,,,480.00,6,"
    "cooling,L24,2023-05-02,61200,WO1,,",
    "units": "V001,2022-06-01,,",
    "parts": "coolant pump,,all,no,300,900",
    "readings": "V001,2026-01-31,120500,no",
    "fixes": "new coolant,V001,2026-02-01,coolant pump,leaks,old coolant,corrective,cause found,"
    "0.5,2026-01-30,",
}


def lay_out(folder: Path) -> str:
    """Lay out a new folder and say what is in it.

    `demo_fleet/` (invented data), `workbooks/`, and `my_fleet/` with a commented fleet.yaml and
    one blank table each, whose only row is an example to be deleted.

    Raises
    ------
    Refused
        The folder exists and is not empty.
    NotWritten
        It cannot be made.
    """
    if folder.exists() and not (folder.is_dir() and not any(folder.iterdir())):
        rule = "the folder is not empty" if folder.is_dir() else "is a file"
        step = "name a new folder; nothing was changed"
        raise Refused([Problem(folder.resolve().name, 0, "", "", rule, step)])
    mine = folder / "my_fleet"
    files.make_folder(mine / "investigations")
    files.copy_folder(files.shipped("data_demo") / "fleet", folder / "demo_fleet")
    files.copy_folder(files.shipped("workbooks"), folder / "workbooks")
    files.write_text(mine / "fleet.yaml", FLEET_TEMPLATE)
    for table, columns in TABLES.items():
        header = ",".join(column.name for column in columns)
        files.write_text(mine / f"{table}.csv", f"{header}\n{EXAMPLES[table]}\n")
    return (
        f"{folder}: demo_fleet (invented data), workbooks, my_fleet (templates)\n"
        f"  look at the demo:  rca report {folder / 'demo_fleet'} --out {folder / 'reports'}\n"
        f"  check your own:    rca check {mine}"
    )


FLEET_TEMPLATE = f"""\
# What your tables are and how they are to be read. Lines that begin with # are comments.
# Only `tables: repairs` is needed; rca check says what each further table would answer.
name: My fleet
meter_unit: km            # km, miles or hours
currency: EUR
# From this day on every repair is in the table; parts fitted before have no known age.
records_begin: 2024-01-01
cutoff: 2026-12-31        # last day of the records
timezone: UTC             # for example Europe/Paris
numbers: "1 234.5"        # how the page writes this number; for example "1.234,5" or "1,234.5"
# people:                  # columns named technician, driver or mechanic become pseudonyms
#   columns: [inspector]   # further columns that hold names of people
#   salt_env: FLEET_SALT   # variable with a long text that keeps pseudonyms the same

tables:
  repairs:                # one row a repair line: .csv, .csv.gz, .xlsx or .parquet
    file: repairs.csv
    # columns: {{unit: Vehicle No, date: Closed on}}      # our name: your column
    # date_order: day first                              # year first, day first or month first
    # decimal: ","
    # missing: ["", NA, "-"]
    # values:                                            # your word: our word
    #   action: {{swap: replaced}}     # {", ".join(ACTIONS)}
    #   reason: {{breakdown: failure}} # {", ".join(REASONS)}
  units: {{file: units.csv}}         # one row a unit; further columns (depot, model) may matter
  parts: {{file: parts.csv}}         # which units carry which part: fitted_to: all, or
                                   #   model = "T12" and depot in ("North", "East")
                                   # positions: left; right
  readings: {{file: readings.csv}}   # meter readings
  fixes: {{file: fixes.csv}}         # which fix was applied to which unit, and when

renews: [replaced]        # actions after which the part's life starts again from 0
repeat_window: {{days: 90, meter: 5000}}

# fixes:
#   new coolant:
#     part: coolant pump
#     cause: old coolant
#     kind: corrective                # or containment
#     chosen_by: cause found          # all units, cause found, most failures, other
#     target_ratio: 0.5               # failure rate after the fix over that before
#     registered: 2026-01-30
#     reading: {{quantity: additive content, unit: "%", at_least: 1.5, standard_uncertainty: 0.1,
#               limit_source: maker's manual}}
"""
