"""``python -m benchmarks NAME [--json] [arguments of the benchmark]``: run one benchmark and print what it measured."""

from __future__ import annotations

import importlib
import json
import pkgutil
import platform
import subprocess
import sys
from pathlib import Path
from typing import Any

import benchmarks


def names() -> list[str]:
    """Names of the benchmarks there are."""
    return sorted(m.name for m in pkgutil.iter_modules(benchmarks.__path__) if not m.name.startswith("_"))


def commit() -> str:
    """The commit that is measured, "" where git cannot say."""
    here = Path(__file__).resolve().parent
    found = subprocess.run(["git", "rev-parse", "HEAD"], cwd=here, capture_output=True, text=True, check=False)
    return found.stdout.strip()


def main(arguments: list[str]) -> int:
    """Run the benchmark named first; 2 when there is none of that name."""
    words = [a for a in arguments if a != "--json"]
    if not words or words[0] not in names():
        print(f"usage: python -m benchmarks NAME [--json] ...; NAME is one of {', '.join(names())}", file=sys.stderr)
        return 2
    result: dict[str, Any] = importlib.import_module(f"benchmarks.{words[0]}").run(words[1:])
    result = {"benchmark": words[0], "commit": commit(), "python": platform.python_version(), **result}
    if "--json" in arguments:
        print(json.dumps(result, indent=1))
    else:
        for key, value in result.items():
            print(f"{key}: {value}")
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
