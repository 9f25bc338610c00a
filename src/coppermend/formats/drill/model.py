"""What a drill or rout file says, as a value."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from coppermend.core.findings import Finding
from coppermend.core.units import MM_PER_INCH

HOLE, SLOT, ROUT = 0, 1, 2


@dataclass(frozen=True, slots=True)
class DrillFormat:
    """How digits become lengths. ``None`` in a field: not known from here.

    ``metric``; ``whole`` and ``decimals`` digits; ``omitted`` zeros: "leading", "trailing" or "none" (all digits are written).
    """

    metric: bool | None = None
    whole: int | None = None
    decimals: int | None = None
    omitted: str | None = None

    def over(self, other: DrillFormat) -> DrillFormat:
        """This format, with ``other`` where this one does not know."""
        return DrillFormat(
            other.metric if self.metric is None else self.metric,
            other.whole if self.whole is None else self.whole,
            other.decimals if self.decimals is None else self.decimals,
            other.omitted if self.omitted is None else self.omitted,
        )

    def words(self) -> str:
        """The format in words.

        >>> DrillFormat(False, 2, 4, "leading").words()
        'inch 2.4, leading zeros omitted'
        """
        unit = {None: "unknown unit", True: "metric", False: "inch"}[self.metric]
        digits = f" {self.whole}.{self.decimals}" if self.whole is not None and self.decimals is not None else ""
        zeros = (
            ""
            if self.omitted is None
            else (", all zeros written" if self.omitted == "none" else f", {self.omitted} zeros omitted")
        )
        return unit + digits + zeros

    @property
    def mm_per_unit(self) -> float:
        """mm per unit; inch where the unit is not known."""
        return 1.0 if self.metric else MM_PER_INCH


@dataclass(frozen=True, slots=True)
class Tool:
    """A tool: number, diameter in mm (0 where none is given), plated or not where the file says so, X2 function."""

    number: int
    diameter_mm: float
    plated: bool | None = None
    function: str = ""


@dataclass(frozen=True, slots=True)
class SideFile:
    """What a file beside the drill file says about it: number format and tools. ``tool_sizes`` in mm; ``plated`` by tool number."""

    name: str
    format: DrillFormat
    tool_sizes: Mapping[int, float]
    plated: Mapping[int, bool]
    findings: tuple[Finding, ...] = ()


@dataclass(frozen=True, slots=True)
class DrillFile:
    """Holes, slots and routed paths of one file, ``n`` hits, in mm.

    ``x_mm, y_mm, x2_mm, y2_mm`` (n,) ends of the centre line (equal for a hole); ``diameter_mm`` (n,) NaN where the tool has no size;
    ``plated`` (n,) int8: 1, 0, or -1 where the file does not say; ``kind`` (n,) HOLE, SLOT or ROUT; ``path`` (n,) number of the routed
    path a piece belongs to, -1 else; ``tool`` (n,) tool numbers; ``line`` (n,) from 1.
    ``format`` as read; ``guessed`` the parts of it ("unit", "digits", "zeros") that nothing states; ``decimal_points`` whether every
    coordinate had a point (then digits and zeros do not matter); ``span`` first and last layer of X2 FileFunction.
    """

    name: str
    x_mm: NDArray[np.float64]
    y_mm: NDArray[np.float64]
    x2_mm: NDArray[np.float64]
    y2_mm: NDArray[np.float64]
    diameter_mm: NDArray[np.float64]
    plated: NDArray[np.int8]
    kind: NDArray[np.uint8]
    path: NDArray[np.int32]
    tool: NDArray[np.int32]
    line: NDArray[np.int32]
    tools: tuple[Tool, ...]
    format: DrillFormat
    guessed: tuple[str, ...]
    decimal_points: bool
    file_plated: bool | None
    span: tuple[int, int] | None
    file_attributes: Mapping[str, tuple[str, ...]]
    comments: tuple[str, ...]
    findings: tuple[Finding, ...]

    def __len__(self) -> int:
        return len(self.x_mm)
