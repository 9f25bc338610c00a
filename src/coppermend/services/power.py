"""The gate before power, and what was seen at each power-up with the repairs that went before it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from coppermend.core.log.gate import GateStatus
from coppermend.core.log.state import CaseState, PowerUp, plain

CAUTION = (
    "Mains and CRT parts hold dangerous voltages, also after switching off: leave them to people qualified for it and follow your local rules. "
    "Keep a hand on the switch; stop at smoke, smell or a current above the abort value."
)


@dataclass(frozen=True, slots=True)
class PowerStory:
    """One power-up as the story tells it: the repairs before it in words, and what was seen."""

    up: PowerUp
    repairs: tuple[str, ...]

    def as_dict(self) -> dict[str, Any]:
        """The story as plain JSON values."""
        return {**plain(self.up), "repairs_words": list(self.repairs)}


def gate_as_dict(status: GateStatus) -> dict[str, Any]:
    """The gate as plain JSON values, with the caution that is shown beside it."""
    return {**plain(status), "caution": CAUTION}


def power_story(state: CaseState) -> tuple[PowerStory, ...]:
    """Every power-up in order, each with the repairs since the one before in words."""
    words = {item.entry: item.words for item in state.timeline}
    return tuple(PowerStory(up, tuple(words[one] for one in up.repairs)) for up in state.power_ups)
