"""A made photo laid on the demonstration board over HTTP and from the command line; truth from the camera's own formulas (tests/photo_maker.py)."""

from __future__ import annotations

import io
import json
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from click.testing import CliRunner
from PIL import Image, ImageFilter
from tests.api.conftest import Client
from tests.photo_maker import Shot, photograph, project

from coppermend.api import routes
from coppermend.cli import cli
from coppermend.core.findings import Refusal
from coppermend.core.log.canonical import sha256_hex
from coppermend.services.bind import bind
from coppermend.services.layphoto import Compared, Laying, compare, look_at_choice, suggested
from coppermend.services.workshop import Workshop

SHOT = Shot(k1=-0.02, size=(2000, 1500))


def taken(shop: Workshop, case: str, shot: Shot, side: str = "c") -> tuple[bytes, tuple[float, float, float, float]]:
    """A photo of the case's board as JPEG, and the outline's box."""
    board = bind(shop, case).board
    ring = np.vstack([o for o in board.outline if len(o)])
    out = io.BytesIO()
    Image.fromarray(photograph(board, side, shot)).save(out, "JPEG", quality=92)
    return out.getvalue(), (*map(float, ring.min(axis=0)), *map(float, ring.max(axis=0)))


def kept(client: Client, case: str, data: bytes) -> str:
    answer = client.post(f"/api/cases/{case}/photos", files={"file": ("top.jpg", data, "image/jpeg")}).json()
    return str(answer["entry"]["payload"]["sha256"])


def tapped(spots: list[dict[str, Any]], shot: Shot, box: Any, side: str = "c") -> list[dict[str, Any]]:
    px = project(shot, box, [(one["x_mm"], one["y_mm"]) for one in spots], side)
    return [{"pin": one["pin"], "px": [float(x) + 2.0, float(y) - 1.5]} for one, (x, y) in zip(spots, px, strict=True)]


def test_a_photo_is_laid_shown_flat_and_taken_back(client: Client, shop: Workshop, case: str) -> None:
    data, box = taken(shop, case, SHOT)
    sha256 = kept(client, case, data)
    view = client.get(f"/api/cases/{case}/laid").json()
    assert view["laid"] == {} and len(view["suggest"]["c"]) == 6 and view["photos"][0]["sha256"] == sha256
    answer = client.post(
        f"/api/cases/{case}/laid", json={"sha256": sha256, "side": "c", "taps": tapped(view["suggest"]["c"], SHOT, box)}
    ).json()
    assert answer["residual_mm"] < 0.1 and answer["matched"] > 60 and "lands found" in answer["says"]
    assert client.get(f"/api/cases/{case}/laid").json()["laid"]["c"]["sha256"] == sha256
    # the flattened photo: a hole of the board is dark and the land round it bright, where the board says they are
    picture = Image.open(io.BytesIO(client.get(f"/api/cases/{case}/laid/c").content)).convert("L")
    x0, _, x1, y1 = client.get(f"/api/cases/{case}/scene").json()["bounds_mm"]
    scale = picture.size[0] / (x1 - x0)
    board = bind(shop, case).board
    empty = [h for h in board.holes if 2.5 < h.diameter_mm < 4 and x0 < h.x_mm < x1][:4]
    assert empty
    grey = np.asarray(picture, dtype=float)
    for hole in empty:
        u, v = (hole.x_mm - x0) * scale, (y1 - hole.y_mm) * scale
        r = hole.diameter_mm / 2 * scale
        ys, xs = np.mgrid[0 : grey.shape[0], 0 : grey.shape[1]]
        far = np.hypot(xs + 0.5 - u, ys + 0.5 - v)
        dark, around = grey[far < 0.6 * r].mean(), grey[(far > 1.2 * r) & (far < 1.8 * r)].mean()
        assert dark < 0.75 * around, (hole.x_mm, hole.y_mm)
    client.post(f"/api/cases/{case}/entries", json={"kind": "undo"})
    assert client.get(f"/api/cases/{case}/laid").json()["laid"] == {}
    assert client.get(f"/api/cases/{case}/laid/c").json()["code"] == "MAP-020"


