"""Which column of an export is which of ours: by its name and by what stands in it.

The names are the trade's usual headings for these things (common practice, no source), in
English with the most frequent German, French and Spanish ones.
"""

import re
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
import pyarrow as pa
from rapidfuzz import fuzz, process

from rca.records.columns import TABLES
from rca.records.importing.days import form_of
from rca.records.importing.distinct import Cells
from rca.records.importing.numerals import read_numerals
from rca.records.importing.wording import ACTION_WORDS, POSITION_WORDS, REASON_WORDS, plain

SURE = 0.75
POSSIBLE = 0.35
# Beside the columns of the tables: where a file says that an order is cancelled or still open.
STATUS = "status"

_HEADINGS: Mapping[str, str] = {
    "unit": "unit|unit no|unit number|unit id|asset|asset no|asset number|asset id|equipment|"
    "equipment no|equipment number|equipment id|equip|machine|machine no|machine id|machine number|"
    "vehicle|vehicle no|vehicle number|vehicle id|veh|veh no|fleet no|fleet number|truck|truck no|"
    "bus|bus no|plant no|vin|registration|reg no|registration number|plate|licence plate|"
    "fahrzeug|fahrzeug nr|maschine|kennzeichen|véhicule|vehicule|vehículo|vehiculo|unidad|equipo",
    "date": "date|repair date|date of repair|order date|work order date|wo date|ro date|"
    "service date|job date|work date|datetime|date time|timestamp|failure date|event date|"
    "breakdown date|date in|date opened|opened|open date|reported|reported on|report date|"
    "created|created on|creation date|start date|posting date|datum|"
    "auftragsdatum|reparaturdatum|fecha|date de réparation|reading date|date of failure",
    "part": "part|part name|part description|component|component name|component description|"
    "comp|assembly|item|item description|part family|object part|replaced part|part group|"
    "bauteil|teil|komponente|baugruppe|pièce|piece|composant|pieza|componente|repuesto",
    "position": "position|location|side|place|pos|part position|axle position|fitted position|"
    "einbauort|seite|posición|posicion|emplacement|lado",
    "meter": "meter|meter reading|odometer|odometer reading|odo|odometer km|odometer miles|mileage|"
    "km|kms|kilometer|kilometers|kilometre|kilometres|miles|hours|engine hours|hour meter|"
    "operating hours|"
    "running hours|running time|run hours|machine hours|smr|smu|reading|km reading|hrs|"
    "kilometerstand|km stand|betriebsstunden|kilométrage|kilometrage|kilometraje|horas|horometro",
    "action": "action|action taken|action code|work done|work performed code|task|task type|"
    "activity|activity type|job code|repair code|repair action|maintenance action|tätigkeit|"
    "massnahme|maßnahme|acción|accion|intervention",
    "reason": "reason|reason for repair|repair reason|order type|work order type|wo type|work type|"
    "job type|maintenance type|maint type|pm type|pmtype|repair type|repair class|type of work|"
    "reason code|order category|visit reason|auftragsart|grund|motif|motivo|tipo de orden|type",
    "mode": "mode|failure mode|fm|failure code|fault code|defect|defect code|problem code|"
    "damage|damage code|failure type|fault type|symptom code|fehlerart|schadensart|modo de falla|"
    "mode de défaillance",
    "cause_addressed": "cause addressed|cause fixed|root cause addressed",
    "complaint": "complaint|concern|problem|problem description|description|short text|shorttext|"
    "original short text|originalshorttext|symptom|fault description|defect description|"
    "order text|order description|work order description|wo description|text|long text|notes|"
    "remarks|comment|comments|driver complaint|beschreibung|kurztext|descripción|descripcion|"
    "libellé|failure description",
    "cause": "cause|cause text|cause description|cause code|root cause|failure cause|ursache|causa",
    "correction": "correction|resolution|remedy|work performed|repair description|"
    "corrective action|solution|work carried out|repair notes|behebung|reparatur",
    "cost": "cost|total cost|costs|amount|total|total amount|repair cost|price|net amount|"
    "actual cost|total actual cost|kosten|betrag|coût|cout|costo|coste|importe|montant",
    "downtime_hours": "downtime|downtime hours|down time|hours down|down hours|downtime hrs|"
    "out of service hours|breakdown duration|repair hours down|stillstand|ausfallzeit|ausfall|"
    "ausfallstunden|"
    "temps d'arrêt|tiempo de parada|downtime h",
    "system": "system|major system|main system|system group|subsystem|component group|group|"
    "system description|system code|baugruppe haupt|sistema|système",
    "lot": "lot|lot no|lot number|batch|batch no|batch number|charge|chargennummer|lote",
    "fitted_date": "fitted date|date fitted|fitting date|install date|installation date|"
    "installed on|date installed|einbaudatum",
    "fitted_meter": "fitted meter|fitted km|fitted hours|meter at fitting|install meter|"
    "install km|install hours|meter at installation",
    "order": "order|order no|order number|order id|work order|work order no|work order number|"
    "work order id|workorder|wo|wo no|wo number|wo id|ro|ro no|ro number|repair order|"
    "repair order no|job|job no|job number|job id|job card|ticket|ticket no|notification|"
    "auftrag|auftragsnummer|auftrag nr|orden|ordre|invoice|invoice no",
    "order_cost": "order cost|order total|total order cost|invoice total|wo total",
    "closed": "closed|date closed|closed on|close date|closed date|completed|completion date|"
    "completed on|date completed|date out|finished|finish date|end date|date finished|"
    "abgeschlossen|fertig|cerrado",
    STATUS: "status|order status|work order status|wo status|state|job status|auftragsstatus|"
    "estado|statut",
    "in_service": "in service|in service date|inservice date|service start|commissioned|"
    "commissioning date|date in service|first registration|delivery date|start of service|"
    "put into service|date commissioned|inbetriebnahme|erstzulassung|fecha de alta",
    "retired": "retired|date retired|retirement date|disposed|disposal date|sold|date sold|"
    "decommissioned|out of service date|date out of service|ausserdienststellung|fecha de baja",
    "records_begin": "records begin|records from|records start",
    "positions": "positions|places",
    "fitted_to": "fitted to|applies to|models",
    "safety_critical": "safety critical|safety",
    "planned_cost": "planned cost|cost planned",
    "failure_cost": "failure cost|cost failure",
    "meter_replaced": "meter replaced|odometer replaced|new meter",
}
HEADINGS = {ours: tuple(names.split("|")) for ours, names in _HEADINGS.items()}
_DATES = ("date", "closed", "fitted_date", "in_service", "retired", "records_begin")
_NUMBERS = ("meter", "cost", "downtime_hours", "fitted_meter", "order_cost", "planned_cost",
            "failure_cost")  # fmt: skip
