"""Practice: a simulated broken board, a policy that reads it, and the marks at the end.

``patient_of`` draws or reads a patient; ``run`` lets a policy work on it; ``batch`` runs many; the referee is ``run`` with a patient that someone
else answers for. Seconds are modelled (``CostTable``).
"""

from __future__ import annotations

import json
from collections import OrderedDict
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import partial
from time import perf_counter
from typing import Any, Protocol

import numpy as np

from coppermend.core.belief.engine import belief
from coppermend.core.belief.model import Basis, Evidence, WorkArea
from coppermend.core.board.model import Board
from coppermend.core.copper.model import CopperGraph, ProbePoint
from coppermend.core.copper.neighbours import neighbours
from coppermend.core.findings import Place, refuse
from coppermend.core.planning.clips import with_clips, worth_a_clip
from coppermend.core.planning.costs import CostTable, TipState, check_seconds, clip_lead
from coppermend.core.planning.isolation import NeighbourPair
from coppermend.core.planning.model import RoundPlan, Span
from coppermend.core.planning.risk import Risk, risk_of
from coppermend.core.planning.round import DEFAULT_COSTS, plan_round, sites_at_risk
from coppermend.core.planning.spans import spans
from coppermend.practice.drawing import draw_patient, read_truth
from coppermend.practice.patient import Answer as Answer
from coppermend.practice.patient import Patient, Truth, truth_as_dict
from coppermend.practice.policies import POLICIES, Bench
from coppermend.services.areas import MARGIN_MM, around_part
from coppermend.services.points import meant

POLICY_NAMES = tuple(POLICIES)

MOST_CHECKS = 5000
"""A policy that asks for more than this is stopped."""
MOST_CHAINED = 30
"""So many readings from pin to next pin across the rings of one net can be judged; their ends lie in each other, and exact inference grows with that.
On the demonstration machine 40 take 6 s of arithmetic and 80 are beyond a useful error bound. Other policies are not held to it.
"""
WINDOW_MM = 1.27
STATED_BINS = (0.90, 0.95, 0.99)
"""Lower ends of the bins of stated probability that calibration is judged in."""


class Answers(Protocol):
    """The port behind which a patient sits."""

    def ask(self, point_a: str, point_b: str) -> Answer:
        """Touch two points and read."""


@dataclass(frozen=True, slots=True)
class PracticeSetting:
    """A board to practise on: its copper, its work areas, the neighbours for isolation. ``socket``: the part whose socket was changed."""

    graph: CopperGraph
    areas: tuple[WorkArea, ...]
    neighbours: tuple[NeighbourPair, ...] = ()
    socket: str = ""


def setting_of(
    board: Board,
    graph: CopperGraph,
    socket: str = "",
    extra_areas: Sequence[WorkArea] = (),
    margin_mm: float = MARGIN_MM,
) -> PracticeSetting:
    """The standard setting: the named socket's pins with a margin (rework, severity 2), and the board's own damaged zones.

    Without a name: the socketed part with most pins, else the part with most pins of at most 64. Refusal PRA-006 when there is none.
    """
    ref = socket or _usual_socket(board)
    if ref not in {p.ref for p in board.parts}:
        raise refuse(
            "PRA-006",
            f"There is no part {ref or '(none)'} on this board.",
            "Name a part with pins: --socket U1.",
            Place(thing=board.title),
        )
    areas = (WorkArea("socket", around_part(board, ref, margin_mm), "rework", 2, f"socket of {ref}", ref), *extra_areas)
    near = neighbours(board, graph, [a.polygon for a in areas], WINDOW_MM)
    return PracticeSetting(graph, areas, tuple(near), ref)


def machine_areas(board: Board, text: str, name: str = "machine file") -> tuple[WorkArea, ...]:
    """The damaged zones that a machine file (JSON, ``work_areas``) states, the changed socket left out: that one is named by the setting.

    Each has a kind, a severity and either ``polygon_mm`` or ``part`` with ``margin_mm``. Refusal PRA-009 when it cannot be used.
    """
    try:
        rows = json.loads(text).get("work_areas", [])
        found = []
        for row in rows:
            if "polygon_mm" in row:
                polygon = tuple((float(x), float(y)) for x, y in row["polygon_mm"])
            elif row["kind"] == "rework":
                continue
            else:
                polygon = around_part(board, row["part"], float(row.get("margin_mm", MARGIN_MM)))
            found.append(
                WorkArea(
                    str(row["id"]),
                    polygon,
                    str(row["kind"]),
                    int(row["severity"]),
                    str(row.get("words", "")),
                    str(row.get("part", "")),
                )
            )
    except (KeyError, TypeError, ValueError, AttributeError) as err:
        raise refuse(
            "PRA-009",
            f"The machine file cannot be used ({type(err).__name__}: {err}).",
            'Each of its work_areas needs "id", "kind", "severity" and "polygon_mm" or "part".',
            Place(file=name),
        ) from None
    return tuple(found)


