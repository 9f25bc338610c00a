"""X2 attributes: the dictionaries of TF, TA, TO and TD, and their frozen form on objects."""

from __future__ import annotations

import re

from coppermend.formats.gerber.model import ObjectAttributes

_ESCAPE = re.compile(r"\\u?([0-9A-Fa-f]{4})|\\U([0-9A-Fa-f]{8})")
"""``\\u002C``; ``\\002C`` in files after the specification's 2017 to 2020 text (seen in one; that text from memory)."""

Values = tuple[str, ...]
Frozen = tuple[tuple[str, Values], ...]


def fields_of(text: str) -> tuple[str, Values]:
    r"""Name and fields of an attribute statement after its two letters; \uXXXX (and \XXXX of older files) is decoded, so a field may hold a comma.

    >>> fields_of(".P,U1,8,A\\u002CB")
    ('.P', ('U1', '8', 'A,B'))
    """
    name, *values = text.split(",")
    return name.strip(), tuple(_unescape(v.strip()) for v in values)


def _unescape(text: str) -> str:
    if "\\" not in text:
        return text
    return _ESCAPE.sub(_character, text)


def _character(match: re.Match[str]) -> str:
    code = int(match[1] or match[2], 16)
    return chr(code) if code <= 0x10FFFF else "\ufffd"


class AttributeStore:
    """The attribute dictionaries while a file is read. ``stamp`` changes whenever TA or TO did."""

    def __init__(self) -> None:
        self.file: dict[str, Values] = {}
        self._aperture: dict[str, Values] = {}
        self._object: dict[str, Values] = {}
        self.aperture_frozen: Frozen = ()
        self.object_frozen: Frozen = ()
        self._fields: dict[str, tuple[str, Values]] = {}
        self._known: dict[tuple[Frozen, Frozen], int] = {}
        self.sets: list[ObjectAttributes] = []

    def statement(self, letters: str, text: str) -> bool:
        """Takes TF, TA, TO or TD; False when the statement has no name where it needs one."""
        known = self._fields.get(text)
        if known is None:
            known = self._fields[text] = fields_of(text)
        name, values = known
        if letters == "TD":
            self._delete(name)
            return True
        if not name:
            return False
        if letters == "TF":
            self.file[name] = values
        elif letters == "TA":
            self._aperture[name] = values
            self.aperture_frozen = tuple(self._aperture.items())
        else:
            self._object[name] = values
            self.object_frozen = tuple(self._object.items())
        return True

    def _delete(self, name: str) -> None:
        if name:
            self._aperture.pop(name, None)
            self._object.pop(name, None)
        else:
            self._aperture.clear()
            self._object.clear()
        self.aperture_frozen = tuple(self._aperture.items())
        self.object_frozen = tuple(self._object.items())

    def number(self, aperture: Frozen, objects: Frozen) -> int:
        """Index into ``sets`` of these attributes."""
        key = (aperture, objects)
        found = self._known.get(key)
        if found is None:
            found = self._known[key] = len(self.sets)
            self.sets.append(_object_attributes(aperture, objects))
        return found


def _object_attributes(aperture: Frozen, objects: Frozen) -> ObjectAttributes:
    values = dict(objects)
    pin = values.pop(".P", ())
    part = values.pop(".C", ())
    nets = values.pop(".N", ())
    rest = dict(aperture)
    function = ",".join(rest.pop(".AperFunction", ()))
    return ObjectAttributes(
        nets=nets,
        part=pin[0] if pin else (part[0] if part else ""),
        pin=pin[1] if len(pin) > 1 else "",
        pin_function=pin[2] if len(pin) > 2 else "",
        function=function,
        extra=tuple(values.items()) + tuple(rest.items()),
    )
