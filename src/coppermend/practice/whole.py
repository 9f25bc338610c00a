"""The practice patient of the whole kind: one to four faults of copper, joints, contacts, chips, small parts, memory, ROMs and the supply, behind its answers.

It answers every act of a bench (tips, probes, power, tests, looks) and suffers every repair; nobody who plans sees anything but the answers. How often its
readings lie, and how often a hand's work cures, is drawn per patient and told to nobody. Chances are assumptions, no source.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from types import MappingProxyType
from zlib import crc32

import numpy as np

from coppermend.core.circuit.planes import Behaviour, Key
from coppermend.core.copper.model import CopperGraph
from coppermend.core.copper.resistance import effective_ohm
from coppermend.core.findings import refuse
from coppermend.practice.patient import Noise, Patient, Truth
from coppermend.practice.powered import Lies, PoweredPatient

WHOLE_KINDS = ("copper", "joint", "contact", "chip", "passive", "memory", "rom", "supply")
"""Kinds of faults of a patient of the whole kind; each fault's kind is drawn evenly (an assumption: nobody counted)."""
SHORTED_SHARE = 0.5
"""Of faults of the supply so many are a part that shorts a rail, the others a supply that gives nothing or too little (an assumption)."""
CONTENT_SHARE = 0.5
"""Of faults of memories and ROMs so many are bad cells, the others those of any chip: dead or held outputs (an assumption)."""
BRIDGE_SHARE = 0.2
"""Of faults of copper so many are bridges of solder (an assumption)."""
CURE = MappingProxyType({"reseat": (0.4, 0.8), "clean": (0.6, 0.95), "swap": (0.4, 0.8), "solder": (0.9, 0.99)})
"""Between what chances each act cures a bad contact (solder: a bad joint); drawn evenly per patient (assumptions)."""
SHOWS = MappingProxyType({"joint": 0.3, "run": 0.4, "spoke": 0.2, "leg": 0.3, "short": 0.8})
"""How often a fault shows to the eye on the side where it lies open (assumptions)."""
HEALTHY_RAIL_OHM = 300.0
"""What a rail reads to ground through the chips of a whole board (common practice, no source)."""
SHORT_OHM = 0.05
"""Ohms of a shorted capacitor (an assumption)."""


@dataclass(frozen=True, slots=True)
class WholeFault:
    """One fault. ``key`` as the simulation under power knows it (None: it shows in no level); ``site`` of the copper; ``part`` it lies inside;
    ``pair`` two points that it joins; ``rail`` that a part shorts; ``content`` a ROM's or memory's bad cells."""

    kind: str
    words: str
    key: Key | None = None
    site: str = ""
    site_kind: str = ""
    part: str = ""
    pair: tuple[str, ...] = ()
    rail: str = ""
    content: bool = False


@dataclass(frozen=True, slots=True)
class WholeBoard:
    """What answers are computed from: the copper as built, the circuit's behaviour on it, point id -> (net, node), the screens' conditions and which works."""

    graph: CopperGraph
    behaviour: Behaviour
    node_of: Mapping[str, tuple[str, int]]
    screens: tuple[tuple[Sequence[str], Sequence[str], Sequence[str], Sequence[str]], ...]
    works: int
    crashed: int
    """The screen of a machine whose program reads nonsense."""
    fails: int
    """The screen of a machine that starts and fails at something."""
    program: frozenset[str] = frozenset()
    """ROMs whose content is the program that starts the machine."""
    memory_bits: Mapping[str, int] = field(default_factory=dict)
    """Data bit of each main memory chip."""


@dataclass(slots=True)
class Harm:
    """What was done that should not have been: power put into a shorted rail, irreversible acts without consent, parts taken out that were good."""

    into_short: int = 0
    without_consent: int = 0
    needless: int = 0


