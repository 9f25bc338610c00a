"""Why a unit is a suspect, in words: which evidence speaks for it and against it, and what would clear it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from coppermend.core.belief.suspects.field import Field, Floats, widened_rows
from coppermend.core.belief.suspects.hands import Effect, Worked
from coppermend.core.belief.suspects.posterior import (
    Apart,
    Beep,
    Look,
    Observation,
    Odd,
    Renewed,
    Sink,
    Start,
    State,
    Swapped,
    Warmth,
    Witness,
    log_likelihood,
    spot_likelihoods,
)
from coppermend.core.belief.suspects.starts import Starts, Tally
from coppermend.core.belief.suspects.table import OUTCOMES

TOP = 4096
PICTURE_PARTS = 6
"""Parts of a thermal picture that its sentence names."""
SPEAKS = 1.5
"""Evidence speaks for a unit when it makes it this many times likelier (against: less likely)."""
_SEEN = {
    "low": "low",
    "high": "high",
    "pulsing": "pulsing",
    "wrong": "moving, but not as expected",
    "floating": "floating",
}
WORKED = {
    "reseat": "reseated",
    "press": "pressed down",
    "clean": "contacts cleaned",
    "swap": "its socket wiped by a swap",
}
_ODD = {
    "runts": "shows runts or glitches",
    "early": "lets the reset go too early",
    "late": "lets the reset go too late",
}


@dataclass(frozen=True, slots=True)
class Reason:
    """One piece of evidence and how many times likelier it makes a unit (below 1: less likely)."""

    words: str
    factor: float
    entry: str


@dataclass(frozen=True, slots=True)
class Suspect:
    """A unit of repair: its probability, its likeliest fault in words, what speaks for and against it, what would clear it."""

    unit: str
    kind: str
    p: float
    words: str
    part: str
    net: str
    sites: tuple[str, ...]
    pro: tuple[Reason, ...]
    con: tuple[Reason, ...]
    clears: str


def suspects(state: State, most: int = 8, least: float = 0.005) -> tuple[Suspect, ...]:
    """The likeliest units with their reasons, best first; none below ``least``."""
    made = state.field
    p = state.units()
    causes = state.causes()
    view = _Top(state)
    found = []
    for k in np.argsort(-p, kind="stable")[:most].tolist():
        if p[k] < least:
            break
        mine = np.flatnonzero(made.unit_of == k)
        cause = made.causes[int(mine[np.argmax(causes[mine])])]
        holds = view.holds(mine)
        pro, con = view.reasons(holds)
        found.append(
            Suspect(
                made.units[k],
                cause.kind,
                float(p[k]),
                cause.words,
                cause.part,
                cause.net,
                cause.sites,
                pro,
                con,
                view.clears(holds, float(p[k])),
            )
        )
    return tuple(found)


class _Top:
    """The likeliest sets, and how likely each makes every piece of evidence."""

    def __init__(self, state: State) -> None:
        self.state = state
        made = state.field
        w = state.weights
        which = np.sort(np.argpartition(-w, TOP)[:TOP]) if len(w) > TOP else np.arange(len(w))
        self.members = made.main.members[which]
        self.weights = w[which]
        self.logs = [log_likelihood(made, made.main, one)[which] for one in state.evidence]
        self.symbols = made.main.picked(which, len(made.spots))
        if state.wide is not None:
            width = max(self.members.shape[1], state.wide.members.shape[1])
            self.members = np.concatenate([widened_rows(self.members, width), widened_rows(state.wide.members, width)])
            self.weights = np.concatenate([self.weights, state.wide_weights])
            self.logs = [
                np.concatenate([a, log_likelihood(made, state.wide, one)])
                for a, one in zip(self.logs, state.evidence, strict=True)
            ]
            every = np.arange(len(state.wide.members))
            self.symbols = np.concatenate([self.symbols, state.wide.picked(every, len(made.spots))], axis=1)
        self.every = symbol_mass(self.symbols, self.weights)

    def _pieces(self) -> list[tuple[Observation, Floats]]:
        """Each piece of evidence with what it says of the sets, log; all that one thermal picture says as one piece."""
        pieces: list[tuple[Observation, Floats]] = []
        pictures: dict[str, int] = {}
        for one, logs in zip(self.state.evidence, self.logs, strict=True):
            if isinstance(one, (Renewed, Worked)):
                continue
            at = pictures.get(one.entry) if isinstance(one, Warmth) else None
            if at is not None:
                pieces[at] = (pieces[at][0], pieces[at][1] + logs)
                continue
            if isinstance(one, Warmth):
                pictures[one.entry] = len(pieces)
            pieces.append((one, logs))
        return pieces

    def _words(self, one: Observation) -> str:
        if not isinstance(one, Warmth):
            return observation_words(self.state.field, one)
        return picture_words([w for w in self.state.evidence if isinstance(w, Warmth) and w.entry == one.entry])

    def holds(self, causes: NDArray[np.int64]) -> NDArray[np.bool_]:
        """Which of the sets hold one of these causes."""
        return np.asarray(np.isin(self.members, causes.astype(np.int32)).any(axis=1))

    def reasons(self, holds: NDArray[np.bool_]) -> tuple[tuple[Reason, ...], tuple[Reason, ...]]:
        """Evidence for and against, strongest first: its mean likelihood with the unit over that without, all other evidence kept.

        A thermal picture is one piece of evidence: of ten parts that are cold together each alone would say nothing beside the nine others.
        """
        pro, con = [], []
        for one, logs in self._pieces():
            without = np.log(np.maximum(self.weights, 1e-300)) - logs
            without = np.exp(without - without.max())
            yes, no = without[holds].sum(), without[~holds].sum()
            if yes <= 0 or no <= 0:
                continue
            factor = float((self.weights[holds].sum() / yes) / max(1e-300, self.weights[~holds].sum() / no))
            if factor >= SPEAKS:
                pro.append(Reason(self._words(one), factor, one.entry))
            elif factor <= 1.0 / SPEAKS:
                con.append(Reason(self._words(one), factor, one.entry))
        pro.sort(key=lambda r: -r.factor)
        con.sort(key=lambda r: r.factor)
        return tuple(pro[:6]), tuple(con[:6])

    def clears(self, holds: NDArray[np.bool_], p: float) -> str:
        """The look whose answer speaks most against the unit."""
        made = self.state.field
        shares = with_and_without(self.symbols, self.weights, holds, self.every)
        if shares is None or p <= 0.0:
            return ""
        like = spot_likelihoods(made, True)
        yes, no = (np.asarray(np.einsum("ks,kso->ko", one, like), dtype=np.float64) for one in shares)
        both = p * yes + (1 - p) * no
        gain = _entropy(both) - p * _entropy(yes) - (1 - p) * _entropy(no)
        k = int(np.argmax(gain))
        if gain[k] < 1e-3:
            return "no look at a pin tells it from the others"
        o = int(np.argmax(np.where(no[k] > yes[k], no[k] * np.log((no[k] + 1e-9) / (yes[k] + 1e-9)), -1.0)))
        return f"{place_words(made, made.spots[k].net, made.spots[k].node)} {_SEEN[OUTCOMES[o]]} would speak against it"


def symbol_mass(symbols: NDArray[np.uint8], weights: Floats) -> Floats:
    """Weight of the sets that show each symbol at each spot, (spots, 6), of symbols (spots, sets) and weights (sets).

    >>> symbol_mass(np.array([[0, 2, 2]], np.uint8), np.array([0.5, 0.25, 0.25])).tolist()
    [[0.5, 0.0, 0.5, 0.0, 0.0, 0.0]]
    """
    index = np.arange(len(symbols))[:, None] * 6 + np.minimum(symbols, 5)
    mass = np.bincount(
        index.ravel(), weights=np.broadcast_to(weights, symbols.shape).ravel(), minlength=len(symbols) * 6
    )
    return np.asarray(mass.reshape(len(symbols), 6), dtype=np.float64)


def with_and_without(
    symbols: NDArray[np.uint8], weights: Floats, holds: NDArray[np.bool_], every: Floats
) -> tuple[Floats, Floats] | None:
    """P(symbol) at each spot, (spots, 6), among the sets that hold a unit and among the others; nothing where either weigh nothing.

    ``every`` is the `symbol_mass` of all sets: only the lighter part is counted, the other is what is left, which is then never small beside its rounding.

    >>> symbols, weights = np.array([[0, 2, 2]], np.uint8), np.array([0.5, 0.25, 0.25])
    >>> yes, no = with_and_without(symbols, weights, np.array([False, True, False]), symbol_mass(symbols, weights))
    >>> float(yes[0, 2]), float(no[0, 0].round(6))
    (1.0, 0.666667)
    """
    yes, no = float(weights[holds].sum()), float(weights[~holds].sum())
    if yes <= 0.0 or no <= 0.0:
        return None
    few = holds if yes <= no else ~holds
    counted = symbol_mass(symbols[:, few], weights[few])
    rest = np.maximum(every - counted, 0.0)
    return (counted / yes, rest / no) if yes <= no else (rest / yes, counted / no)


def _entropy(p: Floats) -> Floats:
    return np.asarray(-(p * np.log2(np.maximum(p, 1e-300))).sum(axis=1), dtype=np.float64)


def place_words(made: Field, net: str, node: int) -> str:
    """A place as a person says it: the pins there, or the net."""
    taps = sorted(pin for pin, at in made.behaviour.trees[net].taps.items() if at == node)
    names = made.memo.get("place names", {}).get((net, node))
    return str(names) if names else f"{taps[0]} ({net})" if taps else f"net {net}"


def tally_words(one: Tally) -> str:
    """Counted starts in words.

    >>> tally_words(Tally("freeze spray", "U1", 0, 5))
    '0 of 5 starts good (freeze spray on U1)'
    """
    how = " on ".join(filter(None, (one.condition, one.part)))
    return f"{one.good} of {one.of} starts good{f' ({how})' if how else ''}"


def picture_words(said: Sequence[Warmth]) -> str:
    """What a thermal picture says of its parts, as one sentence.

    >>> picture_words([Warmth("U1", "cold"), Warmth("U22", "cold"), Warmth("U9", "hot")])
    'the thermal picture: U1, U22 cold that should be warm; U9 hot'
    >>> picture_words([Warmth("U1", "even"), Warmth("U2", "even")])
    'the thermal picture: U1, U2 as warm as expected'
    """
    words = {"cold": "cold that should be warm", "hot": "hot", "even": "as warm as expected"}
    rows = {key: [one.part for one in said if one.verdict == key] for key in words}
    told = []
    for key, parts in rows.items():
        if parts and (key != "even" or not (rows["cold"] or rows["hot"])):
            more = f" and {len(parts) - PICTURE_PARTS} more" if len(parts) > PICTURE_PARTS else ""
            told.append(f"{', '.join(parts[:PICTURE_PARTS])}{more} {words[key]}")
    if len(said) == 1 and said[0].words:
        return f"the thermal picture: {said[0].part} {said[0].words}"
    return f"the thermal picture: {'; '.join(told)}"


def observation_words(made: Field, one: Observation) -> str:
    """A piece of evidence in words."""
    if isinstance(one, Look):
        k = made.spot_at.get((one.net, one.node))
        where = place_words(made, one.net, one.node)
        if k is not None and made.spots[k].rail:
            said = {"high": "has its voltage", "low": "is too low", "floating": "has no voltage"}
            if made.spots[k].ground:
                said = {"low": "is at ground", "floating": "is not at ground", "high": "is not at ground"}
            return f"{where} {said.get(OUTCOMES[one.outcome], 'moves')}"
        right = one.judged and OUTCOMES[one.outcome] == "pulsing"
        return f"{where} {'moves as expected' if right else 'is ' + _SEEN[OUTCOMES[one.outcome]]}"
    if isinstance(one, Beep):
        a, b = place_words(made, one.net, one.node_a), place_words(made, one.net, one.node_b)
        return f"{a} to {b} {'beeps' if one.closed else 'is open'}"
    if isinstance(one, Apart):
        return f"nets {one.net_a} and {one.net_b} {'are joined' if one.joined else 'are apart'}"
    if isinstance(one, Start):
        return (
            "it does not start as it should" if one.screen < 0 else f"the start shows: {made.screens[one.screen].words}"
        )
    if isinstance(one, Sink):
        return (
            f"the millivolts of net {one.net} lead to {one.pin}"
            if one.pin
            else f"no pin of net {one.net} stands out in millivolts"
        )
    if isinstance(one, Swapped):
        return f"with another {one.part} it {'starts' if one.started else 'is as before'}"
    if isinstance(one, Warmth):
        return f"{one.part} {one.words or one.verdict}"
    if isinstance(one, Witness):
        return one.words
    if isinstance(one, Starts):
        return "; ".join(tally_words(t) for t in one.tallies)
    if isinstance(one, Odd):
        return f"{place_words(made, one.net, one.node)} {_ODD[one.odd]}"
    if isinstance(one, Effect):
        how = {"press": "pressing", "tap": "tapping", "piggyback": "a good chip held on top of"}[one.act]
        where = f"{one.part} at pin {', '.join(one.pins)}" if one.pins else one.part or ", ".join(one.sites)
        return f"{how} {where} {'changes what it shows' if one.seen else 'changes nothing'}"
    if isinstance(one, Worked):
        where = f"{one.part} pin {', '.join(one.pins)}" if one.pins else one.part
        return f"{where}: {WORKED[one.act]}"
    return f"{one.part} was renewed"
