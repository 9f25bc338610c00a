"""Records read: tables by their traits, value change dumps by IEEE 1364, and what is refused or read with findings."""

from __future__ import annotations

import tracemalloc
from time import process_time

import numpy as np
import pytest

from coppermend.core.findings import Refusal
from coppermend.core.signals.measure import measure
from coppermend.core.signals.model import Expected
from coppermend.core.signals.wave import RELEASED, UNKNOWN, Capture, Trace, Wave
from coppermend.formats.waves import read_waves
from coppermend.formats.waves.rows import quick_rows
from coppermend.formats.waves.table import read_table
from coppermend.formats.waves.vcd import read_vcd

N = 200
T = np.arange(N) * 2e-8 - 1e-6
V = np.where((np.arange(N) // 10) % 2, 3.6, 0.2)


def rows(pattern: str, *columns: np.ndarray) -> str:
    return "\n".join(pattern.format(*one) for one in zip(*columns, strict=True)) + "\n"


PLAIN = rows("{:.6e},{:.3f}", T, V)
KEYS = ["Record Length,200,", "Sample Interval,2e-8,s", "Source,CH1,", *[",,"] * (N - 3)]
BESIDE = "".join(f"{key},{t:.6e},{v:.3f}\n" for key, t, v in zip(KEYS, T, V, strict=True))
TABLES = {
    "units in brackets": "Time (s),CH1 (V)\n" + PLAIN,
    "scaled units": "time [us],CH1 [mV]\n" + rows("{:.5f},{:.0f}", T * 1e6, V * 1e3),
    "a row of units": "x-axis,1\nsecond,Volt\n" + PLAIN,
    "a row of units in brackets": "Time,Channel A\n(ms),(V)\n\n" + rows("{:.8f},{:.3f}", T * 1e3, V),
    "no head": PLAIN,
    "semicolons and decimal commas": "Zeit (s);CH1 (V)\n" + rows("{:.6e};{:.3f}", T, V).replace(".", ","),
    "tabs and decimal commas": "time_s\tCH1\n" + rows("{:.6e}\t{:.3f}", T, V).replace(".", ","),
    "quoted decimal commas": "Time,CH1\n" + rows('"{:.6e}","{:.3f}"', T, V).replace(".", ","),
    "commas for both": "Time (s),CH1 (V)\n" + rows("{:.9f},{:.3f}", T, V).replace(".", ","),
    "keys before the data": "Record Length,200\nSample Interval,2.0E-8\nVertical Units,V\n\nTIME,CH1\n" + PLAIN,
    "keys alone before the data": "Sample Interval,2.0E-8\nVertical Units,V\n\n" + PLAIN,
    "keys beside the data": BESIDE,
    "samples counted, step under its name": "X,CH1,Start,Increment,\nSequence,Volt,-1.0e-06,2.0e-08\n" + rows("{},{:.3f},", np.arange(N), V),
    "samples counted, step right of the first row": "X,CH1,Start,Increment\n0,0.200,-1e-6,2e-8\n" + rows("{},{:.3f}", np.arange(1, N), V[1:]),
    "rate in a comment": "; Sample rate: 50 MHz\nCH1 (V)\n" + rows("{:.3f}", V),
    "blanks": "time volt\n" + rows("{:.6e}  {:.3f}", T, V),
    "ours": "time_s,volt\n" + rows("{:.9e},{:.6e}", T, V),
}  # fmt: skip


@pytest.mark.parametrize("trait", TABLES)
@pytest.mark.parametrize("ending", ["\n", "\r\n"])
def test_tables_of_every_trait_give_the_same_wave(trait: str, ending: str) -> None:
    capture = read_waves(TABLES[trait].replace("\n", ending).encode(), "w.csv")
    assert len(capture.channels) == 1
    one = capture.channels[0]
    assert isinstance(one, Wave) and one.unit == "V"
    assert one.values == pytest.approx(V, abs=1e-9)
    assert one.step_s == pytest.approx(2e-8, rel=1e-9)
    begin = 0.0 if trait == "rate in a comment" else -1e-6
    assert one.seconds(np.array([0.0, N - 1.0])) == pytest.approx([begin, begin + 2e-8 * (N - 1)], rel=1e-9)
    guessed = trait in ("no head", "commas for both")
    assert bool(capture.findings) == guessed


@pytest.mark.parametrize("encoding", ["utf-8-sig", "utf-16", "latin-1"])
def test_encodings(encoding: str) -> None:
    text = "Time (µs),Kanal größer (V)\n" + rows("{:.5f},{:.3f}", T * 1e6, V)
    one = read_waves(text.encode(encoding)).channels[0]
    assert one.name == "Kanal größer" and isinstance(one, Wave) and one.step_s == pytest.approx(2e-8)


def test_several_channels_logic_and_analogue() -> None:
    text = "Time[s],VCC (V),D0,D1\n" + rows("{:.6e},{:.2f},{},{}", T, V + 1, V.astype(int) // 3, 1 - V.astype(int) // 3)
    capture = read_waves(text.encode())
    assert [one.name for one in capture.channels] == ["VCC", "D0", "D1"]
    d0 = capture.channel("d0")
    assert isinstance(d0, Trace) and len(d0.times_s) == 20 and d0.grid_s == pytest.approx(2e-8)
    with pytest.raises(Refusal, match="WAV-008"):
        capture.channel("D7")


def test_a_list_of_changes_keeps_its_times() -> None:
    capture = read_waves(b"Time [s],CLK\n0.0,1\n0.00012,0\n0.00013,1\n0.5,0\n")
    one = capture.channels[0]
    assert isinstance(one, Trace) and one.times_s.tolist() == [0.0, 0.00012, 0.00013, 0.5]


def test_numbers_as_the_library_reads_them() -> None:
    """The quick reader gives bit for bit what Python's own reading gives."""
    rng = np.random.default_rng(7)
    cells = [[f"{x:+.7e}", f"{y:.4f}", f"{z:.3f}"] for x, y, z in zip(rng.normal(0, 1e-6, 3000), rng.normal(0, 90, 3000), rng.random(3000), strict=True)]  # fmt: skip
    body = "\n".join(",".join(row) for row in cells).encode() + b"\n"
    found = quick_rows(body, ",", False, (0, 1, 2))
    assert found is not None
    assert found.tolist() == [[float(cell) for cell in row] for row in cells]
    assert quick_rows(body.replace(b".", b","), ";", True, (0,)) is None
    broken = bytearray(body)
    broken[len(body) // 2] = ord("x")
    assert quick_rows(bytes(broken), ",", False, (0, 1, 2)) is None


HEAD = "Time (s),CH1 (V)\n"
REFUSED = {
    "empty": ("", "WAV-002"),
    "blank": ("\n \n\n", "WAV-002"),
    "prose": ("This is no table.\nNothing in it.\n" * 50, "WAV-002"),
    "time going back": (HEAD + PLAIN + "0.0,1.0\n1.0e-9,2.0\n", "WAV-006"),
    "time standing still": (HEAD + "1e-3,0.5\n" * 50, "WAV-006"),
    "a million columns": (",".join(["1.5"] * 1_000_000) + "\n" + ",".join(["1.5"] * 1_000_000), "WAV-004"),
    "a thousand columns": ("\n".join(",".join(["1.5"] * 1000) for _ in range(20)), "WAV-004"),
    "no time base": ("CH1 (V)\n" + rows("{:.3f}", V), "WAV-017"),
    "commas for both, no head": (rows("{:.6f},{:.3f}", T + 1e-6, V).replace(".", ","), "WAV-005"),
    "bytes": ("\0\1\2" * 500, "WAV-001"),
    "nothing but NaN": (HEAD + "nan,nan\n" * 50, "WAV-002"),
    "a channel of NaN": (HEAD + rows("{:.6e},nan", T), "WAV-002"),
}


@pytest.mark.parametrize("what", REFUSED)
def test_refused_in_words(what: str) -> None:
    text, code = REFUSED[what]
    begin = process_time()
    with pytest.raises(Refusal) as caught:
        read_waves(text.encode(), "w.csv")
    assert caught.value.finding.code == code and caught.value.finding.remedy
    assert process_time() - begin < 2.0


def test_step_told_by_hand() -> None:
    one = read_waves(("CH1 (V)\n" + rows("{:.3f}", V)).encode(), "w", 2e-8).channels[0]
    assert isinstance(one, Wave) and one.step_s == 2e-8


@pytest.mark.parametrize("word", ["nan", "", "OL", "9.9E37", "inf", "-inf"])
def test_holes_are_left_out_and_said(word: str) -> None:
    lines = (HEAD + PLAIN).splitlines()
    lines[50] = lines[50].split(",")[0] + "," + word
    capture = read_waves("\n".join(lines).encode())
    one = capture.channels[0]
    assert isinstance(one, Wave) and one.values.size == N - 1 and np.isfinite(one.values).all()
    assert [f.code for f in capture.findings] == ["WAV-016"] and "1 cells" in capture.findings[0].words
    assert one.seconds(np.array([48.0, 49.0])) == pytest.approx([T[48], T[50]])


def test_cut_and_strange_rows_are_said() -> None:
    capture = read_waves(
        (HEAD + PLAIN[: len(PLAIN) // 2] + "\nhello,\n" + PLAIN[len(PLAIN) // 2 :].split("\n", 1)[1] + "3.1e").encode()
    )
    assert any(f.code == "WAV-015" for f in capture.findings)


def test_times_printed_too_coarsely() -> None:
    text = HEAD + rows("{:.7f},{:.3f}", T + 1e-6, V)
    capture = read_waves(text.encode())
    one = capture.channels[0]
    assert isinstance(one, Wave) and one.times_s is None and one.step_s == pytest.approx(2e-8, rel=0.02)
    assert [f.code for f in capture.findings] == ["WAV-018"]


def test_counted_time_needs_a_word() -> None:
    """Named time and counting by one: seconds, and said; named sample: refused without a step; a step told by hand holds."""
    counted = "time,CH1\n" + rows("{},{:.3f}", np.arange(N), V)
    capture = read_waves(counted.encode())
    one = capture.channels[0]
    assert isinstance(one, Wave) and one.step_s == 1.0 and [f.code for f in capture.findings] == ["WAV-007"]
    told = read_waves(counted.encode(), "w", 2e-8).channels[0]
    assert isinstance(told, Wave) and told.step_s == 2e-8
    with pytest.raises(Refusal, match="WAV-017"):
        read_waves(counted.replace("time", "sample").encode())


def test_a_time_column_before_each_channel() -> None:
    text = "Time (s),CH1 (V),Time (s),CH1 (V)\n" + rows("{:.6e},{:.3f},{:.6e},{:.3f}", T, V, T, 2 * V)
    capture = read_waves(text.encode())
    assert [one.name for one in capture.channels] == ["CH1", "CH1 (2)"] and not capture.findings
    apart = read_waves(("Time (s),A,Time (s),B\n" + rows("{:.6e},{:.3f},{:.6e},{:.3f}", T, V, T + 1e-9, V)).encode())
    assert [f.code for f in apart.findings] == ["WAV-019"] and len(apart.channels) == 2


def test_columns_of_words_are_said() -> None:
    text = "Time (s),D0,BUS\n" + rows("{:.6e},{},{}", T, (V > 1).astype(int), np.array(["0x3F"] * N))
    capture = read_waves(text.encode())
    assert [one.name for one in capture.channels] == ["D0"] and [f.code for f in capture.findings] == ["WAV-019"]
    assert "BUS" in capture.findings[0].words


@pytest.mark.parametrize(
    ("separator", "dot", "ending"), [(",", ".", "\r\n"), (";", ",", "\n"), ("\t", ",", "\r\n"), (";", ".", "\n")]
)
def test_long_tables_by_the_quick_reader(separator: str, dot: str, ending: str) -> None:
    """Tables of 3,000 rows take the quick way; every value is the one that Python reads."""
    rng = np.random.default_rng(5)
    cells = [(f"{k * 1e-8 - 1e-5:.5e}", f"{v: .4f}") for k, v in enumerate(rng.normal(1, 2, 3000))]
    body = ending.join(separator.join(row).replace(".", dot) for row in cells) + ending
    assert quick_rows(body.encode(), separator, dot == ",", (0, 1)) is not None
    one = read_waves((f"Time (s){separator}CH1 (V){ending}" + body).encode()).channels[0]
    assert isinstance(one, Wave) and one.values.tolist() == [float(v) for _, v in cells]


# ---- value change dumps ----
VCD = """$date today $end $version x $end $timescale 10 ns $end
$scope module top $end $var wire 1 ! clk $end $var reg 4 " bus [3:0] $end $var real 64 # volts $end
$scope module u1 $end $var wire 1 ! clk_too $end $var wire 1 abcdefghij long $end $upscope $end $upscope $end
$enddefinitions $end
$dumpvars 0! bx " r0.5 # $end
#0 b101 " 1abcdefghij
#5 1!
$comment a word #99 $end
#10 0! bz " 0abcdefghij
#20 1! r3.25 #
"""


def test_value_change_dump() -> None:
    """Left extension: 0 before 0 or 1, x before x, z before z (IEEE 1364, value change dump files; from memory)."""
    capture = read_vcd(VCD.encode())
    by = {one.name: one for one in capture.channels}
    assert set(by) == {"clk", "bus[3]", "bus[2]", "bus[1]", "bus[0]", "u1.long", "volts"}
    clk, top = by["clk"], by["bus[3]"]
    assert (
        isinstance(clk, Trace)
        and clk.times_s == pytest.approx([0, 5e-8, 1e-7, 2e-7])
        and clk.levels.tolist() == [0, 1, 0, 1]
    )
    assert isinstance(top, Trace) and top.levels.tolist() == [0, RELEASED] and top.end_s == pytest.approx(2e-7)
    volts = by["volts"]
    assert isinstance(volts, Wave) and volts.values.tolist() == [0.5, 0.5, 3.25]


def test_channels_of_one_name_go_by_number_and_a_head_with_its_unit_is_a_name() -> None:
    """Two variables of one name in one scope, a scope without a name, a real variable that says one value (IEEE 1364 forbids none of them)."""
    text = (
        "$timescale 1 ns $end $scope module top $end $scope fork $end $var wire 1 ! D0 $end $var wire 1 # D0 $end"
        " $var real 64 r V $end $upscope $end $upscope $end $enddefinitions $end\n#0 0! 1# r1.5 r\n#5 1!\n#9 0!\n"
    )
    capture = read_vcd(text.encode(), "a.vcd")
    assert [one.name for one in capture.channels] == ["D0", "D0"]
    assert any("Variable V has one value only" in f.line() for f in capture.findings)
    with pytest.raises(Refusal, match=r"2 channels .* 'D0'.*number: 1, 2"):
        capture.channel("D0")
    assert capture.channel("2") is capture.channels[1]
    table = read_waves(
        ("Zeit (s);Kanal 1 (V);Kanal 2 [V]\n" + rows("{:.6e};{:.3f};{:.3f}", T, V, 5 - V)).encode(), "b.csv"
    )
    for wanted in ("Kanal 2 (V)", "kanal 2 [v]", "Kanal 2", "2"):
        assert table.channel(wanted) is table.channels[1]


def test_edges_without_jitter_have_none() -> None:
    """A clock of even edges: what is left of its fit is the last digit of a double, and is said as 0."""
    made = measure(Trace("CK", np.arange(400) * 5e-8, np.arange(400, dtype=np.int8) % 2, 2e-5, 1e-9), Expected())
    assert made.jitter_s == 0.0


def test_unknown_scopes_kinds_and_codes_are_said() -> None:
    text = "$timescale 1ns $end $scope gizmo g $end $var blob 1 ! a $end $upscope $end $enddefinitions $end #0 0! 1? #1 1! x! #2 z!"
    capture = read_vcd(text.encode())
    assert {f.code for f in capture.findings} == {"WAV-011", "WAV-014"}
    one = capture.channels[0]
    assert isinstance(one, Trace) and one.levels.tolist() == [0, UNKNOWN, RELEASED]


@pytest.mark.parametrize(
    ("text", "code"),
    [
        ("$date x $end", "WAV-010"),
        ("$timescale 1ns $end $enddefinitions $end #0 0!", "WAV-010"),
        ("$var wire 1 ! a $end $enddefinitions $end", "WAV-010"),
        ("$var wire 1 ! a $end $enddefinitions $end\n#10 0! #5 1!", "WAV-006"),
        ("$var wire 1 ! a $end $enddefinitions $end\n#1x 0!", "WAV-010"),
        ("$var wire 9000 ! a $end $enddefinitions $end #0 b1 !", "WAV-003"),
        ("$var wire 999999999999 ! a $end $enddefinitions $end #0 b1 !", "WAV-003"),
    ],
)
def test_dumps_refused(text: str, code: str) -> None:
    with pytest.raises(Refusal) as caught:
        read_waves(text.encode())
    assert caught.value.finding.code == code and caught.value.finding.remedy


HOSTILE = {
    "a head of open keywords": b"$a " * 1_500_000 + b"$enddefinitions $end #0 0!",
    "a head of variables": b"$var wire 1 ! a $end " * 300_000 + b"$enddefinitions $end #0 0!",
    "wide vectors": b"$var wire 8192 ! a $end $enddefinitions $end\n#0 " + b"b0 !\nb1 !\n" * 200_000,
    "wide vectors that turn about": b"$var wire 8192 ! a $end $enddefinitions $end\n#0 " + b"bx !\nb0 !\n" * 50_000,
    "one endless word": b"$var wire 1 ! a $end $enddefinitions $end #" + b"1" * 3_000_000,
    "a comment without an end": b"$var wire 1 ! a $end $enddefinitions $end $comment " + b"0! " * 1_000_000,
    "keys that repeat themselves": (b"sampl" * 12_000 + b",1\n") * 300
    + b"Time (s),CH1 (V)\n"
    + b"".join(b"%d e-9,1\n" % k for k in range(99)),
    "brackets without an end": b"Time (s)," + b"((((" * 15_000 + b"\n" + b"".join(b"%de-9,1\n" % k for k in range(99)),
    "quotes": b'"' * 60_000 + b"\n" + b'1,"2\n' * 3000,
    "rows of every length": b"Time (s),CH1 (V)\n"
    + b"".join(b"%de-9,%s\n" % (k, b"1" * (k % 40)) for k in range(300_000)),
}


@pytest.mark.parametrize("what", HOSTILE)
def test_hostile_files_end_soon(what: str) -> None:
    """Read or refused in words, in bounded CPU time."""
    begin = process_time()
    try:
        read_waves(HOSTILE[what], "h")
    except Refusal as err:
        assert err.finding.code.startswith("WAV") and err.finding.remedy
    assert process_time() - begin < 10


def long_dump(steps: int) -> bytes:
    """Two wires over that many times: the second at half the rate of the first; two changes written a time."""
    table = np.tile(np.frombuffer(b'#0000000000\n0!\n0"\n', np.uint8), (steps, 1))
    k = np.arange(steps)
    for place in range(10):
        table[:, 10 - place] = 48 + (k * 5 // 10**place) % 10
    table[:, 12], table[:, 15] = 48 + (k & 1), 48 + ((k >> 1) & 1)
    head = b'$timescale 1ns $end $var wire 1 ! a $end $var wire 1 " b $end $enddefinitions $end\n'
    return head + table.tobytes()


def test_ten_million_changes_in_bounds() -> None:
    """CPU time and memory stay bounded (measured: 2 s and 0.5 GB beside the file's own 90 MB)."""
    data = long_dump(5_000_000)
    begin = process_time()
    tracemalloc.start()
    capture: Capture = read_vcd(data)
    most = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    assert process_time() - begin < 20 and most < 1.2e9
    sizes = [len(one.times_s) for one in capture.channels if isinstance(one, Trace)]
    assert sizes == [5_000_000, 2_500_000]


def test_a_time_column_with_few_digits_is_no_proof_of_a_wrong_frequency() -> None:
    """4 MHz at 200 MS/s, times with three digits: the last, 19.995 us, is printed as 20.0. Half its last digit over the record is 2,500 ppm, and twice the stated
    uncertainty covers that (rectangular distribution, GUM); with ten digits the same wave is told to 30 ppm (its edges fall between two samples) and 4.02 MHz is wrong."""
    at = [(k * 5e-9, 3.8 if (k // 25) % 2 else 0.2) for k in range(4000)]
    few, all_digits = (
        read_table(("Time,CH1\ns,V\n" + "".join(style % one for one in at)).encode()).channels[0]
        for style in ("%.3g,%.4f\n", "%.10e,%.4f\n")
    )
    seen = measure(few, Expected(4e6, 100.0))
    assert seen.frequency_hz is not None and seen.frequency_u_hz is not None and seen.verdict == "right"
    assert abs(seen.frequency_hz - 4e6) <= 2.0 * seen.frequency_u_hz and 2.0 * seen.frequency_u_hz >= 2500e-6 * 4e6
    assert "SIG-004" in {one.code for one in seen.findings}
    fine = measure(all_digits, Expected(4.02e6, 100.0))
    assert fine.verdict == "wrong frequency" and fine.frequency_u_hz is not None and fine.frequency_u_hz < 200.0


def test_a_first_column_named_by_its_unit_alone_is_the_time() -> None:
    made = read_table(b"us,A (V),B (V)\n" + b"".join(b"%.3f,%d,1.5\n" % (0.5 * k, k % 2) for k in range(20)))
    assert [one.name for one in made.channels] == ["A", "B"] and made.channels[0].step_s == pytest.approx(5e-7)
    logic = read_table(b"Time,S\n" + b"".join(b"%d.5,%d\n" % (k, k % 2) for k in range(20)))
    assert [one.name for one in logic.channels] == ["S"]