_GROUPS = ("part", "position", "mode", "system", "action", "reason", "cause_addressed", STATUS)


@dataclass(frozen=True, slots=True)
class Match:
    """One of our columns, the file's column taken for it, and what speaks for that."""

    ours: str
    theirs: str
    score: float  # 0 to 1; from SURE on it is used without asking
    why: str
    rivals: tuple[str, ...] = ()

    @property
    def is_sure(self) -> bool:
        """Tell whether name and content leave no doubt."""
        return self.score >= SURE and not self.rivals


@dataclass(frozen=True, slots=True)
class Content:
    """What stands in a column, from a sample of its filled cells; shares from 0 to 1."""

    filled: int
    dates: float
    numbers: float
    distinct: float  # distinct texts per cell
    different: int
    length: float  # usual number of characters
    words: float  # usual number of words
    reasons: float
    actions: float
    places: float


def content_of(cells: Cells, name: str) -> Content:
    """Describe what stands in a column; worked out once."""
    if name not in cells.described:
        cells.described[name] = _content_of(cells, name)
    found = cells.described[name]
    assert isinstance(found, Content)
    return found


def _content_of(cells: Cells, name: str) -> Content:
    texts = cells.sample(name)
    if not texts:
        return Content(0, 0, 0, 0, 0, 0, 0, 0, 0, 0)
    some = texts[:600]
    folded = [plain(text) for text in some]
    numerals = read_numerals(pa.array(some, type=pa.string()))
    dates = 1.0 if cells.is_typed(name, "date") else _share_of_dates(some)
    return Content(
        filled=len(texts),
        dates=dates,
        numbers=numerals.share,
        distinct=len(set(texts)) / len(texts),
        different=len(set(texts)),
        length=float(np.median([len(text) for text in some])),
        words=float(np.mean([len(text.split()) for text in some])),
        reasons=float(np.mean([f in REASON_WORDS for f in folded])),
        actions=float(np.mean([f in ACTION_WORDS for f in folded])),
        places=float(np.mean([bool(f) and set(f.split()) <= POSITION_WORDS for f in folded])),
    )


def _share_of_dates(texts: list[str]) -> float:
    """Return the share of cells that look like dates; plain numbers only where all are YYYYMMDD."""
    if _only_numbers(texts) and not _like_day_numbers(texts):
        return 0.0
    return float(np.mean([bool(form_of(text)) for text in texts]))


def _only_numbers(texts: list[str]) -> bool:
    return all(re.fullmatch(r"\d+(?:\.\d+)?", text) for text in texts)


def _like_day_numbers(texts: list[str]) -> bool:
    """Tell whether plain numbers are dates: YYYYMMDD, the same length everywhere."""
    return all(len(t) == 8 and t[:2] in ("19", "20") and "." not in t for t in texts)


