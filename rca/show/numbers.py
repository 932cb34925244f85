"""Numbers as people read them: few figures, thousands set apart, unknown said in words."""

import math

UNKNOWN = "not known"
THIN_SPACE = "\u202f"


def figures(value: float | None, digits: int = 3) -> str:
    """Return a number with about `digits` figures, thousands set apart by thin spaces."""
    if value is None or math.isnan(value):
        return UNKNOWN
    if math.isinf(value):
        return "no limit"
    if value == 0:
        return "0"
    size = math.floor(math.log10(abs(value)))
    rounded = round(value, digits - 1 - size)
    decimals = max(0, digits - 1 - math.floor(math.log10(abs(rounded))))
    return f"{rounded:,.{decimals}f}".replace(",", THIN_SPACE).replace("-", "\u2212")


def whole(value: float | None) -> str:
    """Return a count or amount without decimals."""
    if value is None or math.isnan(value):
        return UNKNOWN
    return f"{value:,.0f}".replace(",", THIN_SPACE).replace("-", "\u2212")


def percent(value: float | None) -> str:
    """Return a share as a percentage: one decimal below 10 %, none above."""
    if value is None or math.isnan(value):
        return UNKNOWN
    shown = 100 * value
    return f"{shown:.{1 if 0 < abs(shown) < 9.95 else 0}f}{THIN_SPACE}%"


def p_value(value: float | None) -> str:
    """Return a p-value in words that do not pretend to more than it says."""
    if value is None or math.isnan(value):
        return UNKNOWN
    return "p < 0.001" if value < 0.001 else f"p = {value:.2g}"
