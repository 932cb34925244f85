"""Names written in several ways: which are probably one name, for a person to confirm.

Names are compared by what usually differs by accident (punctuation, blanks, leading zeros, word
order, plural, one or two letters). Names whose figures differ, or that differ by opposites such
as left and right, are never proposed as one. Nothing is merged without being confirmed; only
case and blanks are evened out by the reader itself.
"""

import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass

import numpy as np
from rapidfuzz.distance import OSA
from rapidfuzz.process import cdist

from rca.records.importing.wording import OPPOSITES, plain, side_name, without_accents

SHORTEST_MISSPELT = 5  # letters of a word in which one letter may be wrong
TWO_LETTERS_FROM = 8
RARE = 3  # a misspelling is at least so many times rarer than the right spelling
MOST_NAMES = 2500


@dataclass(frozen=True, slots=True)
class Merge:
    """One spelling and the name that it probably means."""

    text: str
    count: int
    into: str
    why: str


def propose_merges(names: Mapping[str, int], column: str) -> tuple[Merge, ...]:
    """Propose which spellings of a column are one name.

    Parameters
    ----------
    names
        Rows of each spelling.
    column
        Our name of the column; places (`position`) are compared by their meaning, and names of
        units only by punctuation, blanks and leading zeros.
    """
    names = _one_for_each_case(names)
    sides = _side_merges(names) if column == "position" else ()
    names = _with_sides(names, sides)
    found: dict[str, tuple[str, str]] = {}
    for text, into, why in _pairs(names, column):
        root = found[into][0] if into in found else into
        if text not in found and root != text:
            found[text] = (root, why)
    into_again = {text: found[into][0] for text, (into, _) in found.items() if into in found}
    return sides + tuple(
        Merge(text, names[text], into_again.get(text, into), why)
        for text, (into, why) in sorted(found.items(), key=lambda pair: (pair[1][0], pair[0]))
    )


def _one_for_each_case(names: Mapping[str, int]) -> dict[str, int]:
    """Keep the most frequent of spellings that differ in case only, with the rows of all."""
    ranked = sorted(names, key=lambda text: (-names[text], text))
    first: dict[str, str] = {}
    rows: dict[str, int] = {}
    for text in ranked:
        name = first.setdefault(text.casefold(), text)
        rows[name] = rows.get(name, 0) + names[text]
    return rows


def _side_merges(names: Mapping[str, int]) -> tuple[Merge, ...]:
    """Propose one usual name for each place that is written in several ways."""
    usual = {text: side_name(text) for text in names}
    ways: dict[str, int] = {}
    for name in usual.values():
        if name:
            ways[name] = ways.get(name, 0) + 1
    why = "the same place by its words"
    return tuple(
        Merge(text, names[text], name, why)
        for text, name in sorted(usual.items(), key=lambda pair: (pair[1] or "", pair[0]))
        if name and name != text and (ways[name] > 1 or "_" in text or "/" in text)
    )


def _with_sides(names: Mapping[str, int], sides: tuple[Merge, ...]) -> dict[str, int]:
    """Count the places that have been given their usual name under that name."""
    left = {text: rows for text, rows in names.items() if text not in {m.text for m in sides}}
    for merge in sides:
        left[merge.into] = left.get(merge.into, 0) + merge.count
    return left


def _pairs(names: Mapping[str, int], column: str) -> Iterator[tuple[str, str, str]]:
    """Yield (spelling, name, why), the surest kinds first; the name is the more frequent one."""
    yield from _same_key(names, _joined, "differ in punctuation or blanks only")
    yield from _same_key(names, _written_out, "differ in how an umlaut is written only")
    if column == "unit":
        yield from _same_key(names, _without_zeros, "differ in leading zeros only")
        return
    yield from _same_key(names, _sorted_words, "the same words in another order")
    yield from _same_key(names, _singular, "singular and plural")
    yield from _misspelt(names)


def _same_key(names: Mapping[str, int], key: object, why: str) -> Iterator[tuple[str, str, str]]:
    groups: dict[str, list[str]] = {}
    for text in names:
        groups.setdefault(key(text), []).append(text)  # type: ignore[operator]
    for code, group in groups.items():
        best = max(group, key=lambda text: (names[text], text))
        if code:
            yield from ((text, best, why) for text in group if text != best)


def _joined(text: str) -> str:
    """Return letters and figures without what stands between them, figures kept apart."""
    apart = re.sub(r"(?<=\d)[^0-9a-z]+(?=\d)", "|", without_accents(text).casefold())
    return re.sub(r"[^0-9a-z|]+", "", apart)


def _written_out(text: str) -> str:
    """Return letters and figures with each umlaut as two letters, as typists write them."""
    return _joined(text.casefold().translate(_UMLAUTS))


_UMLAUTS = str.maketrans({"ä": "ae", "ö": "oe", "ü": "ue", "ø": "oe", "å": "aa", "æ": "ae"})


def _without_zeros(text: str) -> str:
    return re.sub(r"(?<!\d)0+(?=\d)", "", _joined(text))


def _sorted_words(text: str) -> str:
    return " ".join(sorted(plain(without_accents(text)).split()))


def _singular(text: str) -> str:
    words = plain(without_accents(text)).split()
    return " ".join(w[:-1] if len(w) > 3 and w.endswith("s") else w for w in sorted(words))


def _misspelt(names: Mapping[str, int]) -> Iterator[tuple[str, str, str]]:
    """Yield rare names that are one or two letters from a frequent one."""
    long = [text for text in names if len(text) >= SHORTEST_MISSPELT][:MOST_NAMES]
    if len(long) < 2:
        return
    folded = [without_accents(text).casefold() for text in long]
    counts = np.array([names[text] for text in long])
    distance = cdist(folded, folded, scorer=OSA.distance, score_cutoff=2, dtype=np.uint8)
    close = (distance <= 2) & (counts[:, None] * RARE <= counts[None, :])
    for row in np.flatnonzero(close.any(axis=1)):
        rivals = np.flatnonzero(close[row])
        best = int(rivals[np.lexsort((-counts[rivals], distance[row, rivals]))[0]])
        letters = int(distance[row, best])
        if row != best and _one_word_misspelt(folded[row], folded[best], letters):
            said = "one letter differs" if letters == 1 else f"{letters} letters differ"
            yield long[row], long[best], said


def _one_word_misspelt(one: str, other: str, letters: int) -> bool:
    """Tell whether two names differ in a single word, long enough for so many wrong letters."""
    if _must_stay_apart(one, other):
        return False
    mine, yours = plain(one).split(), plain(other).split()
    if len(mine) != len(yours):
        return False
    pairs = [(m, y) for m, y in zip(mine, yours, strict=True) if m != y]
    least = SHORTEST_MISSPELT if letters == 1 else TWO_LETTERS_FROM
    return len(pairs) == 1 and min(map(len, pairs[0])) >= least


def _must_stay_apart(one: str, other: str) -> bool:
    """Tell whether two names differ in figures, in opposites or in a single-letter word."""
    if re.findall(r"\d+", one) != re.findall(r"\d+", other):
        return True
    mine, yours = set(plain(one).split()), set(plain(other).split())
    only = (mine - yours) | (yours - mine)
    if any(len(word) == 1 for word in only):
        return True
    return any(pair & (mine - yours) and pair & (yours - mine) for pair in OPPOSITES)
