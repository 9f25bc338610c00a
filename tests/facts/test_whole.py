"""The choice among all acts of a whole repair, several names from one belief, and the technician who is measured beside it.

Order of safety and work is common practice, no source; the arithmetic of names is checked against the belief that it comes from.
"""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from dataclasses import dataclass, field, replace

import numpy as np
import pytest

from coppermend import bootstrap
from coppermend.core.belief.suspects.posterior import Look, Start, initial, observed
from coppermend.core.belief.suspects.table import FLOATING, PULSING, WRONG
from coppermend.core.circuit.examples import inverter_chain
from coppermend.core.circuit.planes import HIGH, LOW, RIGHT, Behaviour, whole_trees
from coppermend.core.planning.suspects_next import SuspectStep
from coppermend.core.planning.whole import (
    GO_ON,
    MORE,
    REST,
    SESSION_S,
    Choice,
    Named,
    Situation,
    beyond,
    chosen,
    content_chance,
    hand_act,
    more_wrong,
    naming_bits,
)
from coppermend.practice.technician import Manual, Place, technician
from coppermend.services.copperfirst import first_words
from coppermend.services.powered import PoweredBoard

CHIP = Named("part U9", 0.99, "replace", 900.0)
LOOK = SuspectStep("look", (("A0", 1),), 12.0, 1.0)
DULL = SuspectStep("look", (("A0", 1),), 12.0, 0.001)


def test_nothing_is_switched_on_over_a_short_or_a_closed_gate() -> None:
    kinds = ("check", "done", "power", "gate", REST)
    for copper, gate, seen in itertools.product(kinds, (False, True), ("", "blank", "works")):
        now = Situation(copper, shorted="VCC", gate_open=gate, seen=seen, named=(CHIP,), looks=(LOOK,))
        assert chosen(now).kind == "short"
    for copper in kinds:
        assert chosen(Situation(copper, gate_open=False)).kind != "power"
        assert chosen(Situation(copper, gate_open=True, stop="It smelled.")).kind != "power"


def test_what_cannot_be_undone_waits_for_the_owner() -> None:
    locked = Named("part U9", 0.99, "replace", 900.0, consent="unsolder")
    free = Named("part U1", 0.97, "swap", 1200.0)
    assert chosen(Situation("done", seen="blank", named=(locked,))).kind == "ask"
    assert chosen(Situation("done", seen="blank", named=(locked, free))) == Choice(
        "mend", "part U1 is at fault with 97 %.", 1
    )
    assert (
        chosen(Situation("done", seen="blank", named=(Named("part U9", 0.99, "replace", 9.0, affordable=False),))).kind
        == "ask"
    )


def test_looked_on_only_while_it_saves_a_session() -> None:
    """By hand: 1 bit in 12 s is 5 bits a minute. Two bits take 24 s: less than half of the 370 + 120 s of a further session and its power-up, about a twentieth
    of them."""
    on = Situation("done", powered=True, seen="blank", named=(CHIP,), looks=(LOOK,), more=0.5, more_bits=2.0)
    assert LOOK.gain_per_minute == pytest.approx(5.0) and SESSION_S == 370.0
    assert chosen(on).kind == "look"
    assert chosen(replace(on, more=0.04)).kind == "mend"
    assert chosen(replace(on, more=0.0, more_bits=0.0)).kind == "mend", "a test told it all"
    assert chosen(replace(on, more_bits=21.0)).kind == "mend", "21 bits take 252 s, more than half of 490 s"
    assert chosen(replace(on, looks=(DULL,))).kind == "mend"
    assert chosen(replace(on, powered=False)).kind == "mend"
    assert chosen(replace(on, looked_on=99)).kind == "mend"


def test_what_settles_a_name_is_looked_at_from_some_chance_on() -> None:
    on = Situation("done", powered=True, seen="blank", named=(CHIP,), more=MORE, more_bits=9.0)
    assert chosen(replace(on, looks=(replace(DULL, rivals=("part U9",)),))).kind == "look"
    assert chosen(replace(on, looks=(replace(DULL, rivals=("part U9",)),), more=MORE / 2)).kind == "mend"


def test_while_power_is_off_for_a_mend_the_copper_that_may_be_open_is_read_first() -> None:
    """All that was named is mended: a check that may save the next session comes before the gate, not before what is still named, nor after a stop."""
    off = Situation(REST, looks=(replace(LOOK, kind="check"),), more=0.5, more_bits=2.0)
    assert chosen(off).kind == "look" and "power-up" in chosen(off).why
    assert chosen(replace(off, more=0.04)).kind == "gate"
    assert chosen(replace(off, named=(CHIP,))).kind == "mend"
    assert chosen(replace(off, stop="It smelled.")).kind == "short"
    assert chosen(replace(off, copper="check")).kind == "copper"


