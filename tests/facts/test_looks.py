"""Looks as evidence: findings weigh sites, parts and bridges, dirt lowers the trust in readings until it is cleaned, contradictions are said with what settles them.

Expected values are Bayes' rule worked out beside each test from the table of rates (core/belief/suspects/looks.py); those rates are assumptions, no source.
"""

from __future__ import annotations

import math
from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest
from tests.facts.test_log_evidence import bench, say  # noqa: F401  (bench is a fixture)

from coppermend import bootstrap
from coppermend.core.belief.model import Basis, Evidence
from coppermend.core.belief.priors import LEAST_BY_LOOKING, area_factors, priors
from coppermend.core.belief.readings import sort_readings
from coppermend.core.belief.suspects.looks import DIRT, FINDINGS, OVER, OVER_FALSE, PART
from coppermend.core.belief.suspects.posterior import Start, Witness, initial, observed
from coppermend.core.copper.model import SiteKind
from coppermend.core.findings import Refusal
from coppermend.core.log.kinds import LOOK_FINDINGS
from coppermend.core.planning.costs import CostTable
from coppermend.core.planning.suspects_look import Visible, entropy_bits, look_bits, look_tour, side_bits
from coppermend.core.planning.suspects_next import BenchNow, SideShows, SuspectStep, ranked_steps
from coppermend.core.planning.suspects_words import step_caution, step_risk, step_words
from coppermend.services.bench import next_for_case, posterior_of
from coppermend.services.bind import Binding, bind
from coppermend.services.looks import LOOKED, look_conflicts, marked
from coppermend.services.lookwork import look_first, look_sides, look_view, note_look
from coppermend.services.powered import PoweredBoard
from coppermend.services.rails import gate_of
from coppermend.services.workshop import Workshop

Case = tuple[Workshop, str]


@pytest.fixture(scope="module")
def board() -> PoweredBoard:
    return bootstrap.powered_setting("demo", most=20_000)


def joint_prior(binding: Binding, pin: str) -> float:
    graph = binding.graph
    chances = priors(graph, binding.areas, binding.basis)
    return float(
        next(
            p
            for s, p in zip(graph.sites, chances, strict=True)
            if s.kind is SiteKind.JOINT and f"{s.part}.{s.pin}" == pin
        )
    )


def test_the_log_and_the_table_name_the_same_findings() -> None:
    assert tuple(FINDINGS) == LOOK_FINDINGS
    for one in FINDINGS.values():
        assert one.of == DIRT or 0 < one.false < one.seen < 1, one.name
        assert one.ask and one.settles


def test_a_cracked_joint_raises_its_joint_alone(bench: Case) -> None:  # noqa: F811
    """Odds times 25 (0.5 / 0.02); the prior 0.04 inside the area times 25 is above what the eye may claim: 0.5. Joints beside it stay at 0.04."""
    before = joint_prior(bind(*bench), "U1.1")
    note_look(*bench, points=["U1.1"], finding="cracked joint")
    after = bind(*bench)
    assert (
        before == pytest.approx(0.04)
        and joint_prior(after, "U1.1") == 0.5
        and joint_prior(after, "U1.2") == pytest.approx(0.04)
    )
    run = [
        p
        for s, p in zip(after.graph.sites, priors(after.graph, after.areas, after.basis), strict=True)
        if s.kind is SiteKind.RUN
    ]
    assert max(run) <= 0.03 + 1e-12


def test_outside_the_areas_a_finding_starts_from_the_prior_there() -> None:
    """0.0005 times 25: the finding's ratio holds where nothing was worked on, too. The area's polygon lies beside the joint."""
    from tests.copper_boards import board as made_of
    from tests.copper_boards import pad, part, track
    from tests.facts.test_log_evidence import SPOTS
    from tests.fakes import fake_workshop

    from coppermend.core.copper.build import build_graph
    from coppermend.services.areas import add_area
    from coppermend.services.cases import new_case

    lands = [pad(x, y, 1.6) for x, y in SPOTS.values()]
    pins = {ref: [(n, *SPOTS[r, n], k) for k, (r, n) in enumerate(SPOTS) if r == ref] for ref in ("U1", "U2", "U4")}
    made = made_of(
        {"c": lands, "s": [*lands, *track(0.3, (0, 0), (20, 0)), *track(0.3, (20, 0), (40, 0)), *track(0.3, (0, 5), (40, 5))]},
        [(x, y, 0.8) for x, y in SPOTS.values()], [part(ref, "c", pins[ref]) for ref in ("U1", "U2", "U4")],
    )  # fmt: skip
    shop = fake_workshop(made, build_graph(made))
    case = new_case(shop, "by hand", "T").state.case
    add_area(shop, case, polygon=[(30, -5), (45, -5), (45, 10), (30, 10)])
    note_look(shop, case, points=["U1.1"], finding="cracked joint")
    assert joint_prior(bind(shop, case), "U1.1") == pytest.approx(0.0005 * 25)


