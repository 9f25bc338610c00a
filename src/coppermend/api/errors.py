"""One shape for every error: a finding as JSON. Refusals of services, bad requests, unknown addresses, faults."""

from __future__ import annotations

import os
import traceback

from fastapi import FastAPI, Request
from fastapi.exceptions import RequestValidationError
from fastapi.responses import JSONResponse
from starlette.exceptions import HTTPException

from coppermend.api.desk import the_desk
from coppermend.api.guard import waiting, without_path
from coppermend.core.findings import Finding, Place, Refusal, Severity
from coppermend.services.building import BeingBuilt

STATUS = {
    "BLD-001": 503, "BLD-003": 404, "CAS-001": 404, "CAS-002": 409, "PHO-001": 413, "PHO-003": 404, "PNT-001": 404, "PNT-003": 404, "NET-001": 404, "STO": 503,
    "VOI-001": 503, "VOI-002": 503, "INS": 503, "INS-008": 422, "INS-009": 422, "INS-011": 422, "INS-012": 404, "INS-016": 409, "INS-017": 409,
    "LAN-001": 409, "LAN-002": 403, "LAN-003": 403, "LAN-004": 409, "LAN-005": 404, "LAN-006": 503, "LAN-007": 503, "LAN-012": 429, "LAN-014": 429,
}  # fmt: skip
"""HTTP status by code or by the code's family; everything else is 422: understood and refused."""


def status_of(code: str) -> int:
    """The HTTP status that goes with a finding's code.

    >>> status_of("CAS-001"), status_of("STO-011"), status_of("VAL-001")
    (404, 503, 422)
    """
    return STATUS.get(code) or STATUS.get(code.partition("-")[0]) or 422


def put_errors(app: FastAPI) -> None:
    """Give an application the one error shape."""
    app.add_exception_handler(Refusal, _refused)
    app.add_exception_handler(BeingBuilt, _being_built)
    app.add_exception_handler(RequestValidationError, _invalid)
    app.add_exception_handler(HTTPException, _http)
    app.add_exception_handler(Exception, _fault)


def _answer(status: int, finding: Finding) -> JSONResponse:
    return JSONResponse(finding.as_dict(), status_code=status, headers=waiting(status))


async def _refused(request: Request, err: Exception) -> JSONResponse:
    assert isinstance(err, Refusal)
    finding = err.finding
    if request.scope.get("coppermend.lan"):
        finding = without_path(finding, the_desk(request).workshop.store.where)
    return _answer(status_of(finding.code), finding)


async def _being_built(request: Request, err: Exception) -> JSONResponse:
    """What is only asked for is on its way: 202 (RFC 9110, 15.3.3), no error in a browser's console. What was to be written is not written: 503."""
    assert isinstance(err, BeingBuilt)
    asked = request.method in ("GET", "HEAD")
    return _answer(202 if asked else status_of(err.finding.code), err.finding)


async def _invalid(request: Request, err: Exception) -> JSONResponse:
    assert isinstance(err, RequestValidationError)
    first = err.errors()[0] if err.errors() else {"loc": ("body",), "msg": "not understood"}
    where = ".".join(str(one) for one in first["loc"] if one != "body") or "body"
    words = f"{where}: {first['msg']}."
    return _answer(
        422, Finding("API-004", Severity.ERROR, Place(thing=where), words, "The shapes are described at /openapi.json.")
    )


async def _http(request: Request, err: Exception) -> JSONResponse:
    assert isinstance(err, HTTPException)
    if err.status_code == 400:
        detail = err.detail.rstrip(".")
        return _answer(
            400,
            Finding(
                "API-004",
                Severity.ERROR,
                Place(thing="body"),
                f"The body cannot be read ({detail}).",
                "Send JSON in UTF-8, or a form with files, as described at /openapi.json.",
            ),
        )
    words = f"{request.method} {request.url.path} is not served here ({err.detail})."
    return _answer(
        err.status_code,
        Finding("API-005", Severity.ERROR, Place(), words, "What is served is described at /openapi.json."),
    )


async def _fault(request: Request, err: Exception) -> JSONResponse:
    if os.environ.get("COPPERMEND_TRACE"):
        traceback.print_exception(err)
    # what stands in a fault's own words (paths, rows) stays on this computer
    what = type(err).__name__ if request.scope.get("coppermend.lan") else f"{type(err).__name__}: {err}"
    words = f"A fault inside Coppermend ({what}). Nothing that was acknowledged is lost."
    remedy = "Please report it with what you did; started with COPPERMEND_TRACE=1 the server prints the details."
    return _answer(500, Finding("API-900", Severity.ERROR, Place(), words, remedy))