def _usual_socket(board: Board) -> str:
    fitted = [p for p in board.parts if p.pins]
    chips = [p for p in fitted if p.ref.upper().startswith("U") and len(p.pins) <= 64] or fitted
    ranked = sorted(chips, key=lambda p: (str(p.state) != "socketed", -len(p.pins), p.ref))
    return ranked[0].ref if ranked else ""


def refuse_no_rates(rates: Mapping[str, float | None]) -> None:
    """Refusal PRA-007 for a number by option name that is no rate from 0 to 1."""
    for name, rate in rates.items():
        if rate is not None and not 0.0 <= rate <= 1.0:
            raise refuse("PRA-007", f"--{name} {rate} is no rate.", "Give a number from 0 to 1, such as 0.02.")


def patient_of(
    setting: PracticeSetting,
    seed: int,
    breaks: int | None,
    *,
    false_open: float | None = None,
    false_closed: float | None = None,
    oxidised: float | None = None,
    noise_off: bool = False,
    slips: float = 0.0,
    mixed_up: float = 0.0,
    intermittent: float = 0.0,
    damage: float = 1.0,
    truth_text: str | None = None,
    truth_name: str = "truth file",
) -> Patient:
    """A patient: drawn by the standard damage, or as a truth file says."""
    refuse_no_rates(
        {
            "false-open": false_open,
            "false-closed": false_closed,
            "oxidised": oxidised,
            "slips": slips,
            "mixed-up": mixed_up,
            "intermittent": intermittent,
        }
    )
    if truth_text is not None:
        told = read_truth(truth_text, setting.graph, setting.areas, truth_name, partial(meant, setting.graph))
        return Patient(setting.graph, told, seed, ohms=False)
    truth = draw_patient(
        setting.graph,
        setting.areas,
        seed,
        breaks,
        false_open=false_open,
        false_closed=false_closed,
        oxidised=oxidised,
        noise_off=noise_off,
        slips=slips,
        mixed_up=mixed_up,
        intermittent=intermittent,
        damage=damage,
    )
    return Patient(setting.graph, truth, seed, ohms=False)


@dataclass(frozen=True, slots=True)
class Step:
    """One act of a run: what was touched, what it cost, what was answered."""

    kind: str
    points: tuple[ProbePoint, ...]
    seconds: float
    answer: str
    clip: str = ""
    """The point of the two on which a clipped lead hangs, "" = both tips are held by hand."""

    def as_dict(self) -> dict[str, Any]:
        """The step as plain JSON values."""
        return {
            "kind": self.kind,
            "points": [point_dict(p) for p in self.points],
            "seconds": self.seconds,
            "answer": self.answer,
            "clip": self.clip,
        }


def point_dict(p: ProbePoint) -> dict[str, Any]:
    """A probe point with its place, for someone outside."""
    return {"id": p.id, "x_mm": p.x_mm, "y_mm": p.y_mm, "side": p.side, "part": p.part, "pin": p.pin}


@dataclass(frozen=True, slots=True)
class Announced:
    """A span that was announced: at which check first, and whether it still stood at the end."""

    span: Span
    at_check: int
    stands: bool


@dataclass(frozen=True, slots=True)
class Run:
    """What came out of a run, before it is marked against the truth."""

    policy: str
    steps: tuple[Step, ...]
    evidence: tuple[Evidence, ...]
    announced: tuple[Announced, ...]
    proven: tuple[str, ...]
    at_risk: tuple[str, ...]
    provable: tuple[str, ...]
    unprovable: tuple[tuple[str, str, str], ...]
    open_sites: tuple[str, ...]
    seconds: float
    update_ms: tuple[float, ...]
    plan: RoundPlan
    suspects: tuple[Span, ...]
    """Spans at least even at the end, announced or not."""
    error_bound: float
    stopped: str = ""
    stated: tuple[tuple[tuple[str, ...], float], ...] = ()
    """Calibration: for each stretch and each bin of ``STATED_BINS`` its probability after the first reading that brought it there."""
    expected_wrong: float = 0.0
    """How many of the sites called proven are broken all the same by the belief's own probabilities, on average."""
    judged: bool = True
    """False: no belief can be had over this many chained readings; checks and seconds stand, proven and announced are not known."""


