"""The tables about hearing the beep say what was measured, and what was measured keeps the targets of issue 5."""

from __future__ import annotations

import json
from pathlib import Path

from benchmarks.beep import table

ROOT = Path(__file__).resolve().parents[2]
MEASURED = json.loads((ROOT / "benchmarks" / "beep_sounds" / "measured.json").read_text(encoding="utf-8"))
BROWSER = json.loads((ROOT / "docs" / "measured" / "beep_browser.five-minutes.json").read_text(encoding="utf-8"))
PAGE = (ROOT / "docs" / "how-to" / "hear-the-beep.md").read_text(encoding="utf-8")


def test_the_tables_are_those_of_the_measured_rows() -> None:
    lines = table(MEASURED["results"])
    assert len(lines) > 10
    assert "\n".join(lines) in PAGE


def test_the_browser_heard_each_beep_and_nothing_else() -> None:
    """Issue 5, point 4: five minutes of each sound through the fake microphone, no false answer, 95 % within 150 ms."""
    for scene in ("noise", "hammering", "voice"):
        row = BROWSER[scene]
        assert row["minutes"] >= 5 and row["heard"] == row["beeps"] == 30
        assert row["answers_without_a_beep"] == 0 and row["p95_ms"] <= 150


def test_the_targets_of_the_issue_are_kept() -> None:
    """Under one false alarm an hour over at least 3 hours of each sound; at usual level under 1 % missed and 95 % within 150 ms (issue 5, point 4)."""
    hours: dict[str, float] = {}
    wrong: dict[str, int] = {}
    for row in MEASURED["results"]:
        if row["what"] == "alarms":
            hours[row["scene"]] = hours.get(row["scene"], 0) + row["hours"]
            wrong[row["scene"]] = wrong.get(row["scene"], 0) + row["learnt"]["closed"] + row["learnt"]["open"]
    assert {"noise", "hammering", "spoken"} <= set(hours)
    assert all(h >= 3 for h in hours.values())
    missed = sorted(s for s in hours if wrong[s] / hours[s] >= 1)
    assert missed == []
    usual = [r for r in MEASURED["results"] if r["what"] == "beeps" and r["gain_db"] == -10]
    assert {"noise", "hammering", "spoken"} <= {r["scene"] for r in usual}
    for row in usual:
        one = list(row["levels_dbfs"].values())
        beeps = sum(o["beeps"] for o in one)
        lost = sum(o["beeps"] - o["learnt"]["heard"] for o in one)
        assert lost / beeps < 0.01, row["scene"]
        assert all(o["learnt"]["p95_ms"] <= 150 for o in one), row["scene"]
