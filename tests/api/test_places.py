"""Marking pins in a photo over HTTP: the map file is written, the board is built anew, areas follow their parts, the photo comes flat.

The picture is drawn straight from above at 10 pixels a mm, so that every pixel's place in mm is known without the code under test.
"""

from __future__ import annotations

import io
import tomllib
from pathlib import Path
from typing import Any

import pytest
from PIL import Image, ImageDraw
from tests.api.conftest import Client

from coppermend.api.app import create_app
from coppermend.bootstrap import workshop
from coppermend.core.board.templates import template, turned

CHIPS = {"U1": ((20.0, 80.0), 40), "U2": ((60.0, 70.0), 14)}
PLACES = {ref: turned(template(f"DIP-{n}").places(), at, 0.0, "c") for ref, (at, n) in CHIPS.items()}


def px(at: tuple[float, float]) -> list[float]:
    return [at[0] * 10.0, (100.0 - at[1]) * 10.0]


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    here = tmp_path / "board"
    here.mkdir()
    lines = (
        ["part,pin,net"]
        + [f"{ref},{n},N{int(n) % 9}" for ref, pins in PLACES.items() for n in pins]
        + ["R1,1,N1", "R1,2,N2"]
    )
    (here / "pins.csv").write_text("\n".join(lines), encoding="utf-8")
    picture = Image.new("RGB", (1000, 1000), (20, 90, 50))
    x, y = px(PLACES["U2"]["1"])
    ImageDraw.Draw(picture).ellipse([x - 8, y - 8, x + 8, y + 8], fill=(250, 30, 30))
    picture.save(here / "top.png")
    return here


@pytest.fixture
def client(folder: Path, tmp_path: Path) -> Client:
    return Client(create_app(workshop(str(tmp_path / "store"), tmp_path / "cache", author="t")))


def opened(client: Client, board: Path | str) -> str:
    answer = client.post("/api/cases", json={"title": "T", "board": str(board)})
    assert answer.status_code == 201, answer.text
    return f"/api/cases/{answer.json()['id']}"


def marks(*names: str) -> list[dict[str, Any]]:
    return [{"pin": name, "px": px(PLACES[name.split(".")[0]][name.split(".")[1]])} for name in names]


ALL = ("U1.1", "U1.20", "U1.21", "U1.40", "U2.1", "U2.8")


def test_marks_place_the_parts_and_the_area_follows(client: Client, folder: Path) -> None:
    case = opened(client, folder)
    client.post(f"{case}/areas", json={"part": "U2"})
    before = client.get(f"{case}/bench").json()
    assert client.get(f"{case}/places").json()["pictures"] == ["top.png"]
    done = client.post(f"{case}/places", json={"side": "c", "file": "top.png", "marks": marks(*ALL)})
    assert done.status_code == 200, done.text
    said = tomllib.loads((folder / "coppermend-map.toml").read_text(encoding="utf-8"))
    assert set(said["part"]) == {"U2"} and len(said["photo"]["c"]["marks"]) == 4
    assert {part["ref"]: part["placed"] for part in done.json()["parts"]} == {"R1": False, "U1": True, "U2": True}
    scene = client.get(f"{case}/scene").json()
    at = {f"{part['ref']}.{pin[0]}": pin[1:3] for part in scene["parts"] for pin in part["pins"]}
    move = [at["U2.8"][k] - at["U1.1"][k] - (PLACES["U2"]["8"][k] - PLACES["U1"]["1"][k]) for k in (0, 1)]
    assert move == pytest.approx([0.0, 0.0], abs=0.01)
    after = client.get(f"{case}/bench").json()
    assert after["progress"]["at_risk"] == before["progress"]["at_risk"] > 0
    assert after["areas"][0]["polygon"] != before["areas"][0]["polygon"]


def test_the_photo_lies_flat_under_the_pins(client: Client, folder: Path) -> None:
    case = opened(client, folder)
    assert client.get(f"{case}/board-photo/c").json()["code"] == "MAP-020"
    client.post(f"{case}/places", json={"side": "c", "file": "top.png", "marks": marks(*ALL)})
    scene = client.get(f"{case}/scene").json()
    assert scene["photos"] == ["c"] and scene["made_up"] == ["R1"]
    x0, _, x1, y1 = scene["bounds_mm"]
    answer = client.get(f"{case}/board-photo/c")
    assert answer.headers["content-type"] == "image/jpeg"
    with Image.open(io.BytesIO(answer.content)) as flat:
        scale = flat.width / (x1 - x0)
        pin = next(p for part in scene["parts"] if part["ref"] == "U2" for p in part["pins"] if p[0] == "1")
        seen = flat.getpixel((round((pin[1] - x0) * scale), round((y1 - pin[2]) * scale)))
    assert isinstance(seen, tuple) and seen[0] > 200 and seen[1] < 90


def test_marks_come_back_as_they_were_given(client: Client, folder: Path) -> None:
    case = opened(client, folder)
    client.post(f"{case}/places", json={"side": "c", "file": "top.png", "marks": marks(*ALL)})
    again = client.get(f"{case}/places").json()["photos"][0]
    assert {one["pin"]: one["px"] for one in again["marks"]} == {one["pin"]: one["px"] for one in marks(*ALL)}
    fewer = client.post(f"{case}/places", json={"side": "c", "file": "top.png", "marks": marks(*ALL[:4])}).json()
    assert {part["ref"] for part in fewer["parts"] if part["placed"]} == {"U1"}


@pytest.mark.parametrize(
    ("body", "code"),
    [
        ({"side": "c", "file": "top.png", "marks": [{"pin": "U7.1", "px": [1, 1]}]}, "MAP-013"),
        ({"side": "top", "file": "top.png", "marks": []}, "API-004"),
        ({"side": "c", "file": "top.png", "marks": [{"pin": "U1.1"}]}, "API-004"),
    ],
)
def test_wrong_marks_are_refused_and_nothing_is_written(
    client: Client, folder: Path, body: dict[str, Any], code: str
) -> None:
    case = opened(client, folder)
    answer = client.post(f"{case}/places", json=body)
    assert answer.status_code >= 400 and answer.json()["code"] == code
    assert not (folder / "coppermend-map.toml").exists()


def test_pictures_of_the_package_alone_are_given_out(client: Client, folder: Path) -> None:
    case = opened(client, folder)
    assert client.get(f"{case}/pictures/top.png").content == (folder / "top.png").read_bytes()
    for name in ("pins.csv", "other.png", "..%2Fboard%2Ftop.png"):
        assert client.get(f"{case}/pictures/{name}").status_code >= 400


def test_a_board_with_copper_has_no_such_map(client: Client) -> None:
    case = opened(client, "demo")
    assert client.get(f"{case}/places").json()["code"] == "MAP-021"
