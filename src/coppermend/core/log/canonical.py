"""Canonical JSON: one value, one sequence of bytes, so that a hash means the same on every machine.

The form is that of RFC 8785 (JSON Canonicalization Scheme): members sorted by UTF-16 code units, no spaces, shortest strings, numbers as
ECMAScript writes them. Whole numbers beyond 2**53 and NaN or infinities are refused, as I-JSON (RFC 7493) does.
"""

from __future__ import annotations

import hashlib
import json
import math
from collections.abc import Mapping, Sequence
from typing import TypeAlias

Json: TypeAlias = "bool | int | float | str | Sequence[Json] | Mapping[str, Json] | None"

LARGEST_WHOLE = 2**53
"""Whole numbers up to here survive every JSON reader (RFC 7493 section 2.2)."""


def canonical_bytes(value: Json) -> bytes:
    """The canonical JSON of a value, in UTF-8. ValueError for what JSON cannot carry exactly.

    >>> canonical_bytes({"b": 2.0, "a": [True, None, "Ω", 1e-7]}).decode()
    '{"a":[true,null,"Ω",1e-7],"b":2}'
    """
    return _text(value).encode("utf-8")


def sha256_hex(data: bytes) -> str:
    """SHA-256 of bytes in 64 lower-case hexadecimal digits.

    >>> sha256_hex(b"abc")[:16]      # FIPS 180-4, example "abc"
    'ba7816bf8f01cfea'
    """
    return hashlib.sha256(data).hexdigest()


def _text(value: Json) -> str:
    if isinstance(value, str):
        return _string(value)
    if value is None or isinstance(value, bool):
        return "null" if value is None else "true" if value else "false"
    if isinstance(value, int):
        if abs(value) > LARGEST_WHOLE and not _is_a_floats_text(value):
            raise ValueError(f"the whole number {value} is beyond 2**53 and would not survive every JSON reader")
        return str(value)
    if isinstance(value, float):
        return _number(value)
    if isinstance(value, Mapping):
        keys = sorted(value) if all(map(str.isascii, value)) else sorted(value, key=_utf16)
        return "{" + ",".join(f"{_string(key)}:{_text(value[key])}" for key in keys) + "}"
    if isinstance(value, Sequence):
        return "[" + ",".join(_text(one) for one in value) + "]"
    raise ValueError(f"{type(value).__name__} is no JSON value")


_string = json.JSONEncoder(ensure_ascii=False).encode
"""A string in quotes with the shortest escapes, as RFC 8785 section 3.2.2.2 asks."""


def _utf16(key: str) -> bytes:
    return key.encode("utf-16-be")


def _is_a_floats_text(value: int) -> bool:
    """Whether a large whole number is how some float is written, so that reading and writing it again changes nothing."""
    return abs(value) < 10**21 and _number(float(value)) == str(value)


def _number(value: float) -> str:
    """A float as ECMAScript's Number::toString writes it (ECMA-262; RFC 8785 section 3.2.2.3)."""
    if not math.isfinite(value):
        raise ValueError("JSON has no NaN and no infinity")
    if value == 0:
        return "0"
    sign, size = ("-", -value) if value < 0 else ("", value)
    mantissa, _, exponent = repr(size).partition("e")
    whole, _, part = mantissa.partition(".")
    digits = (whole + ("" if part == "0" else part)).lstrip("0")
    point = (
        len(whole) + int(exponent or 0) if whole != "0" else int(exponent or 0) - (len(part) - len(part.lstrip("0")))
    )
    digits = digits.rstrip("0") or "0"
    return sign + _placed(digits, point)


def _placed(digits: str, point: int) -> str:
    """Digits with the decimal point after the first ``point`` of them."""
    count = len(digits)
    if count <= point <= 21:
        return digits + "0" * (point - count)
    if 0 < point <= 21:
        return f"{digits[:point]}.{digits[point:]}"
    if -6 < point <= 0:
        return "0." + "0" * -point + digits
    tail = f"e{'+' if point > 0 else '-'}{abs(point - 1)}"
    return (digits if count == 1 else f"{digits[0]}.{digits[1:]}") + tail
