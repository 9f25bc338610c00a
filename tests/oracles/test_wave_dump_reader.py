"""Value change dumps against an independent reader (pyvcd: its writer makes the file, its tokenizer replays it)."""

from __future__ import annotations

import io
import random

import numpy as np
import pytest
import vcd

from coppermend.core.signals.wave import Trace
from coppermend.formats.waves.vcd import read_vcd


def written(seed: int, wires: int, changes: int) -> bytes:
    """A dump of many wires, a bus and a real, by the other library's writer."""
    chance = random.Random(seed)
    out = io.StringIO()
    with vcd.VCDWriter(out, timescale="10 ns", date="today") as writer:
        lines = [writer.register_var("top.part", f"s{k}", "wire", size=1) for k in range(wires)]
        bus = writer.register_var("top", "bus", "wire", size=8)
        real = writer.register_var("top", "ana", "real", init=0.0)
        now = 0
        for k in range(changes):
            now += chance.randint(0, 3)
            writer.change(chance.choice(lines), now, chance.choice("01xz"))
            if k % 50 == 0:
                writer.change(bus, now, chance.randint(0, 255))
                writer.change(real, now, chance.random())
    return out.getvalue().encode()


def replayed(data: bytes) -> dict[str, dict[int, str]]:
    """Name to time to the last level at that time, as the other library's tokenizer tells it."""
    from vcd.reader import TokenKind, tokenize

    names: dict[str, str] = {}
    found: dict[str, dict[int, str]] = {}
    now = 0
    for token in tokenize(io.BytesIO(data)):
        if token.kind is TokenKind.VAR and token.var.size == 1:
            names[token.var.id_code] = token.var.reference
        elif token.kind is TokenKind.CHANGE_TIME:
            now = token.time_change
        elif token.kind is TokenKind.CHANGE_SCALAR:
            change = token.scalar_change
            found.setdefault(names[change.id_code], {})[now] = change.value.lower()
    return found


@pytest.mark.parametrize(("seed", "wires"), [(1, 3), (2, 120), (3, 400)])
def test_every_level_of_every_wire(seed: int, wires: int) -> None:
    data = written(seed, wires, 5000)
    ours = {one.name.rpartition(".")[2]: one for one in read_vcd(data).channels}
    theirs = replayed(data)
    assert len(theirs) == wires or wires > 300
    for name, levels in theirs.items():
        trace = ours[name]
        assert isinstance(trace, Trace)
        times = np.array(sorted(levels)) * 1e-8
        assert trace.at(times + 1e-12).tolist() == ["01xz".index(levels[t]) for t in sorted(levels)]
