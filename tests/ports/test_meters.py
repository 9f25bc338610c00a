"""One behaviour suite for every meter: simulated, recorded, and a real conversation through PyVISA over a TCP socket and a serial line.

No real meter was tried. The far end is our own SCPI server (tests/scpi_server.py); what it says follows IEEE 488.2 and SCPI-1999.
"""

from __future__ import annotations

import os
import time
from collections.abc import Callable, Iterator
from contextlib import ExitStack
from pathlib import Path

import pytest
from tests.fakes import CountingIds
from tests.scpi_server import Bench, on_serial, on_socket

from coppermend.adapters.instruments.bench import BenchInstruments
from coppermend.adapters.instruments.recorded import RecordedLink, RecordingLink
from coppermend.adapters.instruments.scpi import ScpiMeter
from coppermend.adapters.instruments.simulated import Hand, SimulatedMeter, hands
from coppermend.adapters.instruments.trouble import libusb_remedy, rights_remedy, trouble
from coppermend.adapters.instruments.visa import VisaLink
from coppermend.core.findings import Refusal
from coppermend.core.signals.touch import TouchState, feel
from coppermend.services.instruments import look_around, look_at_instruments, take_wave, try_meter, try_scope
from coppermend.services.meter_watch import MeterWatch
from coppermend.services.ports import Meter

OL = "+9.90000000E+37"  # SCPI-1999 volume 1, 7.2.1.4: infinity
STEP_S = 0.05
SCRIPT = (
    [OL] * 8
    + ["+4.7E+03", "+6.12E-01", "+6.10E-01", "+6.11E-01", "+6.11E-01", "+6.10E-01", "+6.11E-01"]
    + [OL] * 8
    + ["+1.2010E+01"] * 8
    + [OL]
)
"""Tips in the air, a touch that bites late, the air, a second touch: 0.611 and 12.01 ohm by what it says."""
posix = pytest.mark.skipif(os.name == "nt", reason="not run: pseudo-terminals are POSIX only")
Make = Callable[[Bench], Meter]


class Ticks:
    """A clock that goes on when somebody waits."""

    def __init__(self) -> None:
        self.s = 0.0

    def now(self) -> float:
        return self.s

    def wait(self, seconds: float) -> None:
        self.s += seconds


def simulated(bench: Bench) -> ScpiMeter:
    """The simulated meter with the script's two touches."""
    clock = Ticks()
    acts = hands([Hand(0.41, 0.76, 0.611), Hand(1.16, 1.56, 12.01)])
    link = SimulatedMeter(acts, clock.now, clock.wait, 0.0, 1e-4, 0.05, STEP_S, bench.four_wires)
    return ScpiMeter(link)


@pytest.fixture(params=["simulated", "recorded", "socket", pytest.param("serial", marks=posix)])
def make(request: pytest.FixtureRequest) -> Iterator[Make]:
    """Makes the same meter behind each kind of link."""
    with ExitStack() as stack:

        def link_to(bench: Bench) -> Meter:
            if request.param == "simulated":
                return simulated(bench)
            if request.param == "recorded":
                lines: list[str] = []
                port = stack.enter_context(on_socket(bench))
                first = ScpiMeter(RecordingLink(VisaLink(f"127.0.0.1:{port}"), lines.append))
                use(first, len(SCRIPT))
                first.close()
                return ScpiMeter(RecordedLink("recorded:here", "\n".join(lines)))
            if request.param == "socket":
                return ScpiMeter(VisaLink(f"127.0.0.1:{stack.enter_context(on_socket(bench))}"))
            return ScpiMeter(VisaLink(stack.enter_context(on_serial(bench)), 115200))

        yield link_to


def use(meter: Meter, samples: int) -> tuple[str, list[float]]:
    """Name, then the settled touches of so many readings."""
    name = meter.identity().words
    try:
        meter.set_ohms(2)
    except Refusal:
        return name, []
    state, found = TouchState(), []
    for k in range(samples):
        state, done = feel(state, k * STEP_S, meter.read().ohm)
        found += [done.ohm] if done else []
    return name, found


