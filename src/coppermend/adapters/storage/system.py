"""This machine's clock and its maker of ids."""

from __future__ import annotations

from datetime import UTC, datetime

import uuid_utils


class SystemClock:
    """The system's clock, in UTC."""

    def now(self) -> str:
        """The time now, ISO 8601 with milliseconds."""
        return datetime.now(UTC).isoformat(timespec="milliseconds").replace("+00:00", "Z")


class Uuid7Ids:
    """UUIDv7 ids (RFC 9562): sorted by time when read, used for identity only."""

    def new(self) -> str:
        """A fresh id."""
        return str(uuid_utils.uuid7())
