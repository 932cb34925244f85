"""Words of the trade for actions, reasons, places and placeholders, and what they mean to us.

The lists are common practice (no source). A word is only taken where it stands alone in the cell:
`PM` is planned work, `PM01` is a code that means what its owner says.
"""

import re
import unicodedata
from collections.abc import Mapping

_ACTIONS: Mapping[str, str] = {
    "replaced": "replaced|replace|replacement|replaced part|replace part|r r|r and r|renew|renewed|"
    "renewal|changed|change|change out|changeout|changed out|exchange|exchanged|swap|swapped|"
    "remove and replace|removed and replaced|install new|fit new|fitted new|new|ersetzt|"
    "getauscht|austausch|ausgetauscht|erneuert|remplacé|remplacement|reemplazado|reemplazo|cambio",
    "repaired": "repaired|repair|repairs|fix|fixed|mend|mended|weld|welded|reparatur|repariert|"
    "instandgesetzt|réparé|réparation|reparado|reparación",
    "cleaned": "cleaned|clean|cleaning|flush|flushed|wash|washed|gereinigt|reinigung|nettoyé|"
    "limpieza|limpiado",
    "adjusted": "adjusted|adjust|adjustment|align|aligned|alignment|calibrate|calibrated|"
    "calibration|tighten|tightened|retorque|retorqued|tension|tensioned|eingestellt|"
    "nachgestellt|einstellung|réglé|réglage|ajuste|ajustado",
    "inspected": "inspected|inspect|inspection|check|checked|test|tested|diagnose|diagnosed|"
    "diagnosis|examined|geprüft|prüfung|kontrolle|contrôle|contrôlé|inspección|revisión",
    "none": "none|no action|nothing|nothing done|nil|no work|no work done|keine|aucune|ninguna",
}
_REASONS: Mapping[str, str] = {
    "failure": "failure|failed|breakdown|break down|corrective|corrective maintenance|unscheduled|"
    "unplanned|unscheduled repair|emergency|emergency repair|defect|fault|road call|roadcall|"
    "reactive|reactive maintenance|break fix|störung|ausfall|defekt|panne|défaillance|avería|"
    "falla|correctivo|correctif",
    "planned": "planned|preventive|preventative|preventive maintenance|preventative maintenance|pm|"
    "scheduled|scheduled maintenance|scheduled service|service|routine|routine service|"
    "routine maintenance|planned maintenance|pm service|wartung|geplant|entretien|préventif|"
    "preventivo|programado",
    "inspection": "inspection|statutory inspection|annual inspection|driver inspection|"
    "safety inspection|inspektion|hauptuntersuchung|inspección",
    "recall": "recall|campaign|service campaign|recall campaign|field campaign|rückruf|rappel",
    "accident": "accident|collision|crash|accident damage|accidental damage|vandalism|abuse|"
    "external damage|damage by others|unfall|accidente|sinistre",
    "no fault found": "no fault found|nff|no trouble found|ntf|no defect found|could not duplicate|"
    "cannot duplicate|cnd|kein fehler|kein befund|sans défaut|sin falla",
    "other": "other|others|miscellaneous|misc|sonstiges|autre|otro|otros",
}
_YES_NO = {"yes": "yes|y|true|1|ja|oui|si|sí", "no": "no|n|false|0|nein|non"}


def plain(text: str) -> str:
    """Return lower-case words only: `R&R` and `r & r` become `r r`."""
    return " ".join(re.sub(r"[^0-9a-zà-ÿß]+", " ", text.casefold()).split())


def _words(text: str) -> frozenset[str]:
    return frozenset(text.split("|"))


def _by_word(lists: Mapping[str, str]) -> dict[str, str]:
    return {plain(word): ours for ours, words in lists.items() for word in words.split("|")}


ACTION_WORDS = _by_word(_ACTIONS)
REASON_WORDS = _by_word(_REASONS)
YES_NO_WORDS = _by_word(_YES_NO)
WORDS = {"action": ACTION_WORDS, "reason": REASON_WORDS, "cause_addressed": YES_NO_WORDS}