def test_a_touch_gives_one_reading(make: Make) -> None:
    meter = make(Bench(list(SCRIPT)))
    name, found = use(meter, len(SCRIPT))
    assert "meter" in name or name == "ACME DM 1, serial 007"
    assert found == [pytest.approx(0.611, abs=2e-3), pytest.approx(12.01, abs=2e-2)]
    meter.close()
    meter.close()


def test_four_wires_are_refused_by_a_meter_without_them(make: Make, request: pytest.FixtureRequest) -> None:
    if "recorded" in request.node.name:
        link: Meter = ScpiMeter(
            RecordedLink(
                "r",
                '{"sent":"*CLS"}\n{"sent":"CONF:FRES"}\n{"sent":"SYST:ERR?","answer":"-113,\\"Undefined header\\""}',
            )
        )
    else:
        link = make(Bench(four_wires=False))
    with pytest.raises(Refusal) as caught:
        link.set_ohms(4)
    assert caught.value.finding.code == "INS-008" and "two wires" in caught.value.finding.remedy
    link.close()


def test_only_two_or_four_wires(make: Make, request: pytest.FixtureRequest) -> None:
    meter = simulated(Bench()) if "recorded" in request.node.name else make(Bench())
    with pytest.raises(Refusal, match="INS-008"):
        meter.set_ohms(3)
    meter.close()


# ---- what goes wrong on real lines ----
def code_of(act: Callable[[], object]) -> tuple[str, str]:
    """The refusal's code and all its words."""
    with pytest.raises(Refusal) as caught:
        act()
    finding = caught.value.finding
    assert finding.words and finding.remedy
    return finding.code, f"{finding.words} {finding.remedy}"


def test_a_refused_port_and_a_missing_one_are_told_apart() -> None:
    with on_socket(Bench()) as port:
        pass
    code, words = code_of(lambda: try_meter(BenchInstruments(), f"127.0.0.1:{port}"))
    assert code == "INS-002" and "by hand" in words
    assert code_of(lambda: VisaLink("/dev/ttyUSB999"))[0] == "INS-001"


@pytest.mark.parametrize(
    "address",
    ["", "meter", "127.0.0.1", "127.0.0.1:0", "127.0.0.1:99999", "TCPIP::x", "GPIB0::3::INSTR", "recorded:/etc/passwd"],
)
def test_what_is_no_address_is_refused(address: str) -> None:
    code, _words = code_of(lambda: BenchInstruments().meter(address))
    assert code == "INS-009"


def test_a_silent_meter_is_said_to_be_silent() -> None:
    with on_socket(lambda line: None) as port:
        link = VisaLink(f"127.0.0.1:{port}", patience_s=0.3)
        assert code_of(lambda: link.ask("*IDN?"))[0] == "INS-005"
        link.close()


@pytest.mark.parametrize("said", ["\x07\x00\x1b", "", "volts please", "1.2.3", "--"])
def test_garbage_is_no_reading(said: str) -> None:
    with on_socket(Bench([said])) as port:
        meter = ScpiMeter(VisaLink(f"127.0.0.1:{port}", patience_s=0.5))
        code, _words = code_of(meter.read)
        assert code == "INS-007"
        meter.close()


@pytest.mark.parametrize("said", ["+9.90000000E+37", "+9.9E+37", "+9.91E+37", "9.91E37", "OL"])
def test_overload_in_the_ways_that_makers_say_it(said: str) -> None:
    """9.9E37 and 9.91E37: makers' programming guides after SCPI-1999 volume 1, 7.2.1.4 and 7.2.1.5; one says 9.91E37 when a range is exceeded (read)."""
    with on_socket(Bench([said])) as port:
        meter = ScpiMeter(VisaLink(f"127.0.0.1:{port}", patience_s=0.5))
        assert meter.read().ohm is None
        meter.close()


