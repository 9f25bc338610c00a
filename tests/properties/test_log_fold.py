"""Invariant 5: replaying a log gives the same case state bit for bit, whatever order the entries were appended or handed over in; undo is exact."""

from __future__ import annotations

import json
from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st
from tests.fakes import CountingIds, MemoryStore

from coppermend.core.findings import Refusal
from coppermend.core.log.fold import fold, undone_ids
from coppermend.core.log.kinds import KINDS
from coppermend.core.log.model import Draft, Entry, entry_from_dict
from coppermend.core.log.state import CaseState

WHEN = "2026-03-01T09:00:00.000Z"


def point(name: str, net: str = "D0") -> dict[str, object]:
    part, _, pin = name.partition(".")
    return {
        "id": f"{name}/leg",
        "x_mm": float(len(name)),
        "y_mm": 2.5,
        "side": "c",
        "net": net,
        "part": part,
        "pin": pin,
    }


A, B = point("U1.8"), point("U7.3")
ACTS: list[tuple[str, dict[str, object]]] = [
    ("closed", {"points": [A, B], "raw": "", "instrument": "beep", "states": {"U1": "socketed"}}),
    ("open", {"points": [A, B], "instrument": "beep"}),
    ("ohms", {"points": [A, B], "ohm": 4700.0, "raw": "4k7"}),
    ("ohms", {"points": [point("J1.1", "+5V"), point("J1.2", "GND")], "ohm": 320.5}),
    ("volts", {"points": [A], "volt": 5.02}),
    ("level", {"points": [A], "level": "toggling"}),
    ("hertz", {"points": [A], "hertz": 4000000.0}),
    ("area", {"polygon": [[0, 0], [10.5, 0], [10.5, 20]], "kind": "rework", "severity": 2, "part": "U1"}),
    ("reseat", {"part": "U1", "states": {"U1": "socketed"}}),
    ("remove", {"part": "U1", "state": "out", "states": {"U1": "socketed"}}),
    ("fit", {"part": "U9", "state": "soldered", "states": {"U9": "not fitted"}}),
    (
        "patch",
        {"points": [A, B], "awg": 30, "diameter_mm": 0.2546, "length_mm": 62.0, "path": [[1, 2], [9, 2], [9, 5]]},
    ),
    ("care", {"procedure": "cell", "step": "rinse", "state": "done", "words": "three times", "sha256": "0" * 64}),
    ("cut", {"x_mm": 3.0, "y_mm": 4.0, "side": "s"}),
    ("intake", {"item": "known good", "yes": True, "words": "own monitor"}),
    ("intake", {"item": "consent", "yes": True, "acts": ["unsolder"]}),
    ("intake", {"item": "limit", "amount": 80.0, "currency": "EUR"}),
    ("intake", {"item": "condition", "photos": ["0" * 64]}),
    ("schematic", {"sha256": "0" * 64, "bytes": 10, "pages": 3, "name": "sheet.pdf", "found": 120}),
    ("freerun", {"lines": [[0, 500000.0], [1, 0.0]], "clock_hz": 4000000.0, "clocks": 4, "part": "U1"}),
    ("diagnostic", {"name": "test ROM", "passed": 2, "stopped": True}),
    ("starts", {"good": 3, "of": 5, "condition": "freeze spray", "part": "U1", "minutes": 10}),
    ("look", {"finding": "cracked joint", "seen": False, "side": "s", "points": [A]}),
    ("supply", {"rail": "VCC", "at": "alone", "volt": 5.02, "load_a": 1.0, "ripple_v": 0.03, "rise_s": 0.02}),
    ("chip", {"chip": "C7", "type": "4164", "speed": "150 ns", "goodness": "known good", "place": "stock"}),
    ("chipcheck", {"part": "U1", "item": "legs", "good": False, "pins": ["7", "8"]}),
    ("press", {"part": "U1", "effect": "changed", "states": {"U1": "socketed"}}),
    ("tap", {"points": [A], "effect": "none"}),
    ("piggyback", {"part": "U9", "effect": "cured", "with": "C7"}),
    (
        "swap",
        {
            "part": "U1",
            "state": "socketed",
            "states": {"U1": "socketed"},
            "with": "C7",
            "trial": True,
            "effect": "none",
        },
    ),
    ("gate", {"item": "orientation"}),
    ("gate", {"item": "limit", "limit_a": 0.5, "abort_a": 0.8}),
    ("gate", {"item": "override", "words": "known good"}),
    ("power", {"on": True}),
    ("power", {"on": False}),
    ("seen", {"screen": "black", "current_a": 0.35}),
    ("symptom", {"words": "garbage on the screen"}),
    ("remark", {"words": "smells of fish"}),
    ("skip", {"points": [B], "words": "under the heat sink"}),
    ("basis", {"name": "priors", "sha256": "0" * 64, "values": {"false_open": 0.02}}),
]

