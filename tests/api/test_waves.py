"""Waves over HTTP: measured without a point, noted at a pin, listed, drawn between two times, refused in words."""

from __future__ import annotations

import numpy as np
from tests.api.conftest import Client

from coppermend.services.cases import new_case
from coppermend.services.workshop import Workshop

STEP_S = 4e-9


def scope_bytes(hertz: float = 4e6, samples: int = 10_000) -> bytes:
    t = np.arange(samples) * STEP_S
    v = np.where((t * hertz) % 1 < 0.5, 3.6, 0.2)
    v[5000] = 4.9
    rows = "".join(f"{a:.6e},{b:.3f}\n" for a, b in zip(t, v, strict=True))
    return f"Time (s),CH1 (V)\n{rows}".encode()


def opened(shop: Workshop) -> str:
    return new_case(shop, "demo", "T").state.case


def test_measured_noted_listed_drawn(client: Client, shop: Workshop) -> None:
    case = opened(shop)
    files = {"file": ("a.csv", scope_bytes(), "text/csv")}
    only = client.post(f"/api/cases/{case}/waves", files=files, data={"family": "HCT", "expect_hz": "4e6"})
    assert only.status_code == 201 and only.json()["verdict"] == "right" and "entry" not in only.json()
    assert client.get(f"/api/cases/{case}/waves").json() == {"waves": []}
    noted = client.post(f"/api/cases/{case}/waves", files=files, data={"at": ["CH1=U1.6"]})
    body = noted.json()
    assert noted.status_code == 201 and body["point"].startswith("U1.6") and body["evidence"] == "right"
    shown = body["pictures"][0]
    assert shown["kind"] == "envelope" and max(shown["most_v"]) == 4.9  # the one spike is in the picture
    assert shown["thresholds"]["high_v"] == 2.0 and "4 MHz" in shown["expected"]
    row = client.get(f"/api/cases/{case}/waves").json()["waves"][0]
    assert row["entry"] == body["entry"] and row["points"][0]["net"] == "CPUCLK" and row["seen"] == ["right"]
    near = client.get(f"/api/cases/{case}/waves/{row['entry']}", params={"begin_s": 1e-6, "end_s": 2e-6}).json()
    assert near["kind"] == "line" and near["begin_s"] == 1e-6 and len(near["time_s"]) == len(near["volt"]) >= 250
    period = np.diff(list(near["edges_s"]))
    assert len(near["edges_s"]) in (7, 8, 9) and np.allclose(period, 125e-9, atol=2 * STEP_S)


def test_several_channels_at_several_pins(client: Client, shop: Workshop) -> None:
    case = opened(shop)
    rows = "".join(f"{k * STEP_S:.6e},{k // 31 % 2},{1 - k // 31 % 2}\n" for k in range(2000))
    files = {"file": ("l.csv", f"Time (s),D0,D1\n{rows}".encode(), "text/csv")}
    body = client.post(f"/api/cases/{case}/waves", files=files, data={"at": "D0=U1.6, D1=U1.19"}).json()
    assert [one["channel"] for one in body["pictures"]] == ["D0", "D1"] and body["pictures"][1]["kind"] == "steps"
    row = client.get(f"/api/cases/{case}/waves").json()["waves"][0]
    assert [one["id"].split("/")[0] for one in row["points"]] == ["U1.6", "U1.19"] and row["channels"] == ["D0", "D1"]
    other = client.get(f"/api/cases/{case}/waves/{row['entry']}", params={"channel": "D1"}).json()
    assert other["channel"] == "D1" and other["channels"] == ["D0", "D1"] and "/MREQ" in other["expected"]


def test_the_same_entry_twice_is_one(client: Client, shop: Workshop) -> None:
    case = opened(shop)
    how = {"at": "U1.6", "entry": "01890a5d-ac96-774b-bcce-b302099a8057"}
    for _ in range(2):
        answer = client.post(f"/api/cases/{case}/waves", files={"file": ("a.csv", scope_bytes(), "text/csv")}, data=how)
        assert answer.status_code == 201 and answer.json()["entry"] == how["entry"]
    assert len(client.get(f"/api/cases/{case}/waves").json()["waves"]) == 1


def test_refusals_in_words(client: Client, shop: Workshop) -> None:
    case = opened(shop)
    for data, how, code in (
        (b"\0\1\2", {}, "WAV-001"),
        (b"", {}, "WAV-002"),
        (scope_bytes(), {"at": "U99.1"}, "PNT-001"),
        (scope_bytes(), {"at": "CH7=U1.6"}, "WAV-008"),
        (scope_bytes(), {"family": "what"}, "SIG-030"),
    ):
        answer = client.post(f"/api/cases/{case}/waves", files={"file": ("a.csv", data, "text/csv")}, data=how)
        assert answer.status_code in (400, 404, 409, 422) and answer.json()["code"] == code, answer.text[:300]
    assert client.get(f"/api/cases/{case}/waves/{'0' * 36}").json()["code"] == "SIG-034"
    assert client.get(f"/api/cases/{case}/waves").json() == {"waves": []}


