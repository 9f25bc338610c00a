"""The one way into the log: every use case that writes anything writes it here."""

from __future__ import annotations

from collections.abc import Mapping

from coppermend.core.log.canonical import Json
from coppermend.core.log.kinds import KINDS, check_payload
from coppermend.core.log.model import Draft, Entry
from coppermend.services.workshop import Workshop


def write(
    workshop: Workshop,
    case: str,
    kind: str,
    payload: Mapping[str, Json],
    *,
    undoes: str | None = None,
    entry_id: str | None = None,
    observed_at: str | None = None,
) -> Entry:
    """Write one entry; when this returns it is on disk and synced. ``entry_id`` from an earlier try makes a retry harmless. Empty texts are left out."""
    now = workshop.clock.now()
    kept = {
        name: value for name, value in payload.items() if (value is not None and value != "") or _holds_null(kind, name)
    }
    check_payload(kind, kept, undoes)
    return workshop.store.append(
        Draft(
            id=entry_id or workshop.ids.new(),
            case=case,
            bench=workshop.store.bench,
            observed_at=observed_at or now,
            recorded_at=now,
            author=workshop.author,
            kind=kind,
            v=KINDS[kind].v if kind in KINDS else 1,
            payload=kept,
            undoes=undoes,
        )
    )


def _holds_null(kind: str, name: str) -> bool:
    """Whether an empty value means something: overload of a meter, a title left empty."""
    return kind in KINDS and name in KINDS[kind].must
