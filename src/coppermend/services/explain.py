"""What the belief makes of given readings, for someone who wants to check it: posteriors of every site they speak of, with the error bound."""

from __future__ import annotations

import json
import math
from dataclasses import replace
from typing import Any

import numpy as np

from coppermend.core.belief.engine import CopperBelief, belief
from coppermend.core.belief.model import Basis, Evidence
from coppermend.core.belief.ohmic import FOUR_WIRE, Instrument, step_of, two_wire
from coppermend.core.findings import Place, Refusal, refuse
from coppermend.core.log.values import parse_value
from coppermend.core.planning.spans import spans
from coppermend.services.points import meant
from coppermend.services.practice import PracticeSetting


def read_readings(text: str, name: str = "readings file") -> tuple[Evidence, ...]:
    """Readings from JSON: a list of ``[point, point, "closed" | "open" | ohms]``. Refusal BLF-010 says what is wrong.

    Ohms are read with two wires and the last digit that the number shows; a fourth field says otherwise: ``{"wires": 4}``, ``{"step_ohm": 0.001}``,
    ``{"sense": [point, point]}`` (voltage there, current at the two points, four wires). Points are named as in ``note``. Refusal VAL-001 for ohms
    that no meter shows (1e15 and more).
    """
    try:
        rows = json.loads(text)
    except json.JSONDecodeError as err:
        raise _bad(name, f"it is not JSON ({err.msg} in line {err.lineno})") from None
    except (ValueError, RecursionError):
        raise _bad(name, "it holds a number of thousands of digits, or lists in lists without end") from None
    if not isinstance(rows, list):
        raise _bad(name, "it is not a list")
    found = []
    for n, row in enumerate(rows, 1):
        if not (isinstance(row, list) and len(row) in (3, 4) and isinstance(row[0], str) and isinstance(row[1], str)):
            raise _bad(name, f"reading {n} is {row!r}")
        said = row[2]
        if isinstance(said, (int, float)) and not isinstance(said, bool) and 0 <= said < math.inf:
            parse_value(str(said), "ohm")
            meter, sense = _meter(name, n, said, row[3] if len(row) == 4 else {})
            found.append(Evidence(str(n), row[0], row[1], "ohms", float(said), instrument=meter, sense=sense))
        elif said in ("closed", "open"):
            found.append(Evidence(str(n), row[0], row[1], said))
        else:
            raise _bad(name, f"reading {n} says {said!r}")
    return tuple(found)


def _meter(name: str, n: int, said: float, how: Any) -> tuple[Instrument, tuple[str, str] | None]:
    """The instrument of one ohms reading and where its voltage was read."""
    if not isinstance(how, dict) or not set(how) <= {"wires", "step_ohm", "sense"}:
        raise _bad(name, f"reading {n} was taken with {how!r}")
    sense, wires, step = how.get("sense"), how.get("wires", 4 if how.get("sense") else 2), how.get("step_ohm")
    if wires not in (2, 4) or not (step is None or (isinstance(step, (int, float)) and 0 < step <= 100)):
        raise _bad(name, f"reading {n} was taken with {how!r}")
    if sense is None:
        apart = None
    elif isinstance(sense, list) and len(sense) == 2 and all(isinstance(one, str) for one in sense):
        apart = (str(sense[0]), str(sense[1]))
    else:
        raise _bad(name, f"reading {n} has its voltage at {sense!r}")
    meter = replace(FOUR_WIRE, step_ohm=float(step or 0.0)) if wires == 4 else two_wire(step or step_of(str(said)))
    return meter, apart


def _bad(name: str, what: str) -> Refusal:
    return refuse(
        "BLF-010",
        f"The readings cannot be used: {what}.",
        'Write a list such as [["U1.8/leg", "U7.3/leg", "closed"], ["U1.9/leg", "U7.4/leg", "open"], ["U1.7/leg", "U7.2/leg", 0.031, {"wires": 4}]].',
        Place(file=name),
    )