def test_a_look_over_a_side_lowers_what_would_have_shown_there(bench: Case) -> None:  # noqa: F811
    """Tracks of the solder side times 1 - 0.4, joints times 1 - 0.3; barrels hide their cracks and stay."""
    before = bind(*bench)
    old = area_factors(before.graph, before.areas, before.basis)
    note_look(*bench, side="s")
    now = bind(*bench)
    new = area_factors(now.graph, now.areas, now.basis)
    for site, was, is_now in zip(now.graph.sites, old, new, strict=True):
        shows = OVER.get(str(site.kind), 0.0) if site.layer == "s" else 0.0
        assert is_now == pytest.approx(was * (1.0 - shows)), site.id
    assert np.any(new < old)
    say(bench, "solder U1.1")
    after = bind(*bench)
    assert area_factors(after.graph, after.areas, after.basis) == pytest.approx(old)


def test_a_dirty_land_makes_an_open_reading_say_less_until_it_is_cleaned(bench: Case) -> None:  # noqa: F811
    """With one open reading the odds of a break rise by (1 - closed falsely) / (open falsely): 0.998 / 0.02 clean, 0.998 / 0.3 on a dirty land."""
    say(bench, "open U1.1 U4.1")
    clean = posterior_of(bind(*bench)).joined("U1.1/leg", "U4.1/leg")
    note_look(*bench, points=["U1.1"], finding="dirty land")
    bound = bind(*bench)
    assert [one.false_open for one in bound.evidence] == [0.3]
    assert posterior_of(bound).joined("U1.1/leg", "U4.1/leg") > clean + 0.1
    say(bench, "clean U1.1", "open U1.1 U4.1")
    again = bind(*bench)
    assert [one.false_open for one in again.evidence] == [None]
    assert posterior_of(again).joined("U1.1/leg", "U4.1/leg") == pytest.approx(clean)


def test_rates_of_one_reading_on_a_dirty_land(bench: Case) -> None:  # noqa: F811
    copper = posterior_of(bind(*bench)).copper
    rows = [
        Evidence("1", "U1.1/leg", "U4.1/leg", "open", false_open=0.3),
        Evidence("2", "U1.1/leg", "U4.1/leg", "closed", false_open=0.3),
    ]
    taken = next(iter(sort_readings(copper, rows, Basis(chip_false_closed=0.0)).by_piece.values()))
    assert (taken[0].a, taken[0].b) == pytest.approx((0.3, 0.996)) and (taken[1].a, taken[1].b) == pytest.approx(
        (0.7, 0.004)
    )


def test_contradictory_looks_are_said_and_settled(bench: Case) -> None:  # noqa: F811
    """25 seen times 0.51 not seen: the prior 0.04 becomes 0.04 * 25 * 0.5102 = 0.5 at most; both entries are named with the check that settles it."""
    note_look(*bench, points=["U1.1"], finding="cracked joint")
    note_look(*bench, points=["U1.1"], finding="cracked joint", seen=False)
    bound = bind(*bench)
    assert joint_prior(bound, "U1.1") == pytest.approx(min(0.5, 0.04 * 25 * (0.5 / 0.98)))
    (found,) = look_conflicts(bound.state, bound.graph)
    assert (
        "seen (no." in found.words
        and "not seen (no." in found.words
        and "continuity" in found.settles
        and len(found.entries) == 2
    )
    assert any("contradict" in one and "continuity" in one for one in next_for_case(*bench).notes)
    say(bench, "solder U1.1")
    assert look_conflicts(bind(*bench).state, bind(*bench).graph) == () and joint_prior(
        bind(*bench), "U1.1"
    ) == pytest.approx(0.04)


