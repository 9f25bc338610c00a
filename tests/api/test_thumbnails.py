"""Small pictures: upright, small, without EXIF; the photo's bytes untouched. EXIF orientation 6 means "turn by 90 degrees clockwise" (CIPA DC-008; from memory)."""

from __future__ import annotations

import hashlib
import io
from pathlib import Path

import pytest
from PIL import Image
from tests.api.conftest import Client

from coppermend.adapters.files.thumbs import FolderThumbs
from coppermend.core.findings import Refusal
from coppermend.services.thumbnails import MemoryThumbs, small, thumbnail


def photo(form: str = "JPEG", orientation: int = 1, mode: str = "RGB") -> bytes:
    """A picture of 1200 x 600 pixels, its left half red, its right half blue."""
    made = Image.new(mode, (1200, 600), "red")
    made.paste("blue", (600, 0, 1200, 600))
    exif = Image.Exif()
    exif[0x0112] = orientation
    exif[0x010F] = "A camera's maker"
    out = io.BytesIO()
    made.save(out, form, **({"exif": exif} if form == "JPEG" else {}))
    return out.getvalue()


def test_a_small_picture_is_upright_small_and_tells_nothing_of_the_camera() -> None:
    made = small(photo(orientation=6), 320)
    with Image.open(io.BytesIO(made)) as picture:
        assert picture.format == "JPEG" and picture.size == (160, 320) and not picture.getexif()
        top, low = picture.getpixel((80, 40)), picture.getpixel((80, 280))
    assert isinstance(top, tuple) and isinstance(low, tuple)
    assert top[0] > 200 > 60 > top[2] and low[2] > 200 > 60 > low[0], "left is up after a turn clockwise"
    assert small(photo(orientation=6), 320) == made and b"camera" not in made and len(made) < 10_000


@pytest.mark.parametrize("form", ["PNG", "GIF", "WEBP"])
def test_other_forms_and_transparency_are_drawn_on_white(form: str) -> None:
    clear = Image.new("RGBA", (50, 40), (0, 0, 0, 0))
    out = io.BytesIO()
    clear.save(out, form)
    with Image.open(io.BytesIO(small(out.getvalue(), 320))) as picture:
        assert picture.size == (50, 40), "never larger than the photo"
        found = picture.getpixel((10, 10))
    assert isinstance(found, tuple) and min(found) > 245


def test_what_is_no_picture_or_a_damaged_one_is_refused() -> None:
    for data, code in ((b"", "PHO-002"), (b"<svg/>", "PHO-002"), (photo("PNG")[:400], "PHO-006")):
        with pytest.raises(Refusal) as caught:
            small(data, 320)
        assert caught.value.finding.code == code


def test_it_is_made_once_and_kept_by_hash_or_made_again(tmp_path: Path) -> None:
    data, sha256 = photo(), "ab" * 32
    for kept in (FolderThumbs(tmp_path / "thumbs"), MemoryThumbs()):
        made = thumbnail(data, sha256, 160, kept)
        assert thumbnail(b"not read again", sha256, 160, kept) == made
        assert thumbnail(data, sha256, 320, kept) != made
    (tmp_path / "thumbs" / "ab" / f"{sha256}-160.jpg").unlink()
    assert thumbnail(data, sha256, 160, FolderThumbs(tmp_path / "thumbs")) == made
    blocked = tmp_path / "file"
    blocked.write_text("x")
    assert thumbnail(data, sha256, 160, FolderThumbs(blocked)) == made, "a cache that cannot be written stops nothing"


def test_over_http_only_photos_of_the_case_and_the_photo_itself_stays_as_it_came(client: Client, case: str) -> None:
    data = photo(orientation=6)
    sent = client.post(f"/api/cases/{case}/photos", files={"file": ("a.jpg", data)}, data={"words": "before"})
    sha256 = sent.json()["entry"]["payload"]["sha256"]
    assert sha256 == hashlib.sha256(data).hexdigest()
    answer = client.get(f"/api/cases/{case}/photos/{sha256}/small?edge=160")
    assert answer.status_code == 200 and answer.headers["content-type"] == "image/jpeg"
    assert answer.content == small(data, 160) and client.get(f"/api/cases/{case}/photos/{sha256}").content == data
    assert client.get(f"/api/cases/{case}/photos/{sha256}/small?edge=5000").json()["code"] == "PHO-005"
    assert client.get(f"/api/cases/{case}/photos/{'0' * 64}/small").status_code == 404
