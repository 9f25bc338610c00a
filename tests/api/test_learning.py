"""Learning on the demonstration machine: what a finished case teaches, that it never counts in itself, and the same over HTTP."""

from __future__ import annotations

import json
from dataclasses import replace
from typing import Any

import pytest
from tests.api.conftest import Client

from coppermend.api.app import create_app
from coppermend.core.belief.engine import belief
from coppermend.core.belief.model import Basis, WorkArea
from coppermend.core.belief.priors import site_prior
from coppermend.core.findings import Refusal
from coppermend.core.planning.learned import CaseCounts, Cell, with_learned
from coppermend.formats.learned import learned_bytes
from coppermend.services.areas import add_area, around_part
from coppermend.services.bench import proof_of_binding
from coppermend.services.bind import bind
from coppermend.services.cases import new_case
from coppermend.services.learnednumbers import factors_in
from coppermend.services.learning import (
    Learned,
    MemoryLearned,
    count,
    gather,
    judged_anew,
    key_of,
    learn_from,
    rates_for,
    settled,
    use_learned,
    what_it_teaches,
)
from coppermend.services.notes import note, undo
from coppermend.services.ports import ShelvedBoard
from coppermend.services.practice import PracticeSetting, patient_of
from coppermend.services.requests import Request
from coppermend.services.workshop import Workshop


def test_factors_change_the_priors_of_their_damage_and_kind_only(shelved: ShelvedBoard) -> None:
    basis = Basis()
    areas = (
        WorkArea("a", around_part(shelved.board, "U1", 3.0), "rework", 2),
        WorkArea("b", around_part(shelved.board, "U4", 3.0), "corrosion", 1, scale=(("joint", 0.5),), rest=0.25),
    )
    learned = with_learned(areas, {"rework": {"barrel": 3.0}, "corrosion": {"joint": 4.0, "barrel": 2.0}})
    assert dict(learned[0].scale) == {"barrel": 3.0} and learned[0].rest == 1.0
    assert dict(learned[1].scale) == {"joint": 2.0, "barrel": 0.5} and learned[1].rest == 0.25
    assert with_learned(areas, {}) == areas
    before, after = (belief(shelved.graph, rows[:1], (), basis).prior for rows in (areas, learned))
    for k, site in enumerate(shelved.graph.sites):
        times = 3.0 if site.kind == "barrel" and before[k] > basis.prior_out else 1.0
        assert after[k] == pytest.approx(before[k] * times)


def test_counting_shares_a_break_among_its_stretch_and_leaves_the_unread_out(shelved: ShelvedBoard) -> None:
    basis, graph = Basis(), shelved.graph
    area = WorkArea("a", around_part(shelved.board, "U1", 3.0), "rework", 2)
    inside = [
        s
        for k, s in enumerate(graph.sites)
        if belief(graph, (area,), (), basis).prior[k] >= basis.proven_below and s.a != s.b
    ]
    joints = [s for s in inside if s.kind == "joint"]
    runs = [s for s in inside if s.kind == "run"]
    whole, span = [s.id for s in joints[:10]], [joints[10].id, runs[0].id]
    cells = {(c.damage, c.site): c for c in count(graph, (area,), whole, [span], basis)}
    assert set(cells) == {("rework", "joint"), ("rework", "run")}
    assert (cells["rework", "joint"].sites, cells["rework", "run"].sites) == (11, 1)
    p, q = (site_prior(s, 1.0, basis) for s in (joints[10], runs[0]))
    assert cells["rework", "joint"].broken == pytest.approx(p / (p + q)) and cells[
        "rework", "run"
    ].broken == pytest.approx(q / (p + q))
    assert cells["rework", "joint"].expected == pytest.approx(11 * 0.04 * 0.202)
    outside = next(s for k, s in enumerate(graph.sites) if s.id not in {one.id for one in inside})
    assert count(graph, (area,), [outside.id], [], basis) == ()
    assert settled(belief(graph, (area,), (), basis)) == (), "what nobody read is not settled"