def test_a_finding_looked_for_in_vain_lowers_its_place_by_its_own_likelihood(bench: Case) -> None:  # noqa: F811
    """Bayes' rule for a small prior: times (1 - 0.5) / (1 - 0.02) for a cracked joint at U1.1; its neighbour stays. Said twice it counts once, and other
    findings looked for in vain there take it no lower than a quarter: 0.5102 * (0.5 / 0.9) * (0.6 / 0.97) = 0.175."""
    note_look(*bench, points=["U1.1"], finding="cracked joint", seen=False)
    first = bind(*bench)
    assert joint_prior(first, "U1.1") == pytest.approx(0.04 * 0.5 / 0.98)
    assert joint_prior(first, "U1.2") == pytest.approx(0.04) and len(first.marking) == 1
    note_look(*bench, points=["U1.1"], finding="cracked joint", seen=False)
    assert joint_prior(bind(*bench), "U1.1") == pytest.approx(0.04 * 0.5 / 0.98)
    for name in ("corrosion", "lifted land"):
        note_look(*bench, points=["U1.1"], finding=name, seen=False)
    assert joint_prior(bind(*bench), "U1.1") == pytest.approx(0.04 * LEAST_BY_LOOKING)
    say(bench, "open U1.1 U4.1")
    assert posterior_of(bind(*bench)).joined("U1.1/leg", "U4.1/leg") < 0.9, "a reading has the last word"


def test_of_a_long_track_only_what_was_looked_at_is_less_likely(bench: Case) -> None:  # noqa: F811
    """A disc that reaches 0.8 mm beyond the land's edge (half of 1.6 mm): a share s of the track lies inside, so its prior becomes
    p * (1 - s + s * 0.4 / 0.98)."""
    before = bind(*bench)
    note_look(*bench, points=["U1.1"], finding="broken track", seen=False)
    now = bind(*bench)
    spot = now.state.acts[-1].points[0]
    assert spot.side == "c", "the leg stands on the component side, the tracks are on the other: nobody said from where"
    old, new = area_factors(before.graph, before.areas, before.basis), area_factors(now.graph, now.areas, now.basis)
    fallen = 0
    for site, was, is_now in zip(now.graph.sites, old.tolist(), new.tolist(), strict=True):
        near = 0.0
        if site.kind is SiteKind.RUN:
            steps = np.linspace(0.0, 1.0, 200_001)
            (x0, y0), (x1, y1) = site.path[0], site.path[-1]
            apart = np.hypot(x0 + (x1 - x0) * steps - spot.x_mm, y0 + (y1 - y0) * steps - spot.y_mm)
            near = float(np.mean(apart <= 0.8 + 0.8))
        assert is_now == pytest.approx(was * (1.0 - near + near * 0.4 / 0.98), rel=0.01), site.id
        fallen += is_now < was
    assert fallen


def test_a_track_torn_at_its_land_speaks_of_the_track(bench: Case) -> None:  # noqa: F811
    """The track begins at the land's edge, 0.8 mm from the pin: a finding noted at the pin means it all the same. 0.03 (narrow) times 30, at most even."""
    note_look(*bench, points=["U1.1"], finding="broken track")
    bound = bind(*bench)
    chances = priors(bound.graph, bound.areas, bound.basis)
    raised = {s.id: p for s, p in zip(bound.graph.sites, chances, strict=True) if s.kind is SiteKind.RUN and p > 0.1}
    assert list(raised.values()) == [pytest.approx(0.5)]


def test_a_part_seen_missing_and_wrong_is_a_contradiction(bench: Case) -> None:  # noqa: F811
    note_look(*bench, part="U2", finding="missing part")
    note_look(*bench, part="U2", finding="wrong way round")
    (found,) = look_conflicts(bind(*bench).state, bind(*bench).graph)
    assert "U2 was seen to be missing" in found.words and "undo" in found.settles


@pytest.mark.parametrize(
    ("how", "code"),
    [
        ({"finding": "gremlins", "points": ["U1.1"]}, "LOK-001"),
        ({"finding": "cracked joint"}, "LOK-002"),
        ({"finding": "solder bridge", "points": ["U1.1"]}, "LOK-002"),
        ({"finding": "solder bridge", "points": ["U1.1", "U4.1"]}, "LOK-002"),
        ({"finding": "wrong part"}, "LOK-002"),
        ({"finding": "wrong part", "part": "U99"}, "PNT-003"),
        ({"side": "x"}, "LOK-003"),
        ({"side": "c", "area": "9"}, "LOK-003"),
        ({"finding": "cracked joint", "points": ["U9.99"]}, "PNT-001"),
    ],
)
def test_a_look_that_cannot_be_is_refused(bench: Case, how: dict[str, object], code: str) -> None:  # noqa: F811
    size = len(bind(*bench).state.timeline)
    with pytest.raises(Refusal) as err:
        note_look(*bench, **how)  # type: ignore[arg-type]
    assert err.value.finding.code == code and err.value.finding.remedy
    assert len(bind(*bench).state.timeline) == size


