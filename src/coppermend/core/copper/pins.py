"""What a part's state makes of one pin: which metal there is, where it can fail, and where a tip can touch it.

Soldered: pin metal --joint-- land. In a socket: leg --leg-- leg tip --contact-- socket metal --joint-- land. Out of its socket: socket
metal --joint-- land. Not fitted or desoldered: bare holes and lands. A tip on the joint stands on the land, so a beep there never
clears the joint, the contact or the leg.
"""

from __future__ import annotations

from dataclasses import dataclass, field

from coppermend.core.board.model import PartState
from coppermend.core.copper.model import PinPlace, ProbePoint, Site, SiteKind
from coppermend.core.units import um

JOINT_OHM = 0.0002
CONTACT_OHM = 0.010
LEG_OHM = 0.0005
"""Sound joint, socket contact, and leg of a chip between shoulder and tip. Common practice, no source: small against any two-wire reading."""


@dataclass(slots=True)
class Laid:
    """Nodes (kind, net, place), sites and points of one pin; nodes are numbered from ``first`` on."""

    first: int
    nodes: list[tuple[str, int, tuple[float, float, str]]] = field(default_factory=list)
    sites: list[Site] = field(default_factory=list)
    points: list[ProbePoint] = field(default_factory=list)


def xy_id(x_mm: float, y_mm: float) -> str:
    """A place as written in ids: whole micrometres.

    >>> xy_id(1.5, -2.0)
    '1500,-2000'
    """
    return f"{um(x_mm)},{um(y_mm)}"


def is_bare(state: PartState, in_socket: bool) -> bool:
    """Whether nothing is left at the part's place but holes and lands."""
    return state is PartState.NOT_FITTED or (state is PartState.OUT and not in_socket)


def lay_pin(pin: PinPlace, state: PartState, in_socket: bool, first: int) -> Laid:
    """The pin under a part state. ``in_socket``: the part has a socket on the board. ``first``: number of the first new node.

    Raises nothing; a pin without a land gives nothing.
    """
    laid = Laid(first)
    if not pin.lands:
        return laid
    if is_bare(state, in_socket):
        _bare(pin, state, laid)
    elif in_socket or state is PartState.SOCKETED:
        _socketed(pin, state, laid)
    else:
        _soldered(pin, state, laid)
    return laid


def joint_land(pin: PinPlace) -> tuple[str, int]:
    """(layer key, node) of the land that carries the joint: the side opposite the part for a lead, its own side for a surface pin."""
    want = ("s" if pin.side == "c" else "c") if pin.hole else pin.side
    for key, node in pin.lands:
        if key == want:
            return key, node
    return pin.lands[-1]


def _node(laid: Laid, pin: PinPlace, kind: str) -> int:
    laid.nodes.append((kind, pin.net, (pin.x_mm, pin.y_mm, pin.side)))
    return laid.first + len(laid.nodes) - 1


def _site(laid: Laid, pin: PinPlace, kind: SiteKind, a: int, b: int, layer: str, ohm: float, words: str) -> None:
    laid.sites.append(
        Site(
            f"{kind.value}@{pin.name}",
            kind,
            pin.net,
            a,
            b,
            layer,
            ((pin.x_mm, pin.y_mm),),
            (),
            0.0,
            0.0,
            ohm,
            pin.part,
            pin.number,
            f"the {words} of {pin.name}",
        )
    )


def _point(
    laid: Laid, pin: PinPlace, name: str, node: int, side: str, kind: str, state: PartState, why_not: str = ""
) -> None:
    laid.points.append(
        ProbePoint(
            name,
            node,
            pin.net,
            pin.x_mm,
            pin.y_mm,
            side,
            pin.part,
            pin.number,
            kind,
            not why_not,
            why_not,
            ((pin.part, state),),
        )
    )


def _joint_points(laid: Laid, pin: PinPlace, state: PartState, hidden: str) -> None:
    """A tip on the solder joint, on each side the pin has a land."""
    for key, node in pin.lands:
        if key not in ("c", "s"):
            continue
        why = hidden if key == pin.side else ""
        if not why and key in pin.masked:
            why = "covered by the solder mask"
        _point(laid, pin, f"{pin.name}/joint-{key}", node, key, "joint", state, why)


def _soldered(pin: PinPlace, state: PartState, laid: Laid) -> None:
    layer, land = joint_land(pin)
    metal = _node(laid, pin, "pin")
    _site(laid, pin, SiteKind.JOINT, metal, land, layer, JOINT_OHM, "solder joint")
    _point(laid, pin, f"{pin.name}/leg", metal, pin.side, "leg", state, pin.leg_hidden)
    if pin.hole:
        _joint_points(laid, pin, state, pin.joint_hidden)


def _socketed(pin: PinPlace, state: PartState, laid: Laid) -> None:
    layer, land = joint_land(pin)
    socket = _node(laid, pin, "socket")
    _site(laid, pin, SiteKind.JOINT, socket, land, layer, JOINT_OHM, "socket's solder joint")
    if state is PartState.OUT:
        _point(laid, pin, f"{pin.name}/contact", socket, pin.side, "contact", state)
    else:
        leg, tip = _node(laid, pin, "pin"), _node(laid, pin, "pin")
        _site(laid, pin, SiteKind.LEG, leg, tip, pin.side, LEG_OHM, "leg")
        _site(laid, pin, SiteKind.CONTACT, tip, socket, pin.side, CONTACT_OHM, "socket contact")
        _point(laid, pin, f"{pin.name}/leg", leg, pin.side, "leg", state, pin.leg_hidden)
    if pin.hole:
        _joint_points(laid, pin, state, f"under the socket of {pin.part}")


def _bare(pin: PinPlace, state: PartState, laid: Laid) -> None:
    spot = xy_id(pin.x_mm, pin.y_mm)
    if pin.hole:
        _point(laid, pin, f"{pin.name}/hole", joint_land(pin)[1], pin.side, "hole", state)
    for key, node in pin.lands:
        if key in ("c", "s"):
            why = "covered by the solder mask" if key in pin.masked else ""
            _point(laid, pin, f"land@{spot}/{key}", node, key, "land", state, why)