def small_case(shop: Workshop, title: str) -> str:
    """A case with a small work area round two pins of U1."""
    case = new_case(shop, "demo", title, owner="Mr Secret").state.case
    pins = [p for p in bind(shop, case).base.points if p.part == "U1" and p.pin in ("6", "7")]
    x, y = pins[0].x_mm, pins[0].y_mm
    add_area(shop, case, polygon=[(x - 1, y - 1), (x + 1, y - 1), (x + 1, y + 1), (x - 1, y + 1)], kind="rework")
    return case


def read_all(shop: Workshop, case: str) -> None:
    """Read what the round asks until nothing is left, on a board that is whole."""
    from coppermend.services.bench import next_for_case

    for _ in range(40):
        step = next_for_case(shop, case)
        if step.check is None:
            return
        kind = "open" if step.check.purpose == "isolation" else "closed"
        note(shop, case, Request(kind, points=(step.check.point_a, step.check.point_b)))


@pytest.fixture(scope="module")
def finished(shelved: ShelvedBoard) -> tuple[Workshop, str]:
    """A workshop with one case whose copper is proven."""
    from tests.fakes import fake_workshop

    shop = fake_workshop(shelved.board, shelved.graph)
    case = small_case(shop, "first")
    read_all(shop, case)
    return shop, case


def test_a_mended_break_is_counted_once_its_wire_is_proven(shelved: ShelvedBoard) -> None:
    """A track broken between two pins, found by the round, bridged and proven: one broken among the settled sites, shared by its stretch.

    Takes some seconds: it is a whole small repair, each step planned.
    """
    from tests.fakes import fake_workshop

    from coppermend.services.bench import next_for_case

    shop = fake_workshop(shelved.board, shelved.graph)
    case = small_case(shop, "broken")
    setting = PracticeSetting(shelved.graph, bind(shop, case).areas)
    provable = set(proof_of_binding(bind(shop, case)).open_sites)
    runs = [s.id for s in shelved.graph.sites if s.kind == "run" and s.id in provable]
    patient = patient_of(setting, 1, None, truth_text=json.dumps({"broken": runs[:1]}), noise_off=True)
    net = {one.id: one.net for one in shelved.graph.points}
    wired = False
    for _ in range(60):
        step = next_for_case(shop, case)
        plan: Any = step.wire
        if step.kind == "patch" and plan is not None:
            assert "not proven" in said_after_ready(shop, case)
            wire = plan.wires[0]
            note(shop, case, Request("patch", points=(wire.a.point, wire.b.point)))
            wired = True
        elif step.check is not None:
            a, b = step.check.point_a, step.check.point_b
            closed = net[a] == net[b] if wired else patient.ask(a, b).says == "closed"
            note(shop, case, Request("closed" if closed else "open", points=(a, b)))
        else:
            break
    note(shop, case, Request("progress", fields={"state": "ready"}))
    taught = what_it_teaches(bind(shop, case))
    assert wired and sum(one.broken for one in taught.cells) == pytest.approx(1.0)
    assert next(one for one in taught.cells if one.site == "run").broken > 0


def said_after_ready(shop: Workshop, case: str) -> str:
    """Why the case would teach nothing were it called ready now; the word is taken back."""
    note(shop, case, Request("progress", fields={"state": "ready"}))
    words = why_not(shop, case)
    undo(shop, case)
    return words


def why_not(shop: Workshop, case: str) -> str:
    with pytest.raises(Refusal) as caught:
        what_it_teaches(bind(shop, case))
    assert caught.value.finding.code == "LRN-003"
    return caught.value.finding.words


