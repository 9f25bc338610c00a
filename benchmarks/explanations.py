"""CPU time of explanations of more than three faults on demand (``process_time``): patients of five drawn faults, 60 looks at places drawn by the seed.

``--seeds A-B`` (default 9301-9325), ``--board`` (default demo).
"""

from __future__ import annotations

import argparse
from time import process_time
from typing import Any

import numpy as np

from coppermend import bootstrap
from coppermend.cli.practice import _range
from coppermend.core.belief.suspects.explain import explanations
from coppermend.core.belief.suspects.posterior import Look, Start, State, initial, observed
from coppermend.core.belief.suspects.table import OUTCOMES
from coppermend.practice.powered import PoweredPatient, draw_causes, draw_lies
from coppermend.services.powered import PoweredBoard

LOOKS = 60


def _seen(made: PoweredBoard, seed: int) -> State:
    """The belief about a patient of up to five faults after a start and ``LOOKS`` looks."""
    field = made.field
    odds, kinds, units = field.odds.tolist(), [c.kind for c in field.causes], [c.unit for c in field.causes]
    drawn = [*draw_causes(seed, odds, kinds, units, "any", 3), *draw_causes(seed + 50000, odds, kinds, units, "any", 2)]
    keys = [field.causes[k].key for k in dict.fromkeys(drawn)]
    patient = PoweredPatient(made.behaviour, keys, seed, draw_lies(seed))
    works = next((k for k, s in enumerate(field.screens) if s.name == "works"), -1)
    screen = patient.screen([(s.still, s.moving, s.right, s.not_right) for s in field.screens], works)
    looks = []
    for k in np.random.default_rng(seed).choice(len(field.spots), LOOKS, replace=False).tolist():
        spot = field.spots[k]
        word = patient.look(spot.net, spot.node, spot.content)
        looks.append(Look(spot.net, spot.node, OUTCOMES.index(word), True))
    return observed(initial(field), [Start(screen), *looks])


def run(arguments: list[str]) -> dict[str, Any]:
    """Time the explanations of each patient once."""
    parser = argparse.ArgumentParser(prog="python -m benchmarks explanations")
    parser.add_argument("--board", default="demo")
    parser.add_argument("--seeds", default="9301-9325")
    o = parser.parse_args(arguments)
    first, last = _range(o.seeds, "--seeds")
    made = bootstrap.powered_setting(o.board)
    spent, sizes = [], []
    for seed in range(first, last + 1):
        state = _seen(made, seed)
        begun = process_time()
        found = explanations(state, 10)
        spent.append(1000.0 * (process_time() - begun))
        sizes.append(max((len(one.causes) for one in found), default=0))
    return {
        "board": o.board,
        "seeds": o.seeds,
        "sets": made.field.sets,
        "cpu_ms": {f"p{q}": round(float(np.percentile(spent, q)), 1) for q in (50, 95, 100)},
        "largest": {str(n): sizes.count(n) for n in sorted(set(sizes))},
    }
