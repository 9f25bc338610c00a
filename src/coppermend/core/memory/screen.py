"""Which memories the picture is fetched from: their data reach a character ROM or a shift register without passing a two-way buffer."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping

from coppermend.core.circuit.model import DRIVING, Circuit, CircuitPart
from coppermend.core.memory.routes import handed

DEEP = 4
"""Buffers and latches between a memory and what draws it, at most."""
_ADDRESS = re.compile(r"A\d+")
_SHIFTS = ("SER", "SH//LD")


def is_shown(circuit: Circuit, nets: Iterable[str], data: Mapping[str, int], skip: frozenset[str]) -> bool:
    """Whether what stands on these nets (a memory's data outputs) is drawn: it comes to the address pins of a memory whose own data do not go to the
    processor's lines ``data``, or to a shift register; through latches and one-way buffers. ``skip``: memories and processor, which are no way.

    >>> from coppermend.core.circuit.examples import inverter_chain
    >>> is_shown(inverter_chain(), ["NONE"], {}, frozenset())
    False
    """
    seen = dict.fromkeys(nets)
    here = list(seen)
    for _ in range(DEEP):
        following: list[str] = []
        for net in here:
            for t in circuit.nets.get(net, ()):
                part = circuit.by_ref[t.part]
                if part.chip is None or t.kind in DRIVING:
                    continue
                if _draws(part, t.name, data, skip):
                    return True
                if part.ref not in skip:
                    following += _behind(part, t.name)
        here = [net for net in dict.fromkeys(following) if net not in seen and net not in circuit.rails]
        seen |= dict.fromkeys(here)
    return False


def _draws(part: CircuitPart, name: str, data: Mapping[str, int], skip: frozenset[str]) -> bool:
    if part.ref in skip:
        outs = [t.net for t in part.terminals if t.kind in DRIVING and t.net]
        return bool(_ADDRESS.fullmatch(name)) and bool(outs) and not any(net in data for net in outs)
    return any(part.named(one) is not None for one in _SHIFTS)


def _behind(part: CircuitPart, name: str) -> list[str]:
    """The nets that a pin's level is handed on to, one way."""
    found = [t for t in part.terminals if t.kind in DRIVING and t.net and name in handed(part, t.name)]
    return [t.net for t in found if t.name not in handed(part, name)]
