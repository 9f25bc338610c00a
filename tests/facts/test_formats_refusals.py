"""Hostile and impossible files are refused with file, line, column, the text, and what to do. Places follow from counting lines."""

from __future__ import annotations

from collections.abc import Callable

import pytest

from coppermend.core.findings import Refusal
from coppermend.formats.drill import read_drill
from coppermend.formats.gerber import read_gerber
from coppermend.formats.ipc2581 import read_ipc2581
from coppermend.formats.ipcd356 import read_ipcd356

HEAD = "%FSLAX24Y24*%\n%MOMM*%\n%ADD10C,1*%\nD10*\n"
BILLION = '<?xml version="1.0"?>\n<!DOCTYPE l [<!ENTITY a "aaaa"><!ENTITY b "&a;&a;">]>\n<IPC-2581>&b;</IPC-2581>'
BLOCKS = "".join(
    f"%ABD{11 + k}*%\n" + "".join(f"D{10 + k}*\nX{j}Y0D03*\n" for j in range(100)) + "%AB*%\n" for k in range(10)
)


@pytest.mark.parametrize(("read", "text", "code", "line", "column", "shown"), [
    (read_gerber, HEAD + "%SRX1000000000Y1I1J1*%\nX0Y0D03*\n%SR*%\nM02*", "GBR-003", 5, 1, "%SRX1000000000Y1I1J1*%"),
    (read_gerber, HEAD + "%SRX1000Y1000I1J1*%\nX0Y0D03*\nX1Y0D03*\n%SR*%\nM02*", "GBR-003", 8, 1, "%SR*%"),
    (read_gerber, HEAD + BLOCKS + "D20*\nX0Y0D03*\nM02*", "GBR-003", 609, 1, "X99Y0D03*"),
    (read_gerber, "%FSQ*%\n%MOMM*%\nM02*", "GBR-002", 1, 1, "%FSQ*%"),
    (read_drill, "M48\nMETRIC\nT1C1\n%\nT1\nX1Y1\nR999999999X1\nM30\n", "DRL-003", 7, 1, "R999999999X1"),
    (read_drill, "a letter\nto nobody\nin particular\n", "DRL-002", 1, 1, "a letter"),
    (read_ipcd356, "a letter\nto nobody\n", "IPC-002", 1, 1, "a letter"),
    (read_ipc2581, BILLION, "IPC-002", 2, 1, '<!DOCTYPE l [<!ENTITY a "aaaa"'),
])  # fmt: skip
def test_refused_with_its_place(
    read: Callable[[bytes, str], object], text: str, code: str, line: int, column: int, shown: str
) -> None:
    with pytest.raises(Refusal) as caught:
        read(text.encode(), "a.file")
    place = caught.value.finding.place
    assert (caught.value.finding.code, place.file, place.line, place.column, place.text) == (code, "a.file", line, column, shown)  # fmt: skip
    assert caught.value.finding.words and caught.value.finding.remedy


@pytest.mark.parametrize(("macro", "values", "words"), [
    ("1,1,$1/$2,0,0", "1X0", "division by zero"),
    ("$1=$1x$1*" * 200 + "1,1,$1,0,0", "10", "no finite value"),
    ("1,1," + "(" * 5000 + "1" + ")" * 5000 + ",0,0", "1", "nested deeper"),
    ("4,1,1000000000,0,0,1,1", "1", "out of range"),
])  # fmt: skip
def test_a_macro_that_cannot_be_computed_is_an_error_with_its_place(macro: str, values: str, words: str) -> None:
    """The rest of the image is read; what is missing is an error finding, with the count of objects left out."""
    text = f"%FSLAX24Y24*%\n%MOMM*%\n%AMA*{macro}*%\n%ADD10A,{values}*%\nD10*\nX0Y0D03*\nM02*"
    made, used = read_gerber(text.encode(), "a.gbr").findings[:2]
    assert (made.code, str(made.severity), made.place.line, made.place.column) == ("GBR-019", "error", 4, 1)
    assert words in made.words
    assert used.code == "GBR-041" and "1 objects left out" in used.words
