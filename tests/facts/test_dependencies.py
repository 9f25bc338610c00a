"""What is installed is what was locked, every file of it by its digest, under licences that were read and written down here.

Where it comes from: pip's documentation, "Secure installs" (every requirement pinned and hashed, by SHA-256); PEP 508 (environment markers), PEP 639 (licence
expressions) and PEP 503 (names), read by the `packaging` library; SPDX licence list for the names. What kind of licence each is: from memory.
Advisories are not looked up here (docs/explanation/threats.md, "Libraries from elsewhere").
"""

from __future__ import annotations

import re
import tomllib
from dataclasses import dataclass
from functools import cache
from importlib.metadata import PackageNotFoundError, distributions, metadata
from pathlib import Path

import pytest
from packaging.requirements import Requirement
from packaging.utils import canonicalize_name

ROOT = Path(__file__).parents[2]
LOCKS = ("run", "test")

PERMISSIVE = {
    "0BSD", "Apache-2.0", "BSD-2-Clause", "BSD-3-Clause", "CC0-1.0", "MIT", "MIT-0", "MIT-CMU", "PSF-2.0", "Zlib",
}  # fmt: skip
WEAK_COPYLEFT = {"MPL-2.0"}
"""By file: what uses them keeps its own licence. Only the build back end needs one (pathspec)."""
OLD_WORDS = {
    "MIT License": "MIT",
    "BSD License": "BSD-3-Clause",
    "Apache Software License": "Apache-2.0",
    "Mozilla Public License 2.0 (MPL 2.0)": "MPL-2.0",
    "BSD-3-Clause, Apache-2.0, dependency licenses": "BSD-3-Clause AND Apache-2.0",
}
"""What packages say that have no expression of PEP 639 yet; the last is pypdfium2's own line, the licences of what it holds are in its wheel."""


@dataclass(frozen=True, slots=True)
class Pin:
    """One line of a lock: the requirement and the digests of the files that may be installed for it."""

    requirement: Requirement
    digests: tuple[str, ...]

    @property
    def name(self) -> str:
        return canonicalize_name(self.requirement.name)

    @property
    def version(self) -> str:
        (only,) = self.requirement.specifier
        assert only.operator == "==" and "*" not in only.version, f"not pinned to one version: {self.requirement}"
        return only.version

    @property
    def holds_here(self) -> bool:
        return self.requirement.marker is None or self.requirement.marker.evaluate()


@cache
def pins(lock: str) -> tuple[Pin, ...]:
    """The pins of locks/NAME.lock."""
    text = (ROOT / "locks" / f"{lock}.lock").read_text(encoding="utf-8").replace("\\\n", " ")
    found = []
    for line in text.splitlines():
        line = line.strip()
        if not line or line.startswith("#"):
            continue
        said, *digests = line.split("--hash=")
        found.append(Pin(Requirement(said.strip()), tuple(one.strip() for one in digests)))
    return tuple(found)


@pytest.mark.parametrize("lock", LOCKS)
def test_every_pin_is_one_version_from_an_index_and_carries_sha_256(lock: str) -> None:
    assert len(pins(lock)) > 30
    for pin in pins(lock):
        assert pin.version and pin.requirement.url is None, pin
        assert pin.digests and all(re.fullmatch(r"sha256:[0-9a-f]{64}", one) for one in pin.digests), pin.name
        assert len(set(pin.digests)) == len(pin.digests), pin.name


@pytest.mark.parametrize("lock", LOCKS)
def test_one_pin_of_a_name_holds_at_most_and_its_version_is_installed(lock: str) -> None:
    held = [pin for pin in pins(lock) if pin.holds_here]
    assert len({pin.name for pin in held}) == len(held)
    for pin in held:
        try:
            version = metadata(pin.name)["Version"]
        except PackageNotFoundError:
            version = "nothing"
        assert version == pin.version, f"{pin.name}: locked {pin.version}, installed {version}: python3 run.py setup"


