"""A meter's touch takes the way of every answer: service, log entry, next step, live update. By HTTP and by command line."""

from __future__ import annotations

import json
import time
from pathlib import Path

import anyio
import pytest
from click.testing import CliRunner, Result
from tests.api.conftest import Client
from tests.scpi_server import Bench, on_socket

from coppermend.adapters.instruments.bench import BenchInstruments
from coppermend.api.app import create_app
from coppermend.api.meters import meter_events
from coppermend.cli import cli
from coppermend.core.findings import Refusal
from coppermend.services.cases import case_state
from coppermend.services.instruments import SIMULATED, Touched, keep_zero, note_touch, zero_from
from coppermend.services.patients import put_patient
from coppermend.services.ports import Sample
from coppermend.services.workshop import Workshop

OL = "+9.90000000E+37"
TOUCH = [OL] * 8 + ["+8.20E-01"] * 10 + [OL]


def meter_bench() -> Bench:
    """A meter that feels one touch of 0.82 ohm, 20 readings a second."""
    return Bench(list(TOUCH), delays_s={"READ?": 0.05})


def with_area(client: Client, case: str) -> list[str]:
    """A work area, so that there is a check: its two points."""
    client.post(f"/api/cases/{case}/areas", json={"part": "U1"})
    check = client.get(f"/api/cases/{case}/next").json()["check"]
    return [check["point_a"], check["point_b"]]


def touched(client: Client) -> str:
    """The id of the newest touch, once there is one."""
    end = time.monotonic() + 8
    while time.monotonic() < end:
        state = client.get("/api/meters").json()["watch"]
        if state["touch"]:
            return str(state["touch"])
        time.sleep(0.05)
    raise AssertionError("no touch came")


def test_a_touch_is_noted_and_the_next_check_comes(client: Client, shop: Workshop, case: str) -> None:
    points = with_area(client, case)
    with on_socket(meter_bench()) as port:
        started = client.post("/api/meters/watch", json={"address": f"127.0.0.1:{port}"})
        assert started.status_code == 200 and started.json()["name"] == "ACME DM 1, serial 007"
        body = {"touch": touched(client), "points": points}
        first = client.post(f"/api/cases/{case}/meter/readings", json=body)
        again = client.post(f"/api/cases/{case}/meter/readings", json={**body, "points": points[::-1]})
        assert client.request("DELETE", "/api/meters/watch").json()["state"] == "off"
    assert first.status_code == again.status_code == 201
    read = case_state(shop, case).readings
    assert [(one.kind, one.value, one.wires, one.instrument) for one in read] == [
        ("ohms", 0.82, 2, "ACME DM 1, serial 007")
    ]
    entry = first.json()["entry"]
    assert entry["payload"]["raw"] == "+8.20E-01" and again.json()["entry"]["id"] == entry["id"] == body["touch"]
    assert (
        first.json()["bench"]["step"]["check"]["point_a"] + first.json()["bench"]["step"]["check"]["point_b"]
        != points[0] + points[1]
    )


def test_a_screen_that_is_behind_does_not_name_the_points(client: Client, shop: Workshop, case: str) -> None:
    """Two windows hear one touch; the one that still shows the older check must not win."""
    points = with_area(client, case)
    behind = client.get(f"/api/cases/{case}/bench").json()["mark"]
    ahead = client.post(f"/api/cases/{case}/entries", json={"kind": "closed", "points": points}).json()["bench"]
    now = [ahead["step"]["check"]["point_a"], ahead["step"]["check"]["point_b"]]
    with on_socket(meter_bench()) as port:
        client.post("/api/meters/watch", json={"address": f"127.0.0.1:{port}"})
        touch = touched(client)
        late = client.post(f"/api/cases/{case}/meter/readings", json={"touch": touch, "points": points, "mark": behind})
        assert (late.status_code, late.json()["code"]) == (409, "INS-016")
        good = client.post(
            f"/api/cases/{case}/meter/readings", json={"touch": touch, "points": now, "mark": ahead["mark"]}
        )
        again = client.post(
            f"/api/cases/{case}/meter/readings", json={"touch": touch, "points": points, "mark": behind}
        )
        client.request("DELETE", "/api/meters/watch")
    assert good.status_code == again.status_code == 201 and again.json()["entry"]["id"] == good.json()["entry"]["id"]
    assert [one.kind for one in case_state(shop, case).readings] == ["closed", "ohms"]


