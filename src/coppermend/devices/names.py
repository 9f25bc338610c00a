"""Type numbers as they are printed on chips: makers' prefixes, families, speed grades and package letters taken apart."""

from __future__ import annotations

import difflib
import re
from collections.abc import Iterable, Mapping
from functools import cache

_74 = re.compile(r"^(?P<maker>[A-Z]{0,3}?)(?P<series>54|74)(?P<family>[A-Z]{0,4})(?P<number>\d{2,5})(?P<tail>.*)$")
_74_TAIL = re.compile(r"(?:[A-Z]{1,4}\d?)?(?:[-,/][A-Z0-9]{1,6})?")  # package letters, a grade, a reel code
_Z80 = re.compile(r"^(?P<maker>[A-Z]{0,3})Z80[ABCDEHL]?-?(?P<unit>CPU|PIO|SIO|CTC|DMA)(?P<rest>.*)$")
_PREFIX = r"(?:M5[A-Z]|[A-Z]{0,4})"
_TAIL = r"(?:(?:[A-Z]{1,4}\d{0,3}[A-Z]{0,3})?(?:-[A-Z0-9]{1,6}){0,2}|[A-Z]{1,4}\d{0,3}[A-Z]{0,2}(?:-\d+)?)"


@cache
def squeeze(name: str) -> str:
    """A type number in one spelling: capitals, no spaces, micro sign as U.

    >>> squeeze("\\u00b5a 7805")
    'UA7805'
    """
    text = name.strip().upper().replace("\u039c", "U").replace("\u00b5", "U").replace("\u03bc", "U")
    return re.sub(r"[\s_./]+", lambda m: "/" if "/" in m.group() else ("." if "." in m.group() else ""), text)


def one_z80(text: str) -> str:
    """A Z80 part with its speed letter taken out; other names unchanged.

    >>> one_z80("Z80A-PIO"), one_z80("Z80BSIO/2"), one_z80("Z80A")
    ('Z80PIO', 'Z80SIO/2', 'Z80A')
    """
    match = _Z80.match(text)
    return text if match is None else f"Z80{match['unit']}{match['rest']}"


def split_74(name: str) -> tuple[str, str] | None:
    """Family letters and bare number of a 74-series type; None when it is none.

    >>> split_74("SN74LS00N"), split_74("74HCT138"), split_74("MC7400P"), split_74("7805")
    (('LS', '00'), ('HCT', '138'), ('', '00'), None)
    """
    match = _74.match(squeeze(name))
    if match is None:
        return None
    if not _74_TAIL.fullmatch(match["tail"]):
        return None
    return match["family"], match["number"]


def bare_74(name: str, known: Mapping[str, object]) -> tuple[str, str] | None:
    """The book's key and the family letters of a 74-series type, where the book has it (74HC4040 is kept as 4040)."""
    parts = split_74(name)
    if parts is None:
        return None
    family, number = parts
    if f"74{number}" in known:
        return f"74{number}", family
    if number in known and len(number) >= 4 and number.startswith("4"):
        return number, family
    return None


def matches(printed: str, key: str) -> int:
    """How many characters of ``printed`` the key explains: 0 when it is no spelling of the key. Longer is the better match.

    Allowed around the key: a maker's prefix, package letters, a speed grade; between the first two digits of a Motorola number
    a speed letter (68B21); in an EPROM's number a C (27C256).

    >>> matches("HM6116LP-3", "6116"), matches("MC68B21P", "6821"), matches("27160", "2716"), matches("D4164C-15", "4164")
    (4, 4, 0, 4)
    """
    return len(key) if _pattern(key).fullmatch(printed) else 0


@cache
def _pattern(key: str) -> re.Pattern[str]:
    prefix = _PREFIX if key[:1].isdecimal() else ""
    if re.fullmatch(r"4\d{3,4}", key):
        prefix = f"(?:MC1|{_PREFIX})"  # Motorola's 4000 series: MC14040
    return re.compile(f"{prefix}-?{_core(key)}{_TAIL}")


def _core(key: str) -> str:
    text = re.escape(key)
    if re.match(r"^(68|63)\d\d", key):
        return key[:2] + "[ABC]?" + re.escape(key[2:])
    if re.match(r"^27\d{2,3}$", key):
        return "27C?" + key[2:]
    return text.replace(r"\-", "-?").replace("/", "/?")


def nearest(printed: str, known: Iterable[str], count: int = 5) -> list[str]:
    """Names of the book that look most like the printed one, best first.

    >>> nearest("74LS139X9", ["74138", "74139", "Z80"], 1)
    ['74139']
    """
    wanted = squeeze(printed)
    parts = split_74(wanted)
    if parts is not None:
        wanted = "74" + parts[1]
    names = list(known)
    found = difflib.get_close_matches(wanted, names, n=count, cutoff=0.4)
    digits = re.sub(r"\D", "", wanted)
    if digits:
        close = difflib.get_close_matches(digits, [re.sub(r"\D", "", one) or one for one in names], n=count, cutoff=0.6)
        for one in names:
            if (re.sub(r"\D", "", one) or one) in close and one not in found:
                found.append(one)
    return found[:count]