def run(
    setting: PracticeSetting,
    answers: Answers,
    policy: str,
    basis: Basis | None = None,
    costs: CostTable = DEFAULT_COSTS,
    before: Callable[[Step, float], None] | None = None,
) -> Run:
    """Let a policy work on a patient until everything provable is settled or it has nothing left to ask.

    ``before`` hears of each step, its answer still empty, with the P(open) believed. Refusal PRA-008 for an unknown policy.
    """
    if policy not in POLICIES:
        raise refuse("PRA-008", f"There is no policy {policy}.", f"Say one of: {', '.join(POLICIES)}.")
    numbers = basis or Basis()
    bench = Bench(setting.graph, setting.areas, numbers, costs)
    plan = untouched_plan(setting, numbers, costs)
    watcher = _Watcher(setting, bench, policy, frozenset(plan.provable))
    watcher.update()
    steps: list[Step] = []
    rows: list[tuple[ProbePoint, ProbePoint]] = []
    asking = POLICIES[policy](bench)
    stopped = ""
    said: str | None = None
    while True:
        begun = perf_counter()
        if policy != "next" and watcher.settled():
            break
        try:
            a, b = next(asking) if said is None else asking.send(said)
        except StopIteration:
            break
        watcher.update_ms.append(1000.0 * (perf_counter() - begun) + watcher.last_ms)
        seconds, tips = _seconds_of(bench, a, b)
        step = Step("check", (a, b), seconds, "", bench.clip if tips.clip else "")
        if before is not None:
            before(step, watcher.p_open(a, b))
        answer = answers.ask(a.id, b.id)
        said = answer.says if answer.says in ("closed", "open") else "open"
        steps.append(replace(step, answer=said))
        rows.append((a, b))
        bench.evidence.append(Evidence(str(len(steps)), a.id, b.id, said))
        bench.tips = tips
        watcher.noted(a, b)
        if len(steps) >= MOST_CHECKS:
            stopped = f"stopped after {MOST_CHECKS} checks"
            break
    if policy != "next":
        steps = _with_leads(steps, rows, costs)
    return watcher.result(steps, plan, stopped)


def _seconds_of(bench: Bench, a: ProbePoint, b: ProbePoint) -> tuple[float, TipState]:
    """Modelled seconds of the check that a policy asks for, with the lead that it wants clipped, and the tips afterwards."""
    spent, at = 0.0, bench.tips
    if bench.clip in (a.id, b.id) and at.clip != bench.clip:
        here = {p.id for p in (at.a, at.b) if p is not None}
        if bench.clip in here and not bench.clip_now:
            at = replace(at, clip=bench.clip)
        else:
            spent, at = clip_lead(bench.costs, at, a if a.id == bench.clip else b)
    seconds, after = check_seconds(bench.costs, at, a, b)
    return spent + seconds, after


def _with_leads(steps: Sequence[Step], rows: Sequence[tuple[ProbePoint, ProbePoint]], costs: CostTable) -> list[Step]:
    """The steps of a policy that plans no clips, with a lead clipped wherever that made this very order cheapest: told afterwards, so never dearer than
    anyone at the bench could have it.
    """
    if not worth_a_clip(rows, costs):
        return list(steps)
    stops = with_clips(rows, costs, TipState())
    return [replace(s, seconds=stop.seconds, clip=stop.clip) for s, stop in zip(steps, stops, strict=True)]


_PLANS: OrderedDict[tuple[object, ...], tuple[PracticeSetting, RoundPlan]] = OrderedDict()


def untouched_plan(setting: PracticeSetting, basis: Basis, costs: CostTable) -> RoundPlan:
    """The round of the untouched board, isolation included; the same for every patient of a setting, so it is planned once."""
    key = (id(setting), repr(basis), costs)
    hit = _PLANS.get(key)
    if hit is None or hit[0] is not setting:
        hit = (setting, plan_round(setting.graph, setting.areas, (), basis, costs, setting.neighbours, WINDOW_MM))
        _PLANS[key] = hit
        while len(_PLANS) > 4:
            _PLANS.popitem(last=False)
    return hit[1]


