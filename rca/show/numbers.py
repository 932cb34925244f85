"""Numbers in the kit's own style, for pages that no fleet.yaml belongs to."""

from rca.records.number_style import THIN_SPACE, UNKNOWN, NumberStyle

__all__ = ["THIN_SPACE", "UNKNOWN", "figures", "p_value", "percent", "whole"]

_STYLE = NumberStyle()
figures, whole = _STYLE.figures, _STYLE.whole
percent, p_value = _STYLE.percent, _STYLE.p_value
