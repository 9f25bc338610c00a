"""The server's voice: a sentence as a WAV, for browsers without one."""

from __future__ import annotations

from typing import Annotated

from fastapi import APIRouter, Request, Response
from pydantic import Field

from coppermend.api.schemas import Body
from coppermend.services.speech import LONGEST_TEXT, QUICKEST, SLOWEST, Voice, spoken_wave

router = APIRouter(prefix="/api", tags=["speech"])


class Sentence(Body):
    """What is to be spoken, and how fast (1 is usual)."""

    text: Annotated[str, Field(min_length=1, max_length=LONGEST_TEXT)]
    speed: Annotated[float, Field(ge=SLOWEST, le=QUICKEST)] = 1.0


def _voice(request: Request) -> Voice:
    voice: Voice = request.app.state.voice
    return voice


@router.get("/speech")
def has_voice(request: Request) -> dict[str, bool]:
    """Whether this server has a voice (the optional part ``voice``)."""
    return {"available": _voice(request).available()}


@router.post("/speech", response_class=Response, responses={200: {"content": {"audio/wav": {}}}})
def speak(body: Sentence, request: Request) -> Response:
    """A sentence as a WAV file, made on this computer."""
    return Response(spoken_wave(_voice(request), body.text, body.speed), media_type="audio/wav")
