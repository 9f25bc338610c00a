"""XML of an IPC-2581 file, read safely and bounded: no document type, no entity, size and numbers within limits."""

from __future__ import annotations

import math
import re
from collections.abc import Sequence
from xml.etree import ElementTree
from xml.parsers import expat

from coppermend.core.findings import Place, Refusal, refuse

MAX_BYTES = 192 * 1024 * 1024
"""A file beyond this is refused."""

MAX_TAGS = 4_000_000
"""Tags of a file; the elements of so many take some 1.5 GB. A board of 38 MB has 0.6 million."""

FAR_MM = 1e5
_CHUNK = 65_536
_REMEDY = "Export the file again."

Element = ElementTree.Element


class _PrologRead(Exception):
    """The root element was reached: nothing more to look for."""


def _doctype_place(data: bytes, name: str, line: int) -> Place:
    """Where the declaration stands: line, column and its first words; the parser's own line where the encoding hides it."""
    found = re.search(rb"<!DOCTYPE[^\n>]{0,60}", data[:65_536])
    if found is None:
        return Place(file=name, line=line, column=1, text="<!DOCTYPE")
    before = data[: found.start()]
    column = found.start() - (before.rfind(b"\n") + 1) + 1
    return Place(file=name, line=before.count(b"\n") + 1, column=column, text=found[0].decode("latin-1").strip())


def check_prolog(data: bytes, name: str) -> None:
    """Refuses a document type declaration (the only place where entities can be made) before anything of the body is read.

    Raises Refusal IPC-002.
    """

    def doctype(*_: object) -> None:
        raise refuse(
            "IPC-002",
            "The XML declares a document type (DOCTYPE), which can hold entities; it is not read.",
            "Take the DOCTYPE lines out of the file, or export it again: IPC-2581 needs none.",
            _doctype_place(data, name, parser.CurrentLineNumber),
        )

    def root(*_: object) -> None:
        raise _PrologRead

    parser = expat.ParserCreate()
    parser.StartDoctypeDeclHandler = doctype
    parser.EntityDeclHandler = doctype
    parser.StartElementHandler = root
    try:
        for at in range(0, len(data), _CHUNK):
            parser.Parse(data[at : at + _CHUNK], False)
        parser.Parse(b"", True)
    except _PrologRead:
        return
    except (expat.ExpatError, ValueError, LookupError) as error:
        raise _broken(name, error) from None


def local(tag: str) -> str:
    """The name of an element without its namespace."""
    return tag.rpartition("}")[2]


def tree(data: bytes, name: str) -> Element:
    """The root element, every tag without its namespace. Raises Refusal IPC-001 for broken or too large, IPC-002 for unsafe XML."""
    if len(data) > MAX_BYTES:
        words = f"The file has {len(data) / 2**20:,.0f} MiB; at most {MAX_BYTES // 2**20} MiB are read."
        raise refuse("IPC-001", words, "Check that it is one board's file.", Place(file=name))
    check_prolog(data, name)
    tags = data.count(b"<")
    if tags > MAX_TAGS:
        words = f"The file has {tags:,} tags; at most {MAX_TAGS:,} are read."
        raise refuse("IPC-001", words, "Check that it is one board's file.", Place(file=name))
    try:
        root = ElementTree.fromstring(data)
    except (ElementTree.ParseError, ValueError, LookupError) as error:
        raise _broken(name, error) from None
    names: dict[str, str] = {}
    for element in root.iter():
        tag = element.tag
        short = names.get(tag)
        if short is None:
            short = names[tag] = local(tag)
        element.tag = short
    return root


def _broken(name: str, error: Exception) -> Refusal:
    line, column = getattr(error, "position", (None, None))
    line = line if line is not None else getattr(error, "lineno", None)
    column = column if column is not None else getattr(error, "offset", None)
    words = f"The XML is broken: {str(error).split(':')[0]}. Expected well-formed XML as IPC-2581 asks."
    return refuse(
        "IPC-001",
        words,
        "Export the file again; it may have been cut off.",
        Place(file=name, line=line, column=None if column is None else column + 1),
    )


class BadNumber(Exception):
    """An attribute that is no usable number: ``tag``, ``key``, ``value`` as written ("" missing)."""

    def __init__(self, tag: str, key: str, value: str) -> None:
        super().__init__(tag, key, value)
        self.tag, self.key, self.value = tag, key, value


def numbers(elements: Sequence[Element], key: str, scale: float) -> list[float]:
    """The attribute of many elements times ``scale``, as number() but faster. Raises BadNumber."""
    try:
        values = [float(one.get(key, "")) * scale for one in elements]
    except ValueError:
        values = [math.nan]
    if not all(-FAR_MM <= value <= FAR_MM for value in values):
        return [number(one, key, scale) for one in elements]
    return values


def number(element: Element, key: str, scale: float = 1.0, default: float | None = None) -> float:
    """The attribute times ``scale``; ``default`` where it is missing. Raises BadNumber."""
    text = element.get(key)
    if text is None:
        if default is None:
            raise BadNumber(local(element.tag), key, "")
        return default
    try:
        value = float(text) * scale
    except ValueError:
        raise BadNumber(local(element.tag), key, text) from None
    if not math.isfinite(value) or abs(value) > FAR_MM:
        raise BadNumber(local(element.tag), key, text)
    return value


def bad_number(data: bytes, name: str, bad: BadNumber) -> Refusal:
    """The refusal for a BadNumber, with the line and column where that text stands."""
    line = column = None
    if bad.value:
        at = -1
        for mark in ('"', "'"):
            at = max(at, data.find(f"{bad.key}={mark}{bad.value}{mark}".encode()))
        if at >= 0:
            line = data.count(b"\n", 0, at) + 1
            column = at - data.rfind(b"\n", 0, at)
        words = f"{bad.tag} has {bad.key} = {bad.value[:40]!r}; expected a number within {FAR_MM:g} mm."
    else:
        words = f"{bad.tag} has no {bad.key}; expected a number."
    return refuse("IPC-004", words, _REMEDY, Place(file=name, line=line, column=column, text=bad.value[:40] or None))
