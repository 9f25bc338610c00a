"""What a finished case says of its parts: which were replaced and cured it, which worked to the end. Read from the log alone, so nothing that was learned feeds itself."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from coppermend.core.belief.suspects.causes import kind_of_part, list_causes
from coppermend.core.belief.suspects.table import FaultTable
from coppermend.core.circuit.model import Circuit
from coppermend.core.log.state import Act, CaseState
from coppermend.core.planning.learned import PART, Cell
from coppermend.devices.book import DeviceBook, shipped
from coppermend.services.bind import Binding, part_states
from coppermend.services.powered import circuit_of

CURED = {"cured": True, "changed": True, "none": False, "worse": False}
"""Whether a replaced part was at fault, by what its replacement did to what the machine shows."""


def part_cells(binding: Binding, book: DeviceBook | None = None) -> tuple[Cell, ...]:
    """The cells of a finished case's parts; () where its log does not tell: no start after the last change, a function that
    still fails, or no part that was at fault.

    A part counts as broken where it was replaced for good and that cured the machine or changed what it shows (several between two starts of which
    none is told: left out), as whole where it stayed in the machine that left the bench working. Bridges, rails and copper are not counted here.
    """
    state = binding.state
    if not ran_at_the_end(state):
        return ()
    circuit = circuit_of(binding.board, book or shipped(), part_states(state))
    return cells_of(circuit, part_priors(circuit), replaced_parts(state))


def part_priors(circuit: Circuit) -> dict[str, float]:
    """How likely each part is faulty before anything was seen: the sum over its causes."""
    found: dict[str, float] = {}
    for one in list_causes(circuit, {}, (), FaultTable(), ()):
        if one.part:
            found[one.part] = found.get(one.part, 0.0) + one.prior
    return found


def cells_of(circuit: Circuit, priors: Mapping[str, float], broken: Mapping[str, bool | None]) -> tuple[Cell, ...]:
    """One cell a kind of part. ``broken``: parts that were replaced, whether they were at fault, None where nobody can tell; the others count as whole.

    ``expected`` shares the parts that were at fault out by the priors: a case tells which parts of its board fail, and not how often a board of its kind
    comes to a bench with one. Where none was at fault it tells nothing.
    """
    known = {ref: prior for ref, prior in priors.items() if prior > 0 and broken.get(ref, False) is not None}
    share = sum(bool(broken.get(ref)) for ref in known) / (sum(known.values()) or 1.0)
    if not share:
        return ()
    sums: dict[str, list[float]] = {}
    for ref, prior in known.items():
        row = sums.setdefault(kind_of_part(circuit.by_ref[ref]), [0, 0.0, 0.0])
        row[0] += 1
        row[1] += bool(broken.get(ref))
        row[2] += min(prior * share, 1.0)
    return tuple(Cell(PART, kind, int(n), y, e) for kind, (n, y, e) in sorted(sums.items()))


def replaced_parts(state: CaseState) -> dict[str, bool | None]:
    """The parts that were replaced for good, and whether each was at fault; None where the log does not tell."""
    found: dict[str, bool | None] = {}
    for act in state.acts:
        if act.part and not act.trial and (act.kind == "swap" or act.state == "replaced"):
            now = CURED.get(act.effect, _tried(state.acts, act))
            found[act.part] = now if found.get(act.part) is None else found[act.part] or now
    return found


def _tried(acts: Sequence[Act], replaced: Act) -> bool | None:
    """What a try of the same part before it said, where the replacement itself says nothing."""
    tries = [one for one in acts if one.part == replaced.part and one.trial and one.at < replaced.at and one.effect]
    return CURED.get(tries[-1].effect) if tries else None


def ran_at_the_end(state: CaseState) -> bool:
    """Whether the machine was seen running after the last thing that was changed on it, and nothing that was tested since fails."""
    changed = [a.at for a in state.acts if a.soldering or (a.kind in ("swap", "fit", "remove") and not a.trial)]
    changed += [w.at for w in state.wires]
    last = max(changed, default=-1)
    started = any(one.seen and one.at > last for one in state.power_ups)
    tests = {one.key: one.result for one in state.notes if one.kind == "test" and one.at > last}
    return started and "fails" not in tests.values()