def test_leads_are_taken_off_this_meters_two_wire_readings_only(shop: Workshop, client: Client, case: str) -> None:
    points = with_area(client, case)
    keep_zero(shop, case, "ACME DM 1", zero_from([Sample("0.21", 0.21)] * 5, 2))
    ids, words = iter(range(10)), list[str]()

    def noted(ohm: float | None, wires: int, name: str) -> float | None:
        made = Touched(f"01900000-0000-7000-8000-00000000ff0{next(ids)}", "raw", ohm, 0.001, wires, name)
        payload = note_touch(shop, case, points, made).entry.payload
        value = payload["ohm"]
        assert payload["raw"] == "raw"
        words.append(str(payload.get("words", "")))
        return value if value is None else float(str(value))

    assert noted(0.634, 2, "ACME DM 1") == pytest.approx(0.424)
    assert noted(0.634, 4, "ACME DM 1") == pytest.approx(0.634)
    assert noted(0.634, 2, "another") == pytest.approx(0.634)
    assert noted(None, 2, "ACME DM 1") is None
    assert words == ["leads, 0.21 ohm, taken off", "", "", ""]


def test_what_goes_wrong_comes_with_words_and_the_round_goes_on(client: Client, case: str) -> None:
    points = with_area(client, case)
    with on_socket(Bench()) as port:
        pass
    refused = client.post("/api/meters/watch", json={"address": f"127.0.0.1:{port}"})
    assert (refused.status_code, refused.json()["code"]) == (503, "INS-002") and "by hand" in refused.json()["remedy"]
    assert client.post("/api/meters/test", json={"address": "recorded:/etc/hostname"}).json()["code"] == "INS-009"
    unknown = {"touch": "01900000-0000-7000-8000-000000000001", "points": points}
    assert client.post(f"/api/cases/{case}/meter/readings", json=unknown).json()["code"] == "INS-012"
    assert client.post("/api/meters/now").status_code == 404
    assert client.post(f"/api/cases/{case}/entries", json={"kind": "closed", "points": points}).status_code == 201


def test_the_simulated_meter_can_be_tried_by_anybody(client: Client) -> None:
    around = client.get("/api/meters").json()
    assert "sim:meter" in [one["address"] for one in around["found"]] and around["watch"]["state"] == "off"
    trial = client.post("/api/meters/test", json={"address": "sim:meter"}).json()
    assert trial["name"] == "Coppermend simulated meter" and len(trial["readings"]) == 5


def test_the_simulated_meters_readings_stay_out_of_a_real_case(client: Client, shop: Workshop, case: str) -> None:
    """INS-017 by the service and by HTTP, nothing written; the same touch is noted by a practice case (no patient's truth is asked here)."""
    points = with_area(client, case)
    before = [one.id for one in shop.store.entries(case)]
    touch = Touched("0192f0c4-0000-7000-8000-00000000a017", "+2.1E-01", 0.21, None, 2, SIMULATED)
    with pytest.raises(Refusal) as refused:
        note_touch(shop, case, points, touch)
    assert refused.value.finding.code == "INS-017" and "Take your own meter" in (refused.value.finding.remedy or "")
    assert [one.id for one in shop.store.entries(case)] == before
    assert client.post("/api/meters/watch", json={"address": "sim:meter"}).status_code == 200
    answer = client.post(f"/api/cases/{case}/meter/readings", json={"touch": touched(client), "points": points})
    client.request("DELETE", "/api/meters/watch")
    assert (answer.status_code, answer.json()["code"]) == (409, "INS-017")
    assert [one.id for one in shop.store.entries(case)] == before and case_state(shop, case).readings == ()
    put_patient(shop, case, seed=5, breaks=1, noise="off")
    assert note_touch(shop, case, points, touch).entry.kind == "ohms"