@pytest.mark.parametrize("line", ["socket", pytest.param("serial", marks=posix)])
def test_unplugged_in_mid_reading(line: str) -> None:
    bench = Bench(["+1.0E+00"], hang_up_at=3)
    with on_socket(bench) if line == "socket" else on_serial(bench) as where:
        meter = ScpiMeter(VisaLink(f"127.0.0.1:{where}" if line == "socket" else str(where), patience_s=0.5))
        assert [meter.read().ohm for _ in range(3)] == [1.0, 1.0, 1.0]
        code, words = code_of(meter.read)
        assert code == "INS-006" and "not noted" in words
        meter.close()


def test_a_late_answer_is_never_taken_for_the_next_question() -> None:
    bench = Bench(["+1.0E+00", "+2.0E+00"], delays_s={"READ?": 0.6})
    with on_socket(bench) as port:
        meter = ScpiMeter(VisaLink(f"127.0.0.1:{port}", patience_s=0.2))
        assert code_of(meter.read)[0] == "INS-005"
        bench.delays_s.clear()
        time.sleep(0.7)
        assert meter.identity().model == "DM 1"
        assert meter.read().ohm == 2.0
        meter.close()


def test_a_meter_without_a_list_of_errors_is_believed() -> None:
    with on_socket(Bench(["+1.0E+00"], has_errors=False)) as port:
        trial = try_meter(BenchInstruments(), f"127.0.0.1:{port}")
    assert trial.name == "ACME DM 1, serial 007" and "1 Ω" in trial.words


@pytest.mark.parametrize(
    ("err", "code"),
    [
        (PermissionError(13, "Permission denied"), "INS-004"),
        (OSError("[Errno 13] could not open port /dev/ttyUSB0: [Errno 13] Permission denied"), "INS-004"),
        (OSError(16, "Device or resource busy"), "INS-003"),
        (OSError("Could not exclusively lock port /dev/ttyUSB0: [Errno 11]"), "INS-003"),
        (ValueError("No backend available"), "INS-010"),
        (OSError(19, "No such device (it may have been disconnected)"), "INS-006"),
    ],
)
def test_what_systems_say_becomes_words(err: Exception, code: str) -> None:
    """Error numbers: POSIX.1 (13 EACCES, 16 EBUSY, 19 ENODEV on Linux); the sentences are pyserial's and pyusb's."""
    found = trouble(err, "ASRL/dev/ttyUSB0::INSTR", "reading").finding
    assert found.code == code and "by hand" in found.remedy


def test_each_system_gets_its_own_mending() -> None:
    assert "udev" in rights_remedy("usb", "linux") and "dialout" in rights_remedy("serial", "linux")
    assert "Device Manager" in rights_remedy("usb", "win32") and "/dev/cu." in rights_remedy("serial", "darwin")
    assert len({libusb_remedy(one) for one in ("linux", "darwin", "win32")}) == 3


def test_doctor_says_what_is_unavailable_because_of_what(monkeypatch: pytest.MonkeyPatch) -> None:
    import usb.backend.libusb1

    monkeypatch.setattr(usb.backend.libusb1, "get_backend", lambda *_, **__: None)
    look = look_at_instruments(BenchInstruments())
    assert look.state == "warning" and "unavailable because: USB instruments need the library libusb" in look.found
    assert "libusb" in look.remedy
    assert [one.code for one in look_around(BenchInstruments()).closed] == ["INS-010"]


def test_a_recording_that_is_none_is_refused(tmp_path: Path) -> None:
    bad = tmp_path / "bad.jsonl"
    bad.write_text('{"sent": "*IDN?", "answer": "A,B,C,D"}\nnonsense\n')
    bench = BenchInstruments(files=True)
    assert code_of(lambda: bench.meter(f"recorded:{bad}"))[0] == "INS-013"
    assert code_of(lambda: bench.meter(f"recorded:{tmp_path / 'none'}"))[0] == "INS-013"
    bad.write_text('{"sent": "*IDN?", "answer": "A,B,C,D"}\n')
    meter = bench.meter(f"recorded:{bad}")
    assert code_of(meter.read)[0] == "INS-013", "something else is asked than was recorded"


