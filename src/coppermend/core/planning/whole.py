"""The next step of a whole repair: copper, gate, power, looks, tests, mending, asking the owner, or a way to go on, chosen among all of them.

The order is safety first (a shorted rail is found before anything is switched on), then what is named is mended, then the copper that can be proven
without power, then power behind its gate, then looks; with power on it is looked on for further faults as long as that is likely to save a power-up.
Nothing that cannot be undone is chosen without the owner's consent: the choice is then to ask. Where nothing can be told apart any more, ``GO_ON`` names
what is left to try, cheapest and least harmful first.
"""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass, replace

import numpy as np

from coppermend.core.belief.suspects.field import padded
from coppermend.core.belief.suspects.posterior import Start, State, Verdict, evidence_logs, verdict
from coppermend.core.belief.suspects.starts import Starts
from coppermend.core.planning.suspects_next import SuspectStep, with_risk


@dataclass(frozen=True, slots=True)
class WorkTimes:
    """Modelled seconds of work that the cost table of readings does not hold; assumptions, no source."""

    solder_s: float = 60.0
    """Soldering one joint again."""
    clear_s: float = 60.0
    """Taking solder or dirt from between two pins."""
    replace_chip_s: float = 900.0
    """Taking a soldered chip out and putting another one in."""
    replace_small_s: float = 300.0
    """The same for a part of two or three legs."""
    clean_s: float = 120.0
    """Taking a part out of its socket, wiping contacts and legs, putting it back."""
    renew_pin_s: float = 600.0
    """Renewing the contact of a socket, a leg or a torn land."""
    supply_s: float = 120.0
    """Taking another supply."""
    memory_test_s: float = 120.0
    """A memory test of the whole of it, from a good ROM."""
    rom_read_s: float = 120.0
    """Taking a ROM out, reading it in a reader, putting it back."""
    ask_s: float = 300.0
    """Asking the owner."""
    glance_s: float = 15.0
    """A look at a part that was just fitted: notch, stripe, solder."""
    ohms_s: float = 10.0
    """One reading by four wires, both tips set."""


TIMES = WorkTimes()
MORE = 0.2
"""A look that only settles what else is about to be named is taken from this chance on that there is something (our choice)."""
SESSION_S = 370.0
"""What a further session with power on costs: off and on, the gate, and about four minutes of looks over again, because a mend makes readings worthless
(modelled; the looks after a mend took 5 to 8 min in practice runs). What else is wrong is looked for as long as naming it takes less than that, times the
chance that there is something."""
WEAR_S = 120.0
"""What sparing one more power-up of a board with faults is worth beside its own seconds: inrush current and heat into what is already ill (an assumption)."""
LOOK_ON_READINGS = 60
"""So many readings beyond the first name at most, in one session with power on; a wave counts each of its points (our choice)."""
GO_ON_BELOW = 0.3
"""Looks that tell less than so many bits a minute are weighed against what ``GO_ON`` names (our choice)."""
NOT_WORTH = 0.05
"""Looks that tell less than so many bits a minute are not taken while anything of ``GO_ON`` is left (our choice)."""
GO_ON = ("rom", "memory", "round", "reseat", "swap", "likeliest", "ask", "other hands")
"""What is left to try where nothing can be told apart: read the ROMs out, test the memory, prove the copper of the areas, reseat and swap what is loose,
replace what is likeliest, ask the owner, hand the board to somebody else."""


@dataclass(frozen=True, slots=True)
class Named:
    """A unit that is to be mended. ``act`` wire, pin, clear, swap, replace, supply; ``seconds`` of the work; ``consent`` "" or the act that the owner has to
    agree to first; ``affordable`` within the owner's limit."""

    unit: str
    p: float
    act: str
    seconds: float
    consent: str = ""
    affordable: bool = True