def match_columns(cells: Cells, table: str) -> dict[str, Match]:
    """Find for each of our columns the file's column that is most like it.

    Each column of the file is taken once. A match below SURE, or with rivals that fit as well,
    is a proposal to be confirmed.
    """
    ours = [column.name for column in TABLES[table]] + ([STATUS] if table == "repairs" else [])
    contents = {name: content_of(cells, name) for name in cells.names}
    scores = {
        (o, theirs): _score(o, theirs, contents[theirs], table)
        for o in ours
        for theirs in cells.names
    }
    matches: dict[str, Match] = {}
    taken: set[str] = set()
    for (o, theirs), (score, why) in sorted(scores.items(), key=lambda pair: -pair[1][0]):
        if score < POSSIBLE or o in matches or theirs in taken:
            continue
        matches[o] = Match(o, theirs, score, why)
        taken.add(theirs)
    for o, match in matches.items():
        rivals = tuple(
            t for t in cells.names
            if t not in taken
            and (scores[o, t][0] > match.score - 0.1 or t in twins_of(cells, match.theirs))
        )  # fmt: skip
        matches[o] = Match(o, match.theirs, match.score, match.why, rivals)
    return matches


def twins_of(cells: Cells, name: str) -> tuple[str, ...]:
    """Return the other columns that stand under the same heading: `Cost.1` beside `Cost`."""
    heading = re.sub(r"\.\d+$", "", name)
    if heading not in cells.names:
        return ()
    alike = re.compile(rf"{re.escape(heading)}(\.\d+)?")
    return tuple(
        one for one in cells.names
        if one != name and alike.fullmatch(one) and content_of(cells, one).filled
    )  # fmt: skip


def candidates(cells: Cells, ours: str, taken: set[str]) -> list[str]:
    """Return the file's columns that could be one of ours by their content, likely ones first."""
    contents = {name: content_of(cells, name) for name in cells.names if name not in taken}
    good = [n for n, content in contents.items() if content.filled and _fits(ours, content)]
    return sorted(good, key=lambda name: contents[name].distinct)


def misnamed(cells: Cells, table: str) -> list[tuple[str, str]]:
    """Return (ours, theirs) where a column is named like ours but cannot be it by its content."""
    found = []
    for column in TABLES[table]:
        for theirs in cells.names:
            content = content_of(cells, theirs)
            named = content.filled and _name_score(column.name, theirs) >= 0.9
            if named and not _fits(column.name, content):
                found.append((column.name, theirs))
    return found


def _score(ours: str, theirs: str, content: Content, table: str) -> tuple[float, str]:
    """Score a pair by name and content; content that cannot be this column gives 0."""
    if content.filled == 0:
        return 0.0, ""
    named = _name_score(ours, theirs)
    if not _fits(ours, content):
        return 0.0, ""
    told = _content_score(ours, content)
    if named >= 0.6:
        return min(1.0, named + 0.1 * told), f"named {theirs!r}, and its content fits"
    if told > 0:
        score = 0.4 * told + 0.36 * (told >= 0.9) + 0.1 * named
        return min(1.0, score), f"by its content (named {theirs!r})"
    return 0.8 * named, f"its name is like {ours!r}"


def _name_score(ours: str, theirs: str) -> float:
    """Score a heading from 0 to 1: one of the usual headings, or nearly one."""
    name = heading_words(theirs)
    if not name:
        return 0.0
    usual = [*HEADINGS.get(ours, ()), ours.replace("_", " ")]
    if name in usual:
        return 1.0 - 0.01 * min(usual.index(name), 9)
    joined = name.replace(" ", "")
    if joined in {one.replace(" ", "") for one in usual}:
        return 0.9
    words = set(name.split())
    inside = [one for one in usual if set(one.split()) <= words]
    if inside:
        most = max(len(one.split()) for one in inside)
        return 0.45 + 0.4 * most / len(words)
    near = process.extractOne(name, usual, scorer=fuzz.ratio, score_cutoff=88)
    return 0.7 if near and len(name) > 4 else 0.0


def heading_words(heading: str) -> str:
    """Split a heading such as `WorkOrderNo.` or `unit_id` into lower-case words."""
    text = re.sub(r"(?<=[a-zß-ÿ])(?=[A-ZÀ-Þ])", " ", heading)
    text = re.sub(r"(?<=[A-Z])(?=[A-Z][a-z])", " ", text)
    return " ".join(re.sub(r"[^0-9a-zà-ÿß']+", " ", text.casefold()).split())


def _fits(ours: str, content: Content) -> bool:
    """Tell whether a column's content can be what ours holds."""
    if ours in _DATES:
        return content.dates >= 0.8
    if ours in _NUMBERS:
        return content.numbers >= 0.8 and content.dates < 0.8
    if content.dates >= 0.8:
        return False
    if ours == "unit":
        return content.length <= 40 and content.words < 5
    if ours in _GROUPS:
        few = content.different <= 30 or content.distinct < 0.5
        return few and content.words < 6 and not (content.numbers > 0.9 and content.different > 60)
    if ours in ("complaint", "cause", "correction"):
        return content.numbers < 0.5 and content.length > 2
    return True


def _content_score(ours: str, content: Content) -> float:
    """Return how strongly the content alone points to this column, 0 to 1."""
    if ours == "date":
        return content.dates
    if ours == "position":
        return content.places
    if ours == "reason":
        return content.reasons
    if ours == "action":
        return content.actions
    if ours == "complaint":
        return 1.0 if content.words >= 3 and content.distinct > 0.3 else 0.0
    return 0.0
