"""The columns of each table and how their cells may be written: what the kit can read at all."""

from collections.abc import Mapping
from dataclasses import dataclass, field

ACTIONS = ("replaced", "repaired", "cleaned", "adjusted", "inspected", "none")
REASONS = (
    "failure", "planned", "inspection", "recall", "accident", "no fault found", "other",
)  # fmt: skip
YES_NO = ("yes", "no")
MISSING = ("", "NA", "N/A", "NULL", "NaN")
SPREADSHEET_ERRORS = (
    "#NAME?", "#REF!", "#N/A", "#DIV/0!", "#VALUE!", "#NUM!", "#NULL!",
    "#BEZUG!", "#NV", "#WERT!", "#ZAHL!", "#NOM?", "#VALEUR!", "#NOMBRE!",
    "#¿NOMBRE?", "#¡REF!", "#¡VALOR!", "#¡NUM!", "#¡DIV/0!",
)  # fmt: skip
"""Of English, German, French and Spanish sheets; common practice, no source."""


@dataclass(frozen=True, slots=True)
class Column:
    """One column: its kind, and what a bad cell spoils (scope "row" = the whole row)."""

    name: str
    kind: str  # name, word, date, number or free text
    required: bool = False
    words: tuple[str, ...] = ()
    scope: str = "row"
    minimum: float | None = None


TABLES: Mapping[str, tuple[Column, ...]] = {
    "repairs": (
        Column("unit", "name", required=True),
        Column("date", "date", required=True),
        Column("part", "name", required=True),
        Column("position", "name"),
        Column("meter", "number", scope="meter", minimum=0),
        Column("action", "word", words=ACTIONS),
        Column("reason", "word", words=REASONS),
        Column("mode", "name"),
        Column("cause_addressed", "word", words=YES_NO, scope="causes"),
        Column("complaint", "free"),
        Column("cause", "free"),
        Column("correction", "free"),
        Column("cost", "number", scope="cost"),
        Column("downtime_hours", "number", scope="downtime", minimum=0),
        Column("system", "name"),
        Column("lot", "name"),
        Column("fitted_date", "date", scope="first lives"),
        Column("fitted_meter", "number", scope="first lives", minimum=0),
        Column("order", "free"),
        Column("order_cost", "number", scope="cost"),
        Column("closed", "date", scope="open orders"),
    ),
    "units": (
        Column("unit", "name", required=True),
        Column("in_service", "date", scope="first lives"),
        Column("retired", "date"),
        Column("records_begin", "date"),
    ),
    "parts": (
        Column("part", "name", required=True),
        Column("positions", "free"),
        Column("fitted_to", "free"),
        Column("safety_critical", "word", words=YES_NO),
        Column("planned_cost", "number", scope="cost", minimum=0),
        Column("failure_cost", "number", scope="cost", minimum=0),
    ),
    "readings": (
        Column("unit", "name", required=True),
        Column("date", "date", required=True),
        Column("meter", "number", required=True, minimum=0),
        Column("meter_replaced", "word", words=YES_NO, scope="meter"),
    ),
    "fixes": (
        Column("fix", "name", required=True),
        Column("unit", "name", required=True),
        Column("date", "date", required=True),
        Column("part", "name"),
        Column("mode", "name"),
        Column("cause", "free"),
        Column("kind", "word", words=("containment", "corrective")),
        Column("chosen_by", "word", words=("all units", "cause found", "most failures", "other")),
        Column("target_ratio", "number", minimum=0),
        Column("registered", "date"),
        Column("reading", "number"),
    ),
}


@dataclass(frozen=True, slots=True)
class Rules:
    """How the cells of one table are written.

    `decimal` "" means that fleet.yaml does not say: a point is taken, and numbers that a comma
    country would write alike are not used.
    """

    columns: Mapping[str, str] = field(default_factory=dict)  # our name -> the file's name
    date_order: str | Mapping[str, str] = ""  # one for all date columns, or one for each
    decimal: str = ""
    thousands: str = ""
    missing: tuple[str, ...] = MISSING
    values: Mapping[str, Mapping[str, str]] = field(default_factory=dict)
    set_aside: Mapping[str, Mapping[str, str]] = field(default_factory=dict)
    affixes: tuple[str, ...] = ()  # text around numbers, such as a currency sign

    def order_of(self, column: str) -> str:
        """Return the stated date order of one of our columns, "" where none is stated."""
        stated = self.date_order
        return stated if isinstance(stated, str) else stated.get(column, "")


def table_of(entry: str) -> str:
    """Return the table of an entry in fleet.yaml: `repairs 2` is a second file of the repairs."""
    return entry.partition(" ")[0]