class WholePatient:
    """The board behind its answers. ``consent``: whether the owner agreed to unsoldering when the machine came in."""

    def __init__(
        self,
        board: WholeBoard,
        faults: Sequence[WholeFault],
        seed: int,
        noise: Noise,
        lies: Lies,
        consent: bool = True,
    ) -> None:
        self._board, self._seed = board, seed
        self._left = list(faults)
        self._all = tuple(faults)
        self._graph = board.graph
        self._noise = noise
        self._powered = PoweredPatient(board.behaviour, self._keys(), seed, lies)
        self._copper = Patient(board.graph, self._truth(), seed, ohms=False)
        rng = np.random.default_rng([seed, 21])
        self._cure = {act: float(rng.uniform(*CURE[act])) for act in CURE}
        self._consent = consent
        self._turns: dict[str, int] = {}
        self.harm = Harm()
        self.power_ups = 0

    # ---- what the bench sees, power off ----
    def closed(self, point_a: str, point_b: str) -> bool:
        """A beep between two points, power off."""
        return self._copper.ask(point_a, point_b).says == "closed"

    def ohm(self, point_a: str, point_b: str) -> float | None:
        """Ohms by four wires between two points of one net, to a tenth of a milliohm; None for overload."""
        value = self._copper.ohms_between(point_a, point_b)
        spread = float(self._rng(f"four {point_a} {point_b}").normal(0.0, 0.0001))
        return None if value is None else round(max(0.0, value + spread), 4)

    def rail_ohm(self, rail: str, point_a: str, point_b: str) -> float:
        """Ohms from a rail to ground by four wires; a shorted part or a bridge to ground lies behind the copper from the tips to it."""
        short = next((one for one in self._left if one.rail == rail and one.pair), None)
        if short is None:
            return HEALTHY_RAIL_OHM
        way = sum(self._way(one, short.pair) for one in (point_a, point_b))
        return round(SHORT_OHM + way + abs(float(self._rng(f"ohm {point_a} {point_b}").normal(0.0, 0.0003))), 5)

    def supply_volt(self, rail: str, nominal_v: float) -> float:
        """The supply's own voltage on a rail, measured without the board."""
        key = next((one.key for one in self._left if one.kind == "supply" and one.key and one.key[1] == rail), None)
        share = {"norail": 0.0, "lowrail": 0.82}.get(str(key[0]) if key else "", 1.0)
        return round(nominal_v * share + float(self._rng(f"supply {rail}").normal(0.0, 0.005)), 3)

    def consents(self) -> bool:
        """Whether the owner has agreed to unsoldering."""
        return self._consent

    def asked_owner(self) -> None:
        """The owner was asked, and agrees."""
        self._consent = True

    def looked(self, places: Mapping[str, str]) -> tuple[WholeFault, ...]:
        """What shows when sites and points (``places``: id -> kind) are looked over: the faults seen there. Nothing is taken for a fault that is none."""
        found = []
        for one in self._left:
            where = one.site if one.site in places else next((p for p in one.pair if p in places), "")
            kind = one.site_kind or "short"
            if where and self._rng(f"look {where}").random() < SHOWS.get(kind, 0.0):
                found.append(one)
        return tuple(found)

    def rom_right(self, part: str) -> bool:
        """Whether a ROM taken out reads as its list says, in a reader."""
        return not any(one.part == part and _inside(one) for one in self._left)

    # ---- under power ----
    def power(self) -> int:
        """Put power on: the index of the screen that is seen."""
        self.power_ups += 1
        self.harm.into_short += any(one.rail and one.pair for one in self._left)
        return self.screen()

    def screen(self) -> int:
        """The screen as it is now."""
        held = {one.part for one in self._left if one.content}
        shown = self._powered.screen(self._board.screens, self._board.works)
        if shown != self._board.works or not held:
            return shown
        return self._board.crashed if held & self._board.program else self._board.fails

    def level(self, point: str, judged: bool) -> str:
        """What a probe shows at a point: low, high, pulsing, wrong, floating; at a rail high, low (too low), floating (none)."""
        place = self._board.node_of.get(point)
        return "floating" if place is None else self._powered.look(*place, judged)

    def lowest(self, net: str, pins: Sequence[str]) -> str:
        """The pin that millivolts along a net lead to, "" when none stands out."""
        return self._powered.lowest(net, pins)

    def warmth(self, part: str, supplies: Sequence[tuple[str, int]], shares: Mapping[str, Sequence[float]]) -> str:
        """The verdict of a thermal picture on a part."""
        return self._powered.warmth(part, supplies, shares)

    def memory_errors(self, count: int = 10) -> tuple[tuple[int, int, int], ...] | None:
        """Error words (offset into main memory, wrote, read) of a test that a good ROM runs; () none; None where the machine does not get so far."""
        bad = [one for one in self._left if one.part in self._board.memory_bits and _inside(one)]
        rest = [one.key for one in self._left if one.key and one not in bad and one.kind != "rom"]
        if rest and not self._runs_with(rest):
            return None
        rng = self._rng("memory")
        words = []
        for one in bad:
            bit = self._board.memory_bits[one.part]
            held = int(rng.integers(2)) if one.content else {"low": 0, "stuck0": 0}.get(str(one.key and one.key[0]), 1)
            for address in sorted(rng.choice(65536, size=count, replace=False).tolist()):
                wrote = 0x55 if (0x55 >> bit) & 1 != held else 0xAA
                words.append((address, wrote, wrote ^ (1 << bit)))
        order = rng.permutation(len(words))[:count].tolist()
        return tuple(words[k] for k in sorted(order))

    def _runs_with(self, keys: Sequence[Key]) -> bool:
        """Whether the machine starts, but for something that a start does not need."""
        alone = PoweredPatient(self._board.behaviour, keys, self._seed, Lies())
        return alone.screen(self._board.screens, self._board.works) in (self._board.works, self._board.fails)

    # ---- what the bench does ----
    def laid(self, graph: CopperGraph) -> None:
        """The copper as worked on: wires, parts in or out. What a wire goes round is mended under power when its net hangs together again."""
        self._graph = graph
        self._copper.worked_on(graph)
        self._left = [one for one in self._left if not (one.site and one.site_kind in _WIRED and self._bridged(one))]
        self._renewed()

    def reseated(self, part: str, act: str = "reseat") -> None:
        """A part was pressed out and in again (``act`` clean: its contacts wiped too, swap: another one went in)."""
        gone = [one for one in self._left if one.site_kind in ("contact", "leg") and _of(one.site) == part]
        self._cured(gone, act, part)

    def soldered(self, points: Sequence[str]) -> None:
        """Joints were soldered again."""
        pins = {one.partition("/")[0] for one in points}
        gone = [one for one in self._left if one.site_kind == "joint" and one.site.partition("@")[2] in pins]
        self._cured(gone, "solder", ",".join(sorted(pins)))

    def cleared(self, nets: Sequence[str]) -> None:
        """Solder or dirt between two nets was taken away."""
        at = {p.id: self._board.graph.net_names[p.net] for p in self._board.graph.points}
        wanted = set(nets)
        self._left = [
            one for one in self._left if not (one.pair and not one.rail and {at[p] for p in one.pair} == wanted)
        ]
        self._renewed()

    def replaced(self, part: str, socketed: bool) -> None:
        """A good part went in for good. Taking a soldered one out needs consent; taking a good one out is harm."""
        mine = [one for one in self._left if one.part == part]
        self.harm.without_consent += not socketed and not self._consent
        self.harm.needless += not mine
        self._left = [one for one in self._left if one.part != part]
        if socketed:
            self.reseated(part, "swap")
        else:
            self._left = [
                one for one in self._left if not (one.site_kind in ("joint", "leg") and _of(one.site) == part)
            ]
        self._renewed()

    def tried(self, part: str) -> bool:
        """A known-good part was put in for a try, and the old one back: whether the machine then started as it should."""
        self.power_ups += 1
        self.harm.into_short += any(one.rail and one.pair for one in self._left)
        held = self._left
        self._left = [one for one in held if one.part != part]
        self._renewed()
        works = self.screen() == self._board.works
        self._left = held
        self._renewed()
        return works

    def pin_renewed(self, part: str, pin: str) -> None:
        """The socket, the leg or the land of one pin was renewed: whatever was bad inside the pin is gone."""
        self._left = [
            one for one in self._left if not (one.site_kind in _INSIDE and one.site.endswith(f"@{part}.{pin}"))
        ]
        self._renewed()

    def supply_replaced(self) -> None:
        """Another supply, a proven one."""
        self._left = [one for one in self._left if not (one.kind == "supply" and not one.pair)]
        self._renewed()

    # ---- for marking ----
    def faults(self) -> tuple[WholeFault, ...]:
        """All that was wrong: for marking, never for planning."""
        return self._all

    def left(self) -> tuple[WholeFault, ...]:
        """What still is: for marking, never for planning."""
        return tuple(self._left)

    # ---- inside ----
    def _cured(self, gone: Sequence[WholeFault], act: str, what: str) -> None:
        for one in gone:
            if self._rng(f"{act} {what} {one.site}").random() < self._cure[act]:
                self._left = [other for other in self._left if other is not one]
        self._renewed()

    def _renewed(self) -> None:
        self._powered.mended(self._keys())
        self._copper.changed(self._graph, self._truth())

    def _keys(self) -> list[Key]:
        return list(dict.fromkeys(one.key for one in self._left if one.key is not None))

    def _truth(self) -> Truth:
        broken = tuple(one.site for one in self._left if one.site)
        shorts = tuple((one.pair[0], one.pair[1]) for one in self._left if one.pair and not one.rail)
        return Truth(broken, shorts, noise=self._noise)

    def _bridged(self, one: WholeFault) -> bool:
        """Whether wires join the two ends of a broken site."""
        site = next((s for s in self._graph.sites if s.id == one.site), None) or self._board.graph.site(one.site)
        return self._copper.whole_between(site.a, site.b)

    def _way(self, point: str, pair: Sequence[str]) -> float:
        net = {p.id: p.net for p in self._board.graph.points}
        end = next((p for p in pair if net.get(p) == net.get(point)), "")
        if not end or end == point:
            return 0.0
        value = effective_ohm(self._board.graph, point, end).value
        return float(value) if np.isfinite(value) else 0.0

    def _rng(self, question: str) -> np.random.Generator:
        turn = self._turns.get(question, 0)
        self._turns[question] = turn + 1
        return np.random.default_rng([self._seed, 22, crc32(question.encode()), turn])


