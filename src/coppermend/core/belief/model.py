"""The belief port: what goes into a belief and what comes out of it. Engines come and go behind these types."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Protocol

from coppermend.core.belief.ohmic import Instrument


@dataclass(frozen=True, slots=True)
class WorkArea:
    """A region where copper was disturbed or attacked. ``polygon`` ((x_mm, y_mm), ...); kind rework, corrosion or impact; severity 1..3."""

    id: str
    polygon: tuple[tuple[float, float], ...]
    kind: str
    severity: int
    label: str = ""
    part: str = ""
    scale: tuple[tuple[str, float], ...] = ()
    """(site kind, or kind@layer such as "run@c", factor): what a look here makes of the priors of such sites; others have ``rest``."""
    rest: float = 1.0
    """Factor on the priors of site kinds that ``scale`` does not name; 0 = the area says nothing of them."""
    lowers: bool = False
    """A place where something was looked for and not seen: it marks nothing, and its ``scale`` multiplies what the other areas make of the sites there."""


MOST_OHM = 1e15
"""Ohms from here on are no value that a meter shows; ``log.values`` refuses them. Their squares would leave the range of a float."""


@dataclass(frozen=True, slots=True)
class Evidence:
    """One reading between two probe points of the graph it was folded onto: ``says`` closed, open or ohms (with ``ohms``). ``entry`` its log id.

    Ohms of MOST_OHM or more are an overload: open. No number, or -MOST_OHM and less: "unread", which a belief sets aside.

    >>> Evidence("1", "p0", "p1", "ohms", 1e308).says, Evidence("2", "p0", "p1", "ohms", float("nan")).says
    ('open', 'unread')
    """

    entry: str
    point_a: str
    point_b: str
    says: str
    ohms: float | None = None
    site_filter: str = ""
    without: tuple[str, ...] = ()
    """Ids of sites that were not there when this was read: patch wires fitted later. The reading is judged on the copper of its day."""
    instrument: Instrument | None = None
    """What ohms were read with; None = a two-wire meter with a last digit of 0.1 ohm."""
    sense: tuple[str, str] | None = None
    """Ohms in the transfer form: the probe points between which the voltage was read; None = those of the current."""
    false_open: float | None = None
    """The reading's own false open rate, where a tip stood on a land that was seen to be dirty; None = the basis's."""

    def __post_init__(self) -> None:
        if self.ohms is None or abs(self.ohms) < MOST_OHM:
            return
        object.__setattr__(self, "says", "unread" if math.isnan(self.ohms) or self.ohms < 0 else "open")
        object.__setattr__(self, "ohms", None)


@dataclass(frozen=True, slots=True)
class Basis:
    """Every number outside the log that a belief uses: priors by site kind inside and outside areas, and the error rates of a beep.

    Defaults: shared bench table, documented in docs/reference/constants.md. All are assumptions, not observations.
    """

    prior_in: Mapping[str, float] = field(
        default_factory=lambda: {
            "run": 0.02,
            "run_narrow": 0.03,
            "barrel": 0.02,
            "joint": 0.04,
            "contact": 0.03,
            "leg": 0.0005,
            "spoke": 0.02,
            "wire": 0.03,
            "through": 0.0005,
        }
    )
    prior_out: float = 0.0005
    narrow_mm: float = 0.3
    false_open: float = 0.02
    false_closed: float = 0.004
    """Benches differ: 0.1 to 2 % (an assumption); this is about the geometric mean of that."""
    chip_false_closed: float = 0.001
    """What a chip left in circuit adds to the false closed rate on its nets: ways through its protection diodes and drivers (an assumption)."""
    proven_below: float = 0.001
    broken_above: float = 0.995
    closed_below_ohm: float = 10.0
    """A continuity pass, after the 10 ohm of IPC-9252 class 3 (docs/sources.md)."""
    severity_factor: Mapping[int, float] = field(default_factory=lambda: {1: 1.0, 2: 1.0, 3: 2.0})
    """Priors inside an area are multiplied by this for the area's severity (an assumption)."""
    short_prior: float = 0.005
    """Prior that two neighbouring nets are shorted, where a reading was taken between them (an assumption)."""
    contact_shares: tuple[tuple[float, float], ...] = ((0.0, 0.2), (0.1, 0.8))
    """Share of probe points on which a tip bites badly (oxide, flux, lacquer), each possible share with its prior weight; the bench's own
    readings decide between them (an assumption)."""
    damage_scales: tuple[tuple[float, float], ...] = ((0.03, 0.4), (0.1, 0.3), (0.3, 0.2), (1.0, 0.1))
    """The priors inside the work areas may all be too high: each factor on the rate of damage that is supposed, with its weight; the readings decide
    between them (an assumption). Empty: the priors are taken as they are."""
    open_scales: tuple[tuple[float, float], ...] = ((0.5, 0.5), (2.0, 0.5))
    """The rate of false opens may be off: each factor on it that is supposed, with its weight; the bench's own readings decide between them (an
    assumption). Empty: the rate is taken as it is."""
    advice_above: float = 0.9999
    """A break is named for the soldering iron above this, with two independent readings; ``broken_above`` is enough to plan on."""
    contact_bad: float = 0.05
    """The share taken for certain when ``contact_shares`` is empty."""
    contact_false_open: float = 0.3
    """How often such a point reads open although the copper is whole, each time anew (shared bench table)."""
    partial_share: float = 0.2
    """Chance that a stretch has too much resistance, as a share of its chance to be broken (an assumption)."""
    ohms_wires: float = 4.0
    """What ohms can be read with at this bench: 4 or 2 wires; 0 = no meter fine enough, and no ohms reading is proposed."""
    ohms_step_ohm: float = 0.01
    """Last digit of the two-wire meter."""


class Posterior(Protocol):
    """What a belief answers."""

    log_evidence: float
    error_bound: float
    """0 = exact; else the most that any probability can be off."""

    def p(self, unit: str) -> float:
        """Probability that the site with this id is broken."""

    def joined(self, point_a: str, point_b: str) -> float:
        """Probability that the two probe points are joined."""
