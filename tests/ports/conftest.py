"""One PostgreSQL server a test worker."""

from __future__ import annotations

from collections.abc import Iterator

import pytest
from tests.shop_server import ShopServer


@pytest.fixture(scope="session")
def shop() -> Iterator[ShopServer]:
    """A running server; every test makes a database of its own."""
    server = ShopServer()
    server.start()
    yield server
    server.remove()
