"""Thermal pictures over HTTP: noted as evidence as by the command line, listed, drawn on the board by their fit, refused in words."""

from __future__ import annotations

import io

import numpy as np
from PIL import Image
from tests.api.conftest import Client
from tests.thermal_pictures import csv_of, picture, png_of, seen_at

from coppermend.core.thermal.greybody import apparent_c
from coppermend.services.bind import bind
from coppermend.services.workshop import Workshop

AIR_C = 22.0
WARM = {f"U{k}": 33.0 for k in (1, 2, 4, 5, 22, 26, 27, 29, *range(50, 58))}
TAPPED = ("U1.1", "U57.8", "U2.20", "U50.1", "U22.40", "U4.14")


def test_a_picture_is_noted_and_drawn_where_it_lies(client: Client, shop: Workshop, case: str) -> None:
    """One chip is 95 degC: the brightest place of the drawn picture lies in its outline (the picture is made through a known view)."""
    board = bind(shop, case).board
    celsius, view = picture(board, {**WARM, "U29": 95.0}, AIR_C, (320, 240))
    file = csv_of(apparent_c(celsius, 0.9, AIR_C))
    pins = {pin.name: (pin.x_mm, pin.y_mm) for part in board.parts for pin in part.pins}
    taps = [f"{name}={x:.1f},{y:.1f}" for name in TAPPED for x, y in seen_at(view, pins[name])]
    url = f"/api/cases/{case}/heat"
    done = client.post(url, files={"file": ("hot.csv", file, "text/csv")}, data={"tap": taps, "air_c": str(AIR_C)})
    assert done.status_code == 201, done.text
    assert "U29" in done.json()["hot"] and done.json()["noted"]["entry"]["kind"] == "heat"
    (row,) = client.get(url).json()["pictures"]
    assert row["hot"] == ["U29"] and row["side"] == "c"
    drawn = client.get(f"{url}/{row['entry']}").json()
    hot = next(one for one in drawn["parts"] if one["part"] == "U29")
    assert hot["verdict"] == "hot" and drawn["high_c"] > 70
    image = np.asarray(
        Image.open(io.BytesIO(client.get(f"{url}/{row['entry']}/picture").content)).convert("RGBA")
    ).astype(int)
    light = np.where(image[..., 3] > 0, image[..., :3].sum(axis=2), -1)
    y, x = np.argwhere(light == light.max()).mean(axis=0)
    x0, y0, x1, y1 = drawn["box_mm"]
    at = x0 + (x + 0.5) / image.shape[1] * (x1 - x0), y1 - (y + 0.5) / image.shape[0] * (y1 - y0)
    ring = np.array(hot["outline"])
    assert (ring.min(axis=0) - 1.0 <= at).all() and (at <= ring.max(axis=0) + 1.0).all()


def test_what_cannot_be_read_is_refused_in_words(client: Client, case: str) -> None:
    url = f"/api/cases/{case}/heat"

    def answer(data: bytes, **fields: object) -> tuple[int, str]:
        sent = client.post(url, files={"file": ("x.csv", data, "text/csv")}, data=fields)
        return sent.status_code, sent.json()["code"]

    grid = ("20.0," * 200 + "20.0\n").encode() * 150
    assert answer(grid) == (422, "THM-005")
    assert answer(grid, tap=["U1.1=a,b"]) == (422, "THM-009")
    assert answer(grid, unit="F") == (422, "THM-003")
    assert answer(grid, whole="true", against="good") == (422, "THM-009")
    assert answer(b"\x00\x01\x02") == (422, "THM-001")
    assert client.get(f"{url}/00000000-0000-7000-8000-000000000000").json()["code"] == "THM-008"


def test_a_picture_is_shown_before_it_is_read(client: Client, shop: Workshop, case: str) -> None:
    """Pixel for pixel, so that a tap on it is a pixel of the file; coloured pictures keep their colours, bombs are refused, nothing is noted."""
    board = bind(shop, case).board
    celsius, _ = picture(board, WARM, AIR_C, (160, 120))
    url = f"/api/cases/{case}/heat/preview"
    shown = client.post(url, files={"file": ("a.csv", csv_of(celsius), "text/csv")})
    assert shown.headers["content-type"] == "image/png"
    image = np.asarray(Image.open(io.BytesIO(shown.content)).convert("RGB")).astype(int).sum(axis=2)
    assert image.shape == (120, 160) and image.argmax() == celsius.round(2).argmax()
    data, _ = png_of(celsius, 15.0, 65.0)
    kept = client.post(url, files={"file": ("a.png", data, "image/png")})
    assert np.array_equal(np.asarray(Image.open(io.BytesIO(kept.content))), np.asarray(Image.open(io.BytesIO(data))))
    assert client.post(url, files={"file": ("x.csv", b"\0\1\2", "text/csv")}).json()["code"] == "THM-001"
    assert client.get(f"/api/cases/{case}/heat").json() == {"pictures": []}


