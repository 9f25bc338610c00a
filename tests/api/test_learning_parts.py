"""Parts that past cases found at fault: what a log teaches of them, what it makes of the priors, and that the belief takes it in by Bayes' rule alone.

Mean of a Beta prior with binomial counts, twice: Gelman et al., Bayesian Data Analysis, 3rd ed., 2.4 and 5.3 (from memory), worked out here by hand.
"""

from __future__ import annotations

import numpy as np
import pytest

from coppermend.bootstrap import device_book, machine_model
from coppermend.core.belief.suspects.posterior import initial
from coppermend.core.findings import Refusal
from coppermend.core.planning.learned import PART, TOGETHER, WORTH_SITES, CaseCounts, Cell
from coppermend.formats.learned import learned_bytes, read_learned
from coppermend.services.bind import bind
from coppermend.services.cases import new_case
from coppermend.services.learnednumbers import factors_in
from coppermend.services.learnedparts import part_cells
from coppermend.services.learning import (
    MemoryLearned,
    drop_learned,
    gather,
    in_words,
    key_of,
    learned_view,
    rates_for,
    take_rows,
    use_learned,
    what_it_teaches,
)
from coppermend.services.notes import note
from coppermend.services.requests import Request
from coppermend.services.suspects import board_of_case
from coppermend.services.workshop import Workshop

CHIP = "74138"


def a_start(shop: Workshop, case: str, screen: str) -> None:
    note(shop, case, Request("gate", value="override", words="a test"))
    note(shop, case, Request("power", value="on"))
    note(shop, case, Request("seen", fields={"screen": screen}))
    note(shop, case, Request("power", value="off"))


def swapped(
    shop: Workshop, title: str, part: str, effect: str, *, started: bool = True, fails: str = "", other: str = ""
) -> str:
    """A finished case in which one part was replaced for good."""
    case = new_case(shop, "demo", title).state.case
    a_start(shop, case, "black")
    note(shop, case, Request("swap", part=part, fields={"effect": effect}))
    if other:
        note(shop, case, Request("swap", part=other))
    if started:
        a_start(shop, case, "works")
    if fails:
        note(shop, case, Request("test", fields={"item": fails, "result": "fails"}))
    note(shop, case, Request("progress", fields={"state": "ready"}))
    return case


def of_type(shop: Workshop, case: str) -> list[str]:
    """The parts of the demonstration machine that are chips of one type."""
    made = board_of_case(bind(shop, case), device_book(), machine_model("demo"), shop.fields)
    return [p.ref for p in made.circuit.parts if p.chip is not None and p.chip.type.lower() == CHIP]


def test_a_replaced_part_that_cured_the_machine_counts_as_broken_and_the_others_as_whole(shop: Workshop) -> None:
    chips = of_type(shop, new_case(shop, "demo", "first").state.case)
    case = swapped(shop, "cured", chips[0], "cured")
    cells = {c.site: c for c in what_it_teaches(bind(shop, case)).cells}
    assert all(c.damage == PART for c in cells.values()), "no work area: its copper teaches nothing"
    assert (cells[CHIP].sites, cells[CHIP].broken) == (len(chips), 1.0)
    assert sum(c.broken for c in cells.values()) == 1.0 and cells["resistor"].sites > 1
    assert all(0 < c.expected < c.sites for c in cells.values())
    assert sum(c.expected for c in cells.values()) == pytest.approx(1.0), "the one at fault, shared out by the priors"
    assert part_cells(bind(shop, swapped(shop, "none", chips[0], "none"))) == (), "no part was at fault"
    two = swapped(shop, "two", chips[0], "cured", other="U35")
    assert {c.site: (c.sites, c.broken) for c in part_cells(bind(shop, two))}[CHIP] == (len(chips), 1.0)
    untold = swapped(shop, "untold", "U35", "cured", other=chips[0])
    assert {c.site: c.sites for c in part_cells(bind(shop, untold))}[CHIP] == len(chips) - 1, "nobody said what it did"


def test_a_log_that_does_not_tell_teaches_nothing_of_parts(shop: Workshop) -> None:
    chips = of_type(shop, new_case(shop, "demo", "first").state.case)
    assert part_cells(bind(shop, swapped(shop, "not started", chips[0], "cured", started=False))) == ()
    assert part_cells(bind(shop, swapped(shop, "still fails", chips[0], "cured", fails="keyboard"))) == ()
    with pytest.raises(Refusal, match="LRN-003"):
        what_it_teaches(bind(shop, swapped(shop, "not started", chips[0], "cured", started=False)))


def test_the_suspects_take_the_learned_priors_in_and_let_go_of_them(shop: Workshop) -> None:
    """Without any evidence the ratio of two single faults' weights is that of their odds; learning moves it by the odds' ratio and by nothing else."""
    book = MemoryLearned()
    first = new_case(shop, "demo", "first").state.case
    chips = of_type(shop, first)
    cases = [swapped(shop, f"case {k}", chips[0], "cured") for k in range(3)]
    assert gather(shop, book).teaching == 3 and rates_for(shop, book, cases[0])
    rate = next(r for r in rates_for(shop, book, first) if r.site == CHIP)
    n = len(chips) / (1 + (len(chips) - 1) * TOGETHER)
    mean = (WORTH_SITES * rate.default + 3 * n / len(chips)) / (WORTH_SITES + 3 * n)
    assert rate.rate == pytest.approx(mean) and rate.factor == pytest.approx(mean / rate.default) and rate.factor > 1

    def board() -> tuple[dict[tuple[str, ...], float], dict[tuple[str, ...], float]]:
        made = board_of_case(bind(shop, first), device_book(), machine_model("demo"), shop.fields).field
        p = initial(made).causes()
        return {c.key: c.prior for c in made.causes}, {c.key: float(x) for c, x in zip(made.causes, p, strict=True)}

    before, p_before = board()
    use_learned(shop, first, book)
    factors = factors_in(bind(shop, first).state)[PART]
    assert factors[CHIP] == pytest.approx(rate.factor, abs=1e-6)
    after, p_after = board()
    mine = ("float", chips[0])
    assert after[mine] == pytest.approx(before[mine] * factors[CHIP])
    cuts = [k for k in before if k[0] == "cut"]
    assert all(after[k] == before[k] for k in cuts), "copper learns by its sites"
    assert p_after[mine] / p_before[mine] > 1.2 * np.median([p_after[k] / p_before[k] for k in cuts])
    assert any(f"part {CHIP}: 3.0 of" in line for line in learned_view(shop, book, first)["words"])
    drop_learned(shop, first)
    assert board()[0] == before


def test_a_file_carries_parts_and_nothing_of_the_case_and_the_older_version_is_read() -> None:
    row = CaseCounts(key_of("x"), "b" * 64, (Cell(PART, "74ls138", 4, 1.0, 0.08), Cell("rework", "joint", 9, 1.0, 0.1)))
    data = learned_bytes([row])
    assert read_learned(data) == (row,)
    older = learned_bytes([CaseCounts(key_of("x"), "b" * 64, row.cells[1:])]).replace(b'"version":2', b'"version":1')
    assert len(read_learned(older)) == 1
    with pytest.raises(Refusal, match="LRN-001"):
        read_learned(data.replace(b"74ls138", b"=HYPERLINK(x)"))
    book = MemoryLearned()
    assert take_rows(book, [row]) == 1
    assert in_words([], False) == []