def test_nothing_is_installed_that_no_lock_names() -> None:
    locked = {pin.name for lock in LOCKS for pin in pins(lock)}
    here = {canonicalize_name(one.name) for one in distributions() if one.name}
    # pip comes with the environment (venv), coppermend is the checkout
    assert here - locked <= {"pip", "setuptools", "coppermend"}


def test_what_runs_is_what_was_tested() -> None:
    tested = {(p.name, p.version, str(p.requirement.marker)) for p in pins("test")}
    assert {(p.name, p.version, str(p.requirement.marker)) for p in pins("run")} <= tested


def licence_of(name: str) -> str:
    """The SPDX expression under which an installed package says it is."""
    said = metadata(name)
    if said["License-Expression"]:
        return str(said["License-Expression"])
    classes = [one.rpartition(" :: ")[2] for one in said.get_all("Classifier") or () if one.startswith("License ::")]
    words = [one for one in classes if one != "OSI Approved"] or [said["License"] or "nothing"]
    return " AND ".join(OLD_WORDS.get(one, one) for one in words)


def test_everything_that_runs_is_under_a_licence_that_was_read() -> None:
    allowed = PERMISSIVE | WEAK_COPYLEFT
    for pin in pins("run"):
        if not pin.holds_here:
            continue
        licences = set(re.split(r" AND | OR |[() ]+", licence_of(pin.name))) - {""}
        assert licences and licences <= allowed, f"{pin.name}: {sorted(licences - allowed)} is not on the list"
        assert not licences & WEAK_COPYLEFT or pin.name == "pathspec", pin.name


def test_copyleft_inside_a_wheel_is_the_kind_that_was_read() -> None:
    """GEOS (LGPL-2.1, a shared library beside shapely, exchangeable) and the compiler's run-time libraries in numpy and scipy (GPL with the
    exception that frees what is linked, libquadmath LGPL), as their licence files say."""
    held = {}
    for pin in pins("run"):
        if not pin.holds_here:
            continue
        for one in next(d for d in distributions(name=pin.name)).files or ():
            if ".dist-info" not in str(one) or "licen" not in str(one).lower():
                continue
            text = Path(str(one.locate())).read_text(encoding="utf-8", errors="replace")
            held.setdefault(pin.name, set()).update(
                s.strip() for s in re.findall(r"^ *License: *(\S*GPL.*)$", text, re.M)
            )
    found = {name: kinds for name, kinds in held.items() if kinds}
    compiler = {"GPL-3.0-or-later WITH GCC-exception-3.1", "LGPL-2.1-or-later"}
    known = {"shapely": {"LGPLv2.1"}, "numpy": compiler, "scipy": compiler}
    assert set(found) <= set(known)
    for name, kinds in found.items():
        assert kinds <= known[name], f"{name}: {kinds - known[name]}"


def asked() -> list[tuple[str, str]]:
    """Each requirement of pyproject.toml with the remark behind it."""
    text = (ROOT / "pyproject.toml").read_text(encoding="utf-8")
    return re.findall(r'^  "([A-Za-z][^"]*[<>=][^"]*)",?(.*)$', text, re.M)


def test_each_dependency_says_beside_it_what_it_is_for() -> None:
    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))
    every = [
        *project["project"]["dependencies"],
        *(one for group in project["project"]["optional-dependencies"].values() for one in group),
        *(one for group in project["dependency-groups"].values() for one in group),
    ]
    assert sorted(name for name, _ in asked()) == sorted(every)
    for name, remark in asked():
        assert re.fullmatch(r"\s*# \S.{9,}", remark), f"{name}: no reason beside it"


def test_the_locks_answer_what_the_project_asks_for() -> None:
    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))
    groups = project["dependency-groups"]
    wanted = {
        "run": [*project["project"]["dependencies"], *groups["build"]],
        "test": [*project["project"]["dependencies"], *(one for group in groups.values() for one in group)],
    }
    for lock, lines in wanted.items():
        locked = {pin.name: pin.version for pin in pins(lock) if pin.holds_here}
        for line in lines:
            asks = Requirement(line)
            assert asks.specifier.contains(locked[canonicalize_name(asks.name)]), line
