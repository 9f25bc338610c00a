"""The bench server over the demonstration machine, with a store in memory: one board for all tests, a fresh store for each."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import anyio
import httpx
import pytest
from tests.fakes import fake_workshop

from coppermend.api.app import create_app
from coppermend.bootstrap import board_builder
from coppermend.services.ports import ShelvedBoard
from coppermend.services.workshop import Workshop

HOME = "http://127.0.0.1:8137"


@pytest.fixture(scope="session")
def shelved(demo_package: Path, tmp_path_factory: pytest.TempPathFactory) -> ShelvedBoard:
    """The demonstration machine's board and graph, built once."""
    return board_builder(tmp_path_factory.mktemp("cache"))(str(demo_package))


@pytest.fixture
def shop(shelved: ShelvedBoard) -> Workshop:
    """A workshop with nothing in it."""
    return fake_workshop(shelved.board, shelved.graph)


class Client:
    """Speaks HTTP to the application object as the page does, one request after the other."""

    def __init__(self, app: Any, base_url: str = HOME) -> None:
        self._app, self._base_url = app, base_url

    def request(self, method: str, path: str, **how: Any) -> httpx.Response:
        """One request; a fault of the application comes back as its answer, not as an exception."""

        async def one() -> httpx.Response:
            transport = httpx.ASGITransport(app=self._app, raise_app_exceptions=False)
            async with httpx.AsyncClient(transport=transport, base_url=self._base_url) as client:
                return await client.request(method, path, **how)

        return anyio.run(one)

    def get(self, path: str, **how: Any) -> httpx.Response:
        """GET."""
        return self.request("GET", path, **how)

    def post(self, path: str, **how: Any) -> httpx.Response:
        """POST."""
        return self.request("POST", path, **how)


@pytest.fixture
def client(shop: Workshop) -> Client:
    """A client of a server over that workshop."""
    return Client(create_app(shop))


@pytest.fixture
def case(client: Client) -> str:
    """The id of a case on the demonstration machine."""
    answer = client.post("/api/cases", json={"title": "A test machine", "board": "demo", "complaint": "black screen"})
    assert answer.status_code == 201, answer.text
    return str(answer.json()["id"])