def explain(setting: PracticeSetting, readings: tuple[Evidence, ...], basis: Basis | None = None) -> dict[str, Any]:
    """The belief after the readings: one row for each site that they changed, and what could not be used.

    ``error_bound`` 0 = exact. ``sites``: id, net, prior, p (posterior). ``partial_opens``: stretches with more than 1 % of having too much resistance.
    ``readings``: those used, each with the probability it had of coming out so before it was taken into account together with the ones before it (of
    an ohms reading: the density, per ohm). ``used``: how many; ``set_aside``: the others, each with its number in the file and ``why``.
    ``shorts``: pieces of copper that the map keeps apart and that readings lie across, with the chance ``p`` that they touch. Refusal NOT-002: both tips on one point.
    """
    numbers = basis or Basis()
    graph = setting.graph
    readings, aside = _named(setting, readings)
    posterior = belief(graph, setting.areas, readings, numbers)
    moved = np.flatnonzero(posterior.sites != posterior.prior).tolist()
    return {
        "log_evidence": posterior.log_evidence,
        "error_bound": posterior.error_bound,
        "sites": [
            {
                "site": graph.sites[k].id,
                "net": graph.net_names[graph.sites[k].net],
                "prior": float(posterior.prior[k]),
                "p": float(posterior.sites[k]),
            }
            for k in sorted(moved, key=lambda k: (-posterior.sites[k], graph.sites[k].id))
        ],
        "contact_shares": [{"share": b.share, "p": b.weight} for b in posterior.benches],
        "spans": [{"unit": s.words, "net": s.net, "sites": list(s.sites), "p": s.p} for s in spans(graph, posterior, numbers, least=0.5)],
        "readings": _surprise(setting, readings, numbers),
        "used": len(readings),
        "set_aside": aside,
        "conflicts": [{"readings": list(c.entries), "words": c.words, "again": list(c.again)} for c in posterior.conflicts],
        "unknown": [[*one["points"], one["says"]] for one in aside],
        "partial_opens": [{"net": e.net, "sites": list(e.sites), "p": e.p, "excess_ohm": e.ohm} for e in posterior.partials],
        "shorts": [
            {
                "points": [s.point_a, s.point_b],
                "nets": [graph.net_names[graph.point(p).net] for p in (s.point_a, s.point_b)],
                "p": s.p,
                "readings": s.readings,
                "last_closed": s.last_closed,
            }
            for s in posterior.shorts
        ],
    }  # fmt: skip


def _named(
    setting: PracticeSetting, readings: tuple[Evidence, ...]
) -> tuple[tuple[Evidence, ...], list[dict[str, Any]]]:
    """The readings with the ids of their points, and those that cannot be used with why. Refusal NOT-002 for both tips on one point."""
    found, aside = [], []
    for n, one in enumerate(readings, 1):
        try:
            a, b = meant(setting.graph, one.point_a), meant(setting.graph, one.point_b)
            sense = one.sense and (meant(setting.graph, one.sense[0]), meant(setting.graph, one.sense[1]))
        except Refusal as err:
            said = {"points": [one.point_a, one.point_b], "says": one.says, "why": err.finding.words}
            aside.append({"reading": n, **said})
            continue
        if a == b:
            raise refuse("NOT-002", f"Both tips are on {a}.", "Name two different points.", Place(thing=f"reading {n}"))
        found.append(replace(one, point_a=a, point_b=b, sense=sense))
    return tuple(found), aside


def _surprise(setting: PracticeSetting, readings: tuple[Evidence, ...], basis: Basis) -> list[dict[str, Any]]:
    """Each reading with its probability given those before it: exp of the step in log evidence."""
    rows = []
    before = 0.0
    for n, one in enumerate(readings, 1):
        now: CopperBelief = belief(setting.graph, setting.areas, readings[:n], basis)
        rows.append(
            {
                "points": [one.point_a, one.point_b],
                "says": one.says if one.ohms is None else one.ohms,
                "p": float(np.exp(now.log_evidence - before)),
            }
        )
        before = now.log_evidence
    return rows
