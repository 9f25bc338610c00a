"""The device book as a whole: names as printed on chips, a user's own files, bad files, the command."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from click.testing import CliRunner

from coppermend.cli import cli
from coppermend.core.findings import Refusal
from coppermend.devices import PinKind, evaluate, make_book, open_book, shipped
from coppermend.devices.book import FAMILIES_FILE, shipped_files

BOOK = shipped()

# What is printed on real chips (makers' ordering codes, from memory of their data books) and the type it is.
PRINTED = {
    "74LS00": "7400", "SN74LS00N": "7400", "74HCT00": "7400", "DM74LS244N": "74244", "HD74LS138P": "74138", "M74LS04P": "7404",
    "74F245": "74245", "SN5474J": "7474", "74HC4040": "4040", "CD4040BE": "4040", "MC14040BCP": "4040", "HEF4066BP": "4066",
    "Z80": "Z80", "Z80A-CPU": "Z80", "Z80A": "Z80", "Z8400APS": "Z80", "D780C-1": "Z80", "UPD780C": "Z80", "Z80A-PIO": "Z80PIO",
    "Z80BSIO/2": "Z80SIO/2", "MC6821P": "6821", "MC68B21P": "6821", "MC68B09P": "6809", "MC68B09EP": "6809E", "HD6809E": "6809E",
    "R6522AP": "6522", "2764-25": "2764", "27C256-15": "27256", "HN462732G": "2732", "M5L2764K": "2764", "D4164C-15": "4164",
    "TMS4116-15NL": "4116", "HM6116LP-3": "6116", "P8255A-5": "8255", "D8251AC": "8251", "UPD765AC": "8272", "W65C02S6TPG-14": "W65C02S",
    "R65C02P2": "65C02", "MC68000P8": "68000", "SN76489AN": "SN76489", "FD1793B-02": "FD1793", "NE555P": "555", "LM7805CT": "7805",
    "µA741CN": "741", "uA7905": "7905", "78L05": "78L05", "ULN2003AN": "ULN2003", "AM26LS31CN": "26LS31", "N8T26AN": "8T26",
    "8T97": "74367", "SN75188N": "MC1488", "74S287": "82S129", "Z0840004PSC": "Z80", "Z0840006PSC": "Z80", "Z0843004PSC": "Z80CTC",
    "Z0842006PSC": "Z80PIO", "Z0844004PSC": "Z80SIO/0", "HD46821P": "6821", "HD46850P": "6850", "YM2149F": "YM2149", "SN76496N": "SN76496",
    "MC146818P": "146818", "MC146818AP": "146818A",
}  # fmt: skip


@pytest.mark.parametrize(("printed", "kind"), PRINTED.items())
def test_names_as_printed(printed: str, kind: str) -> None:
    assert BOOK.get(printed).type == kind


@pytest.mark.parametrize(
    "printed", ["27160", "TMS2716", "74LS9999", "74138X999", "", "Q", "6502X9Y8Z7", "1" * 500, "74", "🙂"]
)
def test_what_is_not_there_is_not_found(printed: str) -> None:
    """A TMS2716 has three supplies (Texas Instruments data sheet, from memory): it must not pass for a 2716."""
    assert BOOK.find(printed) is None
    with pytest.raises(Refusal, match="DEV-010"):
        BOOK.get(printed)


@pytest.mark.parametrize("kind", list(BOOK.chips))
def test_every_type_and_alias_finds_its_own_entry(kind: str) -> None:
    chip = BOOK.chips[kind]
    assert [one for one in (kind, *chip.aliases) if BOOK.get(one).type != kind] == []


@pytest.mark.parametrize(
    "printed", ["74H01", "SN74H01N", "74L85", "SN74L86N", "74L93", "74L95", "MM74C86N", "P2N2222A", "MB8877A"]
)
def test_types_with_other_pins_do_not_pass_for_their_namesakes(printed: str) -> None:
    """TI TTL data book: 'H01 has the pins of the '03, 'L85, 'L86, 'L93 and 'L95 are drawn apart from the others; National's 74C follow 54L/74L; the P2N2222A is
    C B E; the MB8877A has no 12 V (data sheets, all from memory). Refused, not guessed."""
    assert BOOK.find(printed) is None


def test_pins_that_differ_from_the_namesake() -> None:
    """Data sheets of Yamaha, Texas Instruments and Motorola, from memory."""
    for kind, pin, name in (
        ("YM2149", "26", "/SEL"),
        ("SN76496", "9", "AUDIO_IN"),
        ("146818", "16", "NC"),
        ("146818A", "16", "/STBY"),
    ):
        assert {str(p.number): p.name for p in BOOK.get(kind).pins}[pin] == name


def test_family_comes_with_the_letters() -> None:
    """TI data books: TTL thresholds 0.8 and 2.0 V for LS and HCT, 70 % of the supply for HC."""
    assert (BOOK.get("74LS00").family.name, BOOK.get("74HC00").family.name) == ("LS", "HC")
    assert BOOK.get("74HCT00").family.vih_v == 2.0
    assert BOOK.get("74HC00").family.vih_v == pytest.approx(0.7 * 5.0)
    assert BOOK.get("7400").typical_w == pytest.approx(5 * BOOK.get("74LS00").typical_w)


def test_rails() -> None:
    """Data sheets (from memory): 4116 +12, +5, -5 V; 8080A the same; AY-5-1013 +5 and -12 V; 7905 makes -5 V from a more negative one."""
    volts = {name: rail.nominal_v for name, rail in BOOK.get("4116").rails.items()}
    assert volts == {"VBB": -5.0, "VDD": 12.0, "VCC": 5.0}
    assert BOOK.get("8080").rails["VDD"].nominal_v == 12.0
    assert {r.nominal_v for r in BOOK.get("AY-5-1013").rails.values()} == {5.0, -12.0}
    assert BOOK.get("7905").makes["OUT"].nominal_v == -5.0 > BOOK.get("7905").rails["IN"].nominal_v


OWN = """
[file]
source = "my notes"
sure = "measured on one board"
[[chip]]
type = "PAL-U7"
title = "address decoder of my machine"
pins = "A15 A14 A13 GND /ROM /RAM NC VCC"
output = "/ROM /RAM"
logic = [["/ROM", "A15 | A14 | A13"], ["/RAM", "!A15"]]
"""


def test_own_folder_adds_and_replaces(tmp_path: Path) -> None:
    (tmp_path / "mine.toml").write_text(
        OWN + OWN.split("[[chip]]")[1].join(["[[chip]]", ""]).replace("PAL-U7", "7400"), encoding="utf-8"
    )
    book = open_book(tmp_path)
    assert evaluate(book.get("PAL-U7").logic["/ROM"], {"A15": False, "A14": False, "A13": False}) is False
    assert book.get("74LS00").title == "address decoder of my machine"
    assert shipped().get("74LS00").title == "quad 2-input NAND"
    assert book.digest != shipped().digest
    assert book.get("Z80") == shipped().get("Z80")
    assert open_book(tmp_path / "none") is shipped()


BAD = {
    "DEV-001": ["[file", "x = \x00", "\n".join(["[[chip]]"] * 3) + "\ntype ="],
    "DEV-002": [
        OWN.replace('sure = "measured on one board"', ""),
        OWN.replace('type = "PAL-U7"', ""),
        OWN.replace("output =", "outputs ="),
        OWN.replace("A15 | A14 | A13", "A15 | | A13"),
        OWN.replace("A15 | A14 | A13", "(A15"),
        OWN.replace("A13 GND", "A14 GND"),
        OWN.replace('pins = "A15', 'pins = 7\nnote = "A15'),
        OWN + "supply = {VCC = [5.0]}",
        OWN + 'technology = "ECL"',
        OWN + 'function = [{kind = "toaster", q = "/ROM"}]',
        OWN + "typical_mw = 'much'",
        OWN + 'clock = "/ROM"',
    ],
    "DEV-003": [
        OWN.replace('output = "/ROM', 'output = "/RUM'),
        OWN.replace('"!A15"', '"!A12"'),
        OWN + 'needs = [["/RAM", "A16"]]',
        OWN + "supply = {VDD = [5.0, 5]}",
        OWN + 'function = [{kind = "d-latch", d = "D", q = "/ROM"}]',
    ],
}


@pytest.mark.parametrize(("code", "text"), [(code, text) for code, texts in BAD.items() for text in texts])
def test_bad_files_are_refused_in_words(code: str, text: str) -> None:
    with pytest.raises(Refusal) as caught:
        make_book(shipped_files(), [("mine.toml", text.encode("utf-8"))])
    finding = caught.value.finding
    assert finding.code == code
    assert finding.place.file == "mine.toml"
    assert finding.remedy


def test_bad_bytes_twice_the_same_type_and_a_large_folder(tmp_path: Path) -> None:
    with pytest.raises(Refusal, match="DEV-001"):
        make_book(shipped_files(), [("mine.toml", b"\xff\xfe")])
    with pytest.raises(Refusal, match="DEV-004"):
        make_book(shipped_files(), [("a.toml", OWN.encode()), ("b.toml", OWN.encode())])
    (tmp_path / "big.toml").write_bytes(b"#" * 4_000_001)
    with pytest.raises(Refusal, match="DEV-005"):
        open_book(tmp_path)


def test_every_file_says_its_source() -> None:
    assert len(shipped_files()) > 5
    for name, data in shipped_files():
        head = data.decode("utf-8")
        assert "source = " in head and "sure = " in head, name
    assert FAMILIES_FILE in dict(shipped_files())


def test_command_shows_a_chip(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Issue 6, fixed names: ``device show Z80 --json`` has pins as a list of number, name, kind. Z80: Zilog data sheet (from memory)."""
    monkeypatch.setenv("COPPERMEND_DEVICES", str(tmp_path))
    done = CliRunner().invoke(cli, ["device", "show", "Z80", "--json"])
    assert done.exit_code == 0
    pins = {row["number"]: (row["name"], row["kind"]) for row in json.loads(done.output)["pins"]}
    assert len(pins) == 40
    assert (pins[6], pins[11], pins[29], pins[26]) == (
        ("CLK", "clock"),
        ("VCC", "power"),
        ("GND", "ground"),
        ("/RESET", "reset"),
    )
    assert {kind for _, kind in pins.values()} <= {kind.value for kind in PinKind}
    words = CliRunner().invoke(cli, ["device", "show", "SN74LS00N"]).output
    assert "quad 2-input NAND" in words and "= !(1A & 1B)" in words
    (tmp_path / "mine.toml").write_text(OWN, encoding="utf-8")
    assert "address decoder" in CliRunner().invoke(cli, ["device", "show", "PAL-U7"]).output
    assert "PAL-U7" in CliRunner().invoke(cli, ["device", "list"]).output
    with pytest.raises(Refusal, match=r"DEV-010.*74139"):
        CliRunner().invoke(cli, ["device", "show", "74LS1399"], catch_exceptions=False)
