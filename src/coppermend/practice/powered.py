"""The practice patient under power: a board with dead chips, stuck pins, broken copper, bridges or a missing rail, behind its answers.

The patient is simulated by itself, one fault set, with noise of its own: the rates are drawn per patient and told to nobody. Its randomness is
bound to the question, so that every policy meets the same patient. What a level at rest or a program-dependent net shows is drawn once a place.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from zlib import crc32

import numpy as np

from coppermend.core.circuit.planes import Behaviour, Key, Outcome, symbol_of_bits
from coppermend.core.findings import refuse

LOW, HIGH, RIGHT, WRONG, FLOATING, STEADY = range(6)
MISREAD_RANGE = (0.005, 0.04)
PATTERN_RANGE = (0.005, 0.05)
OPEN_RANGE = (0.005, 0.06)
CLOSED_RANGE = (0.001, 0.02)
BAD_PLACES, BAD_OPEN = 0.1, 0.3
"""One place in ten is oxidised, and reads open in three checks of ten although it conducts (the measures of the practice patients)."""


BIPOLAR_OPEN_V, LEAKAGE_A, PROBE_OHM, COUPLES = (1.3, 1.6), (1e-10, 1e-6), 1e7, 0.04
"""What an open line shows to a scope: the range a bipolar input holds it in, the leakage of the others, the probe, how often a neighbour couples in."""
PASSES = 0.2
"""How often pulses of another line (a neighbour's that couple in, a pin's that the tip slipped to) pass for the line's own when they are judged: they have
that line's frequency, order and too small an amplitude, so that a comparison mostly fails; on a bus it can hold (an assumption)."""


@dataclass(frozen=True, slots=True)
class Lies:
    """How often the readings of one patient are wrong: a level, a pattern's verdict, a check open by mistake, one closed by mistake; ``bad`` the share of
    places at which a tip bites badly."""

    level: float = 0.0
    pattern: float = 0.0
    beep: float = 0.0
    closed: float = 0.0
    bad: float = 0.0


def draw_lies(seed: int, off: bool = False) -> Lies:
    """The noise of patient ``seed``: rates log-uniform in 0.5-4 % (levels), 0.5-5 % (patterns), 0.5-6 % and 0.1-2 % (checks open, closed by mistake)."""
    if off:
        return Lies()
    rng = np.random.default_rng([seed, 12])
    ranges = (MISREAD_RANGE, PATTERN_RANGE, OPEN_RANGE, CLOSED_RANGE)
    level, pattern, beep, closed = (float(np.exp(rng.uniform(*np.log(r)))) for r in ranges)
    return Lies(level, pattern, beep, closed, BAD_PLACES)


def draw_causes(
    seed: int,
    odds: Sequence[float],
    kinds: Sequence[str],
    units: Sequence[str],
    wanted: str,
    count: int,
    uniform: bool = False,
    turn: int = 0,
) -> tuple[int, ...]:
    """``count`` causes of different units, by their odds (or evenly), of the wanted kind: any, copper (span, short) or parts (part, rail)."""
    allowed = {"any": ("part", "rail", "span", "short"), "copper": ("span", "short"), "parts": ("part", "rail")}.get(
        wanted
    )
    if allowed is None:
        raise refuse("PRA-030", f"There are no faults of the kind {wanted!r}.", "Say any, copper or parts.")
    weight = np.array([(1.0 if uniform else o) * (k in allowed) for o, k in zip(odds, kinds, strict=True)])
    if count < 1 or count > 3 or (weight > 0).sum() < count:
        raise refuse("PRA-031", f"{count} faults cannot be drawn.", "Ask for 1 to 3.")
    rng = np.random.default_rng([seed, 11, turn])
    chosen: list[int] = []
    while len(chosen) < count:
        k = int(rng.choice(len(weight), p=weight / weight.sum()))
        chosen.append(k)
        same = np.array([u == units[k] for u in units])
        weight = np.where(same, 0.0, weight)
    return tuple(chosen)


