"""The fewest power-ups of somebody who knows what every reading means, by hand: a fault that another one hides costs a start of its own."""

from __future__ import annotations

from types import SimpleNamespace
from typing import Any, cast

from benchmarks.whole_bound import Oracle, Way

from coppermend.core.circuit.planes import Key
from coppermend.practice.whole import WholeFault

STILL, CHIP, CUT = (WholeFault(kind, name, (name, name)) for kind, name in (("chip", "still"), ("chip", "chip"), ("copper", "cut")))  # fmt: skip
CELLS = WholeFault("memory", "bad cells", part="U51", content=True)
SUPPLY = WholeFault("supply", "no supply", ("norail", "VCC"))


class Bench(Oracle):
    """A machine of three places. ``still`` stops all of it; ``chip`` and ``cut`` show at a place each while it runs. Screen 0 works, 1 starts and fails, 2 is dark."""

    def __init__(self) -> None:
        board = SimpleNamespace(works=0, fails=1, memory_bits={"U51": 1})
        field = SimpleNamespace(warm=("U9",))
        super().__init__(cast(Any, SimpleNamespace(answers=board, made=SimpleNamespace(field=field))))

    def seen(self, keys: Any) -> tuple[tuple[str, ...], int]:
        names = {str(key[0]) for key in cast("list[Key]", list(keys))}
        if "still" in names:
            return ("low", "low", "low"), 2
        found = ("moving", "wrong" if "chip" in names else "right", "wrong" if "cut" in names else "right")
        return found, 2 if names else 0


def ups(*faults: WholeFault, way: Way = Way()) -> int:
    return Bench().power_ups(faults, way)[0]


def test_what_is_hidden_costs_a_start_of_its_own() -> None:
    assert ups(CHIP) == 2, "one start shows it, one that it works"
    assert ups(CHIP, CUT) == 2, "both show at once"
    assert ups(STILL, CHIP) == 3, "a chip behind a still processor"
    assert ups(STILL, CUT) == 3 and ups(STILL, CUT, way=Way(round=True)) == 2, "beeped before power"
    assert ups(SUPPLY) == 1, "found before power"


def test_bad_cells_of_a_memory_show_only_once_a_test_runs() -> None:
    assert ups(CELLS) == 2 and ups(CHIP, CELLS) == 3
    assert Bench().power_ups((CHIP, CELLS), Way())[1] == ["memory, bad cells"]
