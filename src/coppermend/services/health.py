"""Is this installation fit for work? What is looked at, what was found, what to do."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any

from coppermend.core.findings import Finding, Refusal, Severity
from coppermend.core.log.state import plain
from coppermend.services.ports import CaseStore
from coppermend.services.storekeeping import check_store

LEAST_FREE_BYTES = 200 * 1024 * 1024
"""Below this a bench is warned: room for some thousand entries and a few photos is left."""


@dataclass(frozen=True, slots=True)
class Look:
    """One thing looked at: its name, ``ok``, ``warning`` or ``bad``, what was found, what to do."""

    name: str
    state: str
    found: str
    remedy: str = ""

    def as_dict(self) -> dict[str, Any]:
        """The look as plain JSON values."""
        return dict(plain(self))


def guarded(name: str, look: Callable[[], Look]) -> Look:
    """A look that may be refused: the refusal is what was found."""
    try:
        return look()
    except Refusal as err:
        return Look(name, "bad", err.finding.words, err.finding.remedy)


def look_at_store(store: CaseStore) -> Look:
    """Whether the store can be written, and every chain, page and attachment is whole."""
    found = check_store(store)
    if found.findings:
        return Look("store", "bad", f"{store.where}: {_lines(found.findings)}", found.findings[0].remedy)
    whole = f"{store.where}: {found.cases} cases, {found.entries} entries, every hash chain and attachment whole"
    if not store.writable:
        return Look(
            "store",
            "bad",
            f"{whole}, but it can only be read",
            "Give yourself the right to write there, or name another store with --store.",
        )
    return Look("store", "ok", whole)


def look_at_space(where: str, free_bytes: int) -> Look:
    """Whether there is room left where the store is."""
    found = f"{free_bytes / 2**30:.1f} GiB free at {where}"
    if free_bytes < LEAST_FREE_BYTES:
        return Look("free space", "bad", found, "Free some space: entries are refused when the disk is full.")
    return Look("free space", "ok", found)


def look_at_versions(python: tuple[int, int], versions: Sequence[tuple[str, str]], missing: Sequence[str]) -> Look:
    """Python and the libraries that Coppermend stands on."""
    found = f"Python {python[0]}.{python[1]}, " + ", ".join(f"{name} {version}" for name, version in versions)
    if python < (3, 11):
        return Look("versions", "bad", found, "Use Python 3.11 or newer.")
    if missing:
        return Look("versions", "bad", f"{found}; missing: {', '.join(missing)}", "Set up again: python3 run.py setup.")
    return Look("versions", "ok", found)


def _lines(findings: Sequence[Finding]) -> str:
    worst = sorted(findings, key=lambda one: one.severity is not Severity.ERROR)
    shown = "; ".join(one.line() for one in worst[:5])
    return shown + (f"; and {len(worst) - 5} more" if len(worst) > 5 else "")
