"""How numbers are written for people: decimal sign, thousands, few figures, unknown in words."""

import math
import re
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Final

UNKNOWN = "not known"
THIN_SPACE = "\u202f"
STYLES: Final = {
    "1 234.5": (".", THIN_SPACE),
    "1 234,5": (",", THIN_SPACE),
    "1,234.5": (".", ","),
    "1.234,5": (",", "."),
    "1'234.5": (".", "'"),
    "1234.5": (".", ""),
    "1234,5": (",", ""),
}
"""What `numbers` in fleet.yaml may say: the number 1234.5 as it is to be written."""
_IN_TEXT = re.compile(
    r"(?<![\w.,:/#-])(?P<whole>\d{1,3}(?:,\d{3})+|\d+)(?P<rest>\.\d+)?(?![\w/]|[.,:-]\d)"
)


@dataclass(frozen=True, slots=True)
class NumberStyle:
    """Decimal sign and thousands sign of a fleet's pages; the default reads 1 234.5."""

    decimal: str = "."
    thousands: str = THIN_SPACE

    @classmethod
    def like(cls, sample: str) -> "NumberStyle":
        """Return the style of a sample such as "1.234,5", one of `STYLES`."""
        return cls(*STYLES[sample])

    @property
    def plotly(self) -> str:
        """Return both signs as plotly's `separators` takes them."""
        return self.decimal + self.thousands

    def figures(self, value: float | None, digits: int = 3) -> str:
        """Return a number with about `digits` figures, thousands set apart."""
        if value is None or math.isnan(value):
            return UNKNOWN
        if math.isinf(value):
            return "no limit"
        if value == 0:
            return "0"
        size = math.floor(math.log10(abs(value)))
        rounded = round(value, digits - 1 - size)
        decimals = max(0, digits - 1 - math.floor(math.log10(abs(rounded))))
        return self._signs(f"{rounded:,.{decimals}f}")

    def whole(self, value: float | None) -> str:
        """Return a count or amount without decimals."""
        if value is None or math.isnan(value):
            return UNKNOWN
        return self._signs(f"{value:,.0f}")

    def percent(self, value: float | None) -> str:
        """Return a share as a percentage: one decimal below 10 %, none above."""
        if value is None or math.isnan(value):
            return UNKNOWN
        shown = 100 * value
        decimals = 1 if 0 < abs(shown) < 9.95 else 0
        return self._signs(f"{shown:.{decimals}f}") + THIN_SPACE + "%"

    def p_value(self, value: float | None) -> str:
        """Return a p-value in words that do not pretend to more than it says."""
        if value is None or math.isnan(value):
            return UNKNOWN
        return self._signs("p < 0.001" if value < 0.001 else f"p = {value:.2g}")

    def sentence(self, text: str, *, keep: Iterable[str] = ()) -> str:
        """Write the numbers in a sentence of the kit (48,843 or 0.84) in this style.

        Dates, numbers inside words and the names in `keep` stay as they are.
        """
        names = sorted({name for name in keep if _IN_TEXT.search(name)}, key=len, reverse=True)
        if not names:
            return _IN_TEXT.sub(self._rewritten, text)
        pieces = re.split("(" + "|".join(map(re.escape, names)) + ")", text)
        return "".join(
            piece if place % 2 else _IN_TEXT.sub(self._rewritten, piece)
            for place, piece in enumerate(pieces)
        )

    def _rewritten(self, found: re.Match[str]) -> str:
        whole = found["whole"].replace(",", self.thousands)
        return whole + (found["rest"] or "").replace(".", self.decimal)

    def _signs(self, plain: str) -> str:
        """Put this style's signs into a number written as 1,234.5."""
        table = {",": self.thousands, ".": self.decimal, "-": "\u2212"}
        return "".join(table.get(sign, sign) for sign in plain)
