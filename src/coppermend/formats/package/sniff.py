"""What format a member is in, from its first bytes."""

from __future__ import annotations

import re

from coppermend.formats.centroid import UTF16, looks_like_centroids
from coppermend.formats.collect import PADDING
from coppermend.formats.member import Member
from coppermend.formats.package.model import Format
from coppermend.formats.sidecars import CORRECTIONS_NAME

HEAD = 65_536

_GERBER = re.compile(r"%FS[LTD]?[AI]?|%MO(?:IN|MM)\*|%ADD\d+|^G04 .*\*\s*$", re.M)
_DRILL = re.compile(r"^\s*M48\s*$|^\s*(?:METRIC|INCH)\b(?:,|\s*$)|^T0*\d+C[\d.]+|^\s*M7[12]\s*$", re.M)
_DRILL_BODY = re.compile(
    r"^T0*\d{1,3}\s*$\s*(?:^(?:[GM]\d\d|M16|G90|F1)?\s*$\s*)*^(?:G0[05])?X[+-]?[\d.]+(?:Y[+-]?[\d.]+)?", re.M
)
_NETLIST = re.compile(r"^3[0-9]7.{14,40}.*A\d\dX[+-]?\s*\d+Y[+-]?\s*\d+", re.M)
_IPC2581 = re.compile(r"<IPC-2581\b|webstds\.ipc\.org/2581")
_TOOL_LIST = re.compile(
    r"^.*\bT0*\d{1,3}\b.*\d\.\d|^\s*(?:INTEGER-PLACES|DECIMAL-PLACES|OUTPUT-UNITS)\b|Coord format", re.M
)
_PICTURES = (b"\x89PNG", b"\xff\xd8\xff", b"%PDF", b"GIF8", b"PK\x03\x04", b"BM", b"\x1f\x8b", b"7z\xbc")
_NOT_DATA = {
    "png",
    "jpg",
    "jpeg",
    "pdf",
    "gif",
    "bmp",
    "svg",
    "step",
    "stp",
    "wrl",
    "zip",
    "gz",
    "md",
    "html",
    "htm",
    "doc",
    "docx",
    "xls",
    "xlsx",
}


def format_of(member: Member) -> Format:
    """The format of a member; IGNORED where it is none that we read.

    >>> format_of(Member("a.txt", b"M48\\nMETRIC\\nT1C0.8\\n"))
    <Format.DRILL: 'drill'>
    """
    base = member.base.lower()
    if base == CORRECTIONS_NAME:
        return Format.CORRECTIONS
    head = member.data[:HEAD].rstrip(PADDING)
    if head[:2] in UTF16 and _IPC2581.search(head[: len(head) & ~1].decode("utf-16", "replace")[:4000]):
        return Format.IPC2581
    if head[:2] in UTF16 and looks_like_centroids(head[: len(head) & ~1].decode("utf-16", "replace")):
        return Format.TABLE
    if b"\0" in head or head.startswith(_PICTURES) or base.rsplit(".", 1)[-1] in _NOT_DATA:
        return Format.IGNORED
    text = head.decode("latin-1").replace("\r\n", "\n").replace("\r", "\n")
    if base.endswith(".gbrjob") or ('"FilesAttributes"' in text and text.lstrip()[:1] == "{"):
        return Format.JOB
    if _IPC2581.search(text[:4000]):
        return Format.IPC2581
    return _by_text(text, member)


def _by_text(text: str, member: Member) -> Format:
    if text.lstrip()[:1] in ("%", "G") and _GERBER.search(text[:4000]):
        return Format.GERBER  # at once: what follows looks through the whole file
    if _NETLIST.search(text) or re.search(r"^P {1,3}(?:UNITS|JOB|CODE)\b", text, re.M):
        return Format.IPCD356
    if len(member.data) > HEAD and _NETLIST.search(member.data.decode("latin-1").replace("\r", "")[:4_000_000]):
        return Format.IPCD356
    if re.search(r"^\s*M48\s*$", text, re.M):
        return Format.DRILL
    if _GERBER.search(text):
        return Format.GERBER
    if looks_like_centroids(text):
        return Format.TABLE
    if _DRILL.search(text) or _DRILL_BODY.search(text):
        return Format.DRILL
    if member.base.lower().endswith((".csv", ".tsv", ".pos", ".xy")):
        return Format.TABLE
    return Format.SIDE if _TOOL_LIST.search(text) else Format.IGNORED
