"""What the routes take, as checked shapes. What they give are plain JSON values of the services."""

from __future__ import annotations

from typing import Annotated, Any, Literal

from pydantic import BaseModel, ConfigDict, Field

Words = Annotated[str, Field(max_length=4000)]
Name = Annotated[str, Field(max_length=200)]


class Body(BaseModel):
    """A request's body: unknown fields are refused, so that a typing error is not taken for a wish."""

    model_config = ConfigDict(extra="forbid", str_strip_whitespace=True)


class NewCase(Body):
    """A case to be opened. ``board``: a folder or zip on this computer, or ``demo``."""

    title: Annotated[str, Field(min_length=1, max_length=200)]
    board: Annotated[str, Field(min_length=1, max_length=2000)]
    serial: Name = ""
    owner: Name = ""
    complaint: Words = ""


class NewEntry(Body):
    """One entry of any kind that ``coppermend note`` writes. ``points`` as people name them or as ids; ``value`` as typed, with its unit.

    ``options`` further payload fields of the kind; numbers may be typed text with a unit. ``entry_id`` of an earlier try makes a retry harmless.
    ``after`` the newest reading on the screen that answers ("" none): the same answer given at another screen since then is not written twice.
    ``waited_s`` how long ago it happened, in seconds, where the page could not send it at once: a duration, since two clocks seldom agree.
    """

    kind: Name
    points: Annotated[list[Name], Field(max_length=8)] = []
    value: Name = ""
    part: Name = ""
    words: Words = ""
    options: dict[str, Any] = {}
    instrument: Name = "typed"
    undoes: Name = ""
    entry_id: Annotated[str, Field(pattern=r"^[0-9a-f-]{36}$")] | None = None
    after: Annotated[str, Field(pattern=r"^([0-9a-f-]{36})?$")] | None = None
    waited_s: Annotated[float, Field(ge=0.0, allow_inf_nan=False)] = 0.0


class NewArea(Body):
    """A work area: round a part with a margin in mm (number, or text as typed), or a polygon of [x_mm, y_mm] corners in copper coordinates."""

    part: Name = ""
    margin_mm: float | Name = 3.0
    polygon: Annotated[list[tuple[float, float]], Field(max_length=2000)] = []
    kind: Name = "rework"
    severity: int = 2
    label: Name = ""


class NewNumbers(Body):
    """Numbers of a case to change, by their paths."""

    set: Annotated[dict[str, float], Field(min_length=1, max_length=50)]


class Touch(Body):
    """Two points on which the tips are set; ``attempt`` counts touches of this pair since it was last noted; ``wires`` of the meter that is read."""

    points: Annotated[list[Name], Field(min_length=2, max_length=2)]
    attempt: Annotated[int, Field(ge=0, le=100)] = 0
    wires: Literal[2, 4] = 2


Rate = Annotated[float, Field(ge=0.0, le=1.0)]


class NewPatient(Body):
    """A practice patient to be made. ``breaks`` broken sites; ``bridges`` of solder between neighbouring nets; ``noise`` standard or off;
    the rates as ``coppermend demo --fresh`` takes them, None = drawn."""

    breaks: Annotated[int, Field(ge=0, le=20)] = 2
    bridges: Annotated[int, Field(ge=0, le=5)] = 0
    seed: Annotated[int, Field(ge=0)] | None = None
    noise: Name = "standard"
    false_open: Rate | None = None
    false_closed: Rate | None = None
    oxidised: Rate | None = None
    slips: Rate = 0.0
    mixed_up: Rate = 0.0
    intermittent: Rate = 0.0


class MarkedPin(Body):
    """One pin seen in a photo: its name (``U1.1``) and the pixel, x right and y down as a viewer shows the picture."""

    pin: Annotated[str, Field(min_length=3, max_length=60)]
    px: tuple[Annotated[float, Field(ge=-1e5, le=1e5)], Annotated[float, Field(ge=-1e5, le=1e5)]]


class PhotoLaid(Body):
    """A photo of the case to be laid on a side of the board: its ``sha256``, the side, four pins or more with their pixels."""

    sha256: Annotated[str, Field(pattern="^[0-9a-f]{64}$")]
    side: Annotated[str, Field(pattern="^[cs]$")]
    taps: Annotated[list[MarkedPin], Field(max_length=40)]


class PhotoMarked(Body):
    """The marks of one side's photo: ``side`` c or s, ``file`` the picture's name beside the list."""

    side: Annotated[str, Field(pattern="^[cs]$")]
    file: Annotated[str, Field(min_length=1, max_length=200)]
    marks: Annotated[list[MarkedPin], Field(max_length=400)]