def test_naming_takes_the_entropy_of_what_else_it_may_be(demo_powered: PoweredBoard) -> None:
    """One chance in two that there is something: 1 bit whether, and half of the bits which (the chain rule of entropy, Shannon 1948)."""
    state = initial(demo_powered.field)
    p = state.units()
    which = -(p / p.sum() * np.log2(p / p.sum())).sum()
    assert naming_bits(state, 0.5) == pytest.approx(1.0 + 0.5 * which)
    assert naming_bits(state, 0.0) == 0.0


def test_copper_before_power_and_the_rest_of_the_round_after_it_works() -> None:
    assert chosen(Situation("check", gate_open=True)).kind == "copper"
    assert chosen(Situation(REST, gate_open=True)).kind == "power"
    assert chosen(Situation("check", seen="works", tests=("memory",))).kind == "test"
    assert chosen(Situation(REST, seen="works")).kind == "copper"
    assert chosen(Situation("done", seen="works")).kind == "done"


def test_a_start_before_the_round_only_behind_the_gate() -> None:
    """Where a start is weighed to be the shorter way it still waits for shorts and the gate. Common practice, no source."""
    now = Situation("check", power_first="A start first.")
    assert chosen(now).kind == "gate" and chosen(replace(now, shorted="VCC")).kind == "short"
    assert (
        chosen(replace(now, gate_open=True)).kind == "power"
        and chosen(replace(now, gate_open=True)).why == "A start first."
    )
    assert chosen(replace(now, gate_open=True, stop="It smelled.")).kind == "short"
    assert first_words(660.0, 1.0, 90.0) and not first_words(60.0, 1.0, 90.0), "294 s saved a break"


def test_a_mended_stretch_is_read_before_power() -> None:
    now = Situation("done", gate_open=True, unproven=("span A15 4",))
    assert chosen(now).kind == "prove" and chosen(replace(now, named=(CHIP,))).kind == "prove"
    assert chosen(replace(now, unproven=())).kind == "power"
    assert chosen(replace(now, shorted="VCC")).kind == "short"


def test_hands_go_from_quick_to_slow() -> None:
    done: list[str] = []
    for _ in range(5):
        done.append(hand_act({"contact", "joint"}, done))
    assert done == ["reseat", "solder", "clean", "renew", "renew"]


def test_what_a_rom_holds_is_likely_once_all_pins_are_right(demo_powered: PoweredBoard) -> None:
    """Bayes by hand: a look that is as on a sound board speaks for what no pin shows, one that is not against it."""
    made = demo_powered.field
    state = observed(initial(made), [Start(next(k for k, s in enumerate(made.screens) if s.name == "garbage"))])
    healthy = made.behaviour.healthy_symbol
    able = [s for s in made.spots if s.content and not s.loose and not s.rail and healthy(s.net) == RIGHT]
    moving = list({s.net: s for s in able}.values())
    right = [Look(s.net, s.node, PULSING, True) for s in moving]
    first = content_chance(state)
    after = content_chance(observed(state, right, widen=False))
    wrong = content_chance(observed(state, [Look(moving[0].net, moving[0].node, WRONG, True)], widen=False))
    assert wrong < first < after and after > 0.5
    now = Situation("done", seen="garbage", looks=(LOOK,), ways=("rom",), rom_per_minute=LOOK.gain_per_minute + 1.0)
    assert chosen(now).kind == "rom" and chosen(replace(now, rom_per_minute=0.0)).kind == "look"


def test_there_is_a_way_to_go_on() -> None:
    assert chosen(Situation("done", seen="blank", looks=(DULL,), ways=("rom", "likeliest"))).kind == "rom"
    assert chosen(Situation("done", seen="blank", looks=(DULL,))).kind == "look"
    assert chosen(Situation("done", seen="blank")).kind == "other hands"
    assert chosen(Situation("done", seen="blank")).kind in GO_ON


# ---- several names ----
@pytest.fixture(scope="module")
def demo_powered() -> PoweredBoard:
    return bootstrap.powered_setting("demo", most=20_000)


