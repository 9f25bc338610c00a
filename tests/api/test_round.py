"""The main job over HTTP with a practice patient: every break is found and named, a wire mends it, and no truth leaks before the end."""

from __future__ import annotations

import json
import re
from pathlib import Path
from typing import Any

import anyio
import click
import pytest
from click.testing import CliRunner
from tests.api.conftest import Client

from coppermend.api.app import create_app
from coppermend.api.desk import Desk
from coppermend.api.events import marks
from coppermend.bootstrap import demo_machine, machine_file
from coppermend.cli import cli
from coppermend.core.findings import Refusal
from coppermend.services.areas import add_area
from coppermend.services.bench import by_ohms_of, next_for_case, round_for_case
from coppermend.services.bind import bind
from coppermend.services.cases import case_state, new_case
from coppermend.services.demo import machine_of, open_demo
from coppermend.services.map_doubt import map_first
from coppermend.services.notes import note
from coppermend.services.patients import put_patient
from coppermend.services.requests import Request
from coppermend.services.togo import to_go
from coppermend.services.workshop import Workshop


def patient_case(client: Client, shop: Workshop, case: str, seed: int, breaks: int) -> None:
    """A case with the processor's socket as work area and a truthful patient behind it."""
    client.post(f"/api/cases/{case}/areas", json={"part": "U1"})
    put_patient(shop, case, seed=seed, breaks=breaks, noise="off")


def play(client: Client, case: str, most: int) -> dict[str, Any]:
    """Follow every proposed check with the patient's answers until another kind of step comes."""
    bench: dict[str, Any] = client.get(f"/api/cases/{case}/bench").json()
    for _ in range(most):
        check = bench["step"]["check"]
        if check is None or check["purpose"] == "isolation":
            break
        points = [check["point_a"], check["point_b"]]
        said = client.post(f"/api/cases/{case}/practice/ask", json={"points": points}).json()["says"]
        bench = client.post(f"/api/cases/{case}/entries", json={"kind": said, "points": points}).json()["bench"]
    return bench


def test_a_truthful_patient_is_solved(client: Client, shop: Workshop, case: str) -> None:
    patient_case(client, shop, case, seed=5, breaks=2)
    first = client.get(f"/api/cases/{case}/bench").json()["progress"]
    bench = play(client, case, 3 * first["left"] + 60)
    truth = client.get(f"/api/cases/{case}/practice/truth").json()
    in_area = [one for one in truth["breaks"] if one["found"]]
    spans = client.get(f"/api/cases/{case}/spans").json()["spans"]
    sure = [one for one in spans if one["p"] > 0.995]
    # every announced break is a true one: its span covers a broken site of that net
    assert {one["net"] for one in sure} <= {one["net"] for one in truth["breaks"]}
    assert len(in_area) == len(sure)
    assert bench["progress"]["unproven"] == bench["progress"]["broken"]


def test_what_is_to_go_is_the_whole_round_from_the_first_check(client: Client, shop: Workshop, case: str) -> None:
    """The slip's number is that of ``coppermend round``, isolation counted in, and falls by one with each answer of the round; checks of the map and a
    follow-up come on top while they are in hand. The expected number is of the round planned anew at each step, which the slip does not ask for.
    """
    client.post(f"/api/cases/{case}/areas", json={"part": "U20"})
    bench = client.get(f"/api/cases/{case}/bench").json()
    told = []
    for answer in ("closed", "closed", "open", "closed"):
        while map_first(bind(shop, case)) is not None:
            bench = _answered(client, case, bench, "closed")
        planned = round_for_case(shop, case)
        ohms = by_ohms_of(bind(shop, case)).step
        whole = len(planned.checks) + len(planned.isolation) + (0 if ohms is None else ohms.left + 1)
        told.append((bench["progress"]["left"], whole))
        assert planned.isolation and planned.checks
        bench = _answered(client, case, bench, answer)
    assert all(left == whole for left, whole in told[:3]), told
    assert [left for left, _ in told[:3]] == [told[0][0] - k for k in range(3)]
    assert told[3][0] - told[3][1] in (0, 1), told


