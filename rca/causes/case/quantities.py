"""Units of measure on the bench: what a unit measures and how readings are converted.

The library behind this is pint; it is loaded only when a unit is first asked for.
"""

import re
from functools import cache
from typing import Any

from rca.errors import RcaError

LONGEST = 40
POWERS = re.compile(r"(\*\*|\^)\s*\(|\d\s*(\*\*|\^)|\d{4,}")
"""Powers of powers and long numbers: no unit of the bench has them, and they can take for ever."""


@cache
def _registry() -> Any:
    import pint

    return pint.UnitRegistry()


@cache
def _unit(text: str) -> Any:
    """The unit that `text` names, or None."""
    if len(text) > LONGEST or POWERS.search(text):
        return None
    registry = _registry()
    try:
        return registry.parse_units(text)
    except Exception:  # pint raises many kinds, for tokens as for names
        return None


def known(unit: str) -> bool:
    """Whether `unit` is a unit of measure, such as V, mV, ohm, kPa, psi, degC, l/min, mm."""
    return bool(unit.strip()) and _unit(unit) is not None


def same_quantity(one: str, other: str) -> bool:
    """Whether two units measure the same kind of quantity, so that they can be converted."""
    return bool(_unit(one).dimensionality == _unit(other).dimensionality)


def is_resistance(unit: str) -> bool:
    """Whether `unit` measures electrical resistance."""
    return same_quantity(unit, "ohm")


def convert(value: float, unit: str, to: str) -> float:
    """Convert a value between two units of the same quantity, offsets (degC, degF) included."""
    if unit == to:
        return value
    if not known(unit) or not known(to) or not same_quantity(unit, to):
        raise RcaError(f"{unit!r} cannot be converted to {to!r}")
    return float(_registry().Quantity(value, _unit(unit)).to(_unit(to)).magnitude)
