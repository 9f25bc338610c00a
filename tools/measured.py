"""Writes docs/reference/measured.md from the committed results of benchmarks: python tools/measured.py (with --check it only says what is stale).

How to add a table: ``python -m benchmarks NAME ... --keep LABEL`` writes ``docs/measured/NAME.LABEL.json``; describe the table once in
``docs/measured/tables.toml``; run ``python tools/measured.py``; commit all three. Nobody types a number into the page.

tables.toml: one ``[[table]]`` each with ``name`` (the benchmark), ``title``, ``words``, ``column`` (field that heads a column, default: the
label) and ``rows``, each ``{field, words, target?, digits?}``. ``field`` is a path with dots, ``target`` a comparison such as ``"<= 4"``: the
page says so where it is missed.
"""

from __future__ import annotations

import argparse
import json
import re
import sys
import tomllib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

ROOT = Path(__file__).resolve().parent.parent
RESULTS = ROOT / "docs" / "measured"
PAGE = ROOT / "docs" / "reference" / "measured.md"
STATED = ("benchmark", "commit", "command", "python", "versions", "machine")
"""What every kept result says beside its numbers; seeds stand in its command."""

TOP = """# Measured

<!-- made by tools/measured.py; do not edit. -->

What was measured, on which commit, by which command. The tables are made from the results in `docs/measured/` by `python tools/measured.py`;
a test fails when they differ. `FOLDER` in a command stands for the place where the package lies. Seconds of the clock on a busy machine mean little;
ratios were measured in one run, both sides in turn.
Bench seconds are [modelled](constants.md). **missed** marks a target that this result does not reach.
"""

COMPARISONS = {
    "<=": lambda a, b: a <= b,
    ">=": lambda a, b: a >= b,
    "<": lambda a, b: a < b,
    ">": lambda a, b: a > b,
    "=": lambda a, b: a == b,
}


class Wrong(ValueError):
    """A result or a table that cannot be printed as it stands; the words say which and why."""


@dataclass(frozen=True, slots=True)
class Result:
    """One kept result: its file's stem split into benchmark and label, and what it says."""

    name: str
    label: str
    said: Mapping[str, Any]


def results(folder: Path = RESULTS) -> list[Result]:
    """Every kept result, by name. Wrong when one does not say where it came from."""
    out = []
    for path in sorted(folder.glob("*.json")):
        said = json.loads(path.read_text(encoding="utf-8"))
        lacking = [one for one in STATED if not said.get(one)]
        if lacking:
            raise Wrong(
                f"{path.name} does not say its {', '.join(lacking)}; keep it with: python -m benchmarks ... --keep"
            )
        name, _, label = path.stem.partition(".")
        if said["benchmark"] != name:
            raise Wrong(
                f"{path.name} is a result of {said['benchmark']}; a result's file begins with its benchmark's name"
            )
        out.append(Result(name, label, said))
    return out


def tables(folder: Path = RESULTS) -> list[dict[str, Any]]:
    """The described tables, in the page's order."""
    return list(tomllib.loads((folder / "tables.toml").read_text(encoding="utf-8")).get("table", []))


def field(said: Mapping[str, Any], path: str) -> Any:
    """The value at a path with dots, None where there is none; a number picks from a list.

    >>> field({"a": {"b": [5, 7]}}, "a.b.1")
    7
    """
    value: Any = said
    for word in path.split("."):
        if isinstance(value, Mapping):
            value = value.get(word)
        elif isinstance(value, Sequence) and not isinstance(value, str) and word.isdigit() and int(word) < len(value):
            value = value[int(word)]
        else:
            return None
    return value