_WIRED = frozenset(("run", "barrel", "spoke", "joint", "contact", "leg"))
_INSIDE = frozenset(("joint", "contact", "leg"))


def _inside(one: WholeFault) -> bool:
    return one.content or (one.key is not None and bool(one.part))


def _of(site: str) -> str:
    return site.partition("@")[2].rpartition(".")[0]


@dataclass(frozen=True, slots=True)
class Cause:
    """A single fault that a patient can have, as the board's field lists it: simulation key, part it lies in ("" none), odds, words, sites of a span."""

    key: Key
    kind: str
    part: str
    role: str
    prior: float
    words: str
    sites: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Stock:
    """What faults are drawn from: ``causes`` of the field, ``site_odds`` (site id, site kind, chance, cause index) of sites that show under power,
    ``memories``, ``roms``, ``rail_parts`` (part, rail, points) that could short a rail."""

    causes: tuple[Cause, ...]
    sites: tuple[tuple[str, str, float, int], ...]
    memories: tuple[str, ...]
    roms: tuple[str, ...]
    rail_parts: tuple[tuple[int, str, tuple[str, str]], ...]
    bridges: tuple[tuple[int, tuple[str, str]], ...]
    supplies: tuple[int, ...]


def draw_whole(stock: Stock, seed: int, count: int, turn: int = 0) -> tuple[WholeFault, ...]:
    """``count`` faults (1 to 4) of kinds drawn evenly, within each kind by the odds; no two in one part. Refusal PRA-031."""
    if not 1 <= count <= 4:
        raise refuse("PRA-031", f"{count} faults cannot be drawn.", "Ask for 1 to 4.")
    rng = np.random.default_rng([seed, 20, turn])
    found: list[WholeFault] = []
    for _ in range(200):
        if len(found) == count:
            break
        one = _draw(stock, str(rng.choice(WHOLE_KINDS)), rng)
        taken = {(other.part or other.site or other.words) for other in found}
        if (
            one is not None
            and (one.part or one.site or one.words) not in taken
            and not (one.rail and any(o.rail for o in found))
        ):
            found.append(one)
    return tuple(found)


