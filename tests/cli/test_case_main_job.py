"""The main job through the services on the demonstration machine: breaks are found, patched, proven, and power comes last.

The board that answers is not the practice patient: it is the copper graph with some sites taken away, read by union-find. Which sites, is drawn
by a fixed seed from those that a check can prove.
"""

from __future__ import annotations

import random
from pathlib import Path

import pytest

from coppermend.bootstrap import workshop
from coppermend.core.copper.laps import along_path, run_of
from coppermend.core.copper.model import CopperGraph
from coppermend.core.planning.model import NextStep
from coppermend.core.rework.wires import WirePlan
from coppermend.services.areas import add_area
from coppermend.services.bench import next_for_case, proven_for_case
from coppermend.services.bind import bind
from coppermend.services.cases import new_case, show_case
from coppermend.services.evidence import Pieces
from coppermend.services.notes import note
from coppermend.services.payloads import middle_of
from coppermend.services.requests import Request
from coppermend.services.workshop import Workshop

MOST_STEPS = 300


class Machine:
    """A board with broken sites, at the bench: answers checks on the copper as it is now, wires included."""

    def __init__(self, made: Workshop, case: str, broken: set[str]) -> None:
        self.made, self.case, self.broken = made, case, broken

    def answer(self, step: NextStep) -> str:
        assert step.check is not None
        graph = bind(self.made, self.case).graph
        a, b = graph.point(step.check.point_a), graph.point(step.check.point_b)
        pieces = Pieces(graph, self.broken_now(graph))
        return "open" if a.net != b.net or pieces.apart(a, b) else "closed"

    def broken_now(self, graph: CopperGraph) -> set[str]:
        """The broken sites; of a run that a wire was lapped on in its middle, the stretch that holds the run's middle."""
        base = {site.id: site for site in bind(self.made, self.case).base.sites}
        return {
            site.id
            for site in graph.sites
            if (run := run_of(site.id)) in self.broken
            and (run == site.id or along_path(site.path, middle_of(base[run].path))[0] < 1e-6)
        }

    def mend(self, step: NextStep) -> None:
        """Seating anew mends legs and contacts, soldering mends joints; noted as the step's last words say."""
        kind, place = step.words.rstrip(".").split("note: ")[1].split()
        note(self.made, self.case, Request("reseat", part=place) if kind == "reseat" else Request("solder", (place,)))
        mends = ("leg@", "contact@") if kind == "reseat" else ("joint@",)
        pin = place.split("/")[0] + ("." if kind == "reseat" else "")
        self.broken -= {
            site for site in self.broken if site.startswith(mends) and (site.split("@")[1] + ".").startswith(pin)
        }


def work_through(machine: Machine) -> tuple[int, list[NextStep]]:
    """Do what the tool says until it says something else than check or patch: (checks done, patch steps)."""
    checks, patches = 0, []
    for _ in range(MOST_STEPS):
        step = next_for_case(machine.made, machine.case)
        if step.check is not None:
            checks += 1
            note(
                machine.made,
                machine.case,
                Request(machine.answer(step), (step.check.point_a, step.check.point_b), instrument="beep"),
            )
        elif step.kind == "patch":
            patches.append(step)
            assert isinstance(step.wire, WirePlan)
            for wire in step.wire.wires:
                note(machine.made, machine.case, Request("patch", (wire.a.point, wire.b.point), "30awg"))
        elif step.kind in ("reseat", "solder"):
            machine.mend(step)
            patches.append(step)
        else:
            assert step.kind == "gate", step
            return checks, patches
    pytest.fail(f"no end after {MOST_STEPS} steps")


@pytest.mark.soak
@pytest.mark.parametrize("seed", range(1, 41))
def test_it_comes_right_round_any_chip(tmp_path: Path, seed: int) -> None:
    """A chip and 0 to 4 breaks round it, drawn by the seed."""
    made = workshop(str(tmp_path / "store"))
    case = new_case(made, "demo", "Machine").state.case
    dice = random.Random(seed)
    chip = dice.choice([one.ref for one in bind(made, case).board.parts if len(one.pins) >= 14])
    add_area(made, case, part=chip, margin_mm=2.0)
    provable = proven_for_case(made, case).open_sites
    broken = set(dice.sample(provable, min(dice.randint(0, 4), len(provable))))
    _, steps = work_through(Machine(made, case, set(broken)))
    known = {*bind(made, case).broken, *(site for step in steps if step.span for site in step.span.sites)}
    assert broken <= {run_of(site) for site in known} and proven_for_case(made, case).all_proven


@pytest.mark.parametrize(("seed", "breaks"), [(1, 0), (2, 1), (3, 2), pytest.param(7, 3, marks=pytest.mark.soak)])
def test_every_break_is_found_patched_and_proven_before_power(tmp_path: Path, seed: int, breaks: int) -> None:
    made = workshop(str(tmp_path / "store"))
    case = new_case(made, "demo", "Machine").state.case
    add_area(made, case, part="U4", margin_mm=1.0)
    provable = proven_for_case(made, case).open_sites
    broken = set(random.Random(seed).sample(provable, breaks))
    machine = Machine(made, case, set(broken))
    checks, patches = work_through(machine)
    known = {*bind(made, case).broken, *(site for step in patches if step.span for site in step.span.sites)}
    assert broken <= known and len(patches) <= breaks + 1
    assert len({step.span for step in patches}) <= breaks + 1
    proof = proven_for_case(made, case)
    assert proof.all_proven and proof.broken == () and proof.open_sites == ()
    assert machine.broken == set(bind(made, case).broken) & broken and checks > 0
    assert [one.item for one in show_case(made, case).gate.missing] == [
        "intake",
        "orientation",
        "rails",
        "supply",
        "limit",
    ]
