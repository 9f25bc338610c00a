"""Units and figures as oscilloscopes and logic analysers write them in heads of files."""

from __future__ import annotations

import re

SECONDS = {
    "s": 1.0, "sec": 1.0, "second": 1.0, "seconds": 1.0, "ms": 1e-3, "msec": 1e-3, "us": 1e-6, "µs": 1e-6, "μs": 1e-6, "usec": 1e-6,
    "ns": 1e-9, "nsec": 1e-9, "ps": 1e-12, "fs": 1e-15,
}  # fmt: skip
VOLTS = {
    "v": 1.0,
    "volt": 1.0,
    "volts": 1.0,
    "mv": 1e-3,
    "uv": 1e-6,
    "µv": 1e-6,
    "μv": 1e-6,
    "kv": 1e3,
    "vdc": 1.0,
    "vpp": 1.0,
}
_PREFIX = {
    "": 1.0,
    "k": 1e3,
    "K": 1e3,
    "M": 1e6,
    "G": 1e9,
    "m": 1e-3,
    "u": 1e-6,
    "µ": 1e-6,
    "μ": 1e-6,
    "n": 1e-9,
    "p": 1e-12,
    "f": 1e-15,
}
_FIGURE = re.compile(r"\s*([+-]?(?:\d+\.?\d*|\.\d+)(?:[eE][+-]?\d+)?)\s*([A-Za-zµμ/]*)\s*")
_BRACKETS = re.compile(r"^(.*?)\s*[\(\[\{]\s*([^()\[\]{}]*?)\s*[\)\]\}]\s*$")


def split_unit(text: str) -> tuple[str, str]:
    """A head cell as name and unit: brackets, "in", or a last word or ending that is a unit.

    >>> split_unit("CH1 (mV)"), split_unit("time_us"), split_unit("Clock"), split_unit("[V]"), split_unit("Volt")
    (('CH1', 'mV'), ('time', 'us'), ('Clock', ''), ('', 'V'), ('Volt', 'V'))
    """
    cell = text.strip().strip("\"'").strip()
    found = _BRACKETS.match(cell)
    if found:
        return found[1].strip(), found[2].strip()
    if cell.lower() in ("volt", "volts", "voltage"):
        return cell, "V"
    for sign in (" in ", "_", " ", "/"):
        head, _, tail = cell.rpartition(sign)
        if head and known(tail):
            return head.strip(), tail.strip()
    return cell, ""


def known(unit: str) -> bool:
    """Whether that is a unit of time or voltage."""
    return unit.strip().lower() in SECONDS or unit.strip().lower() in VOLTS


def figure(text: str) -> tuple[float, str] | None:
    """A figure with its unit in SI, the prefix taken into the value; None when it is none.

    >>> figure("24 MHz"), figure("1.0E-9"), figure("4ns"), figure("250MSa/s"), figure("x")
    ((24000000.0, 'hz'), (1e-09, ''), (4e-09, 's'), (250000000.0, 'sa/s'), None)
    """
    found = _FIGURE.fullmatch(text.strip().strip("\"'").replace(",", "."))
    if found is None:
        return None
    value, unit = float(found[1]), found[2]
    if unit.lower() in SECONDS:
        return float(f"{value * SECONDS[unit.lower()]:.15g}"), "s"
    for base in ("hz", "sa/s", "s/s", "samples/s", "sps", "v"):
        if unit.lower().endswith(base) and unit[: -len(base)] in _PREFIX:
            return float(f"{value * _PREFIX[unit[: -len(base)]]:.15g}"), base
    return (value, unit.lower()) if unit in ("", *_PREFIX) and unit == "" else None