def test_a_pin_under_power(client: Client, shop: Workshop) -> None:
    """Z80: pin 11 is +5 V, pin 29 ground (Zilog's pin list): 10 and 12, 28 and 30 lie beside them; pin 6 has no supply near."""
    case = opened(shop)
    clock = client.get(f"/api/cases/{case}/pin", params={"point": "U1.6"}).json()
    assert (
        "4 MHz" in clock["expected"]
        and clock["slip"] == []
        and len(clock["pins"]) == 40
        and clock["thresholds"]["high_v"] == 2.0
    )
    beside = client.get(f"/api/cases/{case}/pin", params={"point": "U1.12"}).json()
    assert len(beside["slip"]) == 1 and "pin 11" in beside["slip"][0] and "5 V" in beside["slip"][0]
    supply = client.get(f"/api/cases/{case}/pin", params={"point": "U1.11"}).json()
    assert len(supply["slip"]) == 2 and [row[3] for row in supply["pins"] if row[0] == "11"] == ["rail"]
    assert client.get(f"/api/cases/{case}/pin", params={"point": "U77.1"}).json()["code"] == "PNT-001"


def logic_bytes(bad: bool = False) -> bytes:
    """A 74LS32 gate over 4,000 samples of 1 us: 1Y = 1A or 1B (its function table); ``bad``: the output stands high from half way on."""
    rng = np.random.default_rng(3)
    a, b = (np.repeat(rng.integers(0, 2, 400), 10) for _ in range(2))
    y = a | b
    if bad:
        y[2000:] = 1
    rows = "".join(f"{k * 1e-6:.6e},{p},{q},{r}\n" for k, (p, q, r) in enumerate(zip(a, b, y, strict=True)))
    return f"Time (s),D0,D1,D2\n{rows}".encode()


def test_a_gate_against_its_logic(client: Client, shop: Workshop) -> None:
    """What the command ``wave gate`` does: the pin that disagrees is named, and the entry counts as a wrong pattern there; a retry is one entry."""
    case, url = opened(shop), "/api/cases/{}/waves/gate"
    how = {"part": "U11", "pin": "1A=D0, 1B=D1, 1Y=D2"}
    good = client.post(url.format(case), files={"file": ("g.csv", logic_bytes(), "text/csv")}, data=how)
    assert good.status_code == 201 and good.json()["disagree"] == [] and good.json()["chip"] == "7432"
    again = {**how, "entry": "01890a5d-ac96-774b-bcce-b302099a8057"}
    for _ in range(2):
        bad = client.post(url.format(case), files={"file": ("g.csv", logic_bytes(True), "text/csv")}, data=again).json()
    assert bad["disagree"] == ["3"] and bad["entry"] == again["entry"]
    rows = client.get(f"/api/cases/{case}/waves").json()["waves"]
    assert len(rows) == 2 and rows[0]["points"][0]["id"].startswith("U11.3")
    none = client.post(
        url.format(case), files={"file": ("g.csv", logic_bytes(), "text/csv")}, data={**how, "pin": "1A D0"}
    )
    assert none.json()["code"] == "SIG-033"


def start_bytes(released_s: float) -> bytes:
    """Supply from 50 ms on, up within 20 ms, clock from 80 ms on, reset let go at ``released_s``."""
    t = np.arange(40_000) * 1e-5
    rail = np.clip((t - 0.05) / 0.02, 0, 1) * 5.0
    clock = np.where((t > 0.08) & ((t * 4000) % 1 < 0.5), 3.5, 0.1)
    reset = np.where(t > released_s, 4.5, 0.1)
    rows = "".join(f"{a:.6e},{b:.3f},{c:.3f},{d:.3f}\n" for a, b, c, d in zip(t, rail, reset, clock, strict=True))
    return f"Time (s),VCC (V),RES (V),CLK (V)\n{rows}".encode()


def test_starts_are_counted_and_a_reset_let_go_early_is_no_place_as_expected(client: Client, shop: Workshop) -> None:
    """Two right starts, one let go before the clock runs (a Z80 wants three clocks of reset, its data sheet): 2 of 3, and the place is not as expected."""
    case = opened(shop)
    files = [("file", (f"{k}.csv", start_bytes(at), "text/csv")) for k, at in enumerate((0.12, 0.13, 0.07))]
    ids = [f"01890a5d-ac96-774b-bcce-b302099a805{k}" for k in range(3)]
    how = {"at": "U1.26", "reset": "RES", "rail": "VCC", "clock": "CLK", "entry": ids}
    for _ in range(2):
        done = client.post(f"/api/cases/{case}/waves/starts", files=files, data=how).json()
        assert "right" in done, done
        assert [done["right"], done["times"]] == [2, 3] and done["entries"] == ids
    assert done["starts"][2]["verdict"] == "released too early"
    (mark,) = client.get(f"/api/cases/{case}/suspects/map").json()["marks"]
    assert mark["point"].startswith("U1.26") and not mark["agrees"] and len(mark["seen"]) == 3


def test_a_figure_read_off_the_screen_is_judged_by_its_resolution(client: Client, shop: Workshop) -> None:
    """70 ns on a 2 ns grid: 13.89 to 14.71 MHz (1/72 ns, 1/68 ns), no proof against 14.318182 MHz; 4 MHz at the processor's clock is right."""
    case = opened(shop)
    url = f"/api/cases/{case}/waves/typed"
    seen = client.post(url, data={"figure": "70 ns", "step": "2ns", "at": "U1.6", "expect_hz": "14318182"}).json()
    assert seen["verdict"] == "right" and not seen["proof"] and seen["entry"]
    assert abs(seen["low_hz"] - 1 / 72e-9) < 1 and abs(seen["high_hz"] - 1 / 68e-9) < 1
    assert client.post(url, data={"figure": "4.000 MHz", "at": "U1.6"}).json()["proof"] is True
    assert (
        client.post(url, data={"figure": "125 ns", "step": "2ns", "at": "U1.6"}).json()["verdict"] == "wrong frequency"
    )
    assert client.post(url, data={"figure": "70", "at": "U1.6"}).json()["code"] == "SIG-032"