@dataclass(slots=True)
class _Watcher:
    """Keeps the belief of a run and notes when a span is first announced.

    Our policy needs the belief after every reading and announces at once. The others never look at it: theirs is worked out when the end may have
    come, and they announce at their end.
    """

    setting: PracticeSetting
    bench: Bench
    policy: str
    provable: frozenset[str]
    first: dict[tuple[str, ...], tuple[int, Span]] = field(default_factory=dict)
    standing: dict[tuple[str, ...], Span] = field(default_factory=dict)
    update_ms: list[float] = field(default_factory=list)
    last_ms: float = 0.0
    stated: dict[tuple[int, int], float] = field(default_factory=dict)
    """By super-edge and bin."""
    untouched: set[str] | None = None
    """Provable sites at risk that no reading crossed yet and that nothing but a reading can settle."""
    ringed: dict[int, int] = field(default_factory=dict)
    """Readings across rings, by piece of copper."""

    def noted(self, a: ProbePoint, b: ProbePoint) -> None:
        """A reading was taken between two points."""
        if self.policy == "next":
            self.update()
            return
        if self.untouched is None:
            self.untouched = self._only_by_reading()
        copper = self._now()[0].copper
        piece = copper.tree.piece[a.node]
        if piece == copper.tree.piece[b.node]:
            crossed = [copper.block_sites[block] for block, _, _ in copper.tree.route(a.node, b.node)]
            self.untouched.difference_update(self.setting.graph.sites[k].id for row in crossed for k in row)
            if any(len(row) > 1 for row in crossed):
                self.ringed[piece] = self.ringed.get(piece, 0) + 1

    def beyond(self) -> bool:
        """Whether the readings are more than a belief can be had over: only chains lie in each other like that."""
        return self.policy == "chain" and max(self.ringed.values(), default=0) > MOST_CHAINED

    def _only_by_reading(self) -> set[str]:
        """The provable sites at risk that keep a chance above the threshold, the one stated before, until a reading crosses them."""
        posterior, _ = self._now()
        return {s for s in self.provable if posterior.prior[posterior.copper.site[s]] >= posterior.basis.proven_below}

    def _behind(self) -> bool:
        assert self.bench.posterior is not None
        return len(self.bench.posterior.evidence) < len(self.bench.evidence)

    def update(self) -> None:
        """Belief and risk after the readings so far, and newly announced spans."""
        begun = perf_counter()
        bench = self.bench
        bench.posterior = belief(bench.graph, bench.areas, bench.evidence, bench.basis)
        bench.risk = risk_of(bench.posterior)
        self.last_ms = 1000.0 * (perf_counter() - begun)
        if self.policy == "next":
            self._announce(None)

    def _announce(self, least: float | None) -> None:
        """Take up the spans that are announced now: confirmed ones, or all of at least ``least``."""
        bench = self.bench
        assert bench.posterior is not None and bench.risk is not None
        found = spans(bench.graph, bench.posterior, bench.basis, least=least, risk=bench.risk)
        self.standing = {s.sites: s for s in found}
        for span in found:
            self.first.setdefault(span.sites, (len(bench.evidence), span))
        for number in np.flatnonzero(bench.risk.chance >= STATED_BINS[0]).tolist():
            p = float(bench.risk.chance[number])
            self.stated.setdefault((number, sum(p >= low for low in STATED_BINS)), p)

    def p_open(self, a: ProbePoint, b: ProbePoint) -> float:
        """Probability that the copper between two points is not whole, as believed before the reading."""
        if self._behind():
            self.update()
        assert self.bench.posterior is not None
        return 1.0 - self.bench.posterior.joined(a.id, b.id)

    def settled(self) -> bool:
        """Every provable site at risk is proven or inside a broken super-edge."""
        if self.untouched or self.untouched is None:
            return not self.provable
        if self.beyond():
            return True
        if self._behind():
            self.update()
        posterior, risk = self._now()
        return all(posterior.proven(s) or risk.broken[risk.frame.super_of[s]] for s in self.provable)

    def _now(self) -> tuple[Any, Risk]:
        assert self.bench.posterior is not None and self.bench.risk is not None
        return self.bench.posterior, self.bench.risk

    def result(self, steps: Sequence[Step], plan: RoundPlan, stopped: str) -> Run:
        """The run as a value."""
        judged = not self.beyond()
        if self.policy != "next" and judged:
            if self._behind():
                self.update()
            self._announce(self.bench.basis.broken_above)
        posterior, risk = self._now()
        at_risk, provable, unprovable = sites_at_risk(posterior)
        proven = tuple(s for s in at_risk if posterior.proven(s))
        left = tuple(s for s in provable if not posterior.proven(s) and not risk.broken[risk.frame.super_of[s]])
        announced = tuple(
            Announced(self.standing.get(key, span), at, key in self.standing) for key, (at, span) in self.first.items()
        )
        return Run(
            self.policy,
            tuple(steps),
            tuple(self.bench.evidence),
            announced,
            proven,
            at_risk,
            provable,
            unprovable,
            left,
            sum(s.seconds for s in steps),
            tuple(self.update_ms),
            plan,
            spans(self.bench.graph, posterior, self.bench.basis, least=0.5, risk=risk),
            posterior.error_bound,
            stopped,
            tuple((self._sites_of(risk, number), p) for (number, _), p in self.stated.items()),
            float(sum(posterior.p(s) for s in proven)),
            judged,
        )

    def _sites_of(self, risk: Risk, number: int) -> tuple[str, ...]:
        v = int(risk.frame.view_of[number])
        return tuple(risk.frame.views[v].super_edges[number - risk.frame.first[v]].sites)


