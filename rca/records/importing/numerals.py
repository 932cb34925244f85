"""How numbers are written: the decimal mark, the mark between thousands, text around them."""

import re
from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc

from rca.records.cells import cell_text
from rca.records.importing.distinct import is_blank
from rca.records.text_search import hits

POINT, COMMA = ".", ","
_UNIT_WORDS = {
    "km": "km kms kilometer kilometers kilometre kilometres kilometerstand kilometrage kilométrage",
    "miles": "miles mi mls",
    "hours": "hours hrs hr hour smr smu h std betriebsstunden horas horometro",
}
UNIT_OF_WORD = {word: unit for unit, words in _UNIT_WORDS.items() for word in words.split()}
_SIGNS = {"€": "EUR", "£": "GBP", "$": "$", "¥": "¥", "kč": "CZK", "zł": "PLN"}
_CURRENCY = r"[$€£¥]|EUR|USD|GBP|CHF|AUD|CAD|NZD|SEK|NOK|DKK|PLN|CZK|HUF|INR|ZAR|Kč|zł|kr\.?"
_UNIT = r"km|kms|mi|mls|miles|h|hr|hrs|hours|std\.?"
_NUMBER = re.compile(
    rf"(?P<before>{_CURRENCY})?\s*(?P<sign>[-+]?)\s*"
    r"(?P<body>\d[\d.,'\u00a0\u202f ]*\d|\d|[.,]\d+)"
    rf"\s*(?P<after>{_CURRENCY}|{_UNIT})?",
    re.IGNORECASE,
)
_GROUPED = {
    mark: re.compile(rf"\d{{1,3}}(?:{re.escape(mark)}\d{{3}})+") for mark in ".,' \u00a0\u202f"
}


@dataclass(frozen=True, slots=True)
class Numerals:
    """How the numbers of some cells are written, counted in cells.

    `decimals` and `thousands` count the marks that only one reading explains; `either` counts
    cells such as 1.234, whose mark may be either; `affixes` the text around numbers.
    """

    cells: int
    numbers: int
    decimals: Counter[str]
    thousands: Counter[str]
    either: Counter[str]
    affixes: Counter[str]
    examples: dict[str, str]

    @property
    def share(self) -> float:
        """Share of the filled cells that are numbers."""
        return self.numbers / max(self.cells, 1)

    def __add__(self, other: "Numerals") -> "Numerals":
        return Numerals(
            self.cells + other.cells,
            self.numbers + other.numbers,
            self.decimals + other.decimals,
            self.thousands + other.thousands,
            self.either + other.either,
            self.affixes + other.affixes,
            other.examples | self.examples,
        )


def read_numerals(cells: pa.Array) -> Numerals:
    """Look at how the numbers of a column of text are written; words for a blank are left out."""
    plain = hits(cells, r"^[-+]?(\d+|\d*\.(\d{1,2}|\d{4,}))$")
    dotted = pc.fill_null(pc.match_substring(cells, "."), False)
    point = plain & np.asarray(dotted.to_numpy(zero_copy_only=False), dtype=bool)
    rest = pc.value_counts(cells.take(pa.array(np.flatnonzero(~plain))).drop_null())
    counted = {cell_text(one["values"].as_py()): one["counts"].as_py() for one in rest}
    found = _one_by_one({text: n for text, n in counted.items() if text and not is_blank(text)})
    simple = int(plain.sum())
    examples = {"decimal .": cells[int(np.argmax(point))].as_py()} if point.any() else {}
    return found + Numerals(
        simple, simple, +Counter({POINT: int(point.sum())}), Counter(), Counter(), Counter(),
        examples,
    )  # fmt: skip


def _one_by_one(texts: Mapping[str, int]) -> Numerals:
    """Look at numbers that are neither whole nor plainly written with a point."""
    cells = numbers = 0
    decimals, thousands, either, affixes = (Counter[str]() for _ in range(4))
    examples: dict[str, str] = {}
    for text, count in texts.items():
        cells += count
        found = _NUMBER.fullmatch(text)
        marks = _marks(found["body"]) if found else None
        if found is None or marks is None:
            continue
        numbers += count
        for affix in (found["before"], found["after"]):
            affixes[affix or ""] += count
        decimal, between, unsure = marks
        for counter, mark in ((decimals, decimal), (thousands, between), (either, unsure)):
            if mark:
                counter[mark] += count
        examples.setdefault(f"decimal {decimal}" if decimal else f"either {unsure}", text)
    return Numerals(
        cells, numbers, +decimals, +thousands, +either,
        Counter({k: v for k, v in affixes.items() if k}), examples,
    )  # fmt: skip


def measure_of(affix: str) -> str:
    """Return the unit or currency that stands beside a figure: km, miles, hours, EUR, $, ..."""
    word = affix.casefold()
    return UNIT_OF_WORD.get(word.rstrip("."), _SIGNS.get(word, affix.upper()))


def no_numerals() -> Numerals:
    """Return the numerals of no cells at all."""
    return read_numerals(pa.array([], type=pa.string()))


def _marks(body: str) -> tuple[str, str, str] | None:
    """Return the decimal mark, the mark between thousands and the undecided one; None = none."""
    body = body.strip()
    present = [mark for mark in ".,' \u00a0\u202f" if mark in body]
    if not present:
        return ("", "", "")
    if len(present) > 2:
        return None
    if len(present) == 2:
        last = max(present, key=body.rfind)
        between = present[0] if last == present[1] else present[1]
        whole, _, fraction = body.rpartition(last)
        good = last in (POINT, COMMA) and fraction.isdigit() and _GROUPED[between].fullmatch(whole)
        return (last, between, "") if good else None
    mark = present[0]
    if mark not in (POINT, COMMA) or body.count(mark) > 1:
        return ("", mark, "") if _GROUPED[mark].fullmatch(body) else None
    whole, _, fraction = body.partition(mark)
    may_group = len(fraction) == 3 and 1 <= len(whole) <= 3 and not whole.startswith("0")
    return ("", "", mark) if may_group else (mark, "", "")
