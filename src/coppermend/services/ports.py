"""The ports: what services need from the world, as Protocols. Adapters fulfil them; tests bring fakes; bootstrap joins the two."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Protocol

from coppermend.core.board.model import Board
from coppermend.core.copper.model import CopperGraph
from coppermend.core.findings import Finding
from coppermend.core.log.model import Draft, Entry
from coppermend.formats.scpi import Identity
from coppermend.services.heads import Head


@dataclass(frozen=True, slots=True)
class CaseHead:
    """A case as a list shows it, without reading its log. ``number`` is this store's short number; ``hit`` of the entries that were first to say one of
    the words searched for the one that says most of them, None where nothing was searched for.
    """

    id: str
    number: int
    head: Head
    hit: Entry | None = None

    @property
    def entries(self) -> int:
        """How many entries its log has."""
        return self.head.entries


@dataclass(frozen=True, slots=True)
class Wanted:
    """Which cases are asked for. Everything given has to hold; an empty value asks nothing.

    ``terms`` as ``core.log.terms.asked_terms`` makes them, each said somewhere in the case; ``states`` any of ``kinds.PROGRESS``; ``waits`` whether it waits
    for something; ``package_id`` its board; ``since`` an entry at that time or later (ISO 8601 in UTC, or the beginning of one).
    ``order`` number (newest case first) or last (last worked on first); ``after`` the last case of the page before; at most ``limit`` cases.
    """

    terms: tuple[str, ...] = ()
    states: tuple[str, ...] = ()
    waits: bool | None = None
    package_id: str = ""
    since: str = ""
    order: str = "number"
    after: tuple[int, str] | None = None
    """Number and last entry's time of the case after which the page begins."""
    limit: int = 50


@dataclass(frozen=True, slots=True)
class Found:
    """A page of cases. ``more`` whether others follow; ``cut`` terms that stand for more words than were looked for (``MOST_MEANT``);
    ``from_logs`` that the list or the terms lie in a damaged page, so that the logs themselves were read."""

    cases: tuple[CaseHead, ...]
    more: bool = False
    cut: tuple[str, ...] = ()
    from_logs: bool = False


MOST_MEANT = 64
"""Words that one term of a question stands for at most: the first in order."""


class CaseStore(Protocol):
    """Where logs and attachments are kept. Every method may raise Refusal STO-0xx in words; nothing else."""

    @property
    def bench(self) -> str:
        """The id of this bench: made once per store, part of every entry written here."""

    @property
    def where(self) -> str:
        """Where the store is, in words for a person."""

    @property
    def writable(self) -> bool:
        """False when the store can be read but not written."""

    def append(self, draft: Draft) -> Entry:
        """Write one entry; when this returns, the entry is on disk and synced. The same draft under the same id again gives the entry first written."""

    def absorb(self, entries: Sequence[Entry]) -> int:
        """Take in whole entries from elsewhere (one transaction); how many were new. Refuses entries that contradict what is here."""

    def entries(self, case: str) -> tuple[Entry, ...]:
        """All entries of a case in the agreed order; empty when there is no such case."""

    def mark(self, case: str) -> str:
        """A short text that changes with every entry of the case: key of everything computed from the log."""

    def heads(self) -> tuple[CaseHead, ...]:
        """All cases, lowest number first."""

    def find(self, wanted: Wanted) -> Found:
        """One page of the cases that fulfil all that is wanted; quick however many there are."""

    def heads_of(self, cases: Sequence[str]) -> tuple[CaseHead, ...]:
        """The heads of these cases (ids), lowest number first; those that are not here are left out."""

    def states(self) -> Mapping[str, int]:
        """How many cases are in each state that one is in."""

    def numbers(self) -> tuple[tuple[int, str], ...]:
        """(short number, id) of every case, lowest number first."""

    def case_of(self, number: int) -> str:
        """The id of the case with that short number; "" when there is none."""

    def number_of(self, case: str) -> int:
        """The case's short number in this store; 0 when there is none."""

    def attach(self, data: bytes) -> str:
        """Keep bytes under their SHA-256 (returned), synced to disk."""

    def attachment(self, sha256: str) -> bytes:
        """The bytes kept under that SHA-256, checked against it."""

    def check(self) -> tuple[Finding, ...]:
        """What is wrong with the store: database pages, hash chains, attachments."""

    def close(self) -> None:
        """Let go of it; nothing is asked of it afterwards."""


class Clock(Protocol):
    """Tells the time."""

    def now(self) -> str:
        """The time now: ISO 8601, UTC, milliseconds (``2026-01-31T09:15:02.123Z``)."""


class Ids(Protocol):
    """Makes ids."""

    def new(self) -> str:
        """A fresh UUIDv7 (RFC 9562) in its usual text."""


@dataclass(frozen=True, slots=True)
class ShelvedBoard:
    """A board ready for work: as fabricated, and its copper graph with part states as built. ``package`` where it was read from."""

    package: str
    board: Board
    graph: CopperGraph


class BoardShelf(Protocol):
    """Gives boards, built once and kept."""

    def take(self, package: str) -> ShelvedBoard:
        """The board of a package (folder, zip, or the word ``demo``). Refusal when it cannot be read."""

    def known(self, package_id: str) -> ShelvedBoard | None:
        """A board built before, by its package id, wherever its files are now; None when it is not kept here."""


@dataclass(frozen=True, slots=True)
class FoundInstrument:
    """Something that could be an instrument: its VISA address (VPP-4.3), ``kind`` serial, usb or simulated, and words for a person."""

    address: str
    kind: str
    words: str


@dataclass(frozen=True, slots=True)
class Sample:
    """One answer of a meter: ``raw`` as it came, ``ohm`` None for overload, ``step_ohm`` the last digit it shows (None when it shows none)."""

    raw: str
    ohm: float | None
    step_ohm: float | None = None


@dataclass(frozen=True, slots=True)
class WaveTaken:
    """What an oscilloscope showed: volts at ``start_s`` + k * ``step_s``, k from 0."""

    start_s: float
    step_s: float
    volts: tuple[float, ...]


class Meter(Protocol):
    """A multimeter. Every method may raise Refusal INS-0xx in words, with what to do on this system; nothing else."""

    @property
    def address(self) -> str:
        """Where it was opened."""

    def identity(self) -> Identity:
        """Who it says it is."""

    def set_ohms(self, wires: int) -> None:
        """Set it to ohms in 2 or 4 wires, finding its range itself. Refusal INS-008 when it says that it cannot."""

    def read(self) -> Sample:
        """One reading of what it is set to."""

    def close(self) -> None:
        """Let go of it."""


class Scope(Protocol):
    """An oscilloscope; refusals as of a meter."""

    @property
    def address(self) -> str:
        """Where it was opened."""

    def identity(self) -> Identity:
        """Who it says it is."""

    def wave(self, channel: int) -> WaveTaken:
        """What the channel (from 1) shows now."""

    def close(self) -> None:
        """Let go of it."""


class Instruments(Protocol):
    """The instruments of this bench."""

    def found(self) -> tuple[tuple[FoundInstrument, ...], tuple[Finding, ...]]:
        """What is plugged in, and which ways to instruments cannot be used here, because of what. Asks nothing on the network, opens nothing."""

    def meter(self, address: str, baud: int = 9600) -> Meter:
        """A meter at an address, opened. ``baud`` matters on serial lines only."""

    def scope(self, address: str, baud: int = 9600) -> Scope:
        """An oscilloscope at an address, opened."""
