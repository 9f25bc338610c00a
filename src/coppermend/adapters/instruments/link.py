"""A link: lines of text to an instrument and back. What SCPI is spoken over."""

from __future__ import annotations

from typing import Protocol


class Link(Protocol):
    """Carries lines. Every method may raise Refusal INS-0xx; nothing else."""

    @property
    def address(self) -> str:
        """Where it leads."""

    def tell(self, line: str) -> None:
        """Send a line that has no answer."""

    def ask(self, line: str, patience_s: float | None = None) -> str:
        """Send a line, give its answer without line ending. ``patience_s`` None: the link's own."""

    def close(self) -> None:
        """Let go."""
