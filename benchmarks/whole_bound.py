"""The fewest power-ups that anybody could need on patients of the whole kind: of someone who knows what every reading of a session means and never reads wrongly.

In a session a fault can be told when some reading would be another one without it: a level or pattern at any place that is looked at, a memory test or a
start where the machine gets so far. All faults that can be told are mended, then the machine is started again; what another fault hides shows then. Four
ways of work: levels and patterns alone; with a thermal picture that tells every dead chip; with every ROM read out before power, too; with all copper of
the board beeped before power, too. Faults of the supply are always found before power. The last start, which shows that all works, counts.

``--board`` (default demo), ``--seeds A-B`` (default 3000-3199), ``--faults`` (default 3).
"""

from __future__ import annotations

import argparse
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from statistics import median
from typing import Any

from coppermend import bootstrap
from coppermend.cli.practice import _range
from coppermend.core.circuit.planes import Key
from coppermend.practice.powered import Lies, PoweredPatient
from coppermend.practice.whole import WholeFault
from coppermend.services.whole_setting import WholeSetting, whole_patient

COPPER = ("copper", "joint", "contact")
DEAD = ("float", "low", "high")


@dataclass(frozen=True, slots=True)
class Way:
    """What somebody does beside levels and patterns."""

    heat: bool = False
    roms: bool = False
    round: bool = False


WAYS = {
    "levels": Way(),
    "levels, heat": Way(heat=True),
    "levels, heat, roms": Way(heat=True, roms=True),
    "levels, heat, roms, copper": Way(heat=True, roms=True, round=True),
}


class Oracle:
    """Who knows what every reading means."""

    def __init__(self, setting: WholeSetting) -> None:
        self.setting = setting
        self.known: dict[frozenset[str], tuple[tuple[str, ...], int]] = {}

    def seen(self, keys: Sequence[Key]) -> tuple[tuple[str, ...], int]:
        """What a probe shows at every place, and the screen, with these faults."""
        mark = frozenset(map(str, keys))
        if mark not in self.known:
            board = self.setting.answers
            patient = PoweredPatient(board.behaviour, list(keys), 1, Lies())
            places = tuple(patient.look(one.net, one.node, True) for one in self.setting.made.field.spots)
            self.known[mark] = (places, patient.screen(board.screens, board.works))
        return self.known[mark]

    def tells(self, one: WholeFault, left: Sequence[WholeFault], way: Way) -> bool:
        """Whether a session with the faults ``left`` can tell this one."""
        board = self.setting.answers
        keys = [other.key for other in left if other.key]
        if one.content and one.kind == "memory":
            others = [o.key for o in left if o.key and o.kind != "rom" and o.part not in board.memory_bits]
            return self.seen(others)[1] in (board.works, board.fails)
        if one.content:
            return self.seen(keys)[1] == board.works
        dead = one.key is not None and one.key[0] in DEAD and one.part in self.setting.made.field.warm
        without = [other.key for other in left if other.key and other is not one]
        return (way.heat and dead) or self.seen(keys)[0] != self.seen(without)[0]

    def power_ups(self, faults: Sequence[WholeFault], way: Way) -> tuple[int, list[str]]:
        """How often power goes on until the machine works, and what the first session could not tell; -1 where nothing can be told any more."""
        left, ups, hidden = list(faults), 0, list[str]()
        while True:
            before = [
                one
                for one in left
                if one.kind == "supply" or (way.roms and one.kind == "rom") or (way.round and one.kind in COPPER)
            ]
            left = [one for one in left if one not in before]
            ups += 1
            if not left:
                return ups, hidden
            told = [one for one in left if self.tells(one, left, way)]
            if not told:
                return -1, hidden
            left = [one for one in left if one not in told]
            if ups == 1:
                hidden = [f"{one.kind}, bad cells" if one.content else one.kind for one in left]


def run(arguments: list[str]) -> dict[str, Any]:
    """The power-ups of every way, and what the first session hides."""
    parser = argparse.ArgumentParser(prog="python -m benchmarks whole_bound")
    parser.add_argument("--board", default="demo")
    parser.add_argument("--seeds", default="3000-3199")
    parser.add_argument("--faults", type=int, default=3)
    o = parser.parse_args(arguments)
    first, last = _range(o.seeds, "--seeds")
    setting = bootstrap.whole_setting(o.board)
    oracle = Oracle(setting)
    found: dict[str, Any] = {"board": o.board, "seeds": o.seeds, "faults": o.faults}
    rows = [whole_patient(setting, seed, o.faults, True).faults() for seed in range(first, last + 1)]
    for name, way in WAYS.items():
        told = [oracle.power_ups(one, way) for one in rows]
        ups = [n if n > 0 else 99 for n, _ in told]
        found[name] = {
            "median": median(ups),
            "at_most_two": sum(1 for n in ups if n <= 2),
            "power_ups": dict(sorted(Counter(ups).items())),
            "hidden_at_first": dict(Counter(one for _, hidden in told for one in hidden).most_common()),
        }
    return found