def test_a_reading_is_noted_while_a_photo_is_compared(
    client: Client, shop: Workshop, case: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The comparison takes seconds: it must not hold the desk's one door."""
    data, box = taken(shop, case, SHOT)
    sha256 = kept(client, case, data)
    spots = client.get(f"/api/cases/{case}/laid").json()["suggest"]["c"]
    noted: list[int] = []

    def slow(begun: Laying) -> Compared:
        answer = client.post(f"/api/cases/{case}/entries", json={"kind": "closed", "points": ["U1.1", "U2.1"]})
        noted.append(answer.status_code)
        return compare(begun)

    monkeypatch.setattr(routes, "compare", slow)
    taps = tapped(spots, SHOT, box)
    answer = client.post(f"/api/cases/{case}/laid", json={"sha256": sha256, "side": "c", "taps": taps})
    assert noted == [201] and answer.status_code == 201
    bench = client.get(f"/api/cases/{case}/bench").json()
    assert bench["laid"] == {"c": answer.json()["entry"]["id"]} and len(bench["readings"]) == 1


@pytest.mark.parametrize(
    ("change", "code"),
    [({"blur_px": 4.0}, "PHO-011"), ({"mirrored": True}, "PHO-012")],
)
def test_a_bad_photo_is_refused_in_words(
    client: Client, shop: Workshop, case: str, change: dict[str, Any], code: str
) -> None:
    shot = replace(SHOT, **change)
    data, box = taken(shop, case, shot)
    sha256 = kept(client, case, data)
    spots = client.get(f"/api/cases/{case}/laid").json()["suggest"]["c"]
    refused = client.post(
        f"/api/cases/{case}/laid", json={"sha256": sha256, "side": "c", "taps": tapped(spots, shot, box)}
    )
    assert refused.status_code >= 400 and refused.json()["code"] == code and refused.json()["remedy"]


@pytest.mark.parametrize(("blur_px", "refused"), [(4.0, False), (14.0, True), (60.0, True)])
def test_a_photo_blurred_beyond_use_is_refused_before_anything_is_kept(
    client: Client, shop: Workshop, case: str, blur_px: float, refused: bool
) -> None:
    """The spread is put in by the photo's maker (a Gaussian of that many px); SHOT shows the board at some 7 px a mm, so 14 px are 2 mm: no land of 1.5 mm is left."""
    data, _ = taken(shop, case, replace(SHOT, blur_px=blur_px))
    before = len(shop.store.entries(case))
    answer = client.post(
        f"/api/cases/{case}/photos", files={"file": ("top.jpg", data, "image/jpeg")}, data={"to_lay": "true"}
    )
    if refused:
        assert answer.status_code == 422 and answer.json()["code"] == "PHO-011"
        assert "blurred" in answer.json()["words"] and "focus" in answer.json()["remedy"]
        assert len(shop.store.entries(case)) == before
        with pytest.raises(Refusal, match="not in the store"):
            shop.store.attachment(sha256_hex(data))
    else:
        assert answer.status_code == 201, "this one is told apart only once pins are tapped"
    # a photo that is only kept may be as it is
    plain = client.post(f"/api/cases/{case}/photos", files={"file": ("top.jpg", data, "image/jpeg")})
    assert plain.status_code == 201


def test_a_sharp_photo_of_a_part_of_the_board_is_not_refused_when_chosen(
    shop: Workshop, client: Client, case: str
) -> None:
    """Cut out of a photo: a third of it each way, where the sharpness is the same and the scale is not known."""
    data, box = taken(shop, case, SHOT)
    with Image.open(io.BytesIO(data)) as whole:
        part = whole.crop((600, 450, 1300, 950))
    out = io.BytesIO()
    part.save(out, "JPEG", quality=92)
    look_at_choice(out.getvalue(), (box[2] - box[0], box[3] - box[1]))
    with pytest.raises(Refusal, match="blurred"):
        blurred = io.BytesIO()
        part.filter(ImageFilter.GaussianBlur(14.0)).save(blurred, "JPEG", quality=92)
        look_at_choice(blurred.getvalue(), (box[2] - box[0], box[3] - box[1]))


def test_unknown_pins_photos_and_too_few_taps_are_refused(client: Client, shop: Workshop, case: str) -> None:
    out = io.BytesIO()
    Image.new("RGB", (400, 300), (40, 90, 60)).save(out, "PNG")
    sha256 = kept(client, case, out.getvalue())

    def code(**body: Any) -> str:
        return str(
            client.post(f"/api/cases/{case}/laid", json={"sha256": sha256, "side": "c", "taps": [], **body}).json()[
                "code"
            ]
        )

    assert code() == "MAP-001"
    assert code(taps=[{"pin": "U99.1", "px": [1, 2]}]) == "MAP-013"
    assert code(sha256="0" * 64) == "PHO-003"


def test_the_command_line_lays_a_photo_too(tmp_path: Path, shop: Workshop, case: str, demo_package: Path) -> None:
    data, box = taken(shop, case, SHOT)
    (tmp_path / "top.jpg").write_bytes(data)

    def run(*words: str) -> tuple[int, str]:
        done = CliRunner().invoke(cli, ["--store", str(tmp_path / "store"), *words], catch_exceptions=False)
        return done.exit_code, done.output

    assert run("case", "new", "--board", str(demo_package), "--title", "M")[0] == 0
    status, text = run("lay", "1")
    assert status == 0 and "Good pins to tap" in text
    spots = json.loads(run("lay", "1", "--json")[1])["suggest"]["c"]
    taps = [f"--tap={one['pin']}={one['px'][0]},{one['px'][1]}" for one in tapped(spots, SHOT, box)]
    status, text = run("lay", "1", str(tmp_path / "top.jpg"), *taps)
    assert status == 0 and "lands found" in text
    assert "off by" in run("lay", "1")[1]
    (tmp_path / "turned.jpg").write_bytes(taken(shop, case, replace(SHOT, mirrored=True))[0])
    with pytest.raises(Refusal, match=r"PHO-01|mirror|fit"):
        run("lay", "1", str(tmp_path / "turned.jpg"), *taps)
    photos = json.loads(run("case", "show", "1", "--json")[1])["photos"]
    assert [one["name"] for one in photos] == ["top.jpg"], "a photo that was refused is no part of the case's record"


def test_pins_to_tap_can_be_told_from_their_neighbours(shop: Workshop, case: str) -> None:
    """None of several lands under one number, and of the demonstration board (chips to all its edges) only pins of parts with eight and more."""
    board = bind(shop, case).board
    many = {part.ref for part in board.parts if len(part.pins) >= 8}
    assert {pin.part for pin in suggested(board)} <= many
    lone = next(part for part in board.parts if len(part.pins) == 2 and part.pins[0].hole is not None)
    tiny = tuple(replace(lone.pins[0], number=f"1#{k}") for k in range(1, 9))
    ring = replace(
        board, parts=(replace(lone, pins=tiny), *(p for p in board.parts if len(p.pins) == 2 and p is not lone))
    )
    found = suggested(ring)
    assert len(found) == 6 and not any("#" in pin.number for pin in found)
