"""XML of an IPC-2581 file, read as a stream and bounded: no document type, no entity, numbers and depth within limits."""

from __future__ import annotations

import math
from collections.abc import Iterator
from io import BytesIO
from xml.etree import ElementTree
from xml.parsers import expat

from coppermend.core.findings import Place, Refusal, refuse

MAX_BYTES = 256 * 1024 * 1024
"""A file beyond this is refused; twelve layers with 20,000 test points take some 60 MB."""

MAX_DEPTH = 64
"""Elements inside each other; the standard's deepest way has some fifteen."""

FAR_MM = 1e5
_CHUNK = 65_536
_REMEDY = "Export the file again."

Element = ElementTree.Element


class _PrologRead(Exception):
    """The root element was reached: nothing more to look for."""


def check_prolog(data: bytes, name: str) -> None:
    """Refuses a document type declaration (the only place where entities can be made) before anything of the body is read.

    Raises Refusal IPC-002.
    """

    def doctype(*_: object) -> None:
        raise refuse(
            "IPC-002",
            "The XML declares a document type (DOCTYPE), which can hold entities; it is not read.",
            "Take the DOCTYPE lines out of the file, or export it again: IPC-2581 needs none.",
            Place(file=name, line=parser.CurrentLineNumber, column=parser.CurrentColumnNumber + 1),
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


def events(data: bytes, name: str) -> Iterator[tuple[str, str, Element]]:
    """``("start" | "end", local name, element)`` in document order. Raises Refusal IPC-001 for broken, IPC-002 for unsafe XML."""
    if len(data) > MAX_BYTES:
        words = f"The file has {len(data) / 2**20:,.0f} MiB; at most {MAX_BYTES // 2**20} MiB are read."
        raise refuse("IPC-001", words, "Check that it is one board's file.", Place(file=name))
    check_prolog(data, name)
    names: dict[str, str] = {}
    depth = 0
    try:
        for event, element in ElementTree.iterparse(BytesIO(data), events=("start", "end")):
            tag = names.get(element.tag)
            if tag is None:
                tag = names[element.tag] = local(element.tag)
            depth += 1 if event == "start" else -1
            if depth > MAX_DEPTH:
                words = f"Elements lie more than {MAX_DEPTH} deep inside each other (at {tag})."
                raise refuse("IPC-001", words, _REMEDY, Place(file=name, text=tag))
            yield event, tag, element
    except (ElementTree.ParseError, ValueError, LookupError) as error:
        raise _broken(name, error) from None


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
