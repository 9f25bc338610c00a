"""What doctor says: each thing in its good and its bad state. Secure contexts: W3C, Secure Contexts, section 3.1 (https; http to 127.0.0.0/8 and localhost)."""

from __future__ import annotations

import pytest

from coppermend.services.health import (
    LEAST_FREE_BYTES,
    Look,
    look_at_clock,
    look_at_fonts,
    look_at_microphone,
    look_at_space,
)

NOW = "2026-03-01T09:00:00.000Z"
GIB = 2**30


@pytest.mark.parametrize(
    ("look", "state", "word"),
    [
        (look_at_clock(NOW, ""), "ok", "after"),
        (look_at_clock(NOW, "2026-03-01T08:59:59.000Z"), "ok", "after"),
        (look_at_clock(NOW, "2026-03-01T09:00:30.000Z"), "ok", "after"),
        (look_at_clock(NOW, "2027-01-01T00:00:00.000Z"), "warning", "2027-01-01"),
        (look_at_fonts(()), "bad", "Libertinus"),
        (look_at_fonts(("Libertinus Serif",)), "ok", "numbers stand"),
        (look_at_fonts(("Libertinus Serif", "Noto Sans CJK SC")), "ok", "CJK SC for"),
        (look_at_microphone(NOW, ""), "ok", "made then"),
        (look_at_microphone(NOW, "2027-01-01T00:00:00.000Z"), "ok", "until 2027-01-01"),
        (look_at_microphone(NOW, "2026-02-01T00:00:00.000Z"), "warning", "ended on 2026-02-01"),
        (look_at_space("x", LEAST_FREE_BYTES - 1), "bad", "free at"),
        (look_at_space("x", 3 * GIB, 2 * GIB), "warning", "2.0 GiB"),
        (look_at_space("x", 4 * GIB, 2 * GIB), "ok", "4.0 GiB"),
    ],
)
def test_what_is_found_is_said_with_what_to_do(look: Look, state: str, word: str) -> None:
    assert look.state == state and word in look.found and bool(look.remedy) == (state != "ok")
