"""The corrections file beside a package: what the user says about its files.

::

    [file."top.gbr"]
    role = "copper c"            # copper c | copper s | copper i1 ... | mask c | mask s | paste c | silk c | outline | drill | netlist | ignore
    polarity = "negative"        # positive | negative

    [file."holes.txt"]
    plated = true
    unit = "inch"                # inch | mm
    digits = "2.4"
    zeros = "leading"            # the zeros that are left out: leading | trailing | none
    layers = [1, 4]              # first and last layer of blind or buried holes

Other tables are kept for the board builder.
"""

from __future__ import annotations

import re
import tomllib
from typing import Any

from coppermend.core.findings import Place, Severity, refuse
from coppermend.formats.collect import FindingList, decode
from coppermend.formats.drill.model import DrillFormat
from coppermend.formats.package.model import Corrections, FileCorrection, LayerRole, RoleKind, Source

_ROLE = re.compile(r"(copper|mask|paste|silk)\s+(c|s|i\d{1,2})\Z|(outline|drill|netlist|ignore|other)\Z")
_KNOWN = {"role", "polarity", "plated", "unit", "digits", "zeros", "layers"}


def read_corrections(data: bytes, name: str) -> Corrections:
    """The corrections file as a value.

    >>> c = read_corrections(b'[file."a.gbr"]\\nrole = "copper i1"\\n', "coppermend-corrections.toml")
    >>> c.of("gerber/a.gbr").role
    'copper i1'

    Raises Refusal COR-001 with line and column where the text is no TOML; a wrong value is a finding and is not applied.
    """
    text = decode(data, name, "COR-001")
    try:
        root = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        at = re.search(r"line (\d+), column (\d+)", str(error))
        place = Place(file=name, line=int(at[1]) if at else None, column=int(at[2]) if at else None)
        words = f"The corrections file cannot be read: {str(error)[:120]}."
        raise refuse("COR-001", words, "Mend that line; docs/reference shows the form.", place) from None
    except RecursionError:
        raise refuse(
            "COR-001",
            "The corrections file is nested too deeply.",
            "Write it as docs/reference shows.",
            Place(file=name),
        ) from None
    found = FindingList()
    files = root.get("file")
    if files is not None and not isinstance(files, dict):
        _no_table(found, name, "file", files)
    rows = files.items() if isinstance(files, dict) else ()
    for key, value in rows:
        if not isinstance(value, dict):
            _no_table(found, name, str(key), value)
    corrections = tuple(_file(str(k), v, found, name) for k, v in rows if isinstance(v, dict))
    tables = {k: v for k, v in root.items() if k != "file"}
    return Corrections(name, corrections, tables, text, found.close(name))


def _no_table(found: FindingList, name: str, thing: str, value: Any) -> None:
    words = f'{thing} = {str(value)[:40]!r} is not possible in the corrections; expected a table [file."name"].'
    found.add("COR-002", Severity.WARNING, Place(file=name, thing=thing), words, "It is not applied.")


def _file(member: str, table: dict[str, Any], found: FindingList, name: str) -> FileCorrection:
    def wrong(key: str, expected: str) -> None:
        words = (
            f"In the correction of {member!r}, {key} = {str(table[key])[:40]!r} is not possible; expected {expected}."
        )
        found.add("COR-002", Severity.WARNING, Place(file=name, thing=member), words, "It is not applied.")

    for key in table:
        if key not in _KNOWN:
            wrong(key, "one of the keys " + ", ".join(sorted(_KNOWN)))
    role, polarity, plated = table.get("role"), table.get("polarity"), table.get("plated")
    if role is not None and not (isinstance(role, str) and _ROLE.match(role)):
        wrong("role", "copper c, copper s, copper i1, mask c, outline, drill, netlist, ignore")
        role = None
    if polarity is not None and polarity not in ("positive", "negative"):
        wrong("polarity", "positive or negative")
        polarity = None
    if plated is not None and not isinstance(plated, bool):
        wrong("plated", "true or false")
        plated = None
    layers = table.get("layers")
    if layers is not None and not (
        isinstance(layers, list) and len(layers) == 2 and all(isinstance(n, int) for n in layers)
    ):
        wrong("layers", "[first, last]")
        layers = None
    return FileCorrection(
        member, role, polarity, plated, _drill_format(table, wrong), (layers[0], layers[1]) if layers else None
    )


def _drill_format(table: dict[str, Any], wrong: Any) -> DrillFormat:
    unit, digits, zeros = table.get("unit"), table.get("digits"), table.get("zeros")
    if unit is not None and unit not in ("inch", "mm"):
        wrong("unit", "inch or mm")
        unit = None
    if zeros is not None and zeros not in ("leading", "trailing", "none"):
        wrong("zeros", "leading, trailing or none: the zeros that are left out")
        zeros = None
    match = re.fullmatch(r"(\d)[.:](\d)", str(digits)) if digits is not None else None
    if digits is not None and match is None:
        wrong("digits", "a text like 2.4")
    return DrillFormat(
        None if unit is None else unit == "mm",
        int(match[1]) if match else None,
        int(match[2]) if match else None,
        zeros,
    )


def corrected_role(correction: FileCorrection, before: LayerRole) -> LayerRole:
    """The role after a correction; what it does not speak of stays."""
    kind, side, number, key = before.kind, before.side, before.number, before.key
    source = before.source
    if correction.role is not None:
        match = _ROLE.match(correction.role)
        source = Source.CORRECTIONS
        if match and match[1]:
            kind = RoleKind(match[1])
            side = match[2] if match[2] in ("c", "s") else None
            number = int(match[2][1:]) if side is None else None
            key = match[2] if kind is RoleKind.COPPER else None
        elif match:
            kind = RoleKind.OTHER if match[3] in ("ignore", "other") else RoleKind(match[3])
            side = number = key = None
    negative = before.negative if correction.role is None else kind is RoleKind.MASK
    if correction.polarity is not None:
        negative = correction.polarity == "negative"
    plated = before.plated if correction.plated is None else correction.plated
    if correction.plated is not None:
        source = Source.CORRECTIONS
    span = before.span if correction.span is None else correction.span
    return LayerRole(kind, side, number, key, negative, plated, span, source)