def test_an_oscilloscopes_wave_comes_over_as_volts() -> None:
    """A 1 kHz square of 0 and 5 V, 100 samples 10 us apart: what the server was told to say."""
    volts = [5.0 if (k // 50) % 2 else 0.0 for k in range(100)]
    body = ",".join(f"{v:.6E}" for v in volts)
    said = {
        "*IDN?": "ACME,OS 2,1,1",
        "WAV:DATA?": f"#9{len(body):09d}{body}",
        "WAV:XINC?": "1.0E-05",
        "WAV:XOR?": "-5E-04",
    }
    with on_socket(lambda line: (said[line] + "\n").encode() if line in said else None) as port:
        trial = try_scope(BenchInstruments(), f"127.0.0.1:{port}")
        rows = take_wave(BenchInstruments(), f"127.0.0.1:{port}").decode().splitlines()
    assert "0 V to 5 V" in trial.words and "100 samples" in trial.words
    assert rows[0] == "time_s,volt" and len(rows) == 101
    first, last = ([float(x) for x in row.split(",")] for row in (rows[1], rows[100]))
    assert first == [-5e-4, 0.0] and last == pytest.approx([4.9e-4, 5.0])


# ---- the watch ----
def until(what: Callable[[], bool], seconds: float = 8.0) -> None:
    """Wait for something to come true."""
    end = time.monotonic() + seconds
    while not what():
        assert time.monotonic() < end, "did not happen in time"
        time.sleep(0.02)


def test_the_watch_gives_one_touch_each_and_goes_on_after_the_plug_was_out() -> None:
    bench = Bench([OL] * 8 + ["+6.10E-01"] * 10 + [OL], delays_s={"READ?": 0.05})
    ids: set[str] = set()
    with on_socket(bench) as port:
        watch = MeterWatch(BenchInstruments(), CountingIds().new, again_s=0.1)
        assert watch.start(f"127.0.0.1:{port}").state == "on"
        until(lambda: watch.state().touch != "")
        ids.add(watch.state().touch)
        assert watch.touch(watch.state().touch).ohm == pytest.approx(0.61)
        until(lambda: bench.reads > 26)
        assert {watch.state().touch} == ids, "one touch, one reading"
        bench.hang_up_at = 0
        until(lambda: watch.state().state == "lost")
        trouble_now = watch.state().trouble
        assert trouble_now is not None and trouble_now.code == "INS-006" and "by hand" in trouble_now.remedy
        assert code_of(watch.take_now)[0] == "INS-012"
        bench.hang_up_at = None
        until(lambda: watch.state().state == "on" and watch.state().where == "apart")
        assert watch.take_now().ohm is None, "overload now, taken on demand"
        watch.stop()
    assert watch.state().state == "off"


def test_the_zero_of_the_leads_needs_the_tips_on_each_other() -> None:
    bench = Bench([OL], delays_s={"READ?": 0.01})
    with on_socket(bench) as port:
        watch = MeterWatch(BenchInstruments(), CountingIds().new)
        watch.start(f"127.0.0.1:{port}")
        assert code_of(watch.zero)[0] == "INS-011"
        bench.readings = ["+2.10E-01"]
        time.sleep(0.2)
        assert watch.zero().ohm == pytest.approx(0.21)
        bench.readings = ["+2.10E+01"]
        time.sleep(0.2)
        code, words = code_of(watch.zero)
        assert code == "INS-011" and "21 ohm" in words
        watch.start(f"127.0.0.1:{port}", wires=4)
        assert code_of(watch.zero)[0] == "INS-011", "four wires need none"
        watch.stop()
    assert code_of(watch.zero)[0] == "INS-012"
