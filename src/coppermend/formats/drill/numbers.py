"""Digits of a drill file to mm, and what digits look like when nothing states their format."""

from __future__ import annotations

import math
from collections.abc import Sequence

from coppermend.formats.drill.model import DrillFormat

DEFAULT_DIGITS = {False: (2, 4), True: (3, 3)}
"""Customary where nothing is stated: inch 2.4, metric 3.3 (IPC-NC-349 machines; from memory)."""


def to_mm(digits: str, form: DrillFormat) -> float:
    """One coordinate in mm; NaN when it is no number. A decimal point overrules digits and zeros.

    >>> round(to_mm("015", DrillFormat(False, 2, 4, "trailing")), 6)      # 01.5000 inch
    38.1
    >>> round(to_mm("15000", DrillFormat(False, 2, 4, "leading")), 6)
    38.1
    """
    if len(digits) > 30:
        return math.nan
    try:
        if "." in digits:
            return float(digits) * form.mm_per_unit
        whole, decimals = _digits(form)
        if form.omitted == "trailing":
            sign = digits[0] if digits[0] in "+-" else ""
            digits = sign + digits[len(sign) :].ljust(whole + decimals, "0")
        return float(int(digits) * form.mm_per_unit / 10.0**decimals)
    except ValueError:
        return math.nan


def _digits(form: DrillFormat) -> tuple[int, int]:
    whole, decimals = DEFAULT_DIGITS[bool(form.metric)]
    return form.whole if form.whole is not None else whole, form.decimals if form.decimals is not None else decimals


def guess_zeros(samples: Sequence[str]) -> tuple[str, str]:
    """Which zeros are left out, from coordinates without point, and why in words.

    >>> guess_zeros(["012500", "013000", "000500"])[0], guess_zeros(["125", "13000"])[0], guess_zeros(["0125", "013"])[0]
    ('none', 'leading', 'trailing')
    """
    plain = [s.lstrip("+-") for s in samples]
    plain = [s for s in plain if s.strip("0")]
    if not plain:
        return "leading", "no coordinate tells"
    leading = any(s[0] == "0" for s in plain)
    trailing = any(s[-1] == "0" for s in plain)
    if len({len(s) for s in plain}) == 1 and len(plain) > 2 and (leading or trailing) and len(plain[0]) >= 5:
        return "none", "all coordinates have equally many digits"
    if leading and not trailing:
        return "trailing", "coordinates begin with 0 and none ends with 0"
    if leading and trailing:
        return "none", "coordinates begin and end with 0"
    return "leading", "no coordinate begins with 0"
