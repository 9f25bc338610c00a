"""A server answers at once while a board is built in the background, tells the stage, stops it when told to, and serves everything else meanwhile."""

from __future__ import annotations

import threading
import time
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from tests.api.conftest import Client
from tests.fakes import fake_workshop

from coppermend.adapters.files.packages import DiskPackages
from coppermend.api.app import create_app
from coppermend.core.findings import refuse
from coppermend.services.building import FRESH_S, BuildingShelf
from coppermend.services.drawing import Drawings, keep_drawing
from coppermend.services.packages import Package, Progress
from coppermend.services.ports import ShelvedBoard
from coppermend.services.shelf import MemoryShelf
from coppermend.services.workshop import Workshop

Build = Callable[[str, Progress], ShelvedBoard]
NEW = {"title": "A test machine", "board": "somewhere/big board"}


class SlowBuild:
    """A build that ends when it is let go, and looks whether it is to stop every 10 ms."""

    def __init__(self, made: ShelvedBoard) -> None:
        self.made, self.go, self.count = made, threading.Event(), 0

    def __call__(self, package: str, told: Progress) -> ShelvedBoard:
        self.count += 1
        while not self.go.wait(0.01):
            told("contacts on the solder side", 0.42)
        told("done", 1.0)
        return self.made


def served(shelved: ShelvedBoard, build: Build, grace_s: float = 0.05) -> tuple[Client, Workshop]:
    """A server whose boards are built by ``build`` in the background."""
    shop = fake_workshop(shelved.board, shelved.graph)
    shelf = BuildingShelf(build, MemoryShelf(lambda _package: shelved), grace_s)
    shop = replace(shop, shelf=shelf, building=shelf)
    return Client(create_app(shop)), shop


def until(client: Client, build: str, states: tuple[str, ...]) -> dict[str, Any]:
    """The build's state once it is one of ``states``."""
    for _ in range(500):
        now: dict[str, Any] = client.get(f"/api/builds/{build}").json()
        if now["state"] in states:
            return now
        time.sleep(0.01)
    raise AssertionError(f"still {now}")


def test_a_board_that_is_not_there_is_built_while_everything_else_is_served(shelved: ShelvedBoard) -> None:
    build = SlowBuild(shelved)
    client, _shop = served(shelved, build)
    answer = client.post("/api/cases", json=NEW)
    assert (answer.status_code, answer.json()["code"]) == (503, "BLD-001")
    assert "big board" in answer.json()["words"] and "/api/builds/" in answer.json()["remedy"]
    number = answer.json()["place"]["thing"]
    now = until(client, number, ("building",))
    for _ in range(100):
        if now["share"] > 0:
            break
        time.sleep(0.01)
        now = client.get(f"/api/builds/{number}").json()
    assert (now["title"], now["words"], now["share"]) == ("big board", "contacts on the solder side", 0.42)
    assert client.get("/api/cases").json()["cases"] == [], "refused before anything was written"
    again = client.post("/api/cases", json=NEW)
    assert again.json()["place"]["thing"] == number, "whoever asks for the same board waits for the same build"
    build.go.set()
    assert until(client, number, ("ready",))["share"] == 1.0
    case = client.post("/api/cases", json=NEW)
    assert case.status_code == 201
    bench = client.get(f"/api/cases/{case.json()['id']}/bench")
    assert bench.status_code == 200 and build.count == 1


def test_a_build_is_stopped_and_the_case_can_be_opened_later(shelved: ShelvedBoard) -> None:
    build = SlowBuild(shelved)
    client, shop = served(shelved, build)
    number = client.post("/api/cases", json=NEW).json()["place"]["thing"]
    assert client.request("DELETE", f"/api/builds/{number}").status_code == 200
    ended = until(client, number, ("stopped",))
    assert ended["finding"]["code"] == "BLD-002" and "stopped" in ended["finding"]["words"]
    build.go.set()
    assert client.post("/api/cases", json=NEW).status_code == 201, "a stopped build is begun anew"
    assert build.count == 2
    assert shop.building is not None and shop.building.stop(number).state == "stopped"


def test_a_case_whose_board_must_be_built_again_is_not_called_broken(shelved: ShelvedBoard) -> None:
    build = SlowBuild(shelved)
    build.go.set()
    client, shop = served(shelved, build, grace_s=5.0)
    case = client.post("/api/cases", json=NEW).json()["id"]
    build.go.clear()
    shelf = BuildingShelf(build, MemoryShelf(lambda _package: shelved), 0.05)
    after = Client(create_app(replace(shop, shelf=shelf, building=shelf, bindings={})))
    for what in ("scene.bin", "points", "bench"):
        answer = after.get(f"/api/cases/{case}/{what}")
        assert (what, answer.status_code, answer.json()["code"]) == (what, 202, "BLD-001")
    area = after.post(f"/api/cases/{case}/areas", json={"part": "U1", "kind": "rework", "severity": 2})
    assert (area.status_code, area.json()["code"]) == (503, "BLD-001"), "what is not written is never called accepted"
    whole = after.get(f"/api/cases/{case}/log").json()
    for what, body in (
        ("entries", {"kind": "remark", "words": "needs no board"}),
        ("starts", {"good": 1, "of": 2}),
        ("waits", {"what": "part", "words": "a 6502"}),
    ):
        said = after.post(f"/api/cases/{case}/{what}", json=body)
        assert said.status_code == 503, what
    assert after.get(f"/api/cases/{case}/log").json() == whole, "refused is not written; the log needs no board"
    build.go.set()
    until(after, answer.json()["place"]["thing"], ("ready",))
    assert after.get(f"/api/cases/{case}/bench").status_code == 200