def test_the_last_pair_to_read_is_the_last_to_go(shop: Workshop) -> None:
    """With the copper closed throughout, what is to go never rises from one answer to the next, also where the pairs of nets begin, and ends at one."""
    case = new_case(shop, "demo", "A sound board").state.case
    add_area(shop, case, part="D3", margin_mm=0.5)
    told: list[int] = []
    kinds: list[str] = []
    while (step := next_for_case(shop, case)).check is not None and step.kind != "ohms":
        told.append(to_go(bind(shop, case), step).checks)
        kinds.append(step.check.purpose)
        says = "closed" if step.check.purpose == "continuity" else "open"
        note(shop, case, Request(says, (step.check.point_a, step.check.point_b)))
    assert kinds[-1] == "isolation" and "continuity" in kinds
    assert told == sorted(told, reverse=True)
    assert told[-1] == 1 + (step.left + 1 if step.kind == "ohms" else 0)


def _answered(client: Client, case: str, bench: dict[str, Any], said: str) -> dict[str, Any]:
    """The bench after the answer to its check."""
    body = {"kind": said, "points": [bench["step"]["check"]["point_a"], bench["step"]["check"]["point_b"]]}
    after: dict[str, Any] = client.post(f"/api/cases/{case}/entries", json=body).json()["bench"]
    return after


