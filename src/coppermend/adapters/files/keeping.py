"""Keeps packages that came from elsewhere: one zip a package in a folder named by its id, with what stood beside it."""

from __future__ import annotations

import re
import zipfile
from io import BytesIO
from pathlib import Path

from coppermend.adapters.files.packages import BESIDE_ENDINGS, PICTURE_ENDINGS, DiskPackages
from coppermend.adapters.files.whole import put_whole
from coppermend.core.findings import Place, refuse
from coppermend.formats.member import Member
from coppermend.formats.sidecars import CORRECTIONS_NAME, MAP_NAME
from coppermend.services.packages import Package, package_id

_EPOCH = (1980, 1, 1, 0, 0, 0)


def keep_package(folder: Path, package: Package) -> str:
    """Keep a package below ``folder``; the zip's path. A package that is there already stays. Refusal FIL-008 when it cannot be written or read again.

    The zip is written before what stands beside it is trusted: it is read again, and must be the same package.
    """
    named = package_id(package.members)
    stem = re.sub(r"[^A-Za-z0-9_-]+", "-", package.title).strip("-")[:60] or "board"
    place = folder / named[:16] / f"{stem}.zip"
    try:
        if not place.exists():
            place.parent.mkdir(parents=True, exist_ok=True)
            for one in package.beside:
                name = _beside_name(stem, one)
                if name:
                    put_whole(place.with_name(name), one.data)
            put_whole(place, _zipped(package.members))
    except OSError as err:
        raise refuse(
            "FIL-008",
            f"The board's files cannot be kept: {err.strerror or type(err).__name__}.",
            "Name another folder with --boards, or leave the boards with --without-boards.",
            Place(file=str(place)),
        ) from None
    if package_id(DiskPackages().read(str(place)).members) != named:
        raise refuse(
            "FIL-008",
            "The board's files that lie there are not those of the bundle.",
            "Name another folder with --boards.",
            Place(file=str(place)),
        )
    return str(place)


def _beside_name(stem: str, one: Member) -> str:
    """The name under which a file stands beside the zip; "" for one that nothing would read there."""
    base = one.base.lower()
    if base in (CORRECTIONS_NAME, MAP_NAME):
        return f"{stem}.{base}"
    for ending in BESIDE_ENDINGS:
        if base.endswith(ending):
            return stem + ending
    picture = re.fullmatch(r"[^.]+\.([a-z0-9_-]{1,40})(\.[a-z]+)", base)
    return f"{stem}.{picture[1]}{picture[2]}" if picture and picture[2] in PICTURE_ENDINGS else ""


def _zipped(members: tuple[Member, ...]) -> bytes:
    out = BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as file:
        for one in members:
            file.writestr(zipfile.ZipInfo(one.name, _EPOCH), one.data, zipfile.ZIP_DEFLATED)
    return out.getvalue()