def marks(setting: PracticeSetting, result: Run, truth: Truth) -> dict[str, Any]:
    """The run marked against the truth: the fields of ``practice run --json``.

    ``found``: true breaks inside a span that stood at the end. ``false_alarms``: announced spans, at any time, without a break.
    ``wrong_proven``: sites called proven that are broken. ``breaks_provable``: breaks at sites at risk that checks can prove. Where no belief can be had
    over the readings (``MOST_CHAINED``), what only a belief says is None.
    """
    broken = set(truth.broken)
    told = {s for a in result.announced if a.stands for s in a.span.sites}
    false_alarms = sum(not (set(a.span.sites) & broken) for a in result.announced)
    provable = broken & set(result.provable)
    said: dict[str, Any] = {
        "found": len(broken & told),
        "false_alarms": false_alarms,
        "proven": len(result.proven),
        "found_provable": len(provable & told),
        "wrong_proven": len(broken & set(result.proven)),
        "not_settled": len(result.open_sites),
        "error_bound": result.error_bound,
    }
    return {
        "policy": result.policy,
        "breaks": len(broken),
        "checks": len(result.steps),
        "seconds_bench": round(result.seconds, 3),
        "unprovable": len(result.unprovable),
        "at_risk": len(result.at_risk),
        "provable": len(result.provable),
        "breaks_provable": len(provable),
        **(said if result.judged else dict.fromkeys(said)),
        "stopped": result.stopped,
    }


def full_marks(setting: PracticeSetting, result: Run, truth: Truth) -> dict[str, Any]:
    """``marks`` with announcements, steps, update times, bound, isolation and certificate: the fields of ``practice batch --jsonl``."""
    broken = set(truth.broken)
    ends = _ends(setting.graph)
    return {
        **marks(setting, result, truth),
        "announced": [
            {
                "unit": a.span.words,
                "net": a.span.net,
                "points": [point_dict(p) for p in ends(a.span)],
                "sites": list(a.span.sites),
                "p": a.span.p,
                "at_check": a.at_check,
                "stands": a.stands,
                "true": bool(set(a.span.sites) & broken),
            }
            for a in result.announced
        ],
        "steps": [s.as_dict() for s in result.steps],
        "updates_ms": _percentiles(result.update_ms),
        "bound": result.plan.bound,
        "isolation": {"checks": len(result.plan.isolation), "seconds": round(result.plan.isolation_seconds, 3)},
        "certificate": certificate(result.plan),
    }


def referee_result(setting: PracticeSetting, result: Run) -> dict[str, Any]:
    """The last line of the referee: what is announced, proven and left, without a truth to mark it by."""
    ends = _ends(setting.graph)
    return {
        "kind": "result",
        "checks": len(result.steps),
        "seconds_bench": round(result.seconds, 3),
        "announced": [
            {
                "unit": a.span.words,
                "net": a.span.net,
                "points": [point_dict(p) for p in ends(a.span)],
                "sites": list(a.span.sites),
                "p": a.span.p,
                "at_check": a.at_check,
                "stands": a.stands,
            }
            for a in result.announced
        ],
        "proven": list(result.proven),
        "not_settled": list(result.open_sites),
        "unprovable": [s for s, _, _ in result.unprovable],
        "bound": result.plan.bound,
        "isolation": {"checks": len(result.plan.isolation), "seconds": round(result.plan.isolation_seconds, 3)},
    }


