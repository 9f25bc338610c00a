"""Names of copper islands: a vote among the names that X2 attributes and netlists state for their copper."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Iterable, Mapping, Sequence

import numpy as np

from coppermend.core.board.model import CopperLayer, Net, Pin
from coppermend.core.units import um

NO_NET = frozenset({"", "N/C", "NC", "$NONE$", "NO_NET", "NONET"})
"""Names that say "no net": X2 reserves N/C (Ucamco, The Gerber Layer Format Specification, 5.6.14); IPC-D-356 writers use N/C; the rest is common practice."""


def says_a_net(name: str) -> bool:
    """Whether a stated name means a net."""
    return name.strip().upper() not in NO_NET


_ESCAPED = {
    "slash": "/", "backslash": "\\", "space": " ", "colon": ":", "comma": ",", "quote": "'", "dblquote": '"', "lt": "<", "gt": ">",
    "bar": "|", "dollar": "$", "brace": "{",
}  # fmt: skip
"""Words in braces that one widely used design system writes for characters which its own name syntax keeps (seen in its X2 files; the list is from memory)."""
_BRACED = re.compile(r"\{(\w+)\}")


def readable(name: str) -> str:
    """A net name with its escaped characters written as they are.

    >>> readable("/A{slash}B"), readable("BUS{0}")
    ('/A/B', 'BUS{0}')
    """
    return _BRACED.sub(lambda word: _ESCAPED.get(word[1], word[0]), name) if "{" in name else name


def stated_votes(layers: Sequence[CopperLayer]) -> Counter[tuple[int, str]]:
    """How many pieces of each island state each net name by X2."""
    votes: Counter[tuple[int, str]] = Counter()
    for layer in layers:
        named = np.flatnonzero(layer.stated_net != "")
        votes.update(zip(layer.island[named].tolist(), layer.stated_net[named].tolist(), strict=True))
    return Counter({key: n for key, n in votes.items() if says_a_net(key[1])})


def name_islands(
    layers: Sequence[CopperLayer],
    count: int,
    pins: Sequence[Pin],
    netlist_votes: Mapping[tuple[int, str], int],
    overrule: Mapping[int, str],
) -> tuple[Net, ...]:
    """One Net per island. Names by number of X2 statements, then of netlist points, then alphabet; a corrected name comes first.

    An island without a name is called after its first pin (``~U1.8``), else its place (``~12700,30480``, integer um). When several islands
    state one name, the one with most statements keeps it and the others get ``#2``, ``#3`` (a split net, or a stale name).
    """
    weight: dict[int, Counter[str]] = {}
    for (island, name), n in stated_votes(layers).items():
        weight.setdefault(island, Counter())[name] += n * 1000
    for (island, name), n in netlist_votes.items():
        if island >= 0 and says_a_net(name):
            weight.setdefault(island, Counter())[name] += n
    pins_of: dict[int, list[str]] = {}
    for pin in pins:
        if pin.net is not None:
            pins_of.setdefault(pin.net, []).append(pin.name)
    places = _first_places(layers, count)
    names: list[tuple[str, ...]] = []
    for island in range(count):
        ranked = sorted(weight.get(island, {}).items(), key=lambda item: (-item[1], item[0]))
        stated = tuple(name for name, _ in ranked)
        if island in overrule:
            stated = (overrule[island], *(name for name in stated if name != overrule[island]))
        names.append(stated)
    shown = _readable(_unique(names, weight, pins_of, places))
    return tuple(Net(k, shown[k], names[k], tuple(pins_of.get(k, ()))) for k in range(count))


def _readable(shown: Sequence[str]) -> list[str]:
    """The names with escaped characters decoded, except where that would give two nets one name."""
    decoded = [readable(name) for name in shown]
    often = Counter(decoded)
    return [name if often[name] == 1 else old for name, old in zip(decoded, shown, strict=True)]


def _first_places(layers: Sequence[CopperLayer], count: int) -> list[str]:
    places = [""] * count
    for layer in reversed(layers):
        if len(layer.shapes) == 0:
            continue
        box = layer.shapes.bounds_mm()
        middle = (box[:, :2] + box[:, 2:]) / 2
        islands, first = np.unique(layer.island, return_index=True)
        for island, piece in zip(islands.tolist(), first.tolist(), strict=True):
            places[island] = f"~{um(float(middle[piece, 0]))},{um(float(middle[piece, 1]))}"
    return places


def _unique(
    names: Sequence[tuple[str, ...]],
    weight: Mapping[int, Counter[str]],
    pins_of: Mapping[int, Sequence[str]],
    places: Sequence[str],
) -> list[str]:
    first = [
        stated[0] if stated else f"~{pins_of[k][0]}" if pins_of.get(k) else places[k] for k, stated in enumerate(names)
    ]
    order: Iterable[int] = sorted(
        range(len(first)), key=lambda k: (-weight.get(k, Counter())[first[k]], -len(pins_of.get(k, ())), k)
    )
    taken: Counter[str] = Counter()
    shown = [""] * len(first)
    for k in order:
        taken[first[k]] += 1
        shown[k] = first[k] if taken[first[k]] == 1 else f"{first[k]}#{taken[first[k]]}"
    return shown
