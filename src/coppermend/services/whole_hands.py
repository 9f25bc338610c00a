"""The hands of a technician on a practice patient: what each act costs and what it says. For the policies without a planner."""

from __future__ import annotations

from collections.abc import Sequence
from math import hypot

import shapely

from coppermend.core.circuit.expect import checklist, expectations, processor_of
from coppermend.core.copper.model import CopperGraph, ProbePoint, Site, SiteKind
from coppermend.core.copper.worked import PatchWire, worked
from coppermend.core.log.gate import RAIL_SHORT_OHM
from coppermend.core.planning.costs import CostTable, TipState, check_seconds
from coppermend.core.planning.suspects_next import SINK_PIN_S
from coppermend.core.planning.whole import TIMES
from coppermend.practice.technician import Manual, Place, technician
from coppermend.practice.whole import WholeFault, WholePatient
from coppermend.services.whole_practice import Tally
from coppermend.services.whole_setting import WholeSetting

RANK = {"leg": 0, "contact": 1, "joint": 2, "hole": 3, "land": 4}
VITAL = ("rails", "clock", "reset")


def run_technician(setting: WholeSetting, patient: WholePatient, fixed: bool = False) -> Tally:
    """Let the technician (``fixed``: the checklist) work on a patient."""
    hands = BenchHands(setting, patient)
    for word in technician(hands, manual_of(setting, fixed), fixed):
        hands.tally.end = word
        if hands.tally.over:
            hands.tally.end = "stopped"
            break
    return hands.tally


def manual_of(setting: WholeSetting, fixed: bool) -> Manual:
    """What is on paper: the pins in the order of the checklist; by practice rails are measured at the processor and at the chip farthest from it first."""
    key = ("manual", fixed)
    memo = setting.made.field.memo
    if key not in memo:
        memo[key] = _manual(setting, fixed)
    found: Manual = memo[key]
    return found


def _manual(setting: WholeSetting, fixed: bool) -> Manual:
    made = setting.made
    behaviour, circuit = made.behaviour, made.circuit
    points = _pin_points(setting.graph)
    places: dict[str, Place] = {}
    pins = expectations(circuit, behaviour, made.machine).pins
    for one in pins:
        at = made.node_of_pin(one.pin)
        if at is None or one.pin not in points or at not in made.field.spot_at:
            continue
        rail = circuit.rails.get(at[0])
        places[one.pin] = Place(
            one.pin, *at, behaviour.healthy_symbol(at[0]), at[0] in behaviour.loose, at[0] in behaviour.hertz, rail is not None, rail is not None and rail.ground
        )  # fmt: skip
    rows = [(item.step, places[item.pin]) for item in checklist(circuit, behaviour, pins) if item.pin in places]
    if not fixed:
        rows = _practice_order(setting, rows, points)
    vital = sum(1 for step, _ in rows if step in VITAL)
    processor = processor_of(circuit)
    loose = tuple(p for p in made.machine.spares if p in circuit.by_ref)
    loose = tuple(sorted(loose, key=lambda p: processor is None or p != processor.ref))
    return Manual(
        circuit, behaviour, tuple(place for _, place in rows), places, _socket_pairs(setting, points), loose, vital
    )


def _practice_order(
    setting: WholeSetting, rows: list[tuple[str, Place]], points: dict[str, ProbePoint]
) -> list[tuple[str, Place]]:
    processor = processor_of(setting.made.circuit)
    rails = [place for step, place in rows if step == "rails"]
    if processor is None or not rails:
        return rows
    mine = [place for place in rails if place.pin.startswith(f"{processor.ref}.")]
    home = points[mine[0].pin] if mine else points[rails[0].pin]
    far = max(
        (p for p in rails if not p.ground),
        key=lambda p: hypot(points[p.pin].x_mm - home.x_mm, points[p.pin].y_mm - home.y_mm),
    )
    first = [*mine, *([far] if far not in mine else [])]
    rest = [("rest", place) for place in rails if place not in first]
    others = [row for row in rows if row[0] != "rails"]
    vital = [row for row in others if row[0] in VITAL]
    left = [row for row in others if row[0] not in VITAL]
    seen: set[str] = set()
    one_each = [row for row in left if not (row[1].net in seen or seen.add(row[1].net))]  # type: ignore[func-returns-value]
    taken = {place.pin for _, place in one_each}
    return [*(("rails", p) for p in first), *vital, *one_each, *rest, *(row for row in left if row[1].pin not in taken)]


