"""``coppermend memory explain``: fixed names, bad input in words, and what a noted test does to the suspects of its case."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from click.testing import CliRunner

from coppermend.cli import cli
from coppermend.core.findings import Refusal

WORDS = "".join(f"{0x8000 + k:04X} 55 5D\n" for k in range(10))


def run(*words: str) -> tuple[int, str]:
    done = CliRunner().invoke(cli, list(words))
    if isinstance(done.exception, Refusal):
        return 2, done.exception.finding.line()
    return done.exit_code, done.output


def test_json_has_the_fixed_names(tmp_path: Path) -> None:
    file = tmp_path / "errors.txt"
    file.write_text(WORDS + "80xy 1 2\n", encoding="utf-8")
    status, said = run("memory", "explain", "--board", "demo", "--errors", str(file), "--json")
    found = json.loads(said)
    assert status == 0
    assert found["errors"] == 10 and found["bits"] == {"D3": 10} and found["named"] == ["part U53"]
    first = found["suspects"][0]
    assert first["unit"] == "part U53" and first["p"] > 0.95 and first["pins"] == ["U53.2", "U53.14"] and first["for"]
    assert [one["code"] for one in found["findings"]] == ["MEM-001"]
    assert "Power off" in found["caution"]


@pytest.mark.parametrize(
    ("data", "code"),
    [
        (b"", "MEM-002"),
        (b"hello world", "MEM-002"),
        (bytes(range(256)) * 40, "MEM-00"),
        (b"\x00\xff" * 900, "MEM-007"),
        (b"8000 55 55", "MEM-005"),
    ],
)
def test_files_that_are_none_are_refused_in_words(tmp_path: Path, data: bytes, code: str) -> None:
    file = tmp_path / "errors.bin"
    file.write_bytes(data)
    status, said = run("memory", "explain", "--board", "demo", "--errors", str(file))
    assert status == 2 and f"error {code}" in said


def test_the_board_must_be_named_and_the_file_be_there(tmp_path: Path) -> None:
    assert "CLI-006" in run("memory", "explain", "--errors", str(tmp_path / "no.txt"))[1]
    assert "CLI-002" in run("memory", "explain", "--board", "demo", "--errors", str(tmp_path / "no.txt"))[1]


def test_a_noted_test_weighs_the_suspects_until_something_is_repaired(tmp_path: Path) -> None:
    file, store = tmp_path / "errors.txt", str(tmp_path / "store")
    file.write_text(WORDS, encoding="utf-8")
    assert run("--store", store, "case", "new", "--board", "demo", "--title", "M")[0] == 0
    before = {
        one["unit"]: one["p"] for one in json.loads(run("--store", store, "suspects", "1", "--json")[1])["suspects"]
    }
    status, said = run("--store", store, "memory", "explain", "--case", "1", "--errors", str(file))
    assert status == 0 and "Noted as" in said
    view = json.loads(run("--store", store, "suspects", "1", "--json")[1])
    first = view["suspects"][0]
    assert first["unit"] == "part U53" and first["p"] > 0.5 > before.get("part U53", 0.0) + 0.3
    assert any("memory test" in reason["words"] for reason in first["for"])
    assert run("--store", store, "note", "1", "swap", "U53", "another 4164")[0] == 0
    after = json.loads(run("--store", store, "suspects", "1", "--json")[1])
    assert any("memory test" in one["words"] for one in after["expired"])
    assert next((one["p"] for one in after["suspects"] if one["unit"] == "part U53"), 0.0) < 0.1