def test_next_and_round_on_the_command_line_say_what_the_slip_says(
    client: Client, shop: Workshop, case: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("coppermend.cli.shop.workshop", lambda store: shop)
    client.post(f"/api/cases/{case}/areas", json={"part": "U20"})
    slip = client.get(f"/api/cases/{case}/bench").json()["progress"]
    told = {}
    for command in ("next", "round"):
        run = CliRunner().invoke(cli, [command, case, "--json"], catch_exceptions=False)
        told[command] = json.loads(run.output)["to_go"]
    assert told["next"] == told["round"]
    assert (told["next"]["checks"], told["next"]["seconds"]) == (slip["left"], slip["left_seconds"])
    words = CliRunner().invoke(cli, ["next", case], catch_exceptions=False).output
    assert f"then {slip['left'] - 1} more checks" in words


def test_the_truth_is_in_no_answer_before_it_is_asked_for(client: Client, shop: Workshop, case: str) -> None:
    patient_case(client, shop, case, seed=5, breaks=3)
    truth = client.get(f"/api/cases/{case}/practice/truth").json()["breaks"]
    log = json.dumps(client.get(f"/api/cases/{case}/log").json())
    assert not re.search(r"(run|barrel|joint|contact)@", log)
    for path in ("", "/bench", "/next", "/story"):
        text = client.get(f"/api/cases/{case}{path}").text
        assert '"broken": ["' not in text and '"found"' not in text, path
    assert len(truth) == 3


def test_the_patient_answers_the_same_question_alike_until_it_is_noted(
    client: Client, shop: Workshop, case: str
) -> None:
    patient_case(client, shop, case, seed=5, breaks=0)
    check = client.get(f"/api/cases/{case}/next").json()["check"]
    body = {"points": [check["point_a"], check["point_b"]]}
    answers = [client.post(f"/api/cases/{case}/practice/ask", json=body).json() for _ in range(2)]
    assert answers[0] == answers[1] and answers[0]["says"] == "closed"


def test_a_four_wire_meter_on_the_patient_shows_the_copper_of_the_check(
    client: Client, shop: Workshop, case: str
) -> None:
    """The truthful patient is whole here: the reading is the resistance that the check expects of sound copper (same solver, so this shows the wiring of the route alone)."""
    patient_case(client, shop, case, seed=5, breaks=0)
    check = client.get(f"/api/cases/{case}/next").json()["check"]
    body = {"points": [check["point_a"], check["point_b"]], "wires": 4}
    said = client.post(f"/api/cases/{case}/practice/ask", json=body).json()
    assert said["ohms"] == pytest.approx(check["expected_ohm"], rel=0.02) and said["words"].startswith("It shows ")
    beeping = client.post(f"/api/cases/{case}/practice/ask", json={**body, "wires": 2}).json()
    assert beeping["words"].startswith("It beeps.")
    assert client.post(f"/api/cases/{case}/practice/ask", json={**body, "wires": 3}).status_code == 422


def test_two_places_at_one_pin_are_told_apart_where_they_were_noted(client: Client, case: str) -> None:
    for points, told in (
        (["U1.8/leg", "U1.8/joint-s"], "closed: U1.8 leg and U1.8 joint, solder side"),
        (["U1.8/leg", "U1.9/leg"], "closed: U1.8 and U1.9"),
    ):
        noted = client.post(f"/api/cases/{case}/entries", json={"kind": "closed", "points": points})
        assert noted.status_code == 201, noted.text
        assert noted.json()["bench"]["readings"][-1]["short"] == told


def test_the_demonstration_is_made_once_and_reopened(shop: Workshop) -> None:
    machine = demo_machine()
    first, again, fresh = open_demo(shop, machine), open_demo(shop, machine), open_demo(shop, machine, fresh=True)
    assert first.new and not again.new and again.id == first.id
    assert fresh.new and fresh.id != first.id


def test_the_demonstration_says_what_the_machines_own_file_says(shop: Workshop) -> None:
    said = json.loads(machine_file().read_text(encoding="utf-8"))
    state = case_state(shop, open_demo(shop, demo_machine()).id)
    assert (state.title, state.complaint) == (said["name"], said["complaint"])
    assert [(a.kind, a.severity, a.label) for a in state.areas] == [
        (row["kind"], row["severity"], row["words"]) for row in said["work_areas"]
    ]
    cell, socket = state.areas
    assert [list(xy) for xy in cell.polygon] == said["work_areas"][0]["polygon_mm"]
    assert (socket.part, socket.margin_mm) == ("U1", 3.0)


def test_a_machine_file_that_cannot_be_used_is_refused_in_words() -> None:
    for text in ("", "[]", '{"name": "A", "complaint": "", "work_areas": [{"kind": "rework", "severity": 2}]}'):
        with pytest.raises(Refusal) as caught:
            machine_of(text)
        assert caught.value.finding.code == "PRA-013" and "work_areas" in caught.value.finding.remedy


def test_live_updates_tell_of_every_entry_whoever_wrote(shop: Workshop, client: Client, case: str) -> None:
    desk = Desk(shop)

    async def listen() -> list[str]:
        seen: list[str] = []
        with anyio.fail_after(20):
            async for text in marks(desk, case):
                if text.startswith("event: mark"):
                    seen.append(text)
                    if len(seen) == 2:
                        desk.closing.set()
                    else:
                        note(shop, case, Request("remark", words="from the command line"))
        return seen

    seen = anyio.run(listen)
    assert len(seen) == 2 and seen[0] != seen[1]
    assert shop.store.mark(case) in seen[1]


CLI_TWINS = {
    "GET /api/cases/{case}/board-photo/{side}": ("board", "build"),
    "POST /api/practice": ("demo",),
    "GET /api/builds/{build}": ("board", "build"), "DELETE /api/builds/{build}": ("board", "build"),
    "POST /api/cases": ("case", "new"), "POST /api/import": ("case", "import"), "GET /api/cases": ("case", "list"),
    "GET /api/cases/{case}": ("case", "show"), "GET /api/cases/{case}/export": ("case", "export"), "GET /api/cases/{case}/log": ("case", "show"),
    "GET /api/cases/{case}/story": ("case", "show"), "GET /api/cases/{case}/gate": ("case", "show"), "GET /api/cases/{case}/scene": ("board", "build"),
    "GET /api/cases/{case}/scene.bin": ("board", "build"),
    "GET /api/cases/{case}/laid": ("lay",), "POST /api/cases/{case}/laid": ("lay",), "GET /api/cases/{case}/laid/{side}": ("lay",),
    "GET /api/cases/{case}/points": ("board", "graph"), "GET /api/cases/{case}/nets/{net}": ("board", "graph"), "GET /api/cases/{case}/find": ("board", "path"),
    "GET /api/cases/{case}/bench": ("next",), "GET /api/cases/{case}/next": ("next",), "GET /api/cases/{case}/first": ("next",), "GET /api/cases/{case}/round": ("round",),
    "GET /api/cases/{case}/spans": ("next",), "GET /api/cases/{case}/unproven": ("round",), "GET /api/cases/{case}/wires": ("wire", "plan"),
    "POST /api/cases/{case}/entries": ("note",), "POST /api/cases/{case}/areas": ("area", "add"), "POST /api/cases/{case}/photos": ("photo",),
    "GET /api/cases/{case}/photos/{sha256}": ("case", "export"), "GET /api/cases/{case}/record.html": ("record",), "GET /api/cases/{case}/record.pdf": ("record",),
    "GET /api/cases/{case}/label.pdf": ("label",), "GET /api/cases/{case}/acceptance": ("acceptance",),
    "POST /api/cases/{case}/practice/ask": ("practice", "referee"), "GET /api/cases/{case}/practice/truth": ("practice", "patient"),
    "GET /api/cases/{case}/events": ("case", "show"),
    # pins marked in a photo stand in the map file beside the list, which every board command reads; speech says what next prints
    "GET /api/cases/{case}/places": ("board", "build"), "POST /api/cases/{case}/places": ("board", "build"),
    "GET /api/cases/{case}/pictures/{name}": ("case", "export"), "GET /api/speech": ("next",), "POST /api/speech": ("next",),
    "GET /api/meters": ("meter", "list"), "POST /api/meters/test": ("meter", "test"), "POST /api/meters/watch": ("meter", "read"),
    "DELETE /api/meters/watch": ("meter", "read"), "POST /api/meters/now": ("meter", "read"), "GET /api/meters/events": ("meter", "read"),
    "GET /api/cases/{case}/short": ("short", "locate"), "GET /api/cases/{case}/ways": ("ohms", "ways"), "GET /api/cases/{case}/excess": ("ohms", "locate"),
    "GET /api/cases/{case}/rails": ("case", "show"), "GET /api/cases/{case}/map": ("map", "check"), "GET /api/cases/{case}/times": ("bench", "times"),
    "POST /api/cases/{case}/times": ("bench", "times"), "GET /api/cases/{case}/practice/planner": ("practice", "run"),
    "GET /api/cases/{case}/numbers": ("case", "numbers"), "POST /api/cases/{case}/numbers": ("case", "numbers"),
    "POST /api/pair": ("lan", "code"), "GET /api/lan": ("lan", "list"), "POST /api/lan/code": ("lan", "code"),
    "DELETE /api/lan/devices/{which}": ("lan", "revoke"), "POST /api/lan/devices/{which}/role": ("lan", "role"), "GET /api/me": ("lan", "list"),
    "GET /api/cases/{case}/learned": ("learn", "show"), "POST /api/cases/{case}/learned": ("learn", "use"),
    "GET /api/cases/{case}/photos/{sha256}/small": ("case", "export"),
    "GET /api/cases/{case}/waits": ("wait", "show"), "POST /api/cases/{case}/waits": ("wait", "for"), "POST /api/cases/{case}/waits/over": ("wait", "over"),
    "POST /api/learning/gather": ("learn", "gather"), "POST /api/learning/switch": ("learn", "switch"),
    "GET /api/learning/export": ("learn", "export"), "POST /api/learning/import": ("learn", "import"),
    "POST /api/cases/{case}/removal/{part}": ("removal", "plan"), "POST /api/cases/{case}/wires/plan": ("wire", "plan"),
    "GET /api/cases/{case}/removal/{part}": ("removal", "plan"), "GET /api/cases/{case}/care": ("care", "show"),
    "POST /api/cases/{case}/care": ("care", "tick"), "GET /api/cases/{case}/short/supply": ("short", "supply"), "POST /api/cases/{case}/short/supply": ("short", "supply"),
    "GET /api/cases/{case}/intake": ("intake", "show"), "POST /api/cases/{case}/intake": ("intake", "note"),
    "GET /api/cases/{case}/supply": ("supply", "show"), "POST /api/cases/{case}/supply": ("supply", "note"),
    "GET /api/cases/{case}/supply/short": ("supply", "short"), "GET /api/cases/{case}/chips": ("chip", "list"),
    "POST /api/cases/{case}/chips": ("chip", "card"), "GET /api/cases/{case}/chips/{part}": ("chip", "show"),
    "POST /api/cases/{case}/chips/{part}/checks": ("chip", "check"),
    "GET /api/cases/{case}/heat": ("heat", "read"), "POST /api/cases/{case}/heat": ("heat", "read"),
    "GET /api/cases/{case}/heat/{entry}": ("heat", "read"), "GET /api/cases/{case}/heat/{entry}/picture": ("heat", "read"),
    "POST /api/cases/{case}/heat/preview": ("heat", "read"),
    "POST /api/cases/{case}/waves/gate": ("wave", "gate"), "POST /api/cases/{case}/waves/starts": ("wave", "start"), "POST /api/cases/{case}/waves/typed": ("wave", "typed"),
    "GET /api/cases/{case}/bringup": ("diagnostic",), "POST /api/cases/{case}/diagnostic": ("diagnostic",), "POST /api/cases/{case}/freerun": ("freerun",),
    "POST /api/cases/{case}/memory": ("memory", "explain"), "POST /api/cases/{case}/roms": ("rom", "check"),
    "GET /api/cases/{case}/parts/{part}/inferred": ("device", "infer"), "GET /api/cases/{case}/parts/small": ("compare", "parts"),
    "GET /api/cases/{case}/readings/compared": ("compare", "readings"),
    "GET /api/cases/{case}/schematics": ("schematic", "list"), "POST /api/cases/{case}/schematics": ("schematic", "add"),
    "GET /api/cases/{case}/schematics/find": ("schematic", "find"), "GET /api/cases/{case}/schematics/{entry}/pages/{number}": ("schematic", "page"),
    "GET /api/cases/{case}/starts": ("starts",), "POST /api/cases/{case}/starts": ("starts",),
    "GET /api/cases/{case}/look": ("look",), "POST /api/cases/{case}/look": ("look",),
    "GET /api/cases/{case}/waves": ("wave", "measure"), "POST /api/cases/{case}/waves": ("wave", "measure"),
    "GET /api/cases/{case}/waves/{entry}": ("wave", "measure"), "GET /api/cases/{case}/suspects/map": ("suspects",),
    "GET /api/cases/{case}/pin": ("expect",),
    "GET /api/cases/{case}/expect": ("expect",), "GET /api/cases/{case}/suspects": ("suspects",),
    "GET /api/wires/gauge": ("wire", "gauge"), "GET /api/alloys": ("alloy", "list"), "POST /api/alloys/mix": ("alloy", "mix"), "POST /api/cases/{case}/alloys": ("alloy", "plan"),
    "POST /api/cases/{case}/preheat": ("heat", "preheat"),
    "POST /api/cases/{case}/meter/zero": ("meter", "read"), "POST /api/cases/{case}/meter/readings": ("meter", "read"),
}  # fmt: skip
"""The command with the same use case, for every route: the page has no power that the command line lacks."""


def test_every_route_is_described_and_has_its_command(client: Client) -> None:
    described = client.get("/openapi.json").json()["paths"]
    routes = {f"{method.upper()} {path}": what for path, ways in described.items() for method, what in ways.items()}
    assert set(routes) == set(CLI_TWINS)
    for route, what in routes.items():
        assert what.get("description"), route
        command: click.Command | None = cli
        for word in CLI_TWINS[route]:
            assert isinstance(command, click.Group), route
            command = command.get_command(click.Context(command), word)
        assert command is not None, route


def test_demo_prepares_from_the_command_line(tmp_path: Path) -> None:
    run = CliRunner().invoke(cli, ["--store", str(tmp_path / "demo"), "demo", "--prepare"], catch_exceptions=False)
    assert run.exit_code == 0 and "Case 1" in run.output and "Space" in run.output


def test_the_application_is_made_without_a_case(shop: Workshop) -> None:
    page = Client(create_app(shop), "http://127.0.0.1:1").get("/")
    assert page.status_code == 200 and "Coppermend" in page.text


def test_checks_of_the_map_say_when_the_board_is_turned_over(client: Client, shop: Workshop, case: str) -> None:
    """Untouched copper is read first on a real board; both tips on the side that lies down means that the board is turned (up: the side read last, at first component)."""
    client.post(f"/api/cases/{case}/areas", json={"part": "U4"})
    up, said = "c", []
    for _ in range(8):
        step = client.get(f"/api/cases/{case}/bench").json()["step"]
        check = step["check"]
        sides = {check["a"]["side"], check["b"]["side"]}
        over = len(sides) == 1 and sides != {up}
        assert check["turn_over"] == over
        assert step["words"].startswith("Turn the board over. ") == over
        said.append(over)
        up = check["a"]["side"]
        kind = "open" if check["purpose"] == "isolation" else "closed"
        client.post(f"/api/cases/{case}/entries", json={"kind": kind, "points": [check["a"]["id"], check["b"]["id"]]})
    assert any(said) and not all(said)
