"""Set up and run Coppermend from a checkout. Needs Python 3.11 or newer and nothing else.

python3 run.py          set up, then the main job on the demonstration machine
python3 run.py setup    only set up (.venv in the checkout, locked dependencies)
python3 run.py test     run every test; more words go to pytest
python3 run.py soak     the long jobs
python3 run.py ...      any other words go to the command line: python3 run.py board build PACKAGE
"""

from __future__ import annotations

import hashlib
import os
import subprocess
import sys
import venv
from pathlib import Path

HERE = Path(__file__).resolve().parent
VENV = HERE / ".venv"
PYTHON = VENV / ("Scripts/python.exe" if os.name == "nt" else "bin/python")
OLDEST = (3, 11)


def stamp(lock: Path) -> str:
    """What the environment was made from: the lock, the project file and the Python that made it."""
    text = lock.read_bytes() + (HERE / "pyproject.toml").read_bytes() + sys.version.encode()
    return hashlib.sha256(text).hexdigest()


def set_up(kind: str) -> None:
    """Make .venv from locks/KIND.lock unless it was already made from exactly that."""
    lock = HERE / "locks" / f"{kind}.lock"
    wanted, mark = stamp(lock), VENV / f"made-from-{kind}"
    if PYTHON.exists() and mark.exists() and mark.read_text() == wanted:
        return
    print(f"Setting up .venv from {lock.relative_to(HERE)} (once, about a minute) ...", flush=True)
    if not PYTHON.exists():
        venv.create(VENV, with_pip=True)
    pip = [str(PYTHON), "-m", "pip", "--disable-pip-version-check", "--quiet", "install"]
    subprocess.run([*pip, "--require-hashes", "-r", str(lock)], check=True)
    subprocess.run([*pip, "--no-deps", "--no-build-isolation", "-e", str(HERE)], check=True)
    mark.write_text(wanted)
    if kind == "test":
        (VENV / "made-from-run").write_text(stamp(HERE / "locks" / "run.lock"))


def call(*words: str) -> int:
    """Run the environment's Python with these words in the checkout."""
    try:
        # one thread a process: the arrays here are small, and two test workers on two cores only get in each other's way
        env = {"OPENBLAS_NUM_THREADS": "1", **os.environ}
        return subprocess.run([str(PYTHON), *words], cwd=HERE, env=env).returncode
    except KeyboardInterrupt:
        return 130


def test(words: list[str]) -> int:
    """Every test but the long ones, on two workers; the checks of the code itself run as tests too."""
    # each worker begins with one half and takes from the other's when it is done: dealt out in chunks, one stood idle for minutes at the end
    spread = ("-n", os.environ.get("COPPERMEND_TEST_WORKERS", "2"), "--dist", "worksteal")
    return call("-m", "pytest", "-m", "not soak", *spread, *words)


def main() -> int:
    """Do what the words say."""
    if sys.version_info < OLDEST:
        print(f"Coppermend needs Python {OLDEST[0]}.{OLDEST[1]} or newer; this is {sys.version.split()[0]}.")
        return 2
    words = sys.argv[1:]
    todo = words[0] if words else "demo"
    try:
        set_up("test" if todo in ("test", "soak") else "run")
    except subprocess.CalledProcessError as err:
        print(
            f"Setting up failed (pip ended with {err.returncode}). The lines above say why; a first set-up needs the network."
        )
        return 1
    if todo == "setup":
        print("Ready. Next: python3 run.py")
        return 0
    if todo == "test":
        return test(words[1:])
    if todo == "soak":
        return call("-m", "pytest", "-m", "soak", *words[1:])
    return call("-m", "coppermend", *(words or ["demo"]))


if __name__ == "__main__":
    raise SystemExit(main())
