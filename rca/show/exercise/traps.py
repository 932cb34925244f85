"""Traps that records and places lay for whoever reads them; each is named, and can be chosen."""

from collections.abc import Mapping
from types import MappingProxyType

TRAPS: Mapping[str, str] = MappingProxyType(
    {
        "survivors missing": "the units table lists only units on which the part was replaced",
        "mixed modes": "two failure modes of opposite shape stand under one part",
        "odometer replaced": "meters of some units begin again at 0",
        "age unknown": "units are older than the records; the age of their first parts is unknown",
        "good parts returned": "parts that test good were replaced, and stand beside the failures",
        "confounded": "one depot has most of the heavy duty: one is guilty, both look so",
        "two causes": "only two conditions together do harm; each is found on sound units too",
        "picked worst": "only the units with most failures are repaired; they improve anyway",
        "effect": "another part fails after this one, as its consequence",
    }
)
"""Each trap with what it does."""

_ONLY = {
    "confounded": ("duty", "fitting"),
    "two causes": ("supply", "control", "mating"),
}


def fits(trap: str, kind: str) -> bool:
    """Whether a trap can be laid in a case of this kind."""
    return kind in _ONLY.get(trap, (kind,))
