"""Coordinate numbers of a Gerber file: digits without a point, by the FS statement and the unit in force."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

from coppermend.core.units import MM_PER_INCH


@dataclass(frozen=True, slots=True)
class CoordinateFormat:
    """``whole`` and ``decimals`` digits, which zeros are left out (``trailing`` or leading), ``incremental`` notation, mm per unit."""

    whole: int = 2
    decimals: int = 4
    trailing: bool = False
    incremental: bool = False
    mm_per_unit: float = MM_PER_INCH

    def with_unit(self, metric: bool) -> CoordinateFormat:
        """The same format in millimetres or inches."""
        return replace(self, mm_per_unit=1.0 if metric else MM_PER_INCH)


class Numbers(dict[str, float]):
    """Digits to mm, remembered: a lookup for every string seen before.

    >>> Numbers(CoordinateFormat(2, 4, False, False, 25.4))["10000"]    # 1 inch
    25.4
    >>> Numbers(CoordinateFormat(2, 5, True, False, 25.4))["005"]       # trailing zeros left out: 0.5 inch
    12.7
    """

    def __init__(self, form: CoordinateFormat) -> None:
        super().__init__()
        self._form = form
        self._divisor = 10.0**form.decimals
        self._unit = form.mm_per_unit
        self._plain = not form.trailing

    def __missing__(self, digits: str) -> float:
        try:
            if self._plain:
                value = int(digits) * self._unit / self._divisor
            else:
                value = self._by_format(digits)
        except (ValueError, OverflowError):
            value = self._with_point(digits)
        self[digits] = value
        return value

    def _by_format(self, digits: str) -> float:
        """Trailing zeros left out: filled up on the right."""
        form = self._form
        sign = digits[0] if digits[:1] in "+-" else ""
        plain = digits[len(sign) :]
        return int(sign + plain.ljust(form.whole + form.decimals, "0")) * self._unit / self._divisor

    def _with_point(self, digits: str) -> float:
        try:
            return float(digits) * self._unit
        except ValueError:
            return math.nan
