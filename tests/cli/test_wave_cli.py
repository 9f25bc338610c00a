"""``coppermend wave``: measured, refused, noted, and what it does to the suspects of a case."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner

from coppermend.cli import cli
from coppermend.core.findings import Refusal

FIELDS = {
    "frequency_hz", "frequency_u_hz", "period_s", "duty", "low_v", "high_v", "rise_s", "fall_s", "overshoot", "edges", "verdict", "findings",
}  # fmt: skip


def run(store: Path, *words: str) -> tuple[int, str]:
    done = CliRunner().invoke(cli, ["--store", str(store), *words])
    if done.exception is not None and not isinstance(done.exception, SystemExit):
        raise done.exception
    return done.exit_code, done.output


def scope_file(path: Path, hertz: float, high: float = 3.6, low: float = 0.2, seed: int = 1) -> Path:
    """A record of 10,000 samples, 4 ns apart, as an oscilloscope saves it."""
    t = np.arange(10_000) * 4e-9 - 2e-5
    v = np.where((t * hertz) % 1 < 0.5, high, low) + np.random.default_rng(seed).normal(0, 0.02, t.size)
    path.write_text(
        "Time (s),CH1 (V)\n" + "".join(f"{a:.6e},{b:.3f}\n" for a, b in zip(t, v, strict=True)), encoding="utf-8"
    )
    return path


def test_fields_and_status(tmp_path: Path) -> None:
    file = scope_file(tmp_path / "a.csv", 4e6)
    code, text = run(
        tmp_path,
        "wave",
        "measure",
        str(file),
        "--expect-hz",
        "4e6",
        "--tolerance-ppm",
        "100",
        "--family",
        "HCT",
        "--json",
    )
    found = json.loads(text)
    assert set(found) >= FIELDS and code == 0 and found["verdict"] == "right"
    assert found["frequency_hz"] == pytest.approx(4e6, abs=3 * found["frequency_u_hz"]) and found[
        "low_v"
    ] == pytest.approx(0.2, abs=0.02)
    code, text = run(tmp_path, "wave", "measure", str(file), "--expect-hz", "2e6", "--family", "TTL", "--json")
    assert code == 1 and json.loads(text)["verdict"] == "wrong frequency"
    code, text = run(tmp_path, "wave", "measure", str(file))
    assert code == 0 and "moving, 0.2 to 3.6 V" in text


def test_refusals_speak(tmp_path: Path) -> None:
    file = scope_file(tmp_path / "a.csv", 4e6)
    for words, code in (
        (("measure", str(file), "--family", "XYZ"), "SIG-030"),
        (("measure", str(file), "--channel", "CH9"), "WAV-008"),
        (("measure", str(tmp_path / "none.csv")), "CLI-002"),
        (("measure", str(tmp_path)), "CLI-002"),
        (("measure", str(file), "--at", "U1.6"), "CLI-006"),
        (("measure", str(file), "--expect-hz", "nan"), "CLI-005"),
        (("measure", str(file), "--step", "-1"), "CLI-005"),
        (("typed", "seven"), "SIG-032"),
        (("gate", str(file)), "CLI-006"),
        (("gate", str(file), "--chip", "74LS00", "--pin", "3"), "CLI-005"),
        (("gate", str(file), "--chip", "74LS00"), "SIG-033"),
        (("gate", str(file), "--chip", "74LS00", "--pin", "99=CH1"), "SIG-033"),
        (("start", str(file), "--reset", "RES"), "WAV-008"),
    ):
        with pytest.raises(Refusal, match=code):
            run(tmp_path, "wave", *words)


def test_typed_figures(tmp_path: Path) -> None:
    code, text = run(tmp_path, "wave", "typed", "70ns", "--step", "2ns", "--expect-hz", "14318182", "--json")
    found = json.loads(text)
    assert code == 0 and found["verdict"] == "right" and found["proof"] is False
    assert run(tmp_path, "wave", "typed", "12.0MHz", "--expect-hz", "14318182")[0] == 1
    assert (
        json.loads(run(tmp_path, "wave", "typed", "3.5795454MHz", "--expect-hz", "3579545.45", "--json")[1])["proof"]
        is True
    )


@pytest.fixture(scope="module")
def bench(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return tmp_path_factory.mktemp("waves")


def new_case(bench: Path) -> str:
    code, text = run(bench, "case", "new", "--board", "demo", "--title", "T", "--complaint", "dark", "--json")
    assert code == 0
    return str(json.loads(text)["number"])


def test_a_record_at_a_pin_changes_the_suspects(bench: Path) -> None:
    """The clock is right at its driver and floats at the processor: the copper between becomes the first suspect; taken back, it is none again."""
    case = new_case(bench)
    before = json.loads(run(bench, "suspects", case, "--json")[1])["suspects"]
    good, dead = scope_file(bench / "good.csv", 4e6), scope_file(bench / "dead.csv", 1.0, 1.6, 1.6)
    code, text = run(bench, "wave", "measure", str(good), "--case", case, "--at", "U19.8", "--json")
    found = json.loads(text)
    assert code == 0 and found["evidence"] == "right" and "4 MHz" in found["expected"] and found["thresholds"]["named"]
    code, text = run(bench, "wave", "measure", str(dead), "--case", case, "--at", "U1.6", "--json")
    found = json.loads(text)
    assert code == 1 and found["verdict"] == "floating or contention" and found["point"].startswith("U1.6")
    again = scope_file(bench / "dead2.csv", 1.0, 1.6, 1.6, seed=2)
    run(bench, "wave", "measure", str(again), "--case", case, "--at", "U1.6", "--json")
    after = json.loads(run(bench, "suspects", case, "--json")[1])
    first = after["suspects"][0]
    assert before[0]["p"] < 0.1 < 0.4 < first["p"]
    assert first["net"] == "CPUCLK" and first["kind"] in ("span", "contact", "joint")
    assert len(after["used"]) == 4 and not after["unused"]
    for _ in range(3):
        run(bench, "note", case, "undo")
    assert json.loads(run(bench, "suspects", case, "--json")[1])["suspects"][0]["p"] == before[0]["p"]


def test_a_wrong_clock_accuses_its_makers(bench: Path) -> None:
    case = new_case(bench)
    file = scope_file(bench / "half.csv", 2e6)
    code, text = run(bench, "wave", "measure", str(file), "--case", case, "--at", "U1.6", "--json")
    assert code == 1 and json.loads(text)["evidence"] == "wrong frequency"
    after = json.loads(run(bench, "suspects", case, "--json")[1])
    first = after["suspects"][0]
    assert len(after["used"]) == 2 and not after["unused"]
    assert first["p"] > 3 * 0.02 and "CPUCLK" in first["for"][0]["words"]  # before any reading no suspect is above 0.02


def test_a_named_frequency_against_the_boards_own_is_said(bench: Path) -> None:
    case = new_case(bench)
    file = str(scope_file(bench / "half.csv", 2e6))
    words = ("wave", "measure", file, "--case", case, "--at", "U1.6", "--expect-hz")
    found = json.loads(run(bench, *words, "2e6", "--json")[1])
    told = [one["words"] for one in found["findings"] if one["code"] == "SIG-035"]
    assert found["verdict"] == "right" and len(told) == 1 and "2 MHz" in told[0] and "4 MHz" in told[0]
    same = json.loads(run(bench, *words, "4e6", "--json")[1])  # the demonstration machine's processor clock
    assert all(one["code"] != "SIG-035" for one in same["findings"])


def test_starts_are_counted_over_the_case(bench: Path) -> None:
    case = new_case(bench)
    t = np.arange(0, 0.05, 1e-4)
    names = []
    for k, free in enumerate((0.02, 0.03, 0.0)):
        rows = "".join(f"{a:.4f},{min(5.0, 2000 * a):.3f},{4.8 if a >= free and a > 0 else 0.1}\n" for a in t)
        names.append(str(bench / f"s{k}.csv"))
        Path(names[-1]).write_text("Time (s),VCC,RES\n" + rows, encoding="utf-8")
    words = ("--reset", "RES", "--rail", "VCC", "--clock-hz", "4e6", "--case", case, "--at", "U1.26", "--json")
    code, text = run(bench, "wave", "start", *names[:2], *words)
    assert code == 0 and json.loads(text)["words"] == "reset seen right 2 of 2 times"
    code, text = run(bench, "wave", "start", names[2], *words)
    found = json.loads(text)
    assert (
        code == 1
        and found["starts"][0]["verdict"] == "released too early"
        and found["words"] == "reset seen right 2 of 3 times"
    )
    log = json.loads(run(bench, "case", "show", case, "--json")[1])
    assert json.dumps(log).count("released too early") >= 1


def test_a_gate_of_the_case_is_judged_by_its_part(bench: Path) -> None:
    case = new_case(bench)
    a = np.repeat(np.tile([0, 0, 1, 1], 50), 20)
    b = np.repeat(np.tile([0, 1], 100), 20)
    rows = "".join(f"{k * 1e-7:.7f},{x},{y},1\n" for k, (x, y) in enumerate(zip(a, b, strict=True)))
    file = bench / "gate.csv"
    file.write_text("Time (s),D0,D1,D2\n" + rows, encoding="utf-8")
    board = json.loads(run(bench, "expect", "demo", "--json")[1])
    gates = [one["pin"] for one in board["pins"] if one["name"] == "1Y"]
    part = next(
        one.split(".")[0]
        for one in gates
        if {"1A", "1B"} <= {p["name"] for p in board["pins"] if p["pin"].split(".")[0] == one.split(".")[0]}
    )
    code, text = run(
        bench,
        "wave",
        "gate",
        str(file),
        "--case",
        case,
        "--part",
        part,
        "--pin",
        "1A=D0",
        "--pin",
        "1B=D1",
        "--pin",
        "1Y=D2",
        "--json",
    )
    found = json.loads(text)
    assert code == 1 and found["part"] == part and found["pins"][0]["words"] == "stands at 1 where it must change"
    assert found["disagree"] and found["entry"]