def test_emissivity_and_the_good_boards_own_taps_count(client: Client, shop: Workshop, case: str) -> None:
    """U29 of emissivity 0.5 (seen 4 K too cold) reads as hot as the rest once that is said; a good board that lies elsewhere has its own taps."""
    board = bind(shop, case).board
    celsius, view = picture(board, {**WARM, "U29": 60.0}, AIR_C, (320, 240))
    pins = {pin.name: (pin.x_mm, pin.y_mm) for part in board.parts for pin in part.pins}
    at = {name: seen_at(view, pins[name])[0] for name in TAPPED}
    taps = [f"{name}={x:.1f},{y:.1f}" for name, (x, y) in at.items()]
    url, here = f"/api/cases/{case}/heat", {"tap": taps, "air_c": str(AIR_C)}
    file = csv_of(apparent_c(celsius, 0.9, AIR_C))

    def part(said: dict[str, object], ref: str) -> dict[str, float]:
        rows: list[dict[str, float]] = said["parts"]  # type: ignore[assignment]
        return next(one for one in rows if one["part"] == ref)

    plain = client.post(url, files={"file": ("a.csv", file, "text/csv")}, data=here).json()
    own = client.post(
        url, files={"file": ("a.csv", file, "text/csv")}, data={**here, "emissivity_of": ["u29=0.5"]}
    ).json()
    assert part(own, "U29")["celsius"] > part(plain, "U29")["celsius"] + 15
    assert part(own, "U22")["celsius"] == part(plain, "U22")["celsius"]
    wrong = client.post(
        url, files={"file": ("a.csv", file, "text/csv")}, data={**here, "emissivity_of": ["U999=0.5"]}
    ).json()
    assert wrong["code"] == "MAP-013"
    moved = np.roll(apparent_c(picture(board, WARM, AIR_C, (320, 240))[0], 0.9, AIR_C), 9, axis=1)
    both = {
        "file": ("a.csv", file, "text/csv"),
        "other": ("g.csv", csv_of(moved), "text/csv"),
    }
    there = [f"{name}={x + 9:.1f},{y:.1f}" for name, (x, y) in at.items()]
    good = client.post(url, files=both, data={**here, "against": "good", "other_tap": there}).json()
    assert good["hot"] == ["U29"] and good["cold"] == [] and good["against"] == "good"


def test_a_picture_that_does_not_show_the_board_from_edge_to_edge_says_so(
    client: Client, shop: Workshop, case: str
) -> None:
    """Said to show the whole board, while the board lies 4 mm to the right in it: laid by its bodies, and told."""
    board = bind(shop, case).board
    every = np.concatenate(board.outline)
    wide, high = np.ptp(every, axis=0)
    celsius, view = picture(board, {**WARM, "U9": 60.0}, AIR_C, (640, 480))
    for off, told in ((0.0, False), (4.0, True)):
        xs = every[:, 0].min() - off + (np.arange(160) + 0.5) / 160 * wide
        ys = every[:, 1].max() - (np.arange(120) + 0.5) / 120 * high
        px = np.rint(seen_at(view, np.stack(np.meshgrid(xs, ys), axis=-1).reshape(-1, 2))).astype(int)
        seen = celsius[px[:, 1].clip(0, 479), px[:, 0].clip(0, 639)].reshape(120, 160)
        file = csv_of(apparent_c(seen, 0.9, AIR_C))
        said = client.post(
            f"/api/cases/{case}/heat",
            files={"file": ("w.csv", file, "text/csv")},
            data={"whole": "true", "air_c": str(AIR_C)},
        ).json()
        assert said["hot"] == ["U9"], said["hot"]
        assert any(one["code"] == "THM-011" for one in said["findings"]) is told
