"""Routes of boards that are being built. They never wait for the bench's one door, so they answer while a use case works."""

from __future__ import annotations

from typing import Annotated, Any

from fastapi import APIRouter, Depends

from coppermend.api.desk import Desk, the_desk
from coppermend.core.findings import refuse
from coppermend.services.building import BuildingShelf

router = APIRouter(prefix="/api", tags=["boards"])

TheDesk = Annotated[Desk, Depends(the_desk)]
Json = dict[str, Any]


@router.get("/builds/{build}")
def build_state(build: str, desk: TheDesk) -> Json:
    """Where the build of a board stands: waiting, building, ready, refused or stopped; the stage in words and the share that is done."""
    return _shelf(desk, build).state(build).as_dict()


@router.delete("/builds/{build}")
def stop_build(build: str, desk: TheDesk) -> Json:
    """Stop the build of a board at its next step. Nothing of a case is lost."""
    return _shelf(desk, build).stop(build).as_dict()


def _shelf(desk: Desk, build: str) -> BuildingShelf:
    if desk.workshop.building is None:
        raise refuse("BLD-003", f"No build goes by {build!r} here.", "Open the case again.")
    return desk.workshop.building
