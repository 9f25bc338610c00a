"""``python -m benchmarks NAME [--json] [--keep LABEL] [arguments of the benchmark]``: run one benchmark and print what it measured.

``--keep LABEL`` writes the result to ``docs/measured/NAME.LABEL.json`` too, from which ``tools/measured.py`` makes the tables of the docs.
"""

from __future__ import annotations

import importlib
import json
import os
import pkgutil
import platform
import subprocess
import sys
from importlib.metadata import PackageNotFoundError, version
from pathlib import Path
from typing import Any

import benchmarks


def names() -> list[str]:
    """Names of the benchmarks there are."""
    return sorted(m.name for m in pkgutil.iter_modules(benchmarks.__path__) if not m.name.startswith("_"))


HERE = Path(__file__).resolve().parent
KEPT = HERE.parent / "docs" / "measured"
LIBRARIES = ("numpy", "scipy", "shapely", "rustworkx")


def commit() -> str:
    """The commit that is measured, "" where git cannot say."""
    return _git("rev-parse", "HEAD")


def changed() -> bool:
    """Whether the measured sources differ from that commit."""
    return bool(_git("status", "--porcelain", "--", "src", "benchmarks", "demo"))


def _git(*words: str) -> str:
    found = subprocess.run(["git", *words], cwd=HERE.parent, capture_output=True, text=True, check=False)
    return found.stdout.strip()


def versions() -> dict[str, str]:
    """Versions of the libraries that do the arithmetic."""
    out = {}
    for name in LIBRARIES:
        try:
            out[name] = version(name)
        except PackageNotFoundError:
            continue
    return out


def shown(words: list[str]) -> str:
    """The command as anyone can type it: places on this machine become FOLDER.

    >>> shown(["round", "--seeds", "1-3"])
    'python -m benchmarks round --seeds 1-3'
    """
    plain = [f"FOLDER/{Path(one).name}" if Path(one).is_absolute() else one for one in words]
    return " ".join(["python", "-m", "benchmarks", *plain])


def main(arguments: list[str]) -> int:
    """Run the benchmark named first; 2 when there is none of that name."""
    words = [a for a in arguments if a != "--json"]
    label = None
    if "--keep" in words and words.index("--keep") + 1 < len(words):
        at = words.index("--keep")
        label = words[at + 1]
        del words[at : at + 2]
    if not words or words[0] not in names() or "--keep" in words:
        usage = "python -m benchmarks NAME [--json] [--keep LABEL] ..."
        print(f"usage: {usage}; NAME is one of {', '.join(names())}", file=sys.stderr)
        return 2
    about = {
        "benchmark": words[0],
        "commit": commit(),
        "changed": changed(),
        "command": shown(words),
        "python": platform.python_version(),
        "versions": versions(),
        "machine": f"{platform.system()} {platform.machine()}, {os.cpu_count()} cores",
    }
    result: dict[str, Any] = importlib.import_module(f"benchmarks.{words[0]}").run(words[1:])
    result = {**about, **result, "versions": {**about["versions"], **result.get("versions", {})}}
    if label is not None:
        KEPT.mkdir(parents=True, exist_ok=True)
        path = KEPT / f"{words[0]}.{label}.json"
        path.write_text(json.dumps(result, indent=1, ensure_ascii=False) + "\n", encoding="utf-8")
        print(f"kept in {path.relative_to(HERE.parent)}; next: python tools/measured.py", file=sys.stderr)
    if "--json" in arguments:
        print(json.dumps(result, indent=1))
    else:
        for key, value in result.items():
            print(f"{key}: {value}")
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
