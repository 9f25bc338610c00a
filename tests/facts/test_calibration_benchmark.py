"""The calibration benchmark: it goes on where its file ends, and counts what the patients' truth says."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from benchmarks import calibration
from benchmarks.round import wilson

from coppermend.core.belief.examples import EXAMPLE_AREA, example_graph
from coppermend.core.belief.model import Basis
from coppermend.services.practice import PracticeSetting

ENDS = [(k, k + 1) for k in range(7)] + [(k, 8 + k) for k in range(8)]
SETTING = PracticeSetting(
    example_graph(ENDS, [n for n in range(16) for _ in (0, 1)], cold=range(7)), (EXAMPLE_AREA,), socket="X1"
)


def test_wilson_interval_equals_a_published_value() -> None:
    """81 of 263: 0.2553 to 0.3662 (R. G. Newcombe, Statistics in Medicine 17 (1998), table I, method 3; from memory)."""
    assert wilson(81, 263) == pytest.approx((0.2553, 0.3662), abs=5e-5)


def test_it_goes_on_where_the_file_ends(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    monkeypatch.setattr(calibration.bootstrap, "practice_setting", lambda board, socket: SETTING)
    file = tmp_path / "rows.jsonl"
    first = calibration.run(["--seeds", "1-6", "--world", "mixture", "--breaks", "1-2", "--into", str(file)])
    with file.open("a", encoding="utf-8") as out:
        out.write('{"world": "mixture", "se')  # a job that was killed while it wrote
    asked: list[int] = []
    plain = calibration.one_patient
    monkeypatch.setattr(calibration, "one_patient", lambda *a: asked.append(a[2]) or plain(*a))
    second = calibration.run(["--seeds", "1-9", "--world", "mixture", "--breaks", "1-2", "--into", str(file)])
    assert asked == [7, 8, 9]
    assert (first["patients"], second["patients"]) == (6, 9)
    third = calibration.run(["--seeds", "1-9", "--world", "mixture", "--breaks", "1-2", "--into", str(file)])
    assert asked == [7, 8, 9] and third == second


def test_statements_are_marked_by_the_truth_and_lie_in_their_bins() -> None:
    rows = [calibration.one_patient(SETTING, "prior", seed, (0, 0)) for seed in range(1, 41)]
    said = [(p, true) for r in rows for p, true in r["said"]]
    assert said and all(0.9 <= p <= 1.0 for p, _ in said)
    summed = calibration.summed(json.loads(json.dumps(rows)))
    assert sum(b["n"] for b in summed["bins"]) == len(said)
    assert sum(b["true"] for b in summed["bins"]) == sum(true for _, true in said)
    assert summed["false_announcements"] == 0


def test_patients_of_the_prior_s_world_have_the_planner_s_own_rates() -> None:
    basis = Basis()
    drawn = [calibration.noise_of("prior", seed, basis) for seed in range(400)]
    assert {(d["false_open"], d["false_closed"]) for d in drawn} == {(0.01, 0.005), (0.04, 0.005)}
    share = sum(d["oxidised"] == 0.0 for d in drawn) / 400
    stated = dict(basis.contact_shares)[0.0] / sum(weight for _, weight in basis.contact_shares)
    assert abs(share - stated) < 4 * (stated * (1.0 - stated) / 400) ** 0.5