def test_a_part_finding_multiplies_the_odds_of_its_part(board: PoweredBoard) -> None:
    """Bayes' rule: P' = P r / (P r + 1 - P), r = 0.03 / 0.0002 = 150."""
    start = observed(initial(board.field), [Start(-1)])
    k = board.field.units.index("part U22")
    p, ratio = float(start.units()[k]), FINDINGS["wrong way round"].ratio
    seen = observed(start, [Witness((("part", "U22", 0.0),), -math.log(ratio), "seen")], widen=False)
    assert ratio == pytest.approx(150) and seen.units()[k] == pytest.approx(p * ratio / (p * ratio + 1 - p), rel=1e-9)


def test_a_finding_at_a_site_weighs_its_span_alone(board: PoweredBoard) -> None:
    start = observed(initial(board.field), [Start(-1)])
    k = next(i for i, one in enumerate(board.field.causes) if one.kind == "span" and len(one.sites) > 1)
    cause, p = board.field.causes[k], float(start.causes()[k])
    seen = observed(start, [Witness((("site", cause.sites[-1], 0.0),), -math.log(30.0), "seen")], widen=False)
    assert seen.causes()[k] == pytest.approx(p * 30 / (p * 30 + 1 - p), rel=1e-9)
    unseen = observed(start, [Witness((("site", cause.sites[-1], math.log(0.4)),), 0.0, "not seen")], widen=False)
    assert unseen.causes()[k] == pytest.approx(p * 0.4 / (p * 0.4 + 1 - p), rel=1e-9)


def test_a_bridge_seen_weighs_that_bridge(board: PoweredBoard) -> None:
    start = observed(initial(board.field), [Start(-1)])
    k = next(i for i, one in enumerate(board.field.causes) if one.key[0] == "short")
    short = board.behaviour.shorts[int(board.field.causes[k].key[2])]
    p = float(start.causes()[k])
    seen = observed(
        start, [Witness((("short", f"{short.net_b} {short.net_a}", 0.0),), -math.log(70.0), "seen")], widen=False
    )
    assert seen.causes()[k] == pytest.approx(p * 70 / (p * 70 + 1 - p), rel=1e-9)


def test_the_gain_of_a_look_against_mutual_information() -> None:
    """Mutual information of a binary channel, summed from its joint table (T. Cover & J. Thomas, Elements of Information Theory, eq. 2.28; from memory)."""
    p, d, f = 0.2, 0.4, 0.05
    joint = np.array([[p * d, p * (1 - d)], [(1 - p) * f, (1 - p) * (1 - f)]])
    outer = joint.sum(axis=1, keepdims=True) * joint.sum(axis=0, keepdims=True)
    assert look_bits(p, d, f) == pytest.approx(float((joint * np.log2(joint / outer)).sum()))
    assert entropy_bits(0.11) == pytest.approx(0.49992, abs=1e-5)
    assert side_bits([("run", 0.3), ("barrel", 0.3)]) == pytest.approx(look_bits(0.3, 0.4, OVER_FALSE))


def test_a_look_is_a_step_under_suspects(board: PoweredBoard) -> None:
    """One span that is broken with chance q and shows with 0.5: its gain is that of a binary channel with false rate ``OVER_FALSE``, once nothing else shows."""
    state = observed(initial(board.field), [Start(-1)])
    k = int(np.argmax(state.causes()))
    side = SideShows("a", "the corner", "s", 80.0, ((k, 0.5),))
    off = BenchNow(powered=False, analyser=False, camera=False, sides=(side,))
    step = next(one for one in ranked_steps(state, off, CostTable(), 999) if one.kind == "inspect")
    from coppermend.core.planning.suspects_next import _View

    view = _View(state)
    q = float(view.weights[(view.members == k).any(axis=1)].sum())
    joint = np.array(
        [
            [q * 0.5, q * 0.5 * OVER_FALSE, q * 0.5 * (1 - OVER_FALSE)],
            [0.0, (1 - q) * OVER_FALSE, (1 - q) * (1 - OVER_FALSE)],
        ]
    )
    outer = joint.sum(axis=1, keepdims=True) * joint.sum(axis=0, keepdims=True)
    want = float(np.where(joint > 0, joint * np.log2(np.where(joint > 0, joint, 1) / outer), 0).sum())
    assert step.gain_bits == pytest.approx(want, rel=1e-6) and step.seconds == 80.0 and step.risk_s == 0.0
    assert (
        "solder side" in step_words(board.field, step)
        and "Power off" in step_caution(step)
        and step_risk(step) == "nothing is touched"
    )
    on = next(
        one
        for one in ranked_steps(
            state, BenchNow(powered=True, analyser=False, camera=False, sides=(side,)), CostTable(), 999
        )
        if one.kind == "inspect"
    )
    assert on.seconds == 80.0 + 2 * CostTable().power_s
    assert isinstance(step, SuspectStep)