def test_a_case_teaches_once_it_is_finished_and_proven_and_never_itself(finished: tuple[Workshop, str]) -> None:
    shop, case = finished
    book = MemoryLearned()
    assert proof_of_binding(bind(shop, case)).all_proven
    assert "not finished" in why_not(shop, case) and gather(shop, book).teaching == 0
    note(shop, case, Request("progress", fields={"state": "ready"}))
    taught = what_it_teaches(bind(shop, case))
    assert taught.key == key_of(case) and case not in json.dumps([taught.key, taught.board])
    assert taught.cells and all(c.damage == "rework" and c.broken == 0 and c.sites > 0 for c in taught.cells)
    assert gather(shop, book).new == 1 and gather(shop, book).new == 0
    at_once = MemoryLearned()
    assert learn_from(shop, at_once, case) and at_once.read().rows() == book.read().rows() == (taught,)
    at_once.put(Learned(on=False))
    assert not learn_from(shop, at_once, case) and at_once.read().rows() == ()
    assert b"Secret" not in learned_bytes(book.read().rows()) and case.encode() not in learned_bytes(book.read().rows())
    assert rates_for(shop, book, case) == (), "its own readings are in it already"
    other = small_case(shop, "second")
    rates = rates_for(shop, book, other)
    assert {(r.damage, r.site) for r in rates} == {(c.damage, c.site) for c in taught.cells}
    assert all(r.cases == 1 and r.rate < r.default for r in rates)
    before = bind(shop, other)
    use_learned(shop, other, book)
    after = bind(shop, other)
    factors = factors_in(after.state)["rework"]
    assert factors and all(f < 1.0 for f in factors.values()) and dict(after.areas[0].scale) == factors
    assert before.areas[0].scale == () and judged_anew(after).areas[0].scale == ()
    note(shop, other, Request("closed", points=("U1.6", "U4.7")))
    note(shop, other, Request("progress", fields={"state": "returned"}))
    assert "not proven" in why_not(shop, other)
    open_one = small_case(shop, "third")
    note(shop, open_one, Request("open", points=("U1.6", "U4.7")))
    note(shop, open_one, Request("progress", fields={"state": "ready"}))
    assert "not proven" in why_not(shop, open_one)


def test_over_http_gathered_taken_in_switched_off_and_dropped(shop: Workshop) -> None:
    book = MemoryLearned()
    client = Client(create_app(shop, learned=book))

    def opened(title: str) -> str:
        return str(client.post("/api/cases", json={"title": title, "board": "demo"}).json()["id"])

    case = opened("a")
    assert client.get(f"/api/cases/{case}/learned").json() == {"on": True, "used": [], "now": [], "words": []}
    assert client.post(f"/api/cases/{case}/learned", json={"use": True}).json()["code"] == "LRN-004"
    row = CaseCounts("a" * 64, "b" * 64, (Cell("rework", "joint", 400, 20.0, 3.2),))
    sent = client.post("/api/learning/import", files={"file": ("l.json", learned_bytes([row]))})
    assert sent.json() == {"cases": 1, "new": 1}
    shown = client.post(f"/api/cases/{case}/learned", json={"use": True}).json()
    assert shown["used"] == shown["now"] and shown["used"][0]["other_broken"] == 20 and shown["used"][0]["factor"] > 1
    assert "20.0 of 400 in 1 case of others" in shown["words"][0]
    taken = client.get(f"/api/cases/{opened('b')}/learned").json()
    assert taken["used"] == shown["used"], "a new case takes it in"
    assert client.post(f"/api/cases/{case}/learned", json={"use": False}).json()["used"] == []
    assert client.post("/api/learning/switch", json={"on": False}).json() == {"on": False}
    assert client.get(f"/api/cases/{opened('c')}/learned").json()["used"] == []
    assert client.post("/api/learning/gather").json()["teaching"] == 0
    assert client.get("/api/learning/export").content == learned_bytes([row])


def test_a_new_case_takes_in_the_benchs_own_times(shop: Workshop) -> None:
    from coppermend.core.log.state import plain
    from coppermend.core.planning.costs import CostTable
    from coppermend.services.learning import begin_with_learned
    from coppermend.services.numbers import costs_of

    case = new_case(shop, "demo", "x").state.case
    own: dict[str, Any] = plain(replace(CostTable(), read_s=2.5))
    book = MemoryLearned()
    book.put(Learned(costs=own))
    assert begin_with_learned(shop, case, book)
    assert costs_of(bind(shop, case).state).read_s == 2.5
    book.put(Learned(on=False, costs=own))
    assert begin_with_learned(shop, case, book) == ()
