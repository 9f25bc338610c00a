"""Is this installation fit for work? What is looked at, what was found, what to do."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any

from coppermend.core.findings import Finding, Refusal, Severity
from coppermend.core.log.state import plain
from coppermend.core.log.words import how_many
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
    whole = f"{store.where}: {how_many(found.cases, 'case')}, {how_many(found.entries, 'entry', 'entries')}, every hash chain and attachment whole"
    if not store.writable:
        return Look(
            "store",
            "bad",
            f"{whole}, but it can only be read",
            "Give yourself the right to write there, or name another store with --store.",
        )
    return Look("store", "ok", whole)


def look_at_space(where: str, free_bytes: int, store_bytes: int = 0) -> Look:
    """Whether there is room left where the store is: for entries, and for a copy of the store (``store_bytes``) before it is migrated."""
    found = f"{free_bytes / 2**30:.1f} GiB free at {where}"
    if free_bytes < LEAST_FREE_BYTES:
        return Look("free space", "bad", found, "Free some space: entries are refused when the disk is full.")
    if free_bytes < 2 * store_bytes:
        words = f"{found}; the store has {store_bytes / 2**30:.1f} GiB, and a migration or a restore needs twice that"
        return Look("free space", "warning", words, "Free some space before 'store migrate' or 'store restore'.")
    return Look("free space", "ok", found)


def look_at_clock(now: str, last_at: str) -> Look:
    """Whether the clock stands before the store's last entry (ISO 8601, UTC). The order of entries does not rest on it; the times that are told do."""
    if last_at[:16] > now[:16]:
        words = f"it says {now[:16]}Z, the store's last entry was written at {last_at[:16]}Z"
        return Look(
            "clock",
            "warning",
            words,
            "Set this computer's clock: new entries would tell times before older ones. Their order stays right.",
        )
    return Look("clock", "ok", f"{now[:16]}Z, after the store's last entry")


RECORD_FONT = "Libertinus Serif"
"""The record's own font, which comes with the typesetter."""


def look_at_fonts(families: Sequence[str]) -> Look:
    """Whether the record can be set as a PDF, and with which fonts for letters beyond Latin, Greek and Cyrillic."""
    if RECORD_FONT not in families:
        words = f"{RECORD_FONT}, the record's font, is missing"
        return Look("fonts", "bad", words, "Set up again: python3 run.py setup. The record as HTML needs none.")
    wide = [one for one in families if any(word in one for word in ("CJK", "Han", "Gothic", "Mincho", "Song"))]
    found = f"{RECORD_FONT} for the record as a PDF, {len(families)} families in all"
    if not wide:
        return Look(
            "fonts",
            "ok",
            f"{found}; none for Chinese, Japanese and Korean letters: their numbers stand in the PDF, the letters in the HTML",
        )
    return Look("fonts", "ok", f"{found}; {wide[0]} for Chinese, Japanese and Korean letters")


def look_at_microphone(now: str, valid_until: str) -> Look:
    """Where a browser lets a page listen: in a secure context only (W3C, Secure Contexts: https, or 127.0.0.1). ``valid_until`` of the certificate, "" for none."""
    here = "a browser on this computer may listen for the meter's beep (http://127.0.0.1 counts as secure)"
    if not valid_until:
        return Look(
            "microphone", "ok", f"{here}; a second screen gets https with 'serve --lan', its certificate is made then"
        )
    if valid_until <= now:
        words = f"{here}; the certificate for second screens ended on {valid_until[:10]}"
        return Look("microphone", "warning", words, "Start 'coppermend serve --lan' once: it makes a new one.")
    return Look("microphone", "ok", f"{here}; second screens by https, certificate until {valid_until[:10]}")


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
