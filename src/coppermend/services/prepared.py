"""Whether a case is at the point where its next step is chosen among everything, not among the copper's alone. Light: the whole choice is loaded only then."""

from __future__ import annotations

from coppermend.core.log.state import CaseState
from coppermend.core.planning.model import NextStep


def start_can_tell(state: CaseState) -> bool:
    """Whether intake says what a start needs to tell anything: display and cables known good, and nothing plugged in that need not be."""
    said = {one.item: one.yes for one in state.intake}
    return said.get("known good") is True and said.get("minimum") is True


def everything_counts(state: CaseState, step: NextStep) -> bool:
    """Whether the copper's ``step`` is weighed against everything else: a start was seen, or could tell something, or only isolation is left."""
    return board_counts(state) or step.kind == "isolation"


def board_counts(state: CaseState) -> bool:
    """Whether the board under power speaks in that choice: a start was seen, or could tell something."""
    return bool(state.power_ups) or start_can_tell(state)