def certificate(plan: RoundPlan) -> dict[str, Any]:
    """Why no shorter list exists: for each tree its leaves L', the sum of ceil(L'/2), and the length of the list."""
    return {
        "bound": plan.bound,
        "checks": len(plan.checks),
        "excess": plan.excess,
        "excess_saves_s": plan.excess_saves_s,
        "terms": [{"net": net, "leaves": leaves} for net, leaves in plan.bound_terms],
    }


def certificate_data(setting: PracticeSetting, basis: Basis | None = None) -> dict[str, Any]:
    """The certificate with all that a reader needs to recompute it without this program: edges, what is at risk, where tips can go, the checks."""
    numbers = basis or Basis()
    posterior = belief(setting.graph, setting.areas, (), numbers)
    plan = plan_round(setting.graph, setting.areas, (), numbers)
    at = {p.id: p for p in setting.graph.points}
    risky = set(plan.at_risk)
    nets: dict[str, dict[str, Any]] = {}
    wanted = {setting.graph.sites[posterior.copper.site[s]].net for s in risky}
    for n in sorted(wanted):
        nets[str(n)] = {"name": setting.graph.net_names[n], "edges": [], "terminals": [], "checks": []}
    for s in setting.graph.sites:
        if s.net in wanted and str(s.kind) != "through":
            nets[str(s.net)]["edges"].append({"site": s.id, "a": s.a, "b": s.b, "at_risk": s.id in risky})
    for p in setting.graph.points:
        if p.net in wanted and p.reachable:
            nets[str(p.net)]["terminals"].append({"point": p.id, "node": p.node})
    for c in plan.checks:
        a, b = at[c.point_a], at[c.point_b]
        nets[str(a.net)]["checks"].append({"a": a.node, "b": b.node, "point_a": a.id, "point_b": b.id})
    return {**certificate(plan), "nets": list(nets.values())}


def _percentiles(ms: Sequence[float]) -> dict[str, float]:
    if not ms:
        return {"p50": 0.0, "p95": 0.0, "max": 0.0}
    p50, p95 = np.percentile(np.array(ms), [50, 95]).tolist()
    return {"p50": round(p50, 3), "p95": round(p95, 3), "max": round(max(ms), 3)}


def _ends(graph: CopperGraph) -> Callable[[Span], list[ProbePoint]]:
    """For a span: one probe point at each of its two ends, where there is one."""
    at: dict[int, list[ProbePoint]] = {}
    for p in graph.points:
        at.setdefault(p.node, []).append(p)
    by_id = {s.id: s for s in graph.sites}

    def ends(span: Span) -> list[ProbePoint]:
        count: dict[int, int] = {}
        for s in span.sites:
            for node in (by_id[s].a, by_id[s].b):
                count[node] = count.get(node, 0) + 1
        return [at[n][0] for n, c in count.items() if c == 1 and n in at]

    return ends


def patient_dict(setting: PracticeSetting, patient: Patient, seed: int) -> dict[str, Any]:
    """A patient's truth and the setting it was drawn on: ``practice patient --json``."""
    return {
        "seed": seed,
        "package_id": setting.graph.package_id,
        "socket": setting.socket,
        "areas": [
            {
                "id": a.id,
                "kind": a.kind,
                "severity": a.severity,
                "part": a.part,
                "polygon": [list(c) for c in a.polygon],
            }
            for a in setting.areas
        ],
        **truth_as_dict(setting.graph, patient.truth()),
    }


def batch(
    setting: PracticeSetting,
    seeds: Sequence[int],
    breaks: Callable[[int], int | None],
    policies: Sequence[str],
    basis: Basis | None = None,
    **noise: Any,
) -> Iterator[dict[str, Any]]:
    """One line for each patient and policy; every policy meets the same patients. ``breaks``: how many for a seed (None = by the priors)."""
    for seed in seeds:
        for policy in policies:
            patient = patient_of(setting, seed, breaks(seed), **noise)
            result = run(setting, patient, policy, basis)
            yield {"seed": seed, **full_marks(setting, result, patient.truth())}