def test_beyond_a_name_the_others_keep_their_proportions(demo_powered: PoweredBoard) -> None:
    made = demo_powered.field
    state = observed(
        initial(made), [Look("CPUCLK", made.spots[[s.net for s in made.spots].index("CPUCLK")].node, FLOATING)]
    )
    unit = made.units[int(state.units().argmax())]
    rest = beyond(state, [unit])
    assert rest.units()[made.units.index(unit)] == 0.0
    mine = np.append(made.unit_of, -1)[made.main.members] == made.units.index(unit)
    held = mine.any(axis=1)
    want = state.weights * held
    wide = float(state.wide_weights.sum()) if len(state.wide_weights) else 0.0
    if wide < 1e-9:
        assert rest.weights == pytest.approx(want / want.sum(), abs=1e-12)
    alone = float(state.weights[held & (made.main.members >= 0).sum(axis=1).__eq__(1)].sum())
    assert 0.0 <= more_wrong(state, [unit]) <= 1.0 - alone + 1e-6
    assert beyond(state, []) is state


# ---- the technician ----
@dataclass
class Script:
    """A bench whose machine has an inverter chain with one bad part; what was done is written down."""

    bad: str
    levels: dict[str, str]
    did: list[str] = field(default_factory=list)
    screen: str = ""

    def look_over(self) -> Sequence[str]:
        self.did.append("look over")
        return ()

    def rails_and_supply(self) -> None:
        self.did.append("rails")

    def power_on(self) -> str:
        self.did.append("power")
        self.screen = "works" if not self.bad else "blank"
        return self.screen

    def level(self, place: Place, again: bool = False) -> str:
        self.did.append(f"look {place.pin}")
        return (
            self.levels.get(place.pin, "") if self.bad else {LOW: "low", HIGH: "high", RIGHT: "pulsing"}[place.healthy]
        )

    def beep(self, net: str, pin_a: str, pin_b: str) -> bool:
        self.did.append(f"beep {pin_a} {pin_b}")
        return True

    def mend_between(self, net: str, pin_a: str, pin_b: str) -> bool:
        self.did.append(f"between {pin_a} {pin_b}")
        return True

    def holder(self, net: str) -> str:
        return ""

    def replace(self, part: str) -> None:
        self.did.append(f"replace {part}")
        self.bad = "" if part == self.bad else self.bad

    def try_part(self, part: str) -> bool:
        self.did.append(f"try {part}")
        return False

    def supply(self) -> bool:
        return False

    def memory_test(self) -> Sequence[str] | None:
        return () if not self.bad else None

    def reseat(self, part: str) -> None:
        self.did.append(f"reseat {part}")


def manual() -> Manual:
    circuit = inverter_chain()
    behaviour = Behaviour(circuit, whole_trees(circuit))
    places = {}
    for net, rows in circuit.nets.items():
        for t in rows:
            if (
                net not in circuit.rails
                and circuit.by_ref[t.part].role == "chip"
                and behaviour.healthy_symbol(net) in (LOW, HIGH, RIGHT)
            ):
                places[t.id] = Place(
                    t.id,
                    net,
                    behaviour.trees[net].taps[t.id],
                    behaviour.healthy_symbol(net),
                    False,
                    False,
                    False,
                    False,
                )
    return Manual(circuit, behaviour, tuple(places.values()), places, (("N", "U1.1", "U2.1"),), ("U7",), 0)


def test_the_technician_follows_an_odd_pin_upstream_to_its_driver() -> None:
    """Everything that goes into the driver is right and its output is not: the driver is replaced, and nothing else."""
    book = manual()
    words = {LOW: "low", HIGH: "high", RIGHT: "pulsing"}
    levels = {pin: words[place.healthy] for pin, place in book.place.items()}
    driven = [pin for pin, place in book.place.items() if [t.id for t in book.circuit.drivers(place.net)] == [pin]]
    listened = [pin for pin in driven if len(book.circuit.nets[book.place[pin].net]) > 1]
    odd = (listened or driven)[0]
    net = book.place[odd].net
    wrong = "high" if book.place[odd].healthy == LOW else "low"
    levels |= {pin: wrong for pin, place in book.place.items() if place.net == net}
    bench = Script(odd.split(".")[0], levels)
    assert list(technician(bench, book))[-1] == "done"
    assert [one for one in bench.did if one.startswith("replace")] == [f"replace {odd.split('.')[0]}"]
    assert bench.did.index("beep U1.1 U2.1") < bench.did.index("power") < bench.did.index("try U7")


def test_the_fixed_checklist_neither_beeps_the_socket_nor_swaps() -> None:
    bench = Script("", {})
    assert list(technician(bench, manual(), fixed=True))[-1] == "done"
    assert not [one for one in bench.did if one.startswith(("beep", "try", "look over"))]
