"""What the bench noted and what must come of it: tries with a chip that cannot work, chips and looks that contradict each other, a rail shorted with the power off.

No expected value here is a measured one: each is what the log itself allows or forbids (a chip of another type cannot work; one socket holds one chip), or
Bayes' rule worked out beside the test.
"""

from __future__ import annotations

import math
from collections.abc import Iterator

import pytest
from tests.facts.test_arrival_case import say

from coppermend import bootstrap
from coppermend.core.belief.suspects.posterior import Observation, Start, initial, observed
from coppermend.core.circuit.passives import PRIORS
from coppermend.core.findings import Refusal
from coppermend.services.bind import bind
from coppermend.services.cases import new_case
from coppermend.services.cautions import cautions
from coppermend.services.chips import note_chip
from coppermend.services.chiptries import cards_of, chip_conflicts, mute_swaps
from coppermend.services.chipwork import chip_work
from coppermend.services.handsevidence import hand_evidence
from coppermend.services.looks import look_conflicts
from coppermend.services.lookwork import looks_read, note_look
from coppermend.services.powered import PoweredBoard
from coppermend.services.railevidence import RAIL_MISREAD, rail_witnesses, rails_shorted
from coppermend.services.rails import rails_for_case
from coppermend.services.railshort import shorted_part
from coppermend.services.recording.handled import chip_rows, look_rows
from coppermend.services.workshop import Workshop


@pytest.fixture(scope="module")
def shop(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Workshop]:
    yield bootstrap.workshop(str(tmp_path_factory.mktemp("shop") / "store"))


@pytest.fixture(scope="module")
def board() -> PoweredBoard:
    return bootstrap.powered_setting("demo", most=20_000)


@pytest.fixture
def case(shop: Workshop) -> str:
    return new_case(shop, "demo", "Machine", complaint="dark").state.case


def chances(board: PoweredBoard, *seen: Observation) -> dict[str, float]:
    """Of every part how likely it is at fault, machine dark."""
    found: dict[str, float] = {}
    state = observed(initial(board.field), [Start(-1), *seen], widen=False)
    for cause, p in zip(board.field.causes, state.causes(), strict=True):
        if cause.part:
            found[cause.part] = found.get(cause.part, 0.0) + float(p)
    return found


@pytest.mark.parametrize(
    ("type_name", "known", "counts"),
    [("4164", "known good", False), ("Z80A", "known bad", False), ("Z80A", "known good", True)],
)
def test_a_try_counts_by_what_was_put_in(
    shop: Workshop, board: PoweredBoard, case: str, type_name: str, known: str, counts: bool
) -> None:
    """A RAM in the processor's socket cannot work, nor can a bad processor: that the machine stays dark says nothing of the one that came out."""
    note_chip(shop, case, "X1", type_name=type_name, goodness=known, place="stock")
    entry = say(shop, case, "swap U1 with=X1 out=C1 trial effect=none")
    binding = bind(shop, case)
    seen, unused = hand_evidence(binding, board)
    said = cards_of(binding)["C1"].says[0]
    careful = " ".join(cautions(shop, case, entry))  # type: ignore[arg-type]
    if counts:
        before, after = chances(board)["U1"], chances(board, *(one.seen for one in seen))["U1"]
        assert after < 0.3 * before and "hardly this chip" in said and not careful and not unused
    else:
        assert seen == () and "says nothing" in said and "hardly" not in said
        assert "says nothing" in unused[0][1] and "says nothing" in careful
        assert any("says nothing" in row[4] for row in chip_rows(binding.state, mute_swaps(binding)) if row[0] == "C1")


def test_tries_that_contradict_are_said_with_what_settles_them(shop: Workshop, case: str) -> None:
    say(shop, case, "swap U1 with=C2 out=C1 trial effect=none")
    assert chip_conflicts(bind(shop, case)) == ()
    say(shop, case, "swap U1 with=C3 out=C1 trial effect=cured")
    (found,) = chip_conflicts(bind(shop, case))
    assert "C2" in found.words and "C3" in found.words and "start five times" in found.settles
    assert any("not settled" in row[4] for row in chip_rows(bind(shop, case).state, {}, (found,)) if row[0] == "C2")
    say(shop, case, "reseat U1")
    assert chip_conflicts(bind(shop, case)) == (), "after a repair the tries before it are no contradiction"


def test_a_known_bad_chip_that_works_is_a_contradiction(shop: Workshop, case: str) -> None:
    note_chip(shop, case, "X8", type_name="Z80A", goodness="known bad", place="stock")
    say(shop, case, "swap U1 with=X8 out=C1 trial effect=cured")
    (found,) = chip_conflicts(bind(shop, case))
    assert "X8 was noted as known bad" in found.words and "undo" in found.settles