def _socket_pairs(setting: WholeSetting, points: dict[str, ProbePoint]) -> tuple[tuple[str, str, str], ...]:
    """Each pin of a reworked part with the nearest other pin of its net."""
    parts = {one.part for one in setting.areas if one.part}
    found = []
    for pin, p in sorted(points.items()):
        same = [
            (hypot(q.x_mm - p.x_mm, q.y_mm - p.y_mm), other)
            for other, q in points.items()
            if q.net == p.net and other != pin
        ]
        if p.part in parts and same:
            found.append((setting.graph.net_names[p.net], pin, min(same)[1]))
    return tuple(found)


def _pin_points(graph: CopperGraph) -> dict[str, ProbePoint]:
    """The point a tip takes at each pin."""
    best: dict[str, ProbePoint] = {}
    for p in graph.points:
        if not p.part or not p.reachable or p.kind not in RANK:
            continue
        name = f"{p.part}.{p.pin}"
        if name not in best or (RANK[p.kind], p.side != "c") < (RANK[best[name].kind], best[name].side != "c"):
            best[name] = p
    return best


class BenchHands:
    """``technician.Hands`` on a patient, every act on the modelled clock."""

    def __init__(self, setting: WholeSetting, patient: WholePatient) -> None:
        self.setting, self.patient = setting, patient
        self.costs = CostTable()
        self.tally = Tally()
        self.points = _pin_points(setting.graph)
        self.by_id = {p.id: p for p in setting.graph.points}
        self.tips = TipState()
        self.on = False
        self.scope = False
        self.shown = ""
        self.wires: list[PatchWire] = []
        self._near: dict[int, list[Site]] = {}
        for site in setting.graph.sites:
            self._near.setdefault(site.a, []).append(site)
            self._near.setdefault(site.b, []).append(site)

    @property
    def screen(self) -> str:
        """What the last start showed."""
        return self.shown

    # ---- power ----
    def power_on(self) -> str:
        """Power on, or the screen as it is."""
        if not self.on:
            self.on = True
            self.shown = self._name(self.patient.power())
            self.tally.add("power on", "", self.shown, self.costs.power_s)
        return self.shown

    def power_off(self) -> None:
        """Power off."""
        if self.on:
            self.on = False
            self.tally.add("power off", "", "", self.costs.power_s)

    def _name(self, screen: int) -> str:
        return self.setting.made.field.screens[screen].name

    def level(self, place: Place, again: bool = False) -> str:
        """A probe at a pin."""
        self.power_on()
        said = self.patient.level(self.points[place.pin].id, place.clocked)
        seconds = (
            self.costs.rail_s if place.rail else self.costs.scope_next_s if self.scope else self.costs.scope_first_s
        )
        if again:
            seconds = 0.0 if place.rail else self.costs.read_s
        self.scope = self.scope or not place.rail
        self.tally.add("look", place.pin, said, seconds)
        return said

    def holder(self, net: str) -> str:
        """Millivolts along a stuck net."""
        self.power_on()
        pins = [t.id for t in self.setting.made.circuit.nets[net] if t.kind != "passive"]
        found = self.patient.lowest(net, pins)
        self.tally.add("sink", net, found, self.costs.rail_s + SINK_PIN_S * len(pins))
        return found

    # ---- power off ----
    def look_over(self) -> Sequence[str]:
        """Both sides of the reworked area; what shows is mended at once."""
        shapes = [shapely.Polygon(one.polygon) for one in self.setting.areas if one.part]
        places = {
            site.id: str(site.kind) for site in self.setting.graph.sites
            if site.path and any(shape.intersects(shapely.Point(site.path[0])) for shape in shapes)
        }  # fmt: skip
        places |= {
            p.id: "point"
            for p in self.setting.graph.points
            if any(s.intersects(shapely.Point(p.x_mm, p.y_mm)) for s in shapes)
        }
        self.tally.add("look over", "", "", 2 * self.costs.look_s)
        found = self.patient.looked(places)
        for one in found:
            self._mend_seen(one)
        return [one.words for one in found]

    def _mend_seen(self, one: WholeFault) -> None:
        if one.pair:
            self._clear(one.pair)
        elif one.site_kind == "joint":
            self._solder(one.site.partition("@")[2])
        elif one.site_kind == "leg":
            self.reseat(one.site.partition("@")[2].rpartition(".")[0])
        else:
            self._wire_round(self.setting.graph.site(one.site))

    def rails_and_supply(self) -> None:
        """Rails to ground by the meter; a short is driven with a limited current and found by the camera."""
        circuit = self.setting.made.circuit
        for net, rail in circuit.rails.items():
            if rail.ground:
                continue
            ends = self._rail_ends(net)
            ohm = self.patient.rail_ohm(net, *ends) if ends else 300.0
            self.tally.add("rail to ground", net, f"{ohm:.3g} ohm", self.costs.rail_s)
            if ohm < RAIL_SHORT_OHM:
                self.tally.add("heat", net, "by a limited current", self.costs.thermal_s)
                part = next(one.part for one in self.patient.left() if one.rail == net)
                self.replace(part)

    def _rail_ends(self, net: str) -> tuple[str, str] | None:
        grounds = {n for n, rail in self.setting.made.circuit.rails.items() if rail.ground}
        names = self.setting.graph.net_names
        a = next((p.id for p in self.points.values() if names[p.net] == net), "")
        b = next((p.id for p in self.points.values() if names[p.net] in grounds), "")
        return (a, b) if a and b else None

    def beep(self, net: str, pin_a: str, pin_b: str) -> bool:
        """A check between two pins."""
        return self._beep(self.points[pin_a], self.points[pin_b])

    def _beep(self, a: ProbePoint, b: ProbePoint) -> bool:
        self.power_off()
        seconds, self.tips = check_seconds(self.costs, self.tips, a, b)
        closed = self.patient.closed(a.id, b.id)
        self.tally.add("check", f"{a.id} {b.id}", "closed" if closed else "open", seconds)
        return closed

    def _beep_twice(self, a: ProbePoint, b: ProbePoint) -> bool:
        return self._beep(a, b) or self._beep(a, b)

    def mend_between(self, net: str, pin_a: str, pin_b: str) -> bool:
        """Halve the way, mend the place, read again."""
        if pin_a not in self.points or pin_b not in self.points:
            return False
        way = self._way(self.points[pin_a], self.points[pin_b])
        if way is None or self._beep_twice(way[0], way[-1]):
            return False
        low, high = 0, len(way) - 1
        while high - low > 1:
            middle = (low + high) // 2
            if self._beep_twice(way[low], way[middle]):
                low = middle
            else:
                high = middle
        self._mend_stretch(way[low], way[high])
        if self._beep_twice(way[0], way[-1]):
            return True
        self._mend_stretch(way[low], way[high], again=True)
        return self._beep_twice(way[0], way[-1])

    def _way(self, a: ProbePoint, b: ProbePoint) -> list[ProbePoint] | None:
        sites = self._sites(a.node, b.node)
        if sites is None:
            return None
        node, nodes = a.node, [a.node]
        for site in sites:
            node = site.b if site.a == node else site.a
            nodes.append(node)
        at: dict[int, list[ProbePoint]] = {}
        for p in self.setting.graph.points:
            if p.reachable and p.net == a.net:
                at.setdefault(p.node, []).append(p)
        inner = [min(at[n], key=lambda p: (p.side != a.side, p.id)) for n in nodes[1:-1] if n in at]
        return [a, *inner, b]

    def _sites(self, start: int, goal: int) -> list[Site] | None:
        came: dict[int, Site | None] = {start: None}
        queue = [start]
        for node in queue:
            for site in self._near.get(node, ()):
                other = site.b if site.a == node else site.a
                if other not in came:
                    came[other] = site
                    queue.append(other)
        if goal not in came:
            return None
        way: list[Site] = []
        node = goal
        while (step := came[node]) is not None:
            way.append(step)
            node = step.a if step.b == node else step.b
        return way[::-1]

    def _mend_stretch(self, a: ProbePoint, b: ProbePoint, again: bool = False) -> None:
        """By hand where the stretch lies within one pin, else a wire."""
        sites = self._sites(a.node, b.node) or []
        inside = [one for one in sites if one.kind in (SiteKind.JOINT, SiteKind.CONTACT, SiteKind.LEG)]
        pins = {f"{one.part}.{one.pin}" for one in inside}
        if inside and len(inside) == len(sites) and len(pins) == 1:
            pin = pins.pop()
            kinds = {one.kind for one in inside}
            if again:
                self.patient.pin_renewed(pin.rpartition(".")[0], pin.rpartition(".")[2])
                self.tally.add("renew pin", pin, "", TIMES.renew_pin_s)
            elif SiteKind.CONTACT in kinds:
                self.reseat(pin.rpartition(".")[0])
                if SiteKind.JOINT in kinds:
                    self._solder(pin)
            else:
                self._solder(pin)
            return
        self._wire(a, b)

    def _wire_round(self, site: Site) -> None:
        ends = [
            next((p for p in self.setting.graph.points if p.node == node and p.reachable), None)
            for node in (site.a, site.b)
        ]
        if ends[0] is not None and ends[1] is not None:
            self._wire(ends[0], ends[1])

    def _wire(self, a: ProbePoint, b: ProbePoint) -> None:
        self.power_off()
        self.wires.append(PatchWire(f"w{len(self.wires)}", a.id, b.id))
        self.patient.laid(worked(self.setting.graph, {}, self.wires))
        self.tally.add("wire", f"{a.id} {b.id}", "", self.costs.patch_s)

    def _solder(self, pin: str) -> None:
        self.power_off()
        self.patient.soldered([f"{pin}/joint-s"])
        self.tally.add("solder", pin, "", TIMES.solder_s)

    def _clear(self, pair: Sequence[str]) -> None:
        names = self.setting.graph.net_names
        self.power_off()
        self.patient.cleared([names[self.by_id[one].net] for one in pair])
        self.tally.add("clear", " ".join(pair), "", TIMES.clear_s)

    def reseat(self, part: str) -> None:
        """Out and in again."""
        self.power_off()
        self.patient.reseated(part)
        self.tally.add("reseat", part, "", self.costs.reseat_s)

    def replace(self, part: str) -> None:
        """A good one for good."""
        self.power_off()
        row = self.setting.made.circuit.by_ref[part]
        if not row.socketed and not self.patient.consents():
            self.patient.asked_owner()
            self.tally.add("ask", "owner", "agrees", TIMES.ask_s)
        self.patient.replaced(part, row.socketed)
        seconds = (
            self.costs.swap_s if row.socketed else TIMES.replace_chip_s if row.role == "chip" else TIMES.replace_small_s
        )
        self.tally.add("replace", part, "", seconds)

    def try_part(self, part: str) -> bool:
        """A known-good one for a try; it stays when the machine then starts."""
        self.power_off()
        started = self.patient.tried(part)
        self.tally.add(
            "swap for a try", part, "starts" if started else "no change", self.costs.swap_s + 2 * self.costs.power_s
        )
        if started:
            self.patient.replaced(part, True)
        return started

    def supply(self) -> bool:
        """The supply alone; another one where it is wrong."""
        self.power_off()
        wrong = False
        for net, rail in self.setting.made.circuit.rails.items():
            if not rail.ground and any(s.id.startswith("J") for s in rail.sources):
                volt = self.patient.supply_volt(net, rail.nominal_v)
                wrong |= abs(volt - rail.nominal_v) > 0.05 * rail.nominal_v
                self.tally.add("supply alone", net, f"{volt:.2f} V", self.costs.rail_s)
        if wrong:
            self.patient.supply_replaced()
            self.tally.add("supply", "another one", "", TIMES.supply_s)
        return wrong

    def memory_test(self) -> Sequence[str] | None:
        """A memory test; the chips of the bits that fail."""
        self.power_on()
        found = self.patient.memory_errors()
        self.tally.add(
            "memory test", "", "does not run" if found is None else f"{len(found)} errors", TIMES.memory_test_s
        )
        if found is None:
            return None
        bits: dict[int, int] = {}
        for _, wrote, read in found:
            for bit in range(8):
                if (wrote ^ read) >> bit & 1:
                    bits[bit] = bits.get(bit, 0) + 1
        chips = {bit: ref for ref, bit in self.setting.answers.memory_bits.items()}
        return [chips[bit] for bit in sorted(bits, key=lambda b: -bits[b]) if bit in chips]
