"""Waves from files: tables of samples (CSV) from oscilloscopes and logic analysers, and value change dumps (VCD, IEEE 1364)."""

from __future__ import annotations

from coppermend.core.findings import Place, refuse
from coppermend.core.signals.wave import Capture
from coppermend.formats.waves.table import read_table
from coppermend.formats.waves.vcd import looks_like_vcd, read_vcd

LARGEST_BYTES = 400_000_000

__all__ = ["LARGEST_BYTES", "read_waves"]


def read_waves(data: bytes, name: str = "", step_s: float | None = None) -> Capture:
    """The record in a file's bytes, whatever of these it is. ``step_s``: seconds between samples where the file does not say.

    Refusal WAV-001 when it is too large or no text; else as ``read_table`` and ``read_vcd``.

    >>> read_waves(b"t,v\\n0,0\\n1e-6,5\\n2e-6,5\\n").channels[0].name
    'v'
    """
    if len(data) > LARGEST_BYTES:
        raise refuse(
            "WAV-001",
            f"The file has {len(data) / 1e6:.0f} MB, at most {LARGEST_BYTES // 1_000_000} are read.",
            "Save a shorter record.",
            Place(file=name),
        )
    text = _as_utf8(data, name)
    return read_vcd(text, name) if looks_like_vcd(text) else read_table(text, name, step_s)


def _as_utf8(data: bytes, name: str) -> bytes:
    """The text as UTF-8 bytes without a mark, lines ended by a line feed."""
    if data[:2] in (b"\xff\xfe", b"\xfe\xff"):
        try:
            data = data.decode("utf-16").encode("utf-8")
        except UnicodeDecodeError:
            raise _no_text(name) from None
    data = data.removeprefix(b"\xef\xbb\xbf")
    if b"\0" in data[:65536] or b"\0" in data:
        raise _no_text(name)
    if not data.strip():
        raise refuse("WAV-002", "The file is empty.", "Save the wave again.", Place(file=name))
    if b"\r" in data and b"\n" not in data[:65536]:
        data = data.replace(b"\r", b"\n")
    head = data[:200_000]
    try:
        head.decode("utf-8")
    except UnicodeDecodeError as err:
        if err.start < len(head) - 4:
            cut = data.find(b"\n", 100_000) if len(data) > 200_000 else -1
            head, rest = (data, b"") if cut < 0 else (data[:cut], data[cut:])
            data = head.decode("latin-1").encode("utf-8") + rest
    return data


def _no_text(name: str) -> Exception:
    return refuse(
        "WAV-001",
        "The file is no text.",
        "Save the wave as CSV or VCD; pictures and makers' own binary files are not read.",
        Place(file=name),
    )
