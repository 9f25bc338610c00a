"""One file of a package: its name inside the package (with / between folders) and its bytes."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Member:
    """``name`` relative to the package with ``/``, ``data`` its bytes."""

    name: str
    data: bytes

    @property
    def base(self) -> str:
        """The name without folders."""
        return self.name.rsplit("/", 1)[-1]