@dataclass(frozen=True, slots=True)
class Situation:
    """The bench as the choice sees it.

    ``copper`` kind of the copper's own next step; ``power_first`` why the round waits until a start was seen, "" where it goes first; ``shorted`` a
    rail that reads shorted, ``gate_open`` whether power may be put on; ``powered`` it is on; ``seen`` what the start since the last repair showed:
    "", "works", or else; ``tests`` what is still to be tested before it works for good, or what a machine that starts and then fails can test itself;
    ``named`` units to be mended; ``more`` the chance that something beyond them is wrong, ``more_bits`` what naming it takes; ``looks`` ranked steps,
    best first; ``looked_on`` readings taken since the first name; ``ways`` what of ``GO_ON`` can be done; ``unproven`` stretches that were mended and
    not read since; ``rom_per_minute`` bits a minute of reading the next ROM out.
    """

    copper: str
    shorted: str = ""
    stop: str = ""
    gate_open: bool = False
    powered: bool = False
    seen: str = ""
    tests: tuple[str, ...] = ()
    named: tuple[Named, ...] = ()
    more: float = 0.0
    more_bits: float = 0.0
    looks: tuple[SuspectStep, ...] = ()
    looked_on: int = 0
    ways: tuple[str, ...] = ()
    power_first: str = ""
    unproven: tuple[str, ...] = ()
    rom_per_minute: float = 0.0


@dataclass(frozen=True, slots=True)
class Choice:
    """What to do: ``kind`` short, prove, mend, ask, copper, gate, power, look, test, done or one of ``GO_ON``; ``which`` index into the situation's list; why."""

    kind: str
    why: str
    which: int = 0


BY_HAND = ("reseat", "solder", "clean", "renew")
"""What is tried on a pin whose socket contact, leg or joint is open, quick before slow (common practice, no source)."""


def hand_act(kinds: Collection[str], done: Collection[str]) -> str:
    """What to do next to a pin: ``kinds`` of the sites that may be open there (joint, contact, leg), ``done`` what was tried since it was named.

    >>> hand_act({"contact", "joint"}, ()), hand_act({"contact", "joint"}, {"reseat"}), hand_act({"joint"}, {"solder"})
    ('reseat', 'solder', 'renew')
    >>> hand_act({"contact"}, {"reseat"})
    'clean'
    """
    loose = bool({"contact", "leg"} & set(kinds))
    helps = {"reseat": loose, "clean": loose, "solder": "joint" in kinds, "renew": True}
    return next((one for one in BY_HAND if helps[one] and one not in done), "renew")


COPPER_WORK = ("area", "check", "retest", "isolation", "ohms", "patch", "short", "reseat", "solder", "look", "cut")
"""Kinds of the copper's own steps that are work without power."""
REST = "rest"
"""What is left of the round once a start was seen: what a mend has opened again, and pairs that belong apart. It is read when looks tell no more, or once the
machine works; the proof of a mend itself comes at once."""


def chosen(now: Situation) -> Choice:
    """The step to take now.

    >>> chosen(Situation("check")).kind, chosen(Situation("done", shorted="VCC")).kind, chosen(Situation("done")).kind
    ('copper', 'short', 'gate')
    >>> chosen(Situation("done", gate_open=True)).kind, chosen(Situation("done", seen="works")).kind
    ('power', 'done')
    >>> chosen(Situation("done", seen="blank", named=(Named("part U9", 0.99, "replace", 900.0, "unsolder"),))).kind
    'ask'
    """
    if now.shorted:
        return Choice("short", f"{now.shorted} reads shorted to ground: nothing is switched on until that is found.")
    if now.seen == "works":
        if now.tests:
            return Choice("test", "It starts; whether all of it works is shown by its tests.")
        if now.copper in (*COPPER_WORK, REST):
            return Choice("copper", "It works; what is left of the round proves the rest of the copper.")
        return Choice("done", "It starts as it should and its tests passed.")
    if not now.seen and now.unproven:
        why = f"{now.unproven[0]} was mended: a reading across it shows whether it holds, before power does."
        return Choice("prove", why)
    if now.named:
        return _with_names(now)
    if not now.seen and now.copper in COPPER_WORK and not now.power_first:
        return Choice("copper", "What can be proven without power is proven before the next power-up.")
    if not now.seen and not now.stop and saves_a_session(now):
        words = f"Power is off as it is, and something beyond what was mended is wrong with {100 * now.more:.0f} %: found now, it saves a power-up."
        return Choice("look", words)
    if not now.seen:
        return _before_power(now)
    if now.tests:
        return Choice("test", "It starts far enough to test itself, which tells memory from all else.")
    if (
        now.rom_per_minute > 0.0
        and now.looks
        and not now.looks[0].rivals
        and now.rom_per_minute > now.looks[0].gain_per_minute
    ):
        return Choice(
            "rom",
            "All that was looked at is about right: what a ROM holds shows at no pin, and reading it out tells more for its time.",
        )
    if now.looks and (tells(now.looks[0], GO_ON_BELOW) or not now.ways):
        return Choice("look", "Nothing is named yet; this tells most for its time.")
    if now.ways:
        return Choice(now.ways[0], "Looks tell little more; this is the least that is left to try.")
    return Choice("other hands", "Nothing is left to try within the owner's limits.")


