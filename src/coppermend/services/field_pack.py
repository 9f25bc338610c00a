"""The field of fault sets as plain arrays, and back: what is kept beside a board, so that a command need not simulate 400,000 fault sets again.

The key is a digest of everything that the field is made from (circuit, copper, places, faults with their priors, screens, numbers) and of the device
book, so that whatever changes one of them finds nothing kept. Predictions are packed as differences to the first 64 sets (about 12 MB for the
demonstration machine instead of 150). No pickle, no code.
"""

from __future__ import annotations

import hashlib
import zlib
from collections.abc import Sequence
from typing import Any, Protocol

import numpy as np
from numpy.typing import NDArray

from coppermend.core.belief.suspects.causes import Cause
from coppermend.core.belief.suspects.field import Field, KeptSets, Predicted, Spot
from coppermend.core.belief.suspects.table import FaultTable
from coppermend.core.circuit.machine import Screen
from coppermend.core.circuit.planes import Behaviour

FIELD_VERSION = 1
"""Raise it when sets are enumerated or simulated in another way: what was kept before is not found then."""
KIND = "field"
LEVEL = 1
"""zlib's fastest level: 0.6 s to pack, 0.3 s to unpack; a higher one gains little."""


class FieldKeep(Protocol):
    """Keeps arrays and a JSON value by key and kind; keeps nothing, silently, where it cannot write."""

    def load_blob(self, key: str, kind: str) -> tuple[dict[str, NDArray[Any]], Any] | None:
        """What is kept, None when nothing is or it is damaged."""

    def save_blob(self, key: str, kind: str, arrays: dict[str, NDArray[Any]], value: Any) -> None:
        """Keep it."""


def field_key(
    behaviour: Behaviour,
    causes: Sequence[Cause],
    table: FaultTable,
    spots: Sequence[Spot],
    screens: Sequence[Screen],
    most: int,
    book_digest: str,
) -> str:
    """SHA-256 over all that a field is made from, as hex digits."""
    circuit = behaviour.circuit
    digest = hashlib.sha256(repr((FIELD_VERSION, book_digest, most, np.__version__)).encode())
    for part in circuit.parts:
        chip = "" if part.chip is None else f"{part.chip.type} {part.chip.family.name}"
        digest.update(repr((part.ref, part.value, part.role, part.terminals, part.ohm, part.hz, chip)).encode())
    trees = sorted((net, one.nodes, one.edges, sorted(one.taps.items())) for net, one in behaviour.trees.items())
    digest.update(repr((sorted(circuit.rails.items()), circuit.pulls, circuit.links)).encode())
    digest.update(repr((sorted(circuit.unknown_nets), trees, behaviour.shorts)).encode())
    digest.update(repr([(one.key, one.unit, one.part, one.kind, one.prior) for one in causes]).encode())
    digest.update(repr((list(spots), list(screens), table.number, table.more, table.unlike_table)).encode())
    return digest.hexdigest()


def pack_field(made: Field) -> tuple[dict[str, NDArray[Any]], dict[str, Any]]:
    """The fault sets of a field and what they predict, as arrays and a JSON value; ``unpack_sets`` gives them back."""
    arrays: dict[str, NDArray[Any]] = {"members": made.main.members}
    value: dict[str, Any] = {"version": FIELD_VERSION, "covered": list(made.covered), "counts": {}}
    for name, chunks in (("main", made.main.chunks), ("single", made.singles().chunks)):
        value["counts"][name] = [one.count for one in chunks]
        for k, one in enumerate(chunks):
            first = np.ascontiguousarray(one.planes[:1])
            packed = zlib.compress((one.planes ^ first).astype("<u8").tobytes(), LEVEL)
            arrays |= {
                f"{name}{k}.first": first.astype("<u8"),
                f"{name}{k}.planes": np.frombuffer(packed, np.uint8),
                f"{name}{k}.row": one.row,
                f"{name}{k}.screen": one.screen,
            }
    return arrays, value


def unpack_sets(arrays: dict[str, NDArray[Any]], value: Any, causes: int, spots: int) -> KeptSets | None:
    """What ``pack_field`` packed; None where it does not fit a field of so many causes and spots, whatever else the bytes say."""
    try:
        if value["version"] != FIELD_VERSION:
            return None
        members = np.ascontiguousarray(arrays["members"], dtype=np.int32)
        blocks = {
            name: tuple(_chunk(arrays, f"{name}{k}", int(count), spots) for k, count in enumerate(counts))
            for name, counts in value["counts"].items()
        }
        covered = tuple(float(x) for x in value["covered"])
        fits = (
            members.ndim == 2
            and members.shape[1] == 3
            and len(members) > 0
            and int(members.min()) >= -1
            and int(members.max()) < causes
            and sum(one.count for one in blocks["main"]) == len(members)
            and sum(one.count for one in blocks["single"]) == causes
        )
    except (KeyError, TypeError, ValueError, IndexError, AttributeError, OverflowError, MemoryError, zlib.error):
        return None
    return KeptSets(members, covered, blocks["main"], blocks["single"]) if fits else None


def _chunk(arrays: dict[str, NDArray[Any]], name: str, count: int, spots: int) -> Predicted:
    first = np.asarray(arrays[f"{name}.first"], dtype="<u8")
    words = (count + 63) // 64
    size = words * first.size * 8
    unpacked = zlib.decompressobj().decompress(arrays[f"{name}.planes"].tobytes(), size + 1)
    planes = np.frombuffer(bytearray(unpacked), "<u8").reshape(words, *first.shape[1:])
    planes ^= first
    row = np.ascontiguousarray(arrays[f"{name}.row"], dtype=np.int32)
    screen = np.ascontiguousarray(arrays[f"{name}.screen"], dtype=np.uint8)
    if planes.shape[2:] != (3,) or row.shape != (spots,) or screen.shape != (count,):
        raise ValueError(name)
    if int(row.min(initial=0)) < 0 or int(row.max(initial=0)) >= planes.shape[1]:
        raise ValueError(name)
    return Predicted(count, row, planes, screen)