class Kept(dict[tuple[str, str], Any]):
    """A keep of blobs in memory."""

    def load_blob(self, key: str, kind: str) -> Any:
        return self.get((key, kind))

    def save_blob(self, key: str, kind: str, arrays: Any, value: Any) -> None:
        self[key, kind] = (dict(arrays), value)


def test_the_first_picture_after_a_start_waits_for_no_board(shelved: ShelvedBoard, demo_package: Path) -> None:
    """The same bytes as the board's own, from what was kept when it was built; the board is begun meanwhile. Other files than the case's give nothing kept."""
    read: list[Package] = [DiskPackages().read(str(demo_package))]
    kept, build = Kept(), SlowBuild(shelved)
    drawings = Drawings(lambda _package: read[0], kept)
    build.go.set()
    _client, shop = served(shelved, build, grace_s=5.0)
    client = Client(create_app(replace(shop, drawings=drawings)))
    case = client.post("/api/cases", json=NEW).json()["id"]
    first = client.get(f"/api/cases/{case}/scene.bin").content
    keep_drawing(shelved.board, kept)
    assert len(kept) == 1 and first[:4] == b"CMSC"
    build.go.clear()
    begun = build.count
    for files, status in ((read[0], 200), (replace(read[0], members=read[0].members[1:]), 202)):
        read[0] = files
        shelf = BuildingShelf(build, MemoryShelf(lambda _package: shelved), 0.05)
        again = replace(shop, shelf=shelf, building=shelf, bindings={}, drawings=drawings)
        answer = Client(create_app(again)).get(f"/api/cases/{case}/scene.bin")
        assert answer.status_code == status
        assert status == 202 or answer.content == first
    for _ in range(500):
        if build.count == begun + 2:
            break
        time.sleep(0.01)
    assert build.count == begun + 2, "the board is begun, whether a drawing was kept or not"
    build.go.set()


def test_a_package_that_gives_no_board_is_refused_with_its_own_words(shelved: ShelvedBoard) -> None:
    go = threading.Event()

    def build(package: str, told: Progress) -> ShelvedBoard:
        go.wait(5)
        raise refuse("PKG-001", "There is no such package.", "Name a folder or a zip.")

    client, _shop = served(shelved, build)
    number = client.post("/api/cases", json=NEW).json()["place"]["thing"]
    go.set()
    assert until(client, number, ("refused",))["finding"]["code"] == "PKG-001"
    answer = client.post("/api/cases", json=NEW)
    assert (answer.status_code, answer.json()["code"]) == (422, "PKG-001")


def test_one_build_runs_at_a_time_and_a_waiting_one_can_be_stopped(shelved: ShelvedBoard) -> None:
    build = SlowBuild(shelved)
    client, _shop = served(shelved, build)
    first = client.post("/api/cases", json=NEW).json()["place"]["thing"]
    second = client.post("/api/cases", json={**NEW, "board": "elsewhere/other"}).json()["place"]["thing"]
    assert first != second and client.get(f"/api/builds/{second}").json()["state"] == "waiting"
    client.request("DELETE", f"/api/builds/{second}")
    assert until(client, second, ("stopped",))["title"] == "other"
    assert client.get(f"/api/builds/{first}").json()["state"] == "building"
    build.go.set()
    until(client, first, ("ready",))
    assert build.count == 1


def test_a_board_is_looked_up_again_when_its_files_may_have_changed(
    shelved: ShelvedBoard, monkeypatch: pytest.MonkeyPatch
) -> None:
    build = SlowBuild(shelved)
    build.go.set()
    client, _shop = served(shelved, build, grace_s=5.0)
    client.post("/api/cases", json=NEW)
    client.post("/api/cases", json=NEW)
    assert build.count == 1
    now = time.monotonic()
    monkeypatch.setattr(time, "monotonic", lambda: now + FRESH_S + 1)
    client.post("/api/cases", json=NEW)
    assert build.count == 2


def test_an_unknown_build_is_said_to_be_unknown(client: Client) -> None:
    answer = client.get("/api/builds/77")
    assert (answer.status_code, answer.json()["code"]) == (404, "BLD-003")
