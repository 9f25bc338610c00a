"""The page that says which test stands for which feature of the formats names tests that exist, and every row has one."""

from __future__ import annotations

import re

import pytest
from tests.conftest import ROOT

PAGE = ROOT / "docs" / "explanation" / "readers.md"
ROWS = [line for line in PAGE.read_text(encoding="utf-8").splitlines() if line.startswith("| ") and not line.startswith("| feature")]  # fmt: skip


def test_the_page_has_its_tables() -> None:
    assert len(ROWS) >= 40


@pytest.mark.parametrize("row", ROWS, ids=[row.split("|")[1].strip()[:50] for row in ROWS])
def test_every_row_names_a_test_that_is_there(row: str) -> None:
    found = re.search(r"`(tests/[\w/]+\.py)::(test_\w+)`", row)
    assert found is not None
    assert f"def {found[2]}(" in (ROOT / found[1]).read_text(encoding="utf-8")
