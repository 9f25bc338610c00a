"""What looking tells: for every finding of a look, what it speaks of and how much; for a look over a whole side, how much of what is broken it would show.

All rates are assumptions, no source: nobody has counted how often a broken joint is seen as such. They are kept mild on purpose: a look raises a suspect
to at most ``MOST_BY_LOOKING`` and a reading has the last word (what may be judged by eye at all: IPC-A-610, the accept and reject pictures of
solder joints; it gives no rates). Nothing here names a site: a finding speaks of kinds of sites round a place.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType

COPPER, PART, BRIDGE, DIRT = "copper", "part", "bridge", "dirt"
MOST_BY_LOOKING = 0.5
"""However sure the eye is, its finding alone makes a break no likelier than this: a reading says whether it conducts."""


@dataclass(frozen=True, slots=True)
class LookFinding:
    """A finding. ``of`` what it speaks of (copper, part, bridge, dirt); ``kinds`` of sites; ``seen`` P(it is seen | such a fault is there), ``false``
    P(it is called so | there is none); ``reach_mm`` how far round the point it speaks; ``ask`` what to look for; ``settles`` what settles it."""

    name: str
    of: str
    kinds: tuple[str, ...]
    seen: float
    false: float
    reach_mm: float
    ask: str
    settles: str

    @property
    def ratio(self) -> float:
        """How many times likelier the finding makes the fault.

        >>> FINDINGS["cracked joint"].ratio
        25.0
        """
        return self.seen / self.false

    @property
    def ratio_unseen(self) -> float:
        """The same when it was looked for at the place and not seen.

        >>> round(FINDINGS["cracked joint"].ratio_unseen, 3)
        0.51
        """
        return (1.0 - self.seen) / (1.0 - self.false)


_BEEP = "Check continuity across it: closed settles that it conducts, open that it is broken."
_OUT = "Power off, take the part out of its socket if it has one, and look again."
_ROWS = (
    LookFinding(
        "corrosion", COPPER, ("run", "barrel", "joint", "spoke"), 0.5, 0.1, 1.5,
        "green, white or dark tracks under the mask, a mask that blisters, blackened vias", _BEEP,
    ),
    LookFinding(
        "lifted land", COPPER, ("joint", "run"), 0.4, 0.03, 1.0,
        "a land that stands off the board or moves with its leg", _BEEP,
    ),
    LookFinding(
        "cracked joint", COPPER, ("joint",), 0.5, 0.02, 0.8,
        "a ring round a leg in its solder, solder that is dull or only touches", _BEEP,
    ),
    LookFinding(
        "broken track", COPPER, ("run", "spoke"), 0.6, 0.02, 0.8,
        "a scratch through a track, a gap, a track torn at its land", _BEEP,
    ),
    LookFinding(
        "solder bridge", BRIDGE, (), 0.7, 0.01, 1.5,
        "solder or a hair of wire from land to land or to a track",
        "Check that the two are apart: open settles that there is no bridge.",
    ),
    LookFinding(
        "wrong part", PART, (), 0.03, 0.0005, 0.0,
        "type and value printed on the part against the parts list",
        "Read the print again under a loupe and compare it with the parts list.",
    ),
    LookFinding(
        "wrong way round", PART, (), 0.03, 0.0002, 0.0,
        "notch, stripe or + against the print on the board and the map",
        "Compare pin 1 with the map once more, power off.",
    ),
    LookFinding("bent leg", COPPER, ("contact", "leg"), 0.5, 0.01, 0.3, "a leg folded under its chip or beside its contact", _OUT),
    LookFinding(
        "missing part", PART, (), 0.02, 0.0002, 0.0, "an empty place that the parts list fills",
        "Look at the parts list and the map: is a part meant to be there?",
    ),
    LookFinding(
        "dirty land", DIRT, (), 0.0, 0.0, 0.6, "flux, lacquer or oxide where the tip must bite",
        "Clean it, note that (note CASE clean POINT), read again.",
    ),
)  # fmt: skip
FINDINGS: Mapping[str, LookFinding] = MappingProxyType({one.name: one for one in _ROWS})

OVER = MappingProxyType({"run": 0.4, "joint": 0.3, "spoke": 0.3, "leg": 0.05})
"""P(a fault shows | a look over a whole side, site kind): less than a look at one place; barrels and contacts hide theirs (assumptions)."""
OVER_BRIDGE, OVER_PART = 0.5, 0.05
"""The same for a bridge of solder between two pins, and for a part at fault (wrong, wrong way round, missing)."""
OVER_FALSE = 0.05
"""P(a look over a side finds something at a given place | nothing wrong there), the places together (an assumption)."""
DIRTY_FALSE_OPEN = 0.3
"""How often a tip on a dirty land reads open on sound copper, each reading anew: ``Basis.contact_false_open``'s value for a point that bites badly."""


def over_factor(detect: float) -> float:
    """What a look over a side without a finding makes of a small prior: 1 - P(it would have shown).

    >>> over_factor(0.4)
    0.6
    """
    return 1.0 - detect


def site_factor(finding: LookFinding, seen: bool, share: float = 1.0) -> float:
    """How many times likelier (or less) a site of the finding's kinds is broken after the look. ``share``: of a whole span, this one's share of the chance.

    >>> site_factor(FINDINGS["broken track"], True)
    30.0
    >>> round(site_factor(FINDINGS["broken track"], True, 0.5), 1)
    15.5
    """
    ratio = finding.ratio if seen else finding.ratio_unseen
    return share * ratio + (1.0 - share)


def log_ratio(ratio: float) -> float:
    """A ratio of likelihoods as a log, kept finite.

    >>> log_ratio(1.0)
    0.0
    """
    return math.log(max(ratio, 1e-6))