UNPOWERED = ("check", "apart", "reseat", "inspect")
"""Kinds of looks that are taken with the power off."""


def saves_a_session(now: Situation) -> bool:
    """Whether looking for what else is wrong goes on: naming it at the best look's rate takes less than a further session and its power-up would, times the
    chance that there is something."""
    if not now.looks or now.more <= 0.0 or now.looked_on >= LOOK_ON_READINGS:
        return False
    look = now.looks[0]
    rate = 60.0 * now.more_bits / (now.more * (SESSION_S + WEAR_S))
    return look.gain_per_minute >= rate or (bool(look.rivals) and now.more >= MORE)


def sparing(looks: Sequence[SuspectStep], powered: bool) -> tuple[SuspectStep, ...]:
    """The looks ranked anew, with ``WEAR_S`` as a risk of those that take a further power-up: a swap for a try, power off for a check while it is on, power on
    for a look while it is off. One that comes first and takes none stays first.

    >>> look, check = SuspectStep("look", (), 12.0, 0.5, score=0.05), SuspectStep("check", (), 50.0, 1.5, score=0.06)
    >>> [one.kind for one in sparing((check, look), True)], [one.kind for one in sparing((check, look), False)]
    (['look', 'check'], ['check', 'look'])
    """
    if not looks or looks[0].rivals:
        return tuple(looks)
    costly = [one.kind == "swap" or (one.kind in UNPOWERED) == powered for one in looks]
    made = [with_risk(one, one.risk_s + WEAR_S) if more else one for one, more in zip(looks, costly, strict=True)]
    first = 0 if costly[0] else 1
    return (*made[:first], *sorted(made[first:], key=lambda one: -one.score))


def tells(look: SuspectStep, bits_per_minute: float) -> bool:
    """Whether a look is worth its time: by what it tells, or because it settles what is about to be named."""
    return bool(look.rivals) or look.gain_per_minute >= bits_per_minute


def _with_names(now: Situation) -> Choice:
    """Mend what is named, or look on first."""
    if now.powered and now.seen != "" and saves_a_session(now):
        words = f"Something beyond what is named is wrong with {100 * now.more:.0f} %: found now, it saves a power-up."
        return Choice("look", words)
    which = min(range(len(now.named)), key=lambda k: (now.named[k].consent != "", now.named[k].seconds))
    one = now.named[which]
    if one.consent:
        return Choice(
            "ask",
            f"{one.unit} has to be mended by what cannot be undone ({one.consent}): the owner has to agree first.",
            which,
        )
    if not one.affordable:
        return Choice("ask", f"{one.unit} costs more than the owner's limit leaves.", which)
    return Choice("mend", f"{one.unit} is at fault with {100 * one.p:.0f} %.", which)


def _before_power(now: Situation) -> Choice:
    if now.stop:
        return Choice("short", now.stop)
    if not now.gate_open:
        return Choice("gate", now.power_first or "Before power.")
    return Choice("power", now.power_first or "See what it does.")


# ---- what no pin shows ----
CONTENT = 0.1
"""How likely bad cells of a ROM or memory are what is wrong, before anything is seen (an assumption)."""


