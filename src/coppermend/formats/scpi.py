"""What instruments answer over SCPI: numbers, identities, errors, ASCII waves. Text in, values out.

Sources: IEEE 488.2-1992 (10.14 *IDN?, 8.7.2 to 8.7.4 numeric response data NR1, NR2, NR3, 8.7.9 definite-length block) and SCPI-1999
volume 1 (7.2.1.4 infinity is 9.9E37, 7.2.1.5 not-a-number is 9.91E37) and volume 2 (21.8 SYSTem:ERRor?). The values as makers' programming
guides repeat them (read, see docs/sources.md); section numbers from memory.
"""

from __future__ import annotations

import math
import re
from dataclasses import dataclass

from coppermend.core.findings import Place, refuse

INFINITY = 9.9e37
LONGEST_WAVE = 2_000_000
"""More samples than this are not taken: a screen has some thousand."""

_NUMBER = re.compile(r"\s*([+-]?)(\d+\.?\d*|\.\d+)(?:\s*[Ee]\s*([+-]?\d+))?\s*(?:OHMS?|Ω|Ω|VDC|V)?\s*", re.IGNORECASE)
_OVERLOAD = ("OL", "OVLD", "OVERLOAD", "O.L", "INF", "+INF")
AGAIN = "Read once more; if it stays so, look at the meter's manual for its SCPI (or 'remote') setting, its baud rate and its line ending."


@dataclass(frozen=True, slots=True)
class Identity:
    """Who an instrument says it is: the four fields of *IDN?, empty where it does not say."""

    maker: str
    model: str
    serial: str = ""
    firmware: str = ""

    @property
    def words(self) -> str:
        """Its name in a line."""
        name = " ".join(one for one in (self.maker, self.model) if one)
        return f"{name}, serial {self.serial}" if self.serial not in ("", "0") else name


def identity_of(answer: str) -> Identity:
    """The answer to *IDN? in its four fields; an answer of another form is taken as the model. Refusal INS-007 when it is no text.

    >>> identity_of("ACME, DM 1, 007, 1.2").words
    'ACME DM 1, serial 007'
    """
    text = _clean(answer, "its name (*IDN?)")
    fields = [one.strip() for one in text.split(",")]
    if len(fields) == 4:
        return Identity(*fields)
    return Identity("", text[:80])


def number_of(answer: str) -> float | None:
    """A numeric answer; None for infinity, not-a-number or a word for overload. With several values the first. Refusal INS-007 when it is none.

    Some makers' instruments say 9.91E37 (not a number) where others say 9.9E37 (infinity) when a range is exceeded: both are overload here.

    >>> number_of("+4.12300000E-01"), number_of("9.90000000E+37"), number_of("OL"), number_of("12.5,0.0,3")
    (0.4123, None, None, 12.5)
    """
    text = _clean(answer, "a number")
    first = text.split(",")[0].strip()
    if first.upper().removesuffix("OHM").strip() in _OVERLOAD:
        return None
    found = _NUMBER.fullmatch(first)
    if found is None:
        raise refuse("INS-007", f"The meter answered {text[:60]!r}, expected a number.", AGAIN, Place(text=text[:60]))
    value = float(f"{found[1]}{found[2]}e{found[3] or 0}")
    return None if abs(value) >= INFINITY * 0.999 else value


def step_of_answer(answer: str) -> float | None:
    """The last digit that a numeric answer shows, None when it shows no number.

    >>> step_of_answer("+4.12E-01"), step_of_answer("0.3"), step_of_answer("OL")
    (0.001, 0.1, None)
    """
    found = _NUMBER.fullmatch(answer.split(",")[0])
    if found is None:
        return None
    digits = len(found[2].partition(".")[2])
    return float(f"1e{int(found[3] or 0) - digits}") if -60 < int(found[3] or 0) - digits < 30 else None


def error_of(answer: str) -> tuple[int, str]:
    """The answer to SYSTem:ERRor?: (number, words); number 0 is "no error". Refusal INS-007 when it is of no such form.

    >>> error_of('-113,"Undefined header"'), error_of('+0,"No error"')
    ((-113, 'Undefined header'), (0, 'No error'))
    """
    text = _clean(answer, "its list of errors")
    found = re.fullmatch(r'\s*([+-]?\d+)\s*,?\s*"?([^"]*)"?.*', text)
    if found is None or len(found[1]) > 8:
        raise refuse("INS-007", f"The instrument answered {text[:60]!r}, expected an error number.", AGAIN)
    return int(found[1]), found[2].strip()


def volts_of(answer: str) -> tuple[float, ...]:
    """An ASCII wave: values in volt by commas, with or without a block header before them. Refusal INS-007 when it is none.

    >>> volts_of("#9000000011 1.0,-2E-1")
    (1.0, -0.2)
    """
    text = answer.strip()
    if text.startswith("#") and len(text) > 1 and text[1].isdecimal():
        text = text[2 + int(text[1]) :]
    words = [one for one in re.split(r"[,\s]+", text) if one]
    if len(words) > LONGEST_WAVE:
        raise refuse(
            "INS-007",
            f"The wave has {len(words)} samples, at most {LONGEST_WAVE} are taken.",
            "Set a shorter memory on the oscilloscope.",
        )
    try:
        volts = tuple(float(one) for one in words)
    except ValueError:
        volts = ()
    if len(volts) < 2 or not all(math.isfinite(one) and abs(one) < INFINITY * 0.999 for one in volts):
        raise refuse(
            "INS-007",
            f"The oscilloscope's wave begins {answer[:40]!r}, expected values in volt by commas.",
            "See that the channel is on and the screen shows a wave; or save the wave as CSV on the oscilloscope and note it by hand.",
        )
    return volts


def _clean(answer: str, what: str) -> str:
    text = answer.strip().strip("\x00")
    if not text or not text.isprintable():
        shown = ascii(answer[:40])
        raise refuse("INS-007", f"The instrument answered {shown}, expected {what}.", AGAIN)
    return text
