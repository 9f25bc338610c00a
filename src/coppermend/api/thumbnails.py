"""The route of small pictures."""

from __future__ import annotations

from typing import Annotated

from fastapi import APIRouter, Query, Request, Response

from coppermend.api.routes import TheDesk, on_case
from coppermend.core.findings import refuse
from coppermend.services.photos import photo_bytes
from coppermend.services.thumbnails import EDGES_PX, thumbnail

router = APIRouter(prefix="/api", tags=["log"])


@router.get(
    "/cases/{case}/photos/{sha256}/small", response_class=Response, responses={200: {"content": {"image/jpeg": {}}}}
)
def small_photo(
    case: str, sha256: str, request: Request, desk: TheDesk, edge: Annotated[int, Query()] = 320
) -> Response:
    """A photo of this case as a small JPEG, its longer edge at most 160, 320 or 640 pixels; the photo's own bytes stay as they came."""
    if edge not in EDGES_PX:
        raise refuse(
            "PHO-005", f"No pictures of {edge} pixels are made.", f"Ask for one of {', '.join(map(str, EDGES_PX))}."
        )
    data, _ = on_case(desk, case, lambda w, c: photo_bytes(w, c, sha256))
    made = thumbnail(data, sha256, edge, request.app.state.thumbs)
    return Response(made, media_type="image/jpeg", headers={"cache-control": "private, max-age=31536000, immutable"})