STEP = st.tuples(st.sampled_from(["a", "b"]), st.one_of(st.sampled_from(ACTS), st.integers(0, 40), st.just("meet")))


def written(steps: list[tuple[str, object]]) -> tuple[MemoryStore, MemoryStore, str]:
    """Two benches at work on one case: each acts, takes something back (an integer picks what), or both exchange what they have."""
    benches = {"a": MemoryStore("a"), "b": MemoryStore("b")}
    ids = CountingIds()
    case = ids.new()
    benches["a"].append(Draft(ids.new(), case, "a", WHEN, WHEN, "x", "case", 1, {"title": "M"}))
    benches["b"].absorb(benches["a"].entries(case))
    for bench, what in steps:
        store = benches[bench]
        if what == "meet":
            exchange(benches, case)
        elif isinstance(what, int):
            seen = [one for one in store.entries(case) if one.kind != "case"]
            if seen:
                store.append(Draft(ids.new(), case, bench, WHEN, WHEN, "x", "undo", 1, {}, seen[what % len(seen)].id))
        else:
            kind, payload = what  # type: ignore[misc]
            store.append(Draft(ids.new(), case, bench, WHEN, WHEN, "x", kind, 1, payload))
    exchange(benches, case)
    return benches["a"], benches["b"], case


def exchange(benches: dict[str, MemoryStore], case: str) -> None:
    benches["a"].absorb(benches["b"].entries(case))
    benches["b"].absorb(benches["a"].entries(case))


@given(st.lists(STEP, max_size=25), st.randoms(use_true_random=False))
def test_both_benches_and_every_order_fold_to_the_same_state(steps: list[tuple[str, object]], random: object) -> None:
    a, b, case = written(steps)
    left, right = list(a.entries(case)), list(b.entries(case))
    state = fold(left)
    random.shuffle(right)  # type: ignore[attr-defined]
    again = fold([*right, *right[:3]])
    assert again == state and again.sha256() == state.sha256()
    through_json = [entry_from_dict(json.loads(one.body())) for one in left]
    assert fold(through_json).sha256() == state.sha256()


@given(st.lists(STEP, max_size=25))
def test_what_is_taken_back_leaves_the_state_as_if_it_had_never_been(steps: list[tuple[str, object]]) -> None:
    """Against an independent definition: drop undone entries and all undos, fold the rest, compare all but places, history and last."""
    a, _, case = written(steps)
    entries = a.entries(case)
    gone = undone_ids(entries)
    kept = [one for one in entries if one.id not in gone and one.kind != "undo"]
    assert facts(fold(entries)) == facts(fold(kept))


def facts(state: CaseState) -> object:
    """The state without positions (they count undone entries too), timeline, undone and last."""
    value = state.as_dict()
    for name in ("timeline", "undone", "last", "last_soldering"):
        value.pop(name)
    return without_at(value)


def without_at(value: object) -> object:
    if isinstance(value, dict):
        return {key: without_at(one) for key, one in value.items() if key != "at"}
    return [without_at(one) for one in value] if isinstance(value, list) else value


