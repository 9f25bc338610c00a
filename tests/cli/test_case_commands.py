"""The case by command line on the demonstration machine, as a person types it: from a built board to a power-up, and what is refused."""

from __future__ import annotations

import io
import json
import os
import re
import shutil
import zipfile
from collections.abc import Callable
from pathlib import Path

import pytest
from PIL import Image
from tests.cli_runner import Run

from coppermend.bootstrap import demo_package, open_shelved


@pytest.fixture
def run(plain_run: Run, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Run:
    """The runner in a folder of its own, with an author."""
    monkeypatch.setenv("COPPERMEND_AUTHOR", "tester")
    monkeypatch.chdir(tmp_path)
    return plain_run


@pytest.fixture
def case(run: Run) -> Run:
    """The same runner with case 1 opened on the demonstration machine and a work area round its processor's socket."""
    assert (
        run("case", "new", "--board", "demo", "--title", "Machine", "--serial", "0042", "--complaint", "black screen")[
            0
        ]
        == 0
    )
    assert run("area", "add", "1", "--part", "U1", "--json")[0] == 0
    return run


def test_from_a_built_board_to_the_first_check_in_three_actions(run: Run) -> None:
    """Issue 2 point 6: at most five."""
    actions = [
        ("case", "new", "--board", "demo", "--title", "Machine"),
        ("area", "add", "1", "--part", "U1"),
        ("next", "1", "--json"),
    ]
    for words in actions:
        status, out, _ = run(*words)
        assert status == 0
    step = json.loads(out)
    assert step["kind"] == "check" and step["check"]["purpose"] == "continuity"
    assert "U1." in step["check"]["point_a"] + step["check"]["point_b"] or step["check"]["sites"]
    assert len(actions) <= 5


def test_the_current_check_is_answered_by_one_word(case: Run) -> None:
    first = json.loads(case("next", "1", "--json")[1])["check"]
    status, out, _ = case("note", "1", "closed")
    assert status == 0 and f"closed: {first['point_a']} and {first['point_b']}" in out
    second = json.loads(case("next", "1", "--json")[1])["check"]
    assert {first["point_a"], first["point_b"]} != {second["point_a"], second["point_b"]}


def test_an_unplanned_reading_shrinks_the_round(case: Run) -> None:
    before = json.loads(case("round", "1", "--json")[1])["round"]
    covered = before["checks"][-1]
    case("note", "1", "closed", covered["point_a"], covered["point_b"])
    after = json.loads(case("round", "1", "--json")[1])["round"]
    assert after["bound"] == before["bound"] - 1 == sum((leaves + 1) // 2 for _, leaves in before["bound_terms"]) - 1


def test_readings_in_any_unit_and_comma_end_up_in_the_story(case: Run) -> None:
    for words in (
        ("ohms", "U1.8", "U4.7", "0,31 Ω"),
        ("volts", "U1.11", "5.02V"),
        ("diode", "U1.8", "U1.29", "0.612"),
        ("level", "U1.6", "toggling"),
        ("heat", "U1", "41.5C"),
        ("look", "U1", "bad", "green", "legs"),
        ("symptom", "garbage on the screen"),
    ):
        status, _, err = case("note", "1", *words)
        assert status == 0, (words, err)
    story = case("case", "show", "1")[1]
    for said in (
        "0.31 Ω",
        "5.02 V",
        "0.612 V",
        "toggling",
        "41.5 °C",
        "not sound (green legs)",
        "garbage on the screen",
    ):
        assert said in story


def test_a_round_without_a_work_area_is_refused(run: Run) -> None:
    run("case", "new", "--board", "demo", "--title", "Machine")
    for words in (("round", "1"), ("round", "1", "--print"), ("round", "1", "--json")):
        status, _, err = run(*words)
        assert status == 2 and "CAS-006" in err and "area add" in err
    assert "Mark where the copper was disturbed" in run("next", "1")[1]


def test_undo_and_undo_of_undo(case: Run) -> None:
    case("note", "1", "remark", "first")
    case("note", "1", "remark", "second")
    assert "second" in case("note", "1", "undo")[1]
    view = json.loads(case("case", "show", "1", "--json")[1])
    assert [one["words"] for one in view["notes"]] == ["first"]
    undo = view["timeline"][-1]["ref"]
    assert case("note", "1", "undo", str(undo))[0] == 0
    assert [one["words"] for one in json.loads(case("case", "show", "1", "--json")[1])["notes"]] == ["first", "second"]
    assert case("note", "1", "undo", "1")[0] == 2


def test_power_waits_behind_its_gate(case: Run) -> None:
    status, _, err = case("note", "1", "power", "on")
    assert status == 2 and "GAT-001" in err and "orientation" in err and "override" in err
    assert "[intake]" in err
    case("note", "1", "gate", "intake", "own monitor, nothing else plugged in")
    case("note", "1", "gate", "orientation")
    case("note", "1", "gate", "rails", "+5V 320 ohm")
    case("note", "1", "gate", "supply", "5.02V")
    assert case("note", "1", "gate", "limit", "500mA")[0] == 2
    assert case("note", "1", "gate", "limit", "500mA", "800mA")[0] == 0
    assert case("note", "1", "power", "on")[0] == 0
    assert "power is on" in case("note", "1", "closed")[1]
    case("note", "1", "seen", "screen=black", "sound=two beeps", "current=350mA", "warm", "smell")
    up = json.loads(case("case", "show", "1", "--json")[1])["power_ups"][0]
    assert (up["limit_a"], up["seen"][0]["screen"], up["seen"][0]["current_a"], up["seen"][0]["words"]) == (
        0.5,
        "black",
        0.35,
        "warm smell",
    )


def test_a_round_goes_to_paper_and_back(case: Run, tmp_path: Path) -> None:
    sheet = case("round", "1", "--print")[1]
    lines = [number for number, line in enumerate(sheet.splitlines()) if line.rstrip().endswith("[      ]")]
    filled = sheet.splitlines()
    for number, answer in zip(lines, ("c", "0.4", "x"), strict=False):
        filled[number] = filled[number].replace("[      ]", f"[ {answer} ]")
    file = tmp_path / "sheet.txt"
    file.write_text("\n".join(filled), encoding="utf-8")
    status, out, _ = case("round", "1", "--type-back", str(file))
    assert status == 0 and f"3 answers noted, {len(lines) - 3} lines without" in out
    view = json.loads(case("case", "show", "1", "--json")[1])
    assert [(one["kind"], one["value"], one["instrument"]) for one in view["readings"]] == [
        ("closed", None, "paper"),
        ("ohms", 0.4, "paper"),
    ]
    assert len(view["skips"]) == 1


def test_a_sheet_that_is_not_understood_notes_nothing(case: Run, tmp_path: Path) -> None:
    sheet = case("round", "1", "--print")[1].splitlines()
    at = [number for number, line in enumerate(sheet) if line.rstrip().endswith("[      ]")]
    sheet[at[0]] = sheet[at[0]].replace("[      ]", "[c]")
    sheet[at[1]] = sheet[at[1]].replace("[      ]", "[maybe]")
    (tmp_path / "s.txt").write_text("\n".join(sheet), encoding="utf-8")
    status, _, err = case("round", "1", "--type-back", str(tmp_path / "s.txt"))
    assert status == 2 and "SHT-002" in err and f"line {at[1] + 1}" in err
    assert json.loads(case("case", "show", "1", "--json")[1])["readings"] == []


def test_a_case_goes_to_another_store_and_comes_back_merged(
    case: Run, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    picture = io.BytesIO()
    Image.new("RGB", (40, 30), "green").save(picture, "PNG")
    (tmp_path / "board.png").write_bytes(picture.getvalue())
    assert case("photo", "1", "board.png", "--words", "before")[0] == 0
    case("note", "1", "closed")
    assert case("case", "export", "1", "--to", "one.zip")[0] == 0
    monkeypatch.setenv("COPPERMEND_STORE", str(tmp_path / "other bench"))
    assert json.loads(case("case", "import", "one.zip", "--json")[1])["new"] == 7
    case("note", "1", "remark", "from the other bench")
    assert case("case", "export", "1", "--to", "two.zip")[0] == 0
    monkeypatch.setenv("COPPERMEND_STORE", str(tmp_path / "store"))
    case("note", "1", "remark", "meanwhile here")
    assert json.loads(case("case", "import", "two.zip", "--json")[1]) | {"case": ""} == {
        "case": "",
        "number": 1,
        "new": 1,
        "entries": 9,
    }
    view = json.loads(case("case", "show", "1", "--json")[1])
    assert {one["words"] for one in view["notes"]} == {"from the other bench", "meanwhile here"}
    assert case("doctor")[0] == 0


def test_an_export_is_the_same_bytes_every_time_and_checks_with_standard_tools(case: Run, tmp_path: Path) -> None:
    """RFC 8259 lines, sha256sum's list format: read here by nothing of ours."""
    import hashlib

    case("case", "export", "1", "--to", "a.zip")
    case("case", "export", "1", "--to", "b.zip")
    assert (tmp_path / "a.zip").read_bytes() == (tmp_path / "b.zip").read_bytes()
    with zipfile.ZipFile(tmp_path / "a.zip") as file:
        listed = {
            name: sha256
            for tag in ("manifest-sha256.txt", "tagmanifest-sha256.txt")
            for sha256, _, name in (line.partition("  ") for line in file.read(tag).decode().splitlines())
        }
        assert set(listed) == set(file.namelist()) - {"tagmanifest-sha256.txt"}
        assert all(hashlib.sha256(file.read(name)).hexdigest() == sha256 for name, sha256 in listed.items())
        lines = file.read(next(name for name in listed if name.endswith("log.jsonl"))).splitlines()
    entries = [json.loads(line) for line in lines]
    assert [entry["prev"] for entry in entries[1:]] == [hashlib.sha256(line).hexdigest() for line in lines[:-1]]


def spoiled(data: bytes, name: str, change: Callable[[bytes], bytes]) -> bytes:
    out = io.BytesIO()
    with zipfile.ZipFile(io.BytesIO(data)) as old, zipfile.ZipFile(out, "w") as new:
        for info in old.infolist():
            new.writestr(info.filename, change(old.read(info)) if info.filename == name else old.read(info))
    return out.getvalue()


def test_a_damaged_export_is_refused_and_nothing_is_taken_in(
    case: Run, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    case("case", "export", "1", "--to", "a.zip")
    good = (tmp_path / "a.zip").read_bytes()
    (log,) = (name for name in zipfile.ZipFile(io.BytesIO(good)).namelist() if name.endswith("log.jsonl"))
    climbing = io.BytesIO()
    with zipfile.ZipFile(climbing, "w") as file:
        file.writestr("../../evil", b"x")
    bad = {
        "BUN-001": [b"", b"no zip", good[:200], climbing.getvalue()],
        "BUN-003": [
            spoiled(good, log, lambda text: text.replace(b"Machine", b"Machina")),
            spoiled(good, "manifest-sha256.txt", lambda _: b""),
        ],
    }
    bomb = io.BytesIO()
    with zipfile.ZipFile(bomb, "w", zipfile.ZIP_DEFLATED) as file:
        file.writestr(log, bytes(300 * 1024 * 1024))
    bad["BUN-002"] = [bomb.getvalue()]
    monkeypatch.setenv("COPPERMEND_STORE", str(tmp_path / "other"))
    for code, files in bad.items():
        for data in files:
            (tmp_path / "bad.zip").write_bytes(data)
            status, _, err = case("case", "import", "bad.zip")
            assert status == 2 and code in err, err
    assert "No cases yet" in case("case", "list")[1]


@pytest.mark.parametrize(
    ("words", "code", "hint"),
    [
        (("case", "show", "7"), "CAS-001", "1 (Machine)"),
        (("case", "new", "--board", "nowhere", "--title", "x"), "FIL-", "nowhere"),
        (("area", "add", "1", "--part", "U111"), "PNT-003", "U11"),
        (("area", "add", "1", "--polygon", "0,0 10,10 0,10 10,0"), "ARE-005", "order"),
        (("area", "add", "1", "--polygon", "0,0 ten,10"), "CLI-003", "10.5,20"),
        (("area", "add", "1"), "ARE-001", "--part"),
        (("area", "add", "1", "--part", "U1", "--margin", "900"), "ARE-003", "50"),
        (("note", "1", "closed", "U1.88", "U4.7"), "PNT-001", "It has 1, 2, 3"),
        (("note", "1", "ohms", "U1.8", "U4.7", "loud"), "VAL-001", "4.7k"),
        (("note", "1", "whistle"), "NOT-001", "closed, open, ohms"),
        (("photo", "1", "nothing.png"), "CLI-002", "name"),
        (("round", "1", "--type-back", "nothing.txt"), "CLI-002", "name"),
    ],
)
def test_what_is_refused_says_what_to_do_and_ends_with_2(
    case: Run, words: tuple[str, ...], code: str, hint: str
) -> None:
    status, _, err = case(*words)
    assert status == 2 and code in err and hint in err and "Traceback" not in err


@pytest.mark.skipif(
    not hasattr(os, "fsencode") or os.name == "nt", reason="not run: command lines are Unicode on Windows"
)
def test_text_that_is_no_unicode_is_refused_in_words(case: Run) -> None:
    status, _, err = case("note", "1", "remark", os.fsdecode(b"caf\xe9"))
    assert status == 2 and "LOG-003" in err


def test_a_photo_that_is_no_picture_is_refused(case: Run, tmp_path: Path) -> None:
    for data in (b"", b"\x89PNG\r\n\x1a\n", b"<svg onload='x'/>", b"GIF89a"):
        (tmp_path / "p.png").write_bytes(data)
        status, _, err = case("photo", "1", "p.png")
        assert status == 2 and "PHO-002" in err


def test_next_morning_the_case_says_where_one_was(case: Run) -> None:
    case("note", "1", "remove", "U1")
    case("note", "1", "remark", "ordered a socket")
    where = json.loads(case("case", "show", "1", "--json")[1])["where"]
    assert any("remark: ordered a socket" in line for line in where)
    assert "Parts off the board: U1 is out." in where


def test_doctor_says_no_when_the_store_is_damaged(case: Run, tmp_path: Path) -> None:
    import sqlite3

    assert case("doctor")[0] == 0
    line = sqlite3.connect(tmp_path / "store" / "coppermend.db")
    line.execute("UPDATE entries SET body = replace(body, 'Machine', 'Machina')")
    line.commit()
    line.close()
    status, out, _ = case("doctor")
    assert status == 1 and "LOG-011" in out


def test_a_case_whose_package_moved_says_so_and_takes_the_new_place(
    case: Run, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("coppermend.bootstrap.open_shelved", open_shelved)
    small = tmp_path / "small"
    shutil.copytree(Path(demo_package()), small)
    assert json.loads(case("case", "new", "--board", "small", "--title", "Moved", "--json")[1])["number"] == 2
    assert case("note", "2", "remark", "here")[0] == 0
    small.rename(tmp_path / "elsewhere")
    status, _, err = case("next", "2")
    assert status == 2 and "CAS-005" in err and "case board" in err
    assert case("case", "board", "2", "--board", "elsewhere")[0] == 0 and case("next", "2")[0] == 0
    (tmp_path / "elsewhere" / "parts.csv").unlink()
    status, _, err = case("next", "2")
    assert status == 2 and "CAS-004" in err and "--changed" in err
    assert case("case", "board", "2", "--board", "elsewhere")[0] == 2
    assert case("case", "board", "2", "--board", "elsewhere", "--changed")[0] == 0 and case("next", "2")[0] == 0


def test_an_entry_that_goes_against_the_board_is_noted_and_said(case: Run) -> None:
    # U1.4 is A14, U5.26 is A13, U1.5 A15 on the demonstration machine (its netlist, larkenfell64.ipc)
    wrong = case("note", "1", "patch", "U1.4", "U5.26", "30awg")[1]
    assert "Careful: this wire joins A14 and A13" in wrong
    assert case("note", "1", "undo")[0] == 0
    assert "Careful: A14 and A13 are two nets" in case("note", "1", "closed", "U1.4", "U5.26")[1]
    assert "Careful" not in case("note", "1", "open", "U1.4", "U5.26")[1]
    assert "Careful" not in case("note", "1", "ohms", "U1.4", "U5.26", "4.7k")[1]
    assert "Careful" not in case("note", "1", "closed", "U1.5", "U9.3")[1]
    answer = json.loads(case("note", "1", "ohms", "U1.4", "U5.26", "0.2", "--json")[1])
    assert len(answer["careful"]) == 1 and "A14 and A13" in answer["careful"][0]


def test_soldering_with_the_power_on_is_called_out(case: Run) -> None:
    case("note", "1", "gate", "override", "trying the supply")
    assert case("note", "1", "power", "on")[0] == 0
    assert "power off and the supply unplugged" in case("note", "1", "patch", "U1.5", "U9.3", "30awg")[1]


def test_a_figure_that_cannot_be_is_refused(case: Run) -> None:
    for words, code in ((("ohms", "U1.5", "U9.3", "-5"), "NOT-008"), (("patch", "U1.5", "U9.3", "99awg"), "NOT-009")):
        status, _, err = case("note", "1", *words)
        assert status == 2 and code in err
    assert case("note", "1", "ohms", "U1.5", "U9.3", "-0.1")[0] == 0


def test_a_wire_shorter_than_the_gap_between_its_ends_is_asked_for_again(case: Run) -> None:
    """No wire is shorter than the straight line: the two points' own places say how far they lie apart."""
    status, _, err = case("note", "1", "patch", "U5.5", "U1.35", "30awg", "5mm")
    assert status == 2 and "NOT-009" in err and "does not reach" in err
    far = re.search(r"they lie (\d+) mm apart", err)
    assert far is not None and 30 < int(far[1]) < 60
    assert case("note", "1", "patch", "U5.5", "U1.35", "30awg", f"{int(far[1]) + 9}mm")[0] == 0


def test_a_sheet_filled_in_further_is_typed_back_again(case: Run, tmp_path: Path) -> None:
    sheet = case("round", "1", "--print")[1].splitlines()
    at = [number for number, line in enumerate(sheet) if line.rstrip().endswith("[      ]")]
    file = tmp_path / "sheet.txt"

    def typed(*answers: str) -> str:
        lines = list(sheet)
        for number, answer in zip(at, answers, strict=False):
            lines[number] = lines[number].replace("[      ]", f"[ {answer} ]")
        file.write_text("\n".join(lines), encoding="utf-8")
        status, out, err = case("round", "1", "--type-back", str(file))
        assert status == 0, err
        return out

    assert typed("c", "0.4", "x").startswith("3 answers noted")
    assert "1 answers noted" in (again := typed("c", "0.4", "x", "c")) and "3 had been typed back before" in again
    view = json.loads(case("case", "show", "1", "--json")[1])
    assert [one["kind"] for one in view["readings"]] == ["closed", "ohms", "closed"] and len(view["skips"]) == 1
    # a sheet printed since then asks anew: what it holds are new readings
    sheet = [
        line if not line.startswith("Printed after") else f"Printed after entry {view['timeline'][-1]['entry']}."
        for line in sheet
    ]
    assert "1 answers noted" in typed("c")


def test_a_point_out_of_reach_on_a_sheet_leaves_its_other_lines(case: Run, tmp_path: Path) -> None:
    file = tmp_path / "sheet.txt"
    file.write_text("1 U1.5/leg U9.3/leg A15 closed [ x ]\n2 U1.5/leg U13.13/leg A15 closed [ c ]\n", encoding="utf-8")
    status, out, err = case("round", "1", "--type-back", str(file))
    assert status == 0 and "2 answers noted" in out, err


def test_a_pin_that_no_wire_reaches_does_not_hang_together_with_the_rest(case: Run) -> None:
    """The leg of U1.8 (net D3) is off: no wire reaches a leg in its socket, and nothing says that no wire is needed."""
    _, out, _ = case("wire", "plan", "1", "--net", "D3", "--broken", "contact@U1.8")
    assert "no solderable place is left on that piece" in out and "still hang together" not in out


def test_the_record_names_a_bridge_and_a_wire_between_nets_that_belong_apart(case: Run, tmp_path: Path) -> None:
    """Origin: the demonstration machine's own netlist keeps A14 and A13, CPUCLK and D4 apart."""
    case("note", "1", "patch", "U1.4", "U5.26")
    for _ in range(2):
        case("note", "1", "closed", "U1.6/joint-s", "U1.7/joint-s")
    page = tmp_path / "record.html"
    assert case("record", "1", "--html", str(page))[0] == 0
    words = page.read_text(encoding="utf-8")
    assert "Read closed though the board keeps them apart: CPUCLK and D4." in words
    assert "Find the bridge between CPUCLK and D4" in words
    assert "Patch wire 1 joins two nets that the board keeps apart" in words
    assert "0 of them proven by readings" in words


def test_asking_for_help_after_the_points_notes_nothing(case: Run) -> None:
    before = json.loads(case("case", "show", "1", "--json")[1])
    status, out, _ = case("note", "1", "patch", "U1.4", "U5.26", "--help")
    assert status == 0 and "note CASE KIND" in out
    assert json.loads(case("case", "show", "1", "--json")[1]) == before