CATCH_ALL = _words(
    "unspecified|other|others|misc|miscellaneous|general|unknown|not stated|not specified|various|"
    "sonstiges|unbekannt|diverse|otros|autre|divers|undefined|to be determined|tbd"
)
EXTRA_MISSING = _words(
    "-|--|---|.|?|??|???|n.a.|n/a.|na.|(blank)|blank|(null)|(none)|#|k.a.|tbd|tba|xxx|xx|unknown|"
    "not known|not recorded|not stated|nil"
)
CLEARLY_MISSING = _words("-|--|---|.|?|??|???|n.a.|(blank)|(null)|(none)|#|k.a.")
PLACEHOLDER_UNITS = _words(
    "pool|pool unit|pool vehicle|test|test unit|testunit|dummy|spare|spares|unknown|none|various|"
    "misc|miscellaneous|all|all units|stock|workshop|shop|n a|no unit|not stated|total|sum|"
    "grand total|general|fleet|tbd|unbekannt|diverse|werkstatt|gesamt"
)
CANCELLED = _words(
    "cancelled|canceled|cancel|void|voided|deleted|rejected|test|test order|duplicate|"
    "storniert|gelöscht|annulé|anulado|cancelado"
)
STILL_OPEN = _words(
    "open|in progress|pending|wip|work in progress|on hold|waiting|waiting parts|"
    "waiting for parts|new|draft|offen|in arbeit|ouvert|abierto|pendiente"
)
DONE = _words(
    "closed|complete|completed|done|finished|invoiced|settled|approved|"
    "abgeschlossen|erledigt|fermé|cerrado|released for payment|posted"
)
NO_WORK_TEXTS = _words(
    "test|test order|testing|test only|dummy|cancel|cancelled|canceled|cancelled order|"
    "not required|no longer required|void|duplicate|duplicate order|entered in error|error|"
    "see text|see long text|as above|delete|do not use|order cancelled|raised in error"
)

# Words of place, each with the axis on which it lies; two words of one axis are two places.
SIDES: Mapping[str, tuple[str, str]] = {
    word: (axis, name)
    for axis, name, words in (
        ("end", "Front", "front|fwd|forward|vorn|vorne|avant|delantero"),
        ("end", "Rear", "rear|back|aft|hinten|arrière|trasero"),
        ("end", "Centre", "centre|center|middle|mid|mitte"),
        ("level", "Upper", "upper|top|oben"),
        ("level", "Lower", "lower|bottom|unten"),
        ("depth", "Inner", "inner|inside|inboard|innen"),
        ("depth", "Outer", "outer|outside|outboard|aussen|außen"),
        ("side", "Left", "left|l|lh|lhs|l h|left hand|near side|nearside|links|gauche|izquierdo"),
        ("side", "Right", "right|r|rh|rhs|r h|right hand|off side|offside|rechts|droite|derecho"),
    )
    for word in words.split("|")
}
_AXES = ("end", "level", "depth", "side")
POSITION_WORDS = frozenset(part for word in SIDES for part in word.split()) | _words(
    "axle|wheel|no|side|hand|1|2|3|4|5|6|7|8|both|and"
)
OPPOSITES = tuple(
    frozenset(pair.split())
    for pair in (
        "left right", "front rear", "upper lower", "top bottom", "inner outer", "inlet outlet",
        "intake exhaust", "lh rh", "lhs rhs", "l r", "high low", "hot cold", "supply return",
        "primary secondary", "driver passenger", "in out", "positive negative", "male female",
        "upstream downstream", "input output", "suction discharge", "master slave",
        "hydraulic pneumatic", "water oil", "fuel oil", "fuel water", "air oil",
        "lift tilt",
    )
)  # fmt: skip


def side_name(text: str) -> str | None:
    """Return the usual name of a place such as `L/H` or `FRONT_LEFT`.

    "" where the text names two places of one axis (left and right), None where some word is no
    word of place.
    """
    words = plain(text.replace("_", " "))
    if words in SIDES:
        return SIDES[words][1]
    words = re.sub(r"\b([lr]) h\b", r"\1h", words).replace(" hand", "").replace(" side", "")
    found: dict[str, str] = {}
    for word in words.split():
        if word not in SIDES:
            return None
        axis, name = SIDES[word]
        if found.setdefault(axis, name) != name:
            return ""
    return " ".join(found[axis] for axis in _AXES if axis in found) or None


def without_accents(text: str) -> str:
    """Return the letters without their marks: `é` becomes `e`."""
    return "".join(c for c in unicodedata.normalize("NFKD", text) if not unicodedata.combining(c))