@given(st.lists(st.sampled_from(ACTS), min_size=1, max_size=8), st.integers(1, 6))
def test_undo_of_undo_restores(acts: list[tuple[str, dict[str, object]]], times: int) -> None:
    store, ids = MemoryStore("a"), CountingIds()
    case = ids.new()
    store.append(Draft(ids.new(), case, "a", WHEN, WHEN, "x", "case", 1, {"title": "M"}))
    for kind, payload in acts:
        last = store.append(Draft(ids.new(), case, "a", WHEN, WHEN, "x", kind, 1, payload))  # type: ignore[arg-type]
    with_it = facts(fold(store.entries(case)))
    without = facts(fold(store.entries(case)[:-1]))
    target = last.id
    for number in range(1, times + 1):
        target = store.append(Draft(ids.new(), case, "a", WHEN, WHEN, "x", "undo", 1, {}, target)).id
        assert facts(fold(store.entries(case))) == (without if number % 2 else with_it)


@given(st.sampled_from(sorted(KINDS)), st.integers(2, 9))
def test_a_version_that_is_not_known_is_refused_never_dropped(kind: str, version: int) -> None:
    opened = Entry("1", "c", "a", 1, 1, "0" * 64, WHEN, WHEN, "x", "case", 1, {"title": "M"})
    newer = Entry("2", "c", "a", 2, 2, opened.sha256(), WHEN, WHEN, "x", kind, version, {})
    for strange in (newer, replace(newer, kind="hologram", v=1)):
        with pytest.raises(Refusal, match="LOG-002"):
            fold([opened, strange])


def test_no_kind_has_room_for_a_site_id() -> None:
    """Design rule: readings, patches, cuts and findings name points or polygons; today's sites are found by the fold."""
    fields = {name for spec in KINDS.values() for name in {**spec.must, **spec.may}}
    assert not {name for name in fields if "site" in name or "span" in name}


def test_every_kind_is_folded_and_said_in_words() -> None:
    """The acts above and the rest below reach every kind; none may be forgotten by the fold."""
    more = [
        ("waits", {"what": "part", "words": "a 4164"}),
        ("waited", {"entry": "0" * 36}),
        ("board", {"package": "p", "package_id": "0" * 64}),
        ("photo", {"sha256": "0" * 64, "media": "image/png", "bytes": 5}),
        ("lay", {"sha256": "0" * 64, "side": "c", "taps": [], "lens": {"k": 0.0}, "residual_mm": 0.02}),
        ("map", {"says": "agreed"}),
        ("diode", {"points": [A, B], "volt": None}),
        ("wave", {"points": [A], "sha256": "0" * 64}),
        ("heat", {"part": "U1", "celsius": 61.0}),
        ("memory", {"errors": [[32768, 85, 84, None]], "words": "10 error words: part U53"}),
        ("rom", {"part": "U5", "verdict": "right", "words": "it is basic.bin"}),
        ("look", {"part": "U1", "sound": False, "words": "green legs"}),
        ("clean", {"part": "U1"}),
        ("press", {"part": "U1"}),
        ("swap", {"part": "U1", "states": {"U1": "socketed"}, "state": "socketed"}),
        ("state", {"part": "U1", "state": "socketed"}),
        ("solder", {"points": [A]}),
        ("test", {"item": "keyboard", "result": "works"}),
        ("practice", {"patient": {"seed": 7}}),
        ("progress", {"state": "ready"}),
    ]
    store, ids = MemoryStore("a"), CountingIds()
    case = ids.new()
    for kind, payload in [("case", {"title": "M"}), *ACTS, *more]:
        store.append(Draft(ids.new(), case, "a", WHEN, WHEN, "x", kind, 1, payload))  # type: ignore[arg-type]
    store.append(Draft(ids.new(), case, "a", WHEN, WHEN, "x", "undo", 1, {}, store.entries(case)[-1].id))
    state = fold(store.entries(case))
    assert {item.kind for item in state.timeline} == set(KINDS)
    assert all(len(item.words) > 4 for item in state.timeline)
    assert state.progress == "on the bench" and dict(state.part_states) == {"U1": "socketed", "U9": "soldered"}
