"""Values as people type and meters send them: number, SI prefix, unit; and back into short words.

Decimal point or comma; prefixes p n u µ m k K M G; units ohm Ω R, V, A, °C C; the trade's way of writing the prefix as the point ("4k7", "2R2");
"OL", "open", "inf" for overload (None).
"""

from __future__ import annotations

import re
from decimal import Decimal, InvalidOperation

from coppermend.core.findings import refuse

_PREFIX = {"p": -12, "n": -9, "u": -6, "µ": -6, "μ": -6, "m": -3, "": 0, "k": 3, "K": 3, "M": 6, "G": 9}
_UNITS = {
    "ohm": ("ohms", "ohm", "Ohms", "Ohm", "OHM", "Ω", "Ω", "R", "r"),
    "volt": ("volts", "volt", "Volt", "VDC", "Vdc", "V", "v"),
    "ampere": ("amps", "amp", "ampere", "A", "a"),
    "celsius": ("°C", "degC", "celsius", "C", "c", "°"),
    "mm": ("mm",),
    "hertz": ("hertz", "Hz", "hz", "HZ"),
    "second": ("sec", "s"),
}
_OVERLOAD = ("ol", "o.l", "0l", "0.l", "inf", "infinite", "∞", "overload", "over", "oo")
_NUMBER = r"[+-]?(?:[0-9]+(?:[.,][0-9]*)?|[.,][0-9]+)(?:[eE][+-]?[0-9]{1,3})?"
_EXAMPLE = {
    "ohm": "4.7k",
    "volt": "5.02V",
    "ampere": "350mA",
    "celsius": "41.5C",
    "mm": "3mm",
    "hertz": "4MHz",
    "second": "20ms",
}


def parse_value(text: str, unit: str) -> float | None:
    """The SI value of a typed reading; None for overload. ``unit``: ohm, volt, ampere, celsius, hertz, second or mm. Refusal VAL-001 when it is no number of that unit.

    >>> parse_value("4.7k", "ohm"), parse_value("4k7", "ohm"), parse_value("0,3 Ω", "ohm"), parse_value("5.02V", "volt"), parse_value("OL", "ohm")
    (4700.0, 4700.0, 0.3, 5.02, None)
    """
    plain = text.strip().replace("\u00a0", " ")
    if plain.lower().rstrip(" .") in _OVERLOAD:
        return None
    value = _infix(plain) if unit == "ohm" else None
    value = value if value is not None else _number_with_unit(plain, unit)
    if value is None:
        raise refuse(
            "VAL-001", f"{text!r} is no value in {unit}.", f"Write it like {_EXAMPLE[unit]}, or OL for overload."
        )
    return float(value)


def is_value(text: str, unit: str) -> bool:
    """Whether ``parse_value`` would take it."""
    plain = text.strip()
    if plain.lower().rstrip(" .") in _OVERLOAD:
        return True
    return (unit == "ohm" and _infix(plain) is not None) or _number_with_unit(plain, unit) is not None


def last_digit(text: str, value: float) -> float:
    """The step of the last digit of a typed figure, in the unit of ``value``, its SI value; 0 where the text is no plain figure.

    >>> last_digit("70ns", 7e-8), last_digit("14.3 MHz", 14.3e6)
    (1e-09, 100000.0)
    """
    found = re.match(r"\s*(\d+)(?:[.,](\d*))?(?:[eE]([+-]?\d{1,2}))?", text)
    if found is None or value <= 0:
        return 0.0
    typed = float(f"{found[1]}.{found[2] or 0}e{found[3] or 0}")
    step = float(f"1e{int(found[3] or 0) - len(found[2] or '')}")
    return float(f"{step * value / typed:.9g}") if typed > 0 else 0.0


def _infix(text: str) -> Decimal | None:
    """ "4k7", "2R2", "1M5" (marking of IEC 60062)."""
    found = re.fullmatch(r"([0-9]+)([RrkKM])([0-9]+)", text)
    if not found:
        return None
    whole, letter, part = found.groups()
    return Decimal(f"{whole}.{part}").scaleb(0 if letter in "Rr" else _PREFIX[letter])


def _number_with_unit(text: str, unit: str) -> Decimal | None:
    found = re.fullmatch(rf"({_NUMBER})\s*(.*)", text)
    if not found:
        return None
    tail = found[2].strip()
    for name in (*_UNITS[unit], ""):
        if tail.endswith(name):
            prefix = tail[: len(tail) - len(name)].strip()
            allowed = prefix in _PREFIX and not (unit in ("mm", "celsius") and prefix)
            if allowed:
                return _scaled(found[1], _PREFIX[prefix])
    return None


def _scaled(number: str, power: int) -> Decimal | None:
    try:
        value = Decimal(number.replace(",", ".")).scaleb(power)
    except InvalidOperation:
        return None
    return value if abs(value) < Decimal("1e15") else None


def ohm_words(value: float | None) -> str:
    """Ohms in three figures with the unit a meter would show: 0.31 Ω, 4.70 kΩ; "overload" for None.

    >>> ohm_words(4700.0), ohm_words(0.312), ohm_words(None)
    ('4.7 kΩ', '0.312 Ω', 'overload')
    """
    return _words(value, "Ω", ((1e6, "M"), (1e3, "k"), (1e-2, ""), (0.0, "m")))


def volt_words(value: float | None) -> str:
    """Volts in words.

    >>> volt_words(5.02), volt_words(0.0421)
    ('5.02 V', '42.1 mV')
    """
    return _words(value, "V", ((1e3, "k"), (0.1, ""), (0.0, "m")))


def hertz_words(value: float | None) -> str:
    """A frequency in words.

    >>> hertz_words(3999650.0), hertz_words(50.0), hertz_words(None)
    ('3.99965 MHz', '50 Hz', 'overload')
    """
    if value is None:
        return "overload"
    for scale, unit in ((1e6, "MHz"), (1e3, "kHz")):
        if abs(value) >= scale:
            return f"{value / scale:.9g} {unit}"
    return f"{value:.9g} Hz"


def ampere_words(value: float | None) -> str:
    """Amperes in words.

    >>> ampere_words(0.35)
    '350 mA'
    """
    return _words(value, "A", ((1.0, ""), (1e-3, "m"), (0.0, "u")))


def _words(value: float | None, unit: str, steps: tuple[tuple[float, str], ...]) -> str:
    if value is None:
        return "overload"
    if value == 0:
        return f"0 {unit}"
    for least, prefix in steps:
        if abs(value) >= least:
            scaled = value / 10.0 ** _PREFIX[prefix]
            return (
                f"{scaled:.3g} {prefix.replace('u', 'µ')}{unit}"
                if abs(scaled) < 1000
                else f"{scaled:.0f} {prefix}{unit}"
            )
    return f"{value:g} {unit}"
