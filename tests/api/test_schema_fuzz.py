"""Requests made from the bench's own description of its interface (/openapi.json) by schemathesis: whatever is asked, the answer is a description's
answer or a refusal in the one shape of errors, never a fault of the program.

HTTP statuses: RFC 9110. Left out: the streams of live updates, which do not end by themselves (``tests/api/test_round.py`` holds those).
"""

from __future__ import annotations

import io
import os
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
import schemathesis
from hypothesis import HealthCheck, Phase, given, seed, settings
from PIL import Image
from tests.api.conftest import HOME
from tests.fakes import MemoryStore, fake_workshop

from coppermend.api.app import create_app
from coppermend.core.findings import Finding
from coppermend.services.areas import add_area
from coppermend.services.cases import new_case
from coppermend.services.notes import note
from coppermend.services.photos import attach_photo
from coppermend.services.ports import FoundInstrument, Meter, Scope, ShelvedBoard
from coppermend.services.requests import Request

STREAMS = ("/events",)
FAULTS_OF_THE_WORLD = (503,)
"""A store, a voice or an instrument that is not there; a board that is being built."""
LONGEST_S = 30.0
"""No answer may take more processor time; most take milliseconds, a removal plan or the suspects a few seconds."""


class NoInstruments:
    """A bench with nothing plugged in."""

    def found(self) -> tuple[tuple[FoundInstrument, ...], tuple[Finding, ...]]:
        return (), ()

    def meter(self, address: str, baud: int = 9600) -> Meter:
        raise _none(address)

    def scope(self, address: str, baud: int = 9600) -> Scope:
        raise _none(address)


def _none(address: str) -> Exception:
    from coppermend.core.findings import Place, refuse

    return refuse("INS-001", "Nothing answers there.", "Plug it in.", Place(thing=address[:40]))


@pytest.fixture(scope="module")
def bench(shelved: ShelvedBoard) -> tuple[Any, str]:
    """The application with a case that has something in it; the case's id."""
    shop = fake_workshop(shelved.board, shelved.graph, MemoryStore())
    case = new_case(shop, "demo", "Machine <b>&\u202e", owner="=cmd|x").state.case
    picture = io.BytesIO()
    Image.new("RGB", (40, 30), "green").save(picture, "PNG")
    attach_photo(shop, case, picture.getvalue(), name="a.png", words="before")
    add_area(shop, case, part="U1")
    note(shop, case, Request("closed", points=("U1.6", "U4.7")))
    return create_app(shop, instruments=NoInstruments()), case


def operations(app: Any) -> Iterator[Any]:
    schema = schemathesis.openapi.from_dict(app.openapi())
    schema.app = app
    for found in schema.get_all_operations():
        operation = found.ok()
        if not operation.path.endswith(STREAMS):
            yield operation


def ask(operation: Any, examples: int, case: str) -> int:
    """Try one operation; how many requests were made."""
    made = 0

    @seed(20260301)
    @settings(
        max_examples=examples,
        phases=[Phase.generate],
        database=None,
        derandomize=False,
        suppress_health_check=list(HealthCheck),
    )
    @given(request=operation.as_strategy())
    def one(request: Any) -> None:
        nonlocal made
        made += 1
        if "case" in (request.path_parameters or {}) and made % 4:
            request.path_parameters["case"] = case
        begun = time.process_time()
        answer = request.call(base_url=HOME, headers={"Origin": HOME, "Sec-Fetch-Site": "same-origin"}, timeout=600)
        spent = time.process_time() - begun
        text = answer.content.decode("utf-8", "replace")
        where = f"{operation.method.upper()} {request.formatted_path} {request.query} {str(request.body)[:300]}: {answer.status_code} {text[:300]}"
        assert answer.status_code < 500 or answer.status_code in FAULTS_OF_THE_WORLD, where
        assert "Traceback" not in text and spent < LONGEST_S, where
        if answer.status_code >= 400:
            told = answer.json()
            assert told["code"] and told["words"] and set(told) == {"code", "severity", "place", "words", "remedy"}, (
                where
            )

    one()
    return made


@pytest.mark.soak
def test_whatever_is_asked_is_answered_or_refused_in_words(
    bench: tuple[Any, str], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    app, case = bench
    examples = int(os.environ.get("COPPERMEND_REQUESTS", "200"))
    only = os.environ.get("COPPERMEND_ROUTE", "")
    wrong, asked = [], 0
    for operation in operations(app):
        if only not in f"{operation.method.upper()} {operation.path}":
            continue
        try:
            asked += ask(operation, examples, case)
        except AssertionError as err:
            wrong.append(str(err).splitlines()[0][:700])
            print(wrong[-1], flush=True)
        except Exception as err:  # an answer that was wrong once and right the second time comes in a group
            err = getattr(err, "exceptions", (err,))[0]
            wrong.append(f"{operation.method.upper()} {operation.path}: {type(err).__name__}: {str(err)[:700]}")
            print(wrong[-1], flush=True)
    print(asked, "requests")
    assert not wrong, "\n".join(wrong)
    assert asked > 0
