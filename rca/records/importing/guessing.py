"""How the bytes of an export are to be read: encoding, delimiter and the line of column names."""

import csv
import io
import re
import unicodedata
from collections import Counter
from dataclasses import dataclass

# Written by the usual office programs of the Western and Central European code pages.
CODE_PAGES = ("cp1252", "cp1250", "cp850", "mac_roman", "iso8859_15")
DELIMITERS = (",", ";", "\t", "|")
SAMPLE = 200_000  # bytes looked at for the delimiter
ROWS = 200
CERTAIN, LIKELY, ASKED = "certain", "likely", "asked"


@dataclass(frozen=True, slots=True)
class Guess:
    """What something seems to be, how sure that is, and what speaks for it.

    `sure` is "certain" (nothing else fits), "likely" (used unless someone objects) or "asked".
    """

    value: str
    sure: str
    why: str
    examples: tuple[str, ...] = ()
    others: tuple[str, ...] = ()


def guess_encoding(data: bytes) -> Guess:
    """Tell the encoding of a text file; one that is not Unicode is never decided alone."""
    for mark, name in _BYTE_ORDER_MARKS:
        if data.startswith(mark):
            return Guess(name, CERTAIN, "the file begins with a byte-order mark")
    if data[:4000].count(0) > len(data[:4000]) // 4:
        name = "utf-16-le" if data[1:2] == b"\0" else "utf-16-be"
        return Guess(name, CERTAIN, "every second byte is zero")
    if data.isascii():
        return Guess("utf-8", CERTAIN, "only plain characters (ASCII)")
    try:
        data.decode("utf-8")
    except UnicodeDecodeError:
        return _code_page(data)
    return Guess("utf-8", CERTAIN, "all characters are valid UTF-8")


_BYTE_ORDER_MARKS = (
    (b"\xef\xbb\xbf", "utf-8"),
    (b"\xff\xfe", "utf-16"),
    (b"\xfe\xff", "utf-16"),
)


def _code_page(data: bytes) -> Guess:
    """Rank the code pages by how many of the odd characters are letters inside words."""
    words = _odd_words(data)
    scores = {}
    for page in CODE_PAGES:
        try:
            scores[page] = sum(_reads_well(word.decode(page)) for word in words)
        except UnicodeDecodeError:
            continue
    different: dict[tuple[str, ...], str] = {}
    for page in sorted(scores, key=lambda page: -scores[page]):
        different.setdefault(tuple(word.decode(page) for word in words), page)
    others = tuple(different.values()) or CODE_PAGES
    examples = tuple(
        f"{page}: {', '.join(w.decode(page, errors='replace') for w in words[:4])}"
        for page in others[:4]
    )
    why = f"not valid UTF-8; {len(words)} different words hold other characters"
    return Guess(others[0], ASKED, why, examples, others)


def _odd_words(data: bytes, most: int = 200) -> list[bytes]:
    """Return different words that hold bytes above 127."""
    found = Counter(re.findall(rb"[A-Za-z]*[\x80-\xff]+[A-Za-z\x80-\xff]*", data))
    return [word for word, _ in found.most_common(most)]


def _reads_well(word: str) -> float:
    """Score a decoded word: lower-case letters in a row are likely, symbols are not."""
    odd = [c for c in word if ord(c) > 127]
    common = sum(c in _COMMON for c in odd)
    letters = sum(unicodedata.category(c) in ("Ll", "Lu") for c in odd)
    mixed = len(re.findall(r"[a-zß-ÿ][A-ZÀ-Þ]", word))
    return (letters + common - mixed) / max(len(odd), 1)


_COMMON = frozenset("äöüÄÖÜßéèêàâçñóíáúôîïëåøæÅØÆÉ°²³µ§€")


def damaged_characters(text: str) -> dict[str, int]:
    """Count characters that an earlier conversion has lost or doubled.

    Returns the number of replacement characters under "lost" and of UTF-8 letters that were
    once read as single bytes under "doubled".
    """
    if text.isascii():
        return {}
    lost = text.count("\ufffd")
    doubled = len(_DOUBLED.findall(text))
    return {name: count for name, count in (("lost", lost), ("doubled", doubled)) if count}


_DOUBLED = re.compile(
    "[ÂÃ][\u0080-\u00bf\u0160\u017e\u0152\u0178]|â(?:€|\u0080)[\u0080-\u00bf™œ“”˜]"
)


def guess_delimiter(text: str) -> Guess:
    """Tell the delimiter: the one that splits most lines into as many fields as the header has."""
    scores = {mark: _evenness(text, mark) for mark in DELIMITERS}
    ranked = sorted(scores, key=lambda mark: -scores[mark])
    best, second = ranked[0], ranked[1]
    if scores[best] == 0:
        return Guess("", ASKED, "no delimiter splits the lines into columns", _lines(text))
    why = f"{_named(best)} splits most lines alike, into about {scores[best] + 1:.0f} columns"
    if scores[second] > 0.8 * scores[best]:
        both = (best, second)
        return Guess(best, ASKED, f"{_named(best)} and {_named(second)} both split it",
                     _lines(text), both)  # fmt: skip
    return Guess(best, CERTAIN, why)


def _evenness(text: str, mark: str) -> float:
    """Return the usual number of fields above 1, times the share of lines that have it."""
    widths = [len(row) for row in _rows(text, mark) if row]
    if not widths:
        return 0.0
    width, count = Counter(widths).most_common(1)[0]
    return (width - 1) * (count / len(widths)) ** 2


def _rows(text: str, mark: str) -> list[list[str]]:
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=mark)
    rows: list[list[str]] = []
    try:
        for row in reader:
            rows.append(row)
            if len(rows) > ROWS:
                break
    except csv.Error:
        pass  # the rows read so far speak for or against this mark
    return rows


def _named(mark: str) -> str:
    names = {",": "the comma", ";": "the semicolon", "\t": "the tab", "|": "the upright stroke"}
    return names.get(mark, repr(mark))


def _lines(text: str) -> tuple[str, ...]:
    return tuple(line[:80] for line in text.splitlines()[:3])


def guess_header_line(rows: list[list[str]]) -> Guess:
    """Tell in which of the first lines (cells as text) the column names stand; "" = in none.

    Names are as many as a usual row has cells, nearly all filled, and neither dates nor numbers.
    """
    filled = [sum(bool(cell.strip()) for cell in row) for row in rows]
    if not rows or max(filled, default=0) == 0:
        return Guess("", ASKED, "the file holds no names of columns")
    some = sorted(count for count in filled if count)
    usual = some[len(some) // 2] if len(some) > 2 else max(some)
    for place, row in enumerate(rows[:30]):
        if filled[place] < max(1, 0.6 * usual) or (usual > 1 and filled[place] == 1):
            continue
        data = [cell for cell in row if _is_data(cell)]
        if data:
            why = f"its first full line holds data, not names: {', '.join(data[:3])}"
            return Guess("", ASKED, why)
        above = tuple(" ".join(r)[:60].strip() for r in rows[:place])
        why = "the first line holds the names" if not place else f"{place} lines stand above"
        return Guess(str(place + 1), CERTAIN if not place else LIKELY, why, above)
    return Guess("", ASKED, "no line looks like names of columns")


def _is_data(cell: str) -> bool:
    return bool(re.fullmatch(r"\s*[-+(]?[\d.,/\-: ]*\d[\d.,/\-: TZ]*\)?\s*", cell))
