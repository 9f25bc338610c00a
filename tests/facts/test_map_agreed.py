"""Map and board were compared by hand and said to agree: what differed then is settled, however often it is read again; what differs anew is not."""

from __future__ import annotations

from coppermend import bootstrap
from coppermend.services.areas import add_area
from coppermend.services.bind import bind
from coppermend.services.cases import new_case
from coppermend.services.map_doubt import doubt_words, map_first, trust_of
from coppermend.services.notes import note
from coppermend.services.requests import Request


def test_what_was_compared_stays_settled() -> None:
    made = bootstrap.practice_workshop()
    case = new_case(made, "demo", "Machine").state.case
    add_area(made, case, part="U1")
    checks = trust_of(bind(made, case)).chosen
    first = [(one.point_a, one.point_b) for one in checks[:2]]
    for pair in (*first, *first):
        note(made, case, Request("open", pair))
    asked = map_first(bind(made, case))
    assert asked is not None and "do not agree" in asked.words
    note(made, case, Request("map", value="agreed", words="type, revision and date compared"))
    assert map_first(bind(made, case)) is None and trust_of(bind(made, case)).agreed
    note(made, case, Request("open", first[0]))  # the tip once more, as the copper's next step asks
    assert map_first(bind(made, case)) is None, "the same break is no news"
    binding = bind(made, case)
    a = binding.graph.point(first[0][0])
    parts = {a.part, binding.graph.point(first[0][1]).part}
    third = next(
        p.id for p in binding.graph.points if p.net == a.net and p.part and p.part not in parts and p.reachable
    )
    note(made, case, Request("open", (first[0][0], third)))
    assert map_first(bind(made, case)) is None, "the same net, open then as now"
    fresh = (checks[3].point_a, checks[3].point_b)
    note(made, case, Request("open", fresh))
    again = map_first(bind(made, case))
    assert again is not None and again.kind == "retest" and again.check is not None, "another net differs"
    assert {again.check.point_a, again.check.point_b} == set(fresh)


def test_an_open_read_twice_leads_on_to_the_other_nets_and_is_told() -> None:
    """Issue 4, point 9: one net that differs may be one old break; the checks on other nets tell it from another board (reckoned by hand: Bayes' rule)."""
    made = bootstrap.practice_workshop()
    case = new_case(made, "demo", "Machine").state.case
    add_area(made, case, part="U1")
    checks = trust_of(bind(made, case)).chosen
    odd = (checks[0].point_a, checks[0].point_b)
    note(made, case, Request("open", odd))
    note(made, case, Request("open", odd))
    step = map_first(bind(made, case))
    assert step is not None and step.check is not None and step.check.net_a != checks[0].net_a
    p = trust_of(bind(made, case)).p_wrong
    assert 0.3 < p < 0.9
    assert f"P(map wrong) {p:.2f}" in doubt_words(bind(made, case))
    for one in checks[1:]:
        note(made, case, Request("closed", (one.point_a, one.point_b)))
    assert trust_of(bind(made, case)).p_wrong < p / 2
    note(made, case, Request("map", value="agreed"))
    assert doubt_words(bind(made, case)) == ""