def test_pages_hear_of_the_meter_live(shop: Workshop) -> None:
    app = create_app(shop)
    watch, desk = app.state.watch, app.state.desk

    async def listen() -> list[str]:
        seen: list[str] = []
        with anyio.fail_after(10):
            async for text in meter_events(desk, watch):
                if text.startswith("event: meter"):
                    state = json.loads(text.partition("data: ")[2])
                    if state["state"] not in seen:
                        seen.append(state["state"])
                    if state["state"] == "off" and len(seen) == 1:
                        watch.start("sim:meter")
                    if state["shown"]:
                        desk.closing.set()
        return seen

    assert anyio.run(listen) == ["off", "on"]
    watch.stop()


# ---- the same by command line ----
def run(store: Path, *words: str) -> Result:
    return CliRunner().invoke(cli, ["--store", str(store), *words], catch_exceptions=True)


def test_meter_read_notes_the_check_in_hand_and_keeps_the_conversation(tmp_path: Path) -> None:
    store, log = tmp_path / "store", tmp_path / "talk.jsonl"
    assert run(store, "case", "new", "--board", "demo", "--title", "M").exit_code == 0
    assert run(store, "area", "add", "1", "--part", "U1").exit_code == 0
    with on_socket(meter_bench()) as port:
        done = run(store, "meter", "read", "1", "--address", f"127.0.0.1:{port}", "--record", str(log))
    assert done.exit_code == 0, done.output
    assert "Noted: " in done.output and "Next:" in done.output
    sent = [json.loads(line)["sent"] for line in log.read_text().splitlines()]
    assert sent[:4] == ["*IDN?", "*CLS", "CONF:RES", "SYST:ERR?"] and set(sent[4:]) == {"READ?"}
    again = run(store, "meter", "read", "1", "--now", "--address", f"recorded:{log}", "U1.1", "U1.2", "--json")
    assert again.exit_code == 0 and '"ohm": null' in again.output


def test_meter_read_takes_a_zero_and_says_what_is_wrong(tmp_path: Path) -> None:
    store = tmp_path / "store"
    run(store, "case", "new", "--board", "demo", "--title", "M")
    with on_socket(Bench(["+2.10E-01"])) as port:
        where = ("--address", f"127.0.0.1:{port}")
        done = run(store, "meter", "read", "1", "--zero", *where)
        assert done.exit_code == 0 and "0.21 ohm" in done.output
        late = run(store, "meter", "read", "1", "U1.1", "U1.2", "--wait", "1", *where)
        assert isinstance(late.exception, Refusal) and late.exception.finding.code == "INS-015"
        one = run(store, "meter", "read", "1", "U1.1", *where)
        assert isinstance(one.exception, Refusal) and one.exception.finding.code == "NOT-002"
        noted = run(store, "meter", "read", "1", "U1.1", "U1.2", "--now", "--json", *where)
        assert json.loads(noted.output)["entry"]["payload"]["ohm"] == pytest.approx(0.0)


def test_meter_list_test_and_wave_print_words(tmp_path: Path) -> None:
    assert "sim:meter" in run(tmp_path, "meter", "list").output
    assert json.loads(run(tmp_path, "meter", "list", "--json").output)["found"]
    assert "simulated meter reads ohms" in run(tmp_path, "meter", "test", "sim:meter").output
    said = {"*IDN?": "A,B,C,D", "WAV:DATA?": "0.0,5.0,0.0", "WAV:XINC?": "1E-3", "WAV:XOR?": "0"}
    with on_socket(lambda line: (said[line] + "\n").encode() if line in said else None) as port:
        out = tmp_path / "wave.csv"
        done = run(tmp_path, "meter", "wave", f"127.0.0.1:{port}", "--csv", str(out))
        assert done.exit_code == 0 and "3 samples" in done.output and out.read_text().count("\n") == 4
        bad = run(tmp_path, "meter", "wave", f"127.0.0.1:{port}", "--csv", str(tmp_path / "no" / "where.csv"))
        assert isinstance(bad.exception, Refusal) and bad.exception.finding.code == "CLI-004"


def test_recordings_are_not_named_over_the_network() -> None:
    with pytest.raises(Refusal, match="INS-009"):
        BenchInstruments().meter("recorded:/etc/hostname")
