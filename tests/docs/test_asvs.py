"""The page that holds the bench against OWASP ASVS names tests that exist, and requirements of chapters that there are.

Chapters and sections: OWASP ASVS 4.0.3 (V1 to V14).
"""

from __future__ import annotations

import re
from pathlib import Path

ROOT = Path(__file__).parents[2]
PAGE = ROOT / "docs/explanation/asvs.md"
NAMED = re.compile(r"`(tests/[\w/]+\.py)(?:::(\w+))?`")


def rows(heading: str) -> list[list[str]]:
    """The table under a heading, without its head."""
    part = PAGE.read_text(encoding="utf-8").split(f"## {heading}")[1].split("\n## ")[0]
    lines = [line for line in part.splitlines() if line.startswith("|")]
    return [[cell.strip() for cell in line.strip("|").split("|")] for line in lines[2:]]


def test_each_requirement_that_is_kept_names_a_test_that_exists() -> None:
    kept = rows("Kept")
    assert len(kept) > 30
    for row in kept:
        named = NAMED.findall(row[-1])
        assert len(row) == 4 and named, row
        for file, function in named:
            path = ROOT / file
            assert path.is_file(), file
            if function:
                found = re.findall(rf"^(?:async )?def {function}\(", path.read_text(encoding="utf-8"), re.MULTILINE)
                assert function.startswith("test_") and len(found) == 1, f"{file}::{function}"


def test_each_row_is_of_a_chapter_of_the_standard() -> None:
    for row in (*rows("Kept"), *rows("Not kept, and why")):
        numbers = re.findall(r"\b(\d+)\.\d+\.\d+\b", row[0])
        assert numbers and all(1 <= int(one) <= 14 for one in numbers), row[0]
        assert all(row), row[0]
