"""The step of a whole repair, and the case as the choice of that step looks at it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from coppermend.core.belief.suspects.posterior import Observation
from coppermend.core.circuit.machine import MachineModel
from coppermend.core.log.state import plain
from coppermend.core.planning.model import NextStep
from coppermend.core.planning.whole import Named
from coppermend.devices.book import DeviceBook
from coppermend.services.bench import step_as_dict
from coppermend.services.bind import Binding
from coppermend.services.powered import PoweredBoard
from coppermend.services.suspects import Proposed
from coppermend.services.workshop import Workshop

WORKS = "works"


@dataclass(frozen=True, slots=True)
class WholeStep:
    """The step to take. ``kind`` as ``Choice.kind``; ``copper`` the copper's own step, ``look`` a step under power with its points, ``named`` what is
    mended or asked about, ``check`` points to read first, ``rail`` that reads shorted, ``item`` of the gate, ``test`` or part meant."""

    kind: str
    words: str
    why: str
    seconds: float
    copper: NextStep | None = None
    look: Proposed | None = None
    named: Named | None = None
    check: tuple[str, str] | None = None
    sites: tuple[str, ...] = ()
    rail: str = ""
    item: str = ""
    part: str = ""
    caution: str = ""
    names: tuple[Named, ...] = ()
    more: float = 0.0
    notes: tuple[str, ...] = ()
    healthy: bool = False
    """The machine starts as it should and passed its tests; what follows only proves more of the copper."""

    def as_dict(self) -> dict[str, Any]:
        """Plain JSON values."""
        return {
            "kind": self.kind,
            "words": self.words,
            "why": self.why,
            "seconds": round(self.seconds, 1),
            "copper": None if self.copper is None else step_as_dict(self.copper),
            "look": None if self.look is None else self.look.as_dict(),
            "named": None if self.named is None else plain(self.named),
            "check": list(self.check) if self.check else None,
            "sites": list(self.sites),
            "rail": self.rail,
            "item": self.item,
            "part": self.part,
            "caution": self.caution,
            "names": [plain(one) for one in self.names],
            "more": round(self.more, 4),
            "notes": list(self.notes),
            "healthy": self.healthy,
        }


@dataclass(slots=True)
class WholeView:
    """One case looked at as a whole. ``copper`` and ``kind`` the copper's own step and what it counts as; ``made`` the board under power, ``session`` the case as it
    stood before the first repair since the last power-up, ``found`` what was seen in it: there once the belief is weighed."""

    workshop: Workshop
    case: str
    binding: Binding
    copper: NextStep
    kind: str
    book: DeviceBook
    machine: MachineModel
    without: frozenset[str]
    made: PoweredBoard | None = None
    session: Binding | None = None
    found: tuple[Observation, ...] = ()