def test_a_tour_holds_everything_once_and_moves_to_neighbours(bench: Case) -> None:  # noqa: F811
    sides = look_sides(bind(*bench))
    assert {(one.side, one.seconds) for one in sides} == {("c", 60.0), ("s", 80.0)}
    solder = next(one for one in sides if one.side == "s")
    pins = [pin for stop in solder.stops for pin in stop.pins]
    assert len(pins) == len(set(pins)) and {"U1.1", "U4.1", "U2.1", "U1.2", "U2.2"} == set(pins)
    assert all(x1 - x0 <= 15 and y1 - y0 <= 15 for x0, y0, x1, y1 in (stop.box for stop in solder.stops))
    assert "cracked joint" in solder.stops[0].ask and solder.gain_bits > 0 and not solder.looked
    things = [Visible("joint", 10.0 * x, 10.0 * y, 0.1, f"U1.{x}{y}") for x in range(6) for y in range(3)]
    stops = look_tour(things)
    middles = [((s.box[0] + s.box[2]) / 2, (s.box[1] + s.box[3]) / 2) for s in stops]
    assert sum(len(s.pins) for s in stops) == 18
    assert all(math.dist(a, b) <= 30.0 for a, b in pairwise(middles))


def test_next_weighs_a_look_against_the_check(bench: Case) -> None:  # noqa: F811
    said = [one for one in next_for_case(*bench).notes if "A look over" in one]
    assert len(said) == 1 and "bits in" in said[0] and ("look first" in said[0] or "the step first" in said[0])
    note_look(*bench, side="c")
    note_look(*bench, side="s")
    assert look_first(bind(*bench), 1.0, 5.0) == ""
    view = look_view(*bench)
    assert all(one["looked"] for one in view["sides"]) and "qualified" in view["caution"]


def test_areas_of_findings_are_no_marked_areas(bench: Case) -> None:  # noqa: F811
    note_look(*bench, points=["U1.1"], finding="lifted land")
    areas = bind(*bench).areas
    assert [one.id.startswith(LOOKED) for one in areas] == [False, True]
    assert [one.scale for one in marked(areas)] == [()] and len(bind(*bench).state.areas) == 1


def test_every_part_finding_is_named_by_its_part() -> None:
    assert {one.name for one in FINDINGS.values() if one.of == PART} == {
        "wrong part",
        "wrong way round",
        "missing part",
    }


def test_a_site_without_length_has_a_place() -> None:
    """A spoke whose path begins where it ends lies in the area, though what geometry cuts out of it there is empty (shapely 2)."""
    import shapely

    from coppermend.core.belief.examples import example_graph
    from coppermend.services.lookwork import _middle

    spoke = replace(example_graph([(0, 1)], [0, 1]).sites[0], path=((2.0, 3.0), (2.0, 3.0)))
    assert _middle(spoke, shapely.box(0.0, 0.0, 10.0, 10.0)) == (2.0, 3.0)
    whole = replace(spoke, path=((-4.0, 3.0), (6.0, 3.0)))
    x, y = _middle(whole, shapely.box(0.0, 0.0, 10.0, 10.0))
    assert 0.0 <= x <= 6.0
    assert y == 3.0


def test_what_was_seen_keeps_the_gate_shut_until_it_is_settled(bench: Case) -> None:  # noqa: F811
    """Common practice, no source: no power on a part seen the wrong way round or on a bridge that was seen. A word at the gate settles neither; an override
    covers what was seen before it."""

    def missing() -> list[str]:
        gate = gate_of(bind(*bench))
        return [one.item for one in gate.missing if one.item in ("orientation", "bridges")]

    say(bench, "gate orientation")
    assert missing() == []
    note_look(*bench, part="U2", finding="wrong way round")
    note_look(*bench, points=["U1.1", "U1.2"], finding="solder bridge")
    say(bench, "gate orientation")
    assert missing() == ["orientation", "bridges"]
    assert all(one.by_word == (one.item not in ("orientation", "bridges")) for one in gate_of(bind(*bench)).items)
    say(bench, "gate override 'owner insists'")
    assert gate_of(bind(*bench)).open
    say(bench, "open U1.1 U1.2")
    assert missing() == ["orientation"]
    note_look(*bench, part="U4", finding="wrong way round")
    gate = gate_of(bind(*bench))
    words = next(one.words for one in gate.missing if one.item == "orientation")
    assert not gate.open and "U2 (no." in words and "U4 (no." in words
    note_look(*bench, part="U4", finding="wrong way round", seen=False)
    say(bench, "remove U2", "fit U2 socketed", "gate orientation")
    assert missing() == []
