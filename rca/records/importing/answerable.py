"""What can be answered with the columns at hand, and what cannot, and why."""

from collections.abc import Mapping
from dataclasses import dataclass

from rca.records.importing.further_files import files_of_repairs
from rca.records.importing.table_proposal import TableProposal


@dataclass(frozen=True, slots=True)
class Answerable:
    """One kind of result: whether it can be had from these records, and why (not)."""

    result: str
    possible: bool
    why: str

    def __str__(self) -> str:
        return f"{'yes' if self.possible else 'no'}: {self.result} ({self.why})"


def answerable(tables: Mapping[str, TableProposal]) -> tuple[Answerable, ...]:
    """Say for each kind of result whether these records can give it."""
    repairs = files_of_repairs(tables)
    columns = {name for one in repairs for name in one.columns}
    reason, action = (all(_says(one, name) for one in repairs) for name in ("reason", "action"))
    rows = all({"unit", "date", "part"} <= set(one.columns) for one in repairs)
    units, readings = "units" in tables, "readings" in tables
    meter = "meter" in columns or readings
    lives = rows and reason and action
    return (
        Answerable("repairs by part, unit and month", rows, _needs(rows, "unit, date and part")),
        Answerable(
            "repeat repairs on the same unit", rows and reason,
            _needs(rows and reason, "which rows are failures"),
        ),
        Answerable(
            "lives of parts in days", lives,
            ("those that begin at a recorded renewal" if "parts" not in tables else "all slots")
            if lives else _needs(False, "which rows are failures and which renew the part"),
        ),
        Answerable(
            "lives of parts by the meter", lives and meter,
            _needs(lives and meter, "meters at the repairs, or a table of readings"),
        ),
        Answerable("failure modes", "mode" in columns, _needs("mode" in columns, "a mode column")),
        Answerable("money", "cost" in columns, _needs("cost" in columns, "a cost column")),
        Answerable(
            "downtime", "downtime_hours" in columns,
            _needs("downtime_hours" in columns, "a column of hours down"),
        ),
        Answerable("bad lots", "lot" in columns, _needs("lot" in columns, "the lot of the part")),
        Answerable(
            "what comes before the failures", rows and reason,
            _needs(rows and reason, "which rows are failures"),
        ),
        Answerable(
            "rates by unit and of the fleet", units and reason,
            _needs(units and reason, "a list of all units, those without repairs too"),
        ),
        Answerable("the verdict on a fix", False, "needs a fixes table; it is added by hand later"),
    )  # fmt: skip


def _says(one: TableProposal, name: str) -> bool:
    """Tell whether a file says something in every row, by a column or by an answer for all."""
    stated = one.export.rules.values if one.export is not None else {}
    return name in one.columns or bool(stated.get(name, {}).get(""))


def _needs(there: bool, what: str) -> str:
    return f"there: {what}" if there else f"needs {what}"
