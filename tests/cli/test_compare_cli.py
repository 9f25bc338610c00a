"""``coppermend compare readings``: fixed names, another case, a good board's list, bad input in words, and what odd pins do to suspects."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from click.testing import CliRunner

from coppermend.cli import cli
from coppermend.core.findings import Refusal

D_PINS = {0: 11, 1: 12, 2: 13, 3: 15, 4: 16, 5: 17, 6: 18, 7: 19}
"""27128 (Intel's data sheet, as in the device book): D0 to D7; ground is pin 14."""


def run(store: str, *words: str) -> tuple[int, str]:
    done = CliRunner().invoke(cli, ["--store", store, *words])
    if isinstance(done.exception, Refusal):
        return 2, done.exception.finding.line()
    return done.exit_code, done.output


@pytest.fixture(scope="module")
def store(tmp_path_factory: pytest.TempPathFactory) -> str:
    made = str(tmp_path_factory.mktemp("shop") / "store")
    assert run(made, "case", "new", "--board", "demo", "--title", "good one")[0] == 0
    assert run(made, "case", "new", "--board", "demo", "--title", "bad one")[0] == 0
    for case in ("1", "2"):
        for bit, pin in D_PINS.items():
            volt = 0.18 if case == "2" and bit == 5 else 0.600 + 0.001 * bit
            status, said = run(made, "note", case, "diode", "U5.14", f"U5.{pin}", f"{volt:.3f}V")
            assert status == 0, said
    return made


def test_the_odd_pin_is_named_among_its_like_and_against_the_last_case(store: str) -> None:
    status, said = run(store, "compare", "readings", "2", "--json")
    found = json.loads(said)
    assert status == 1 and [one["pin"] for one in found["odd"]] == ["U5.17"] and found["readings"] == 8
    assert found["groups"][0]["name"] == "U5 D#" and found["groups"][0]["odd"] == ["U5.17"]
    assert found["against"]["other"] == "case good one" and found["against"]["groups"][0]["odd"] == ["U5.17"]
    assert "discharged" in found["caution"]
    assert run(store, "compare", "readings", "1", "--against", "1")[0] == 0


def test_a_good_boards_list(store: str, tmp_path: Path) -> None:
    rows = "".join(f"U5.{pin}, {0.610 + 0.001 * bit:.3f}V\n" for bit, pin in D_PINS.items())
    (tmp_path / "good.csv").write_text("pin,value\n" + rows + "U5.99 what\n", encoding="utf-8")
    status, said = run(store, "compare", "readings", "2", "--good", str(tmp_path / "good.csv"), "--json")
    found = json.loads(said)
    assert status == 1 and found["against"]["groups"][0]["odd"] == ["U5.17"]
    assert [(one["code"], one["place"]["line"]) for one in found["findings"]] == [("CMP-003", 10)]


def test_bad_input_in_words(store: str, tmp_path: Path) -> None:
    (tmp_path / "none.csv").write_text("hello\n", encoding="utf-8")
    assert run(store, "case", "new", "--board", "demo", "--title", "empty")[0] == 0
    for words, code in (
        (("3",), "CMP-001"),
        (("9",), "CAS-001"),
        (("2", "--good", str(tmp_path / "none.csv")), "CMP-003"),
        (("2", "--good", str(tmp_path / "gone.csv")), "CLI-002"),
        (("2", "--alpha", "3"), "CMP-004"),
    ):
        status, said = run(store, "compare", "readings", *words)
        assert status == 2 and f"error {code}" in said, (words, said)


def test_odd_pins_weigh_the_suspects(store: str) -> None:
    """Like readings name nobody; the odd one brings the chip that was read to the head of the list, with the reason, and others of its net after it."""

    def listed(case: str) -> tuple[str, dict[str, float]]:
        rows = json.loads(run(store, "suspects", case, "--json", "--most", "40")[1])["suspects"]
        odd = [one for one in rows if any("odd among like pins" in reason["words"] for reason in one["for"])]
        return rows[0]["unit"], {one["unit"]: float(one["p"]) for one in odd}

    (_, plain), (first, odd) = listed("1"), listed("2")
    assert plain == {} and first == "part U5"
    assert odd["part U5"] == max(odd.values()) and any("D5" in unit for unit in odd)
