"""Each entry breaks one line in a copy of the source; the named tests must then turn red. First of all they must be green on an unbroken copy.

A sabotage that can no longer be applied (its line is gone) is red too: find the line's successor, or the guard has been lost.
"""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
from dataclasses import dataclass
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]
SOURCE = ROOT / "src" / "coppermend"


@dataclass(frozen=True, slots=True)
class Sabotage:
    """Replace ``old`` by ``new`` in ``file`` (below src/coppermend); ``tests`` go to pytest and must fail."""

    name: str
    file: str
    old: str
    new: str
    tests: tuple[str, ...]


WIRES = "tests/facts/test_rework_wires.py"
GAUGE = "tests/facts/test_rework_gauge.py"
RECORD = "tests/facts/test_record_pages.py"
CONTRACT = "tests/docs/test_code.py::test_import_contracts"

SABOTAGES = (
    Sabotage(
        "wires: optional pieces never used",
        "core/rework/least.py",
        "for count in range(1, len(tried) + 1):",
        "for count in range(0):",
        (WIRES + "::test_equal_to_brute_force_on_500_random_nets",),
    ),
    Sabotage(
        "wires: the farthest pair of ends instead of the nearest",
        "core/rework/wires.py",
        'np.argsort(flat, kind="stable")[:PAIRS_KEPT]',
        'np.argsort(-flat, kind="stable")[:PAIRS_KEPT]',
        (WIRES + "::test_equal_to_brute_force_on_500_random_nets",),
    ),
    Sabotage(
        "wires: soldered to a chip's leg in its socket",
        "core/rework/pieces.py",
        'if point.kind == "contact" or (point.kind == "leg" and states.get(point.part) is PartState.SOCKETED):',
        "if False:",
        (WIRES + "::test_no_wire_is_soldered_into_a_socket",),
    ),
    Sabotage(
        "wires: a deliberate cut is bridged again",
        "core/rework/wires.py",
        "if home[at[pin]] in hurt)",
        "if True)",
        (WIRES + "::test_what_was_cut_on_purpose_stays_apart",),
    ),
    Sabotage(
        "gauge: 93 for 92",
        "core/rework/gauge.py",
        "float(92.0 ** ((36 - awg) / 39))",
        "float(93.0 ** ((36 - awg) / 39))",
        (GAUGE,),
    ),
    Sabotage(
        "gauge: Onderdonk with the wrong sign of the ambient",
        "core/rework/gauge.py",
        "(234.0 + ambient_c)",
        "(234.0 - ambient_c)",
        (GAUGE + "::test_onderdonk",),
    ),
    Sabotage(
        "record: words of users not escaped",
        "services/recording/html.py",
        "return escape_markup(printable(words))",
        "return str(printable(words))",
        (RECORD,),
    ),
    Sabotage(
        "record: the solder side is not turned over",
        "services/recording/maps.py",
        'view = _View(x0 - pad, y0 - pad, x1 + pad, y1 + pad, side == "s")',
        "view = _View(x0 - pad, y0 - pad, x1 + pad, y1 + pad, False)",
        (RECORD + "::test_the_solder_side_is_turned_over",),
    ),
    Sabotage(
        "record: places that continuity cannot prove are called proven",
        "services/recording/gather.py",
        "s for s in judgement.at_risk if s not in cannot and",
        "s for s in judgement.at_risk if",
        (RECORD,),
    ),
    Sabotage(
        "truth visible to the planner",
        "core/planning/round.py",
        "from __future__ import annotations\n",
        "from __future__ import annotations\n\nimport coppermend.practice\n",
        (CONTRACT,),
    ),
    Sabotage(
        "the core reads the clock",
        "core/copper/provable.py",
        "from __future__ import annotations\n",
        "from __future__ import annotations\n\nimport time\n",
        (CONTRACT,),
    ),
)


def copied(folder: Path) -> Path:
    """A copy of the source below ``folder``."""
    shutil.copytree(SOURCE, folder / "coppermend", ignore=shutil.ignore_patterns("__pycache__"))
    return folder


def outcome(source: Path, tests: tuple[str, ...]) -> subprocess.CompletedProcess[str]:
    """Run these tests against that copy of the source."""
    environment = {**os.environ, "PYTHONPATH": str(source), "PYTHONDONTWRITEBYTECODE": "1"}
    environment.pop("PYTEST_XDIST_WORKER", None)
    words = [sys.executable, "-m", "pytest", "-q", "-x", "-n", "0", "-p", "no:cacheprovider", "--no-header", *tests]
    return subprocess.run(words, cwd=ROOT, env=environment, capture_output=True, text=True, timeout=300, check=False)


def test_there_are_enough() -> None:
    assert len(SABOTAGES) >= 20
    assert len({one.name for one in SABOTAGES}) == len(SABOTAGES)


def test_unbroken_copy_is_green(tmp_path: Path) -> None:
    """Otherwise red below would mean nothing. The copy, not the checkout, is what the tests import."""
    source = copied(tmp_path)
    where = subprocess.run(
        [sys.executable, "-c", "import coppermend; print(coppermend.__file__)"],
        cwd=ROOT,
        env={**os.environ, "PYTHONPATH": str(source)},
        capture_output=True,
        text=True,
        timeout=60,
        check=True,
    )
    assert Path(where.stdout.strip()).is_relative_to(tmp_path)
    done = outcome(source, tuple(dict.fromkeys(test for one in SABOTAGES for test in one.tests)))
    assert done.returncode == 0, done.stdout[-3000:]


@pytest.mark.parametrize("one", SABOTAGES, ids=[one.name for one in SABOTAGES])
def test_turns_red(one: Sabotage, tmp_path: Path) -> None:
    source = copied(tmp_path)
    target = source / "coppermend" / one.file
    words = target.read_text(encoding="utf-8")
    assert words.count(one.old) >= 1, "the line is gone: find its successor"
    target.write_text(words.replace(one.old, one.new, 1), encoding="utf-8")
    done = outcome(source, one.tests)
    assert done.returncode == 1, done.stdout[-3000:]  # 1: tests ran and some failed; 2 would be a test that cannot be loaded