def _draw(stock: Stock, kind: str, rng: np.random.Generator) -> WholeFault | None:
    if kind in ("copper", "joint", "contact"):
        if kind == "copper" and stock.bridges and rng.random() < BRIDGE_SHARE:
            k, pair = stock.bridges[int(rng.integers(len(stock.bridges)))]
            return WholeFault(kind, stock.causes[k].words, stock.causes[k].key, pair=pair)
        wanted = {"copper": ("run", "barrel", "spoke"), "joint": ("joint",), "contact": ("contact", "leg")}[kind]
        rows = [row for row in stock.sites if row[1] in wanted]
        if not rows:
            return None
        odds = np.array([row[2] for row in rows])
        site, site_kind, _, k = rows[int(rng.choice(len(rows), p=odds / odds.sum()))]
        return WholeFault(kind, f"{site_kind} {site} broken", stock.causes[k].key, site, site_kind)
    if kind == "supply":
        if stock.rail_parts and rng.random() < SHORTED_SHARE:
            k, rail, pair = stock.rail_parts[int(rng.integers(len(stock.rail_parts)))]
            one = stock.causes[k]
            return WholeFault(kind, one.words, one.key, part=one.part, pair=pair, rail=rail)
        if not stock.supplies:
            return None
        one = stock.causes[int(rng.choice(stock.supplies))]
        return WholeFault(kind, one.words, one.key)
    return _part_fault(stock, kind, rng)


def _part_fault(stock: Stock, kind: str, rng: np.random.Generator) -> WholeFault | None:
    special = {"memory": stock.memories, "rom": stock.roms}.get(kind, ())
    if special and rng.random() < CONTENT_SHARE:
        part = str(rng.choice(special))
        return WholeFault(kind, f"{part} has bad cells", part=part, content=True)
    apart = {*stock.memories, *stock.roms}
    shorting = {k for k, _, _ in stock.rail_parts}
    rows = [
        one
        for k, one in enumerate(stock.causes)
        if one.kind == "part" and k not in shorting
        and (one.part in special if special else one.part not in apart and (one.role == "chip") == (kind == "chip"))
    ]  # fmt: skip
    if special:
        rows = [one for one in rows if one.key[0] in ("float", "low", "high")]
    if not rows:
        return None
    odds = np.array([one.prior for one in rows])
    one = rows[int(rng.choice(len(rows), p=odds / odds.sum()))]
    return WholeFault(kind, one.words, one.key, part=one.part)