def test_one_socket_holds_one_chip_and_must_be_there(shop: Workshop, case: str) -> None:
    with pytest.raises(Refusal, match="PNT-003"):
        note_chip(shop, case, "C9", place="U77")
    note_chip(shop, case, "C9", place="drawer 77")
    note_chip(shop, case, "C1", place="U1")
    assert chip_work(shop, case, "U1").conflicts == ()
    note_chip(shop, case, "C8", place="u1")
    (found,) = chip_work(shop, case, "U1").conflicts
    assert "C1" in found.words and "C8" in found.words and "Read the label" in found.settles
    note_chip(shop, case, "C8", place="stock")
    say(shop, case, "remove U1")
    out = chip_work(shop, case, "U1")
    assert out.chip is None and out.conflicts == () and cards_of(bind(shop, case))["C1"].place == "out"
    note_chip(shop, case, "C1", place="U1")
    assert "U1 is out" in chip_work(shop, case, "U1").conflicts[0].words


def test_looks_that_exclude_each_other_do_not_count_twice(shop: Workshop, board: PoweredBoard, case: str) -> None:
    """Missing and the wrong way round: one of the two is false, so the odds rise by the stronger one alone."""
    note_look(shop, case, part="U5", finding="wrong way round")
    once = looks_read(bind(shop, case), board)
    note_look(shop, case, part="U5", finding="missing part")
    binding = bind(shop, case)
    both = looks_read(binding, board)
    assert both.found == once.found and "only one of the two" in both.unused[0][1]
    assert "U5 was seen to be missing" in look_conflicts(binding.state, binding.graph)[0].words
    assert all("not settled" in row[3] for row in look_rows(binding.state, binding.graph))


def test_a_rail_shorted_with_the_power_off_is_evidence(shop: Workshop, board: PoweredBoard, case: str) -> None:
    """0.3 ohm from VCC to GND. By Bayes' rule a shorted electrolytic gains, against a fault that shorts nothing, 1 / (misread + the chance of a short in what
    the suspects hold no such fault of: the parts between the two nets, each with its share of ``SHORTS_OFTEN``)."""
    rail = next(one for one in rails_for_case(shop, case) if one.net == "VCC")
    say(shop, case, f"ohms {rail.point_a} {rail.point_b} 0.3")
    binding = bind(shop, case)
    ((one, _, good),) = rail_witnesses(binding, board)
    outside = [row.kind for row in shorted_part(shop, case).every if row.kind != "electrolytic"]
    assert len(outside) > 40 and not good
    want = RAIL_MISREAD + PRIORS["electrolytic", "shorted"] / 3.0 * len(outside)
    assert math.exp(one.other) == pytest.approx(want, rel=0.15), "what one reading tells of the place is a few percent"
    parts = ("C10", "C11", "C12", "C13")
    assert {name for kind, name, _ in one.says if kind == "fault"} == {f"shorted {c}" for c in parts}
    assert all(-0.7 < log < 0.7 for _, _, log in one.says)
    (short,) = rails_shorted(binding, board)
    assert "VCC reads 0.3 Ω to GND" in short.words and short.parts[0]["part"] in parts and len(short.points) == 2
    assert short.note.startswith("ohms ")
    say(shop, case, f"diode {rail.point_a} {rail.point_b} 0.02V")
    shown = next(one for one in rails_for_case(shop, case) if one.net == "VCC")
    assert (shown.ohm, shown.diode_v, shown.low) == (0.3, 0.02, True)
    ((two, _, _),) = rail_witnesses(bind(shop, case), board)
    assert two.words.startswith("VCC reads 0.3 Ω and 20 mV in diode mode to GND")
    assert two.other < one.other, "a second reading of another kind is not misread, too"
    say(shop, case, f"ohms {rail.point_a} {rail.point_b} 310")
    assert len(rail_witnesses(bind(shop, case), board)) == 1, "the diode reading still says that it is shorted"
    say(shop, case, f"diode {rail.point_a} {rail.point_b} 0.45V")
    assert rail_witnesses(bind(shop, case), board) == () and rails_shorted(bind(shop, case), board) == ()


def test_an_abort_value_above_the_limit_is_said(shop: Workshop, case: str) -> None:
    assert "never reached" in cautions(shop, case, say(shop, case, "gate limit 1.6A 1.95A"))[0]  # type: ignore[arg-type]
    assert not cautions(shop, case, say(shop, case, "gate limit 1.95A 1.6A"))  # type: ignore[arg-type]
