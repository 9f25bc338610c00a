"""Thermal pictures over HTTP: noted as evidence as by the command line, listed, drawn on the board by their fit, refused in words."""

from __future__ import annotations

import io

import numpy as np
from PIL import Image
from tests.api.conftest import Client
from tests.thermal_pictures import csv_of, picture, seen_at

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