def content_chance(state: State) -> float:
    """How likely it is that nothing is wrong but what chips hold, which shows at no pin: all levels and readings as on a sound board, the start not."""
    seen = [one for one in state.evidence if not isinstance(one, (Start, Starts))]
    made = state.field
    none = made.remembered(padded([()]))
    sound = float(evidence_logs(made, none, seen)[0]) - np.log(max(2, len(made.screens)))
    if "prior mass" not in made.memo:
        made.memo["prior mass"] = float(np.logaddexp.reduce(made.main.prior))
    faulty = state.log_evidence - float(made.memo["prior mass"])
    odds = np.exp(min(50.0, sound - faulty)) * CONTENT / (1.0 - CONTENT)
    return float(odds / (1.0 + odds))


def binary_bits(p: float) -> float:
    """Entropy of a yes or no, in bits.

    >>> binary_bits(0.5), binary_bits(0.0)
    (1.0, 0.0)
    """
    q = 1.0 - p
    return 0.0 if p <= 0.0 or q <= 0.0 else float(-p * np.log2(p) - q * np.log2(q))


# ---- several names from one belief ----
def beyond(state: State, units: Sequence[str]) -> State:
    """The belief about everything else, given that these units are at fault: only sets that hold a cause of each are kept, and their own causes count no
    more. Without such a set the belief as it is."""
    made = state.field
    numbers = [made.units.index(one) for one in units if one in made.units]
    if not numbers:
        return state
    of = np.append(made.unit_of, -1)
    kept = [weights * _holding(of[members], numbers) for members, weights in _blocks(state)]
    total = sum(float(one.sum()) for one in kept)
    if total <= 0.0:
        return state
    main = kept[0] / total
    wide = kept[1] / total if len(kept) > 1 else state.wide_weights
    found = replace(state, weights=main, wide_weights=wide, memo={}, _causes=None)
    causes = found.causes().copy()
    causes[np.isin(made.unit_of, numbers)] = 0.0
    found._causes = causes
    return found


def _blocks(state: State) -> list[tuple[np.ndarray, np.ndarray]]:
    rows = [(state.field.main.members, state.weights)]
    if state.wide is not None and len(state.wide_weights):
        rows.append((state.wide.members, state.wide_weights))
    return rows


def _holding(units: np.ndarray, numbers: Sequence[int]) -> np.ndarray:
    held = np.ones(len(units), dtype=bool)
    for one in numbers:
        held &= (units == one).any(axis=1)
    return held


def more_wrong(state: State, units: Sequence[str]) -> float:
    """The chance that some other unit is at fault, too, given these are."""
    made = state.field
    numbers = np.array([made.units.index(one) for one in units if one in made.units], dtype=np.int64)
    of = np.append(made.unit_of, -1)
    alone = total = 0.0
    for members, weights in _blocks(state):
        live = np.flatnonzero(weights > 1e-9)
        rows = of[members[live]]
        only = (np.isin(rows, numbers) | (rows < 0)).all(axis=1)
        alone += float(weights[live][only].sum())
        total += float(weights[live].sum())
    return 1.0 - alone / max(total, 1e-300)


def naming_bits(state: State, more: float) -> float:
    """What naming one more unit takes, in bits: the entropy of which unit it is, or that there is none (with 1 - ``more``)."""
    p = state.units()
    total = float(p.sum())
    shares = np.append(p * (more / total), 1.0 - more) if total > 0.0 else np.array([1.0])
    shares = shares[shares > 0.0]
    return float(-(shares * np.log2(shares)).sum())


MOST_NAMES = 5


def names_of(state: State) -> tuple[tuple[tuple[str, float], ...], State]:
    """The units beyond doubt, one after the other, each given the ones before; and the belief about everything else."""
    found: list[tuple[str, float]] = []
    rest = state
    while len(found) < MOST_NAMES:
        said: Verdict = verdict(rest)
        if not said.stands:
            break
        found.append((said.unit, said.p))
        rest = beyond(state, [unit for unit, _ in found])
        if rest is state:
            break
    return tuple(found), rest