class PoweredPatient:
    """A broken board under power. ``causes``: the keys of its faults; ``loose``: nets that rest or move as the program has it."""

    def __init__(self, behaviour: Behaviour, causes: Sequence[Key], seed: int, lies: Lies) -> None:
        self._behaviour = behaviour
        self._causes = tuple(causes)
        self._seed = seed
        self._lies = lies
        self._asked: dict[str, int] = {}
        self._outcome = _simulate(behaviour, self._causes)

    def mended(self, causes: Sequence[Key]) -> None:
        """The bench mended something: these causes are left. What was asked before still counts as asked."""
        self._causes = tuple(causes)
        self._outcome = _simulate(self._behaviour, self._causes)

    def look(self, net: str, node: int, judged: bool) -> str:
        """What a probe at a place shows: low, high, pulsing, wrong, floating; at a rail: high, low (too low), floating (none)."""
        rng = self._rng(f"look {net} {node} {judged}")
        symbol = self._symbol(net, node)
        if net in self._behaviour.circuit.rails:
            low = self._sags(net) and symbol == HIGH
            return self._swapped(
                "low" if low else ("low", "high", "high", "high", "floating", "low")[symbol],
                0.3 * self._lies.level,
                rng,
            )
        at_rest = symbol == STEADY or (net in self._behaviour.loose and symbol in (RIGHT, WRONG))
        if at_rest:
            fixed = np.random.default_rng([self._seed, 13, crc32(net.encode())])
            symbol_word = str(fixed.choice(["low", "high"] if symbol == STEADY else ["low", "high", "pulsing"]))
        else:
            symbol_word = ("low", "high", "pulsing", "pulsing", "", "low")[symbol] or self._afloat(net, node)
        word = self._swapped("pulsing" if symbol_word == "wrong" else symbol_word, self._lies.level, rng)
        if word != "pulsing" or not judged:
            return word
        if symbol in (RIGHT, WRONG) or symbol_word in ("pulsing", "wrong"):
            wrong = symbol == WRONG or symbol_word == "wrong"
            if rng.random() < self._lies.pattern:
                wrong = not wrong
        else:
            wrong = rng.random() >= PASSES
        return "wrong" if wrong else "pulsing"

    def _afloat(self, net: str, node: int) -> str:
        """What a scope's 10:1 probe (10 megohm to ground) shows where nothing drives: the same all over the metal that hangs together; pulsing where a
        neighbour's pulses pass for the line's own, wrong where they do not.

        A bipolar input holds it at 1.3 to 1.6 V (TTL data books); without one some 0.1 nA to 1 microampere leak from NMOS and CMOS inputs, to either side
        (data sheets tell the most alone; the range is an assumption), and in one case of 25 a neighbour couples in.
        """
        groups = self._outcome.groups[net]
        here = groups[node]
        taps = self._behaviour.trees[net].taps
        nodes = [k for k in range(len(groups)) if groups[k] == here]
        rng = np.random.default_rng([self._seed, 16, crc32(f"{net} {nodes[0]}".encode())])
        if rng.random() < COUPLES:
            return "pulsing" if rng.random() < PASSES else "wrong"
        if any(bipolar and groups[taps.get(pin, 0)] == here for pin, bipolar in self._behaviour.bipolar_inputs(net)):
            volt = float(rng.uniform(*BIPOLAR_OPEN_V))
        else:
            leak = float(np.exp(rng.uniform(*np.log(LEAKAGE_A))))
            volt = min(5.0, leak * PROBE_OHM) if rng.random() < 0.5 else 0.0
        return "low" if volt <= 0.8 else "high" if volt >= 2.0 else "floating"

    def joined(self, net: str, path: Sequence[Key], places: Sequence[int] = ()) -> bool:
        """A continuity check over some spans between two ``places`` (nodes), power off: closed or not."""
        rng = self._rng(f"beep {net} {sorted(map(str, path))}")
        return self._beeps(not set(path) & set(self._causes), [(net, node) for node in places], rng)

    def bridged(self, shorts: Sequence[Key], places: Sequence[tuple[str, int]] = ()) -> bool:
        """An isolation check over some neighbours between two ``places`` (net, node), power off: joined or not; a cut between a tip and the bridge parts them."""
        rng = self._rng(f"apart {sorted(map(str, shorts))}")
        there = [key for key in shorts if key in self._causes]
        return self._beeps(any(self._reached(key, places) for key in there), places, rng)

    def _reached(self, key: Key, places: Sequence[tuple[str, int]]) -> bool:
        """Whether both places hang together with the ends of a bridge (or of a shorted part)."""
        trees, groups = self._behaviour.trees, self._outcome.groups
        if key[0] == "short":
            short = self._behaviour.shorts[int(key[2])]
            ends = {short.net_a: short.node_a, short.net_b: short.node_b}
        else:
            rows = self._behaviour.circuit.by_ref[str(key[1])].terminals
            ends = {t.net: trees[t.net].taps[t.id] for t in rows if t.net in trees and t.id in trees[t.net].taps}
        return all(groups[net][node] == groups[net][ends[net]] for net, node in places if net in ends)

    def _beeps(self, conducts: bool, places: Sequence[tuple[str, int]], rng: np.random.Generator) -> bool:
        """Whether two tips beep: by mistake closed, by mistake open, or open because one of them bites badly, each time anew."""
        if not conducts:
            return bool(rng.random() < self._lies.closed)
        bites = all(rng.random() >= BAD_OPEN for place in places if self._bad(place))
        return bites and bool(rng.random() >= self._lies.beep)

    def _bad(self, place: tuple[str, int]) -> bool:
        """Whether a tip bites badly at a place: the same for every tip and turn."""
        net, node = place
        return bool(np.random.default_rng([self._seed, 15, crc32(f"{net} {node}".encode())]).random() < self._lies.bad)

    def on_top(self, part: str) -> bool:
        """Whether something changes when a good part of the same kind is held on top of this one, power on."""
        kinds = {str(key[0]) for key in self._causes if str(key[1]).split(".")[0] == part}
        chance = 0.9 if kinds & {"float", "dried"} else 0.1 if kinds & {"low", "high", "stuck0", "stuck1"} else 0.02
        return bool(self._rng(f"top {part}").random() < chance)

    def lowest(self, net: str, pins: Sequence[str]) -> str:
        """The pin of a net that millivolts lead to, because it holds the net low or high; "" when none stands out. Half of the errors are the board's (too
        little current, a via on the way): they lead to one wrong answer for good."""
        rng = self._rng(f"sink {net}")
        holders = {str(key[1]) for key in self._causes if key[0] in ("stuck0", "stuck1")}
        dead = {str(key[1]) for key in self._causes if key[0] in ("low", "high")}
        driving = {t.id for t in self._behaviour.circuit.drivers(net)}
        true = [pin for pin in pins if pin in holders or (pin.split(".")[0] in dead and pin in driving)]
        answer = true[0] if true else ""
        board = np.random.default_rng([self._seed, 17, crc32(net.encode())])
        if board.random() < 2.5 * self._lies.level:
            answer = str(board.choice([one for one in (*pins, "") if one != answer]))
        if rng.random() < 2.5 * self._lies.level:
            return str(rng.choice([*pins, ""]))
        return answer

    def starts_with(self, part: str) -> bool:
        """Whether the machine starts with a known-good part in place of this one."""
        left = tuple(key for key in self._causes if not _inside(key, part))
        return self._rng(f"swap {part}").random() < 0.97 and not left

    def warmth(self, part: str, supplies: Sequence[tuple[str, int]], shares: Mapping[str, Sequence[float]]) -> str:
        """What a thermal picture says of a part: one of the verdicts of ``shares``, each P(verdict | healthy, fighting, dead, without supply).

        ``supplies`` the (net, node) of its supply pins; the noise lies in the shares, which both sides take from the belief's own table.
        """
        rng = self._rng(f"warmth {part}")
        circuit, shorts = self._behaviour.circuit, self._behaviour.shorts
        row = circuit.by_ref[part]
        nets = {t.net for t in row.terminals if t.net and t.net not in circuit.rails}
        state = 0
        for key in self._causes:
            inside = str(key[1]).split(".")[0] == part
            touched = key[0] == "short" and {shorts[int(key[2])].net_a, shorts[int(key[2])].net_b} & nets
            if inside and key[0] in ("float", "low", "high"):
                state = max(state, 2)
            elif touched or (inside and key[0] in ("stuck0", "stuck1")):
                state = max(state, 1)
        if any(self._symbol(net, node) == FLOATING for net, node in supplies):
            state = 3
        verdicts = list(shares)
        weight = np.array([shares[one][state] for one in verdicts])
        return str(rng.choice(verdicts, p=weight / weight.sum()))

    def screen(
        self, conditions: Sequence[tuple[Sequence[str], Sequence[str], Sequence[str], Sequence[str]]], works: int
    ) -> int:
        """The index of the first screen whose (still, moving, right, not_right) nets are so; ``works`` has no conditions but that all is right."""
        for k, (still, moving, right, not_right) in enumerate(conditions):
            if k == works:
                if self.all_right():
                    return k
                continue
            fine = not any(self._moves(n) for n in still) and all(self._moves(n) for n in moving)
            fine = fine and all(self._right(n) for n in right)
            if fine and (not not_right or not all(self._right(n) for n in not_right)):
                return k
        return len(conditions) - 1

    def all_right(self) -> bool:
        """Whether every chip gets what it should at every pin that it reads or is supplied by."""
        circuit = self._behaviour.circuit
        nets = [net for net in circuit.nets if net not in circuit.unknown_nets and len(circuit.nets[net]) > 1]
        return all(self._as_healthy(net, self._behaviour.listening(net)) for net in nets)

    def _as_healthy(self, net: str, nodes: Sequence[int]) -> bool:
        if self._sags(net) or self._lacks_a_share(net):
            return False
        return all(self._symbol(net, node) == self._behaviour.healthy_symbol(net) for node in nodes)

    def _sags(self, net: str) -> bool:
        """Whether a rail is too low, by its supply or a part across it."""
        low = self._outcome.low.get(net)
        return low is not None and bool(int(low[0]) & 1)

    def _lacks_a_share(self, net: str) -> bool:
        odd = self._outcome.odd.get(net)
        return odd is not None and bool(int(odd[0]) & 1)

    def _right(self, net: str) -> bool:
        """Whether a net does what decides the screen: a bus that merely lacks a port's share does."""
        nodes = self._behaviour.watched(net) if net in self._outcome.planes else ()
        return all(self._bits(self._outcome.at(net, n)) == self._behaviour.healthy_symbol(net) for n in nodes)

    def _moves(self, net: str) -> bool:
        nodes = self._behaviour.watched(net) if net in self._outcome.planes else ()
        return bool(nodes) and all(self._symbol(net, node) in (RIGHT, WRONG) for node in nodes)

    def _symbol(self, net: str, node: int) -> int:
        return self._bits(self._outcome.seen(net, node))

    @staticmethod
    def _bits(place: np.ndarray) -> int:
        return symbol_of_bits([int(plane[0]) & 1 for plane in place])

    def _swapped(self, word: str, rate: float, rng: np.random.Generator) -> str:
        if rng.random() >= rate:
            return word
        return str(rng.choice([w for w in ("low", "high", "pulsing", "floating") if w != word]))

    def _rng(self, question: str) -> np.random.Generator:
        turn = self._asked.get(question, 0)
        self._asked[question] = turn + 1
        return np.random.default_rng([self._seed, 14, crc32(question.encode()), turn])


def _inside(key: Key, part: str) -> bool:
    return str(key[1]).split(".")[0] == part and key[0] in (
        "float",
        "low",
        "high",
        "stuck0",
        "stuck1",
        "open",
        "hz",
        "shorted",
        "dried",
    )


def _simulate(behaviour: Behaviour, causes: Sequence[Key]) -> Outcome:
    one = np.full(1, 0xFFFFFFFFFFFFFFFF, np.uint64)
    return behaviour.simulate(dict.fromkeys(causes, one), 1)
