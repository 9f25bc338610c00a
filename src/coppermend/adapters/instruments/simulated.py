"""A simulated meter that speaks SCPI: somebody touches something every few seconds. To try page and commands without a meter, and for tests."""

from __future__ import annotations

import random
import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field

from coppermend.adapters.instruments.address import SIMULATED
from coppermend.core.findings import Place, refuse

OVERLOAD = "+9.90000000E+37"
IDENTITY = "Coppermend,simulated meter,0,1"


@dataclass(frozen=True, slots=True)
class Hand:
    """What the hand does: from ``from_s`` to ``to_s`` the tips touch something of ``ohm`` (None: an open net)."""

    from_s: float
    to_s: float
    ohm: float | None


def every_so_often(
    ohms: Sequence[float | None] = (0.05, 0.4, None, 12.0), pause_s: float = 1.2, hold_s: float = 0.9
) -> Callable[[float], float | None]:
    """A hand that touches these in turn, for ever."""
    period = pause_s + hold_s

    def at(now_s: float) -> float | None:
        turn, phase = divmod(now_s, period)
        return ohms[int(turn) % len(ohms)] if phase >= pause_s else None

    return at


def hands(acts: Sequence[Hand]) -> Callable[[float], float | None]:
    """A hand that does just this."""

    def at(now_s: float) -> float | None:
        return next((one.ohm for one in acts if one.from_s <= now_s < one.to_s), None)

    return at


@dataclass(slots=True)
class SimulatedMeter:
    """A link to the simulated meter. ``ohm_at`` what is between the tips at a time in s since it was opened; two-wire readings have the leads on top.

    ``bite_s`` after each touch the tips do not bite yet: values are wrong and vary. ``noise_ohm`` standard deviation of a reading.
    """

    ohm_at: Callable[[float], float | None] = field(default_factory=every_so_often)
    now_s: Callable[[], float] = time.monotonic
    wait: Callable[[float], None] = time.sleep
    leads_ohm: float = 0.21
    noise_ohm: float = 0.002
    bite_s: float = 0.08
    reading_s: float = 0.05
    four_wires: bool = True
    gone_after_s: float = float("inf")
    address: str = SIMULATED
    chance: random.Random = field(default_factory=lambda: random.Random(1))
    begin_s: float = 0.0
    wires: int = 2
    trouble: str = '+0,"No error"'
    touched_s: float | None = None

    def __post_init__(self) -> None:
        self.begin_s = self.now_s()

    def tell(self, line: str) -> None:
        """CONF:RES, CONF:FRES, *CLS; anything else is an undefined header (SCPI-1999 volume 2, 21.8: -113)."""
        self._here()
        if line == "*CLS":
            self.trouble = '+0,"No error"'
        elif line == "CONF:RES" or (line == "CONF:FRES" and self.four_wires):
            self.wires = 4 if "FRES" in line else 2
        else:
            self.trouble = '-113,"Undefined header"'

    def ask(self, line: str, patience_s: float | None = None) -> str:
        """*IDN?, READ?, SYST:ERR?; anything else is not answered."""
        self._here()
        if line == "*IDN?":
            return IDENTITY
        if line == "SYST:ERR?":
            said, self.trouble = self.trouble, '+0,"No error"'
            return said
        if line == "READ?":
            self.wait(self.reading_s)
            self._here()
            return self._reading()
        raise refuse(
            "INS-005",
            "The instrument does not answer in time.",
            "Ask the simulated meter for READ?.",
            Place(thing=self.address),
        )

    def _reading(self) -> str:
        now = self.now_s() - self.begin_s
        ohm = self.ohm_at(now)
        if ohm is None:
            self.touched_s = None
            return OVERLOAD
        if self.touched_s is None:
            self.touched_s = now
        shown = ohm + (self.leads_ohm if self.wires == 2 else 0.0) + self.chance.gauss(0.0, self.noise_ohm)
        if now - self.touched_s < self.bite_s:
            shown += self.chance.uniform(5.0, 5000.0)
        return f"{shown:+.8E}"

    def _here(self) -> None:
        if self.now_s() - self.begin_s >= self.gone_after_s:
            raise refuse(
                "INS-006",
                "The connection to the instrument broke off in the middle: unplugged, switched off, or its port was closed.",
                "Plug it in; the reading that was under way is not noted. The round goes on by hand: read the meter and use the keys.",
                Place(thing=self.address),
            )

    def close(self) -> None:
        """Nothing to let go of."""
