"""What was observed or could be: measurements, evidence, tests, as plain frozen records."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import StrEnum

from rca.causes.case.entries import Link, Seen


class EvidenceKind(StrEnum):
    """How we know: from the strongest to the weakest."""

    MEASURED = "measured"
    RECORDED = "recorded"
    OBSERVED = "observed"
    TOLD = "told"
    ASSUMED = "assumed"

    @property
    def sound(self) -> bool:
        """Whether this kind alone can support a link: measured or recorded."""
        return self in (EvidenceKind.MEASURED, EvidenceKind.RECORDED)


Reading = float | str | tuple[float, ...] | None
"""A number, several, "open circuit", "over-range", "no reading", or None: not taken yet."""


@dataclass(frozen=True, slots=True)
class Taken:
    """One reading as it was taken; `unit` is "" where it is the measurement's own."""

    reading: Reading = None
    unit: str = ""
    date: str = ""
    by: str = ""


@dataclass(frozen=True, slots=True)
class Accuracy:
    """Specification of an instrument: the error stays within the sum of these (half-width)."""

    percent_of_reading: float = 0.0
    counts: float = 0.0
    resolution: float = 0.0
    fixed: float = 0.0


@dataclass(frozen=True, slots=True)
class Measurement:
    """What to measure, in which state and direction, with limits and uncertainty.

    Readings, `range` and uncertainties are in `unit`; the limits in `limit_unit`.
    """

    id: str
    quantity: str
    unit: str
    at_least: float | None = None
    at_most: float | None = None
    limit_unit: str = ""
    limit_source: str = ""
    standard_uncertainty: float | None = None
    expanded_uncertainty: float | None = None
    coverage_factor: float = 2.0
    accuracy: Accuracy | None = None
    range: float | None = None
    instrument: str = ""
    state: str = ""
    direction: str = ""
    needs: str = ""
    as_found: Taken | None = None
    after: Taken | None = None
    on_units: Mapping[str, Taken] = field(default_factory=dict)
    line: int = field(default=0, compare=False)

    def taken(self, when: str) -> Taken | None:
        """Give the reading "as found" or "after"; None where none was taken."""
        return self.after if when == "after" else self.as_found


@dataclass(frozen=True, slots=True)
class Claim:
    """A statement on the records that is computed again at every run.

    Units that meet the condition `units`, and that had a repair meeting `after_repair` before,
    are exposed; failures of `part` (and `mode`) are counted against exposure on both sides.
    Conditions are written as `rca.records.conditions.rows_where` reads them; "" sets none.
    """

    units: str = ""
    after_repair: str = ""
    within_days: int | None = None
    part: str = ""
    mode: str = ""
    among: str = ""
    per: str = "days"
    times: float | None = None
    ratio_above: float | None = None
    ratio_below: float | None = None
    until: str = ""


@dataclass(frozen=True, slots=True)
class Survey:
    """On how many of the failed and of the not failed units the cause was found."""

    failed: Seen
    not_failed: Seen
    ratio_above: float | None = None
    ratio_below: float | None = None


@dataclass(frozen=True, slots=True)
class Evidence:
    """One observation: what it shows, how we know, and what it speaks for or against."""

    id: str
    kind: EvidenceKind
    shows: str
    supports: tuple[str, ...] = ()
    contradicts: tuple[str, ...] = ()
    if_true: Mapping[str, str] = field(default_factory=dict)
    source: str = ""
    date: str = ""
    by: str = ""
    measurement: str = ""
    when: str = "as found"
    proves: str = ""
    test: str = ""
    result: str = ""
    record: str = ""
    claim: Claim | None = None
    survey: Survey | None = None
    line: int = field(default=0, compare=False)

    def bears_on(self, link: Link) -> str:
        """Say "for", "against" or "" of one link; naming a cause means all links from it."""
        names = {link.cause, str(link)}
        if names & set(self.contradicts):
            return "against"
        return "for" if names & set(self.supports) else ""


@dataclass(frozen=True, slots=True)
class Done:
    """What a test showed, when, and who did it."""

    result: str
    date: str = ""
    by: str = ""


@dataclass(frozen=True, slots=True)
class ProposedTest:
    """A test that could be done: its cost, its errors, and what each cause would show."""

    id: str
    does: str
    cost: float
    would_show: Mapping[str, str]
    false_pass: float | None = None
    false_fail: float | None = None
    error_rate: float | None = None
    safety_check: bool = False
    will_not_keep: bool = False
    destroys_evidence: bool = False
    needs: str = ""
    done: Done | None = None
    line: int = field(default=0, compare=False)

    @property
    def result(self) -> str:
        """What the test showed; "" while it is not done."""
        return self.done.result if self.done else ""