def shown(value: Any, digits: int = 4) -> str:
    """A value for a cell: numbers to so many significant digits, lists by commas.

    >>> shown(0.123456), shown(12345.6), shown([1, 2]), shown(None)
    ('0.1235', '12346', '1, 2', '')
    """
    if value is None:
        return ""
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, float):
        if value and abs(value) >= 10 ** (digits - 1):
            return f"{value:.0f}"
        return f"{value:.{digits}g}"
    if isinstance(value, list | tuple):
        return ", ".join(shown(one, digits) for one in value)
    return str(value).replace("|", "\\|")


def reached(value: Any, target: str) -> bool:
    """Whether a value meets a target such as ``"<= 4"``. Wrong for a target that is no comparison or a value that is no number.

    >>> reached(3.9, "<= 4"), reached(4.1, "<= 4")
    (True, False)
    """
    found = re.fullmatch(r"(<=|>=|<|>|=)\s*(-?[\d.]+(?:e-?\d+)?)", target.strip())
    if found is None or not isinstance(value, int | float):
        raise Wrong(f"cannot compare {value!r} with the target {target!r}")
    return bool(COMPARISONS[found[1]](value, float(found[2])))


def cell(said: Mapping[str, Any], row: Mapping[str, Any]) -> str:
    """One cell, marked where its target is missed."""
    value = field(said, row["field"])
    words = shown(value, row.get("digits", 4))
    if value is None or not row.get("target") or reached(value, row["target"]):
        return words
    return f"{words} **missed**"


def printed(table: Mapping[str, Any], found: Sequence[Result]) -> str:
    """One table with its words and where each column came from. Wrong when a row is in none of the results."""
    for row in table["rows"]:
        if all(field(one.said, row["field"]) is None for one in found):
            raise Wrong(f"no result of {table['name']} has the field {row['field']!r}")
    heads = [shown(field(one.said, table["column"])) if "column" in table else one.label or one.name for one in found]
    lines = [f"## {table['title']}", "", *([table["words"].strip(), ""] if table.get("words") else [])]
    lines += [f"| | target | {' | '.join(heads)} |", "|---" * (len(found) + 2) + "|"]
    for row in table["rows"]:
        lines.append(
            f"| {row['words']} | {row.get('target', '')} | {' | '.join(cell(one.said, row) for one in found)} |"
        )
    lines.append("")
    for head, one in zip(heads, found, strict=True):
        said = one.said
        versions = ", ".join(f"{name} {number}" for name, number in sorted(said["versions"].items()))
        state = f"`{said['commit'][:10]}`" + (" with changes not yet committed" if said.get("changed") else "")
        lines.append(f"- {head}: `{said['command']}`, {state}, Python {said['python']}, {versions}; {said['machine']}")
    return "\n".join(lines) + "\n"


def page(folder: Path = RESULTS) -> str:
    """The whole page. Wrong when a result stands in no table or a table has no result."""
    found, described = results(folder), tables(folder)
    homeless = sorted({one.name for one in found} - {one["name"] for one in described})
    if homeless:
        raise Wrong(f"docs/measured/tables.toml has no table for {', '.join(homeless)}")
    parts = [TOP]
    for table in described:
        mine = [one for one in found if one.name == table["name"]]
        labels = table.get("labels")
        if labels:
            mine = [one for label in labels for one in mine if one.label == label]
        if not mine:
            raise Wrong(f"the table of {table['name']} has no result in docs/measured")
        parts.append(printed(table, mine))
    return "\n".join(parts)


def main() -> int:
    """Write the page, or with --check say whether it is stale."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--check", action="store_true")
    asked = parser.parse_args()
    try:
        text = page()
    except Wrong as wrong:
        sys.stderr.write(f"{wrong}\n")
        return 2
    if PAGE.exists() and PAGE.read_text(encoding="utf-8") == text:
        return 0
    if asked.check:
        sys.stderr.write(f"{PAGE.relative_to(ROOT)} is stale: python tools/measured.py\n")
        return 1
    PAGE.write_text(text, encoding="utf-8")
    sys.stdout.write(f"wrote {PAGE.relative_to(ROOT)}\n")
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
