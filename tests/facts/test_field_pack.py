"""Fault sets kept from one command to the next are the ones that would be reckoned anew; anything else is not used."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray

from coppermend.core.belief.suspects.causes import list_causes, neighbour_shorts
from coppermend.core.belief.suspects.field import Field, Spot, build_field
from coppermend.core.belief.suspects.posterior import Look, Observation, Start, initial, observed
from coppermend.core.belief.suspects.table import FLOATING, FaultTable
from coppermend.core.circuit.examples import inverter_chain
from coppermend.core.circuit.machine import DEFAULT_SCREENS
from coppermend.core.circuit.planes import Behaviour, whole_trees
from coppermend.services.field_pack import field_key, pack_field, unpack_sets

TABLE = FaultTable()


def parts() -> tuple[Behaviour, tuple[Any, ...], tuple[Spot, ...]]:
    circuit = inverter_chain()
    behaviour = Behaviour(circuit, whole_trees(circuit))
    causes = list_causes(circuit, {}, neighbour_shorts(circuit, {}), TABLE, ())
    spots = tuple(
        Spot(net, 0, net in circuit.rails, net == "GND", False, False, False, behaviour.healthy_symbol(net))
        for net in sorted(circuit.nets)
    )
    return behaviour, causes, spots


def made() -> Field:
    behaviour, causes, spots = parts()
    return build_field(behaviour, causes, TABLE, spots)


def packed() -> tuple[dict[str, NDArray[Any]], dict[str, Any]]:
    return pack_field(made())


def test_the_same_belief_follows_from_kept_sets() -> None:
    fresh = made()
    behaviour, causes, spots = parts()
    kept = unpack_sets(*pack_field(fresh), causes=len(causes), spots=len(spots))
    assert kept is not None
    again = build_field(behaviour, causes, TABLE, spots, kept=kept)
    assert again.covered == fresh.covered and again.sets == fresh.sets
    seen: list[Observation] = [Start(1), Look("C", 0, FLOATING), Look("B", 0, FLOATING)]
    one, two = observed(initial(fresh), seen), observed(initial(again), seen)
    assert np.array_equal(one.units(), two.units()) and one.log_evidence == two.log_evidence
    assert one.units().max() > 0.3


def test_all_predictions_come_back() -> None:
    fresh = made()
    kept = unpack_sets(*pack_field(fresh), causes=len(fresh.causes), spots=len(fresh.spots))
    assert kept is not None
    for mine, theirs in ((fresh.main.chunks, kept.main), (fresh.singles().chunks, kept.singles)):
        for a, b in zip(mine, theirs, strict=True):
            assert np.array_equal(a.planes, b.planes) and np.array_equal(a.row, b.row)
            assert np.array_equal(a.screen, b.screen) and a.count == b.count


@pytest.mark.parametrize(
    ("name", "wrong"),
    [
        ("members", np.zeros((3, 3), np.int32)),
        ("members", np.full((1, 3), 10_000, np.int32)),
        ("main0.planes", np.zeros(40, np.uint8)),
        ("main0.row", np.full(7, 99, np.int32)),
        ("single0.screen", np.zeros(1, np.uint8)),
        ("single0.first", np.zeros((1, 1, 2), np.uint64)),
    ],
)
def test_damaged_sets_are_reckoned_anew(name: str, wrong: NDArray[Any]) -> None:
    arrays, value = packed()
    _, causes, spots = parts()
    assert name in arrays
    arrays[name] = wrong
    assert unpack_sets(arrays, value, causes=len(causes), spots=len(spots)) is None


def test_sets_of_another_board_or_version_do_not_fit() -> None:
    arrays, value = packed()
    _, causes, spots = parts()
    assert unpack_sets(arrays, value, causes=len(causes) + 1, spots=len(spots)) is None
    assert unpack_sets(arrays, value, causes=len(causes), spots=len(spots) + 1) is None
    assert unpack_sets(arrays, {**value, "version": 0}, causes=len(causes), spots=len(spots)) is None
    assert unpack_sets(arrays, None, causes=len(causes), spots=len(spots)) is None


def test_whatever_the_sets_depend_on_changes_the_key() -> None:
    behaviour, causes, spots = parts()

    def key(**other: Any) -> str:
        said: dict[str, Any] = {
            "causes": causes,
            "table": TABLE,
            "spots": spots,
            "screens": DEFAULT_SCREENS,
            "most": 9,
            "digest": "a",
        }
        said |= other
        return field_key(behaviour, said["causes"], said["table"], said["spots"], said["screens"], said["most"], said["digest"])  # fmt: skip

    likelier = (replace(causes[0], prior=0.3), *causes[1:])
    keys = {
        key(),
        key(causes=likelier),
        key(causes=causes[1:]),
        key(table=replace(TABLE, number=(0.5, 0.3, 0.2))),
        key(spots=spots[1:]),
        key(screens=DEFAULT_SCREENS[:1]),
        key(most=10),
        key(digest="b"),
    }
    assert len(keys) == 8 and key() == key()
