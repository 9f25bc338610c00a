"""The instruments of this bench: plugged in, named by the user, simulated, or recorded."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

from coppermend.adapters.instruments.address import RECORDED, SIMULATED
from coppermend.adapters.instruments.link import Link
from coppermend.adapters.instruments.recorded import RecordedLink, RecordingLink
from coppermend.adapters.instruments.scpi import ScpiMeter, ScpiScope
from coppermend.adapters.instruments.simulated import SimulatedMeter
from coppermend.adapters.instruments.visa import VisaLink, plugged_in
from coppermend.core.findings import Finding, Place, refuse
from coppermend.services.ports import FoundInstrument, Meter, Scope


@dataclass(frozen=True, slots=True)
class BenchInstruments:
    """Opens links by address. ``files`` recordings may be named (``recorded:FILE``; not over the network); ``keep`` takes the lines of the conversation."""

    files: bool = False
    keep: Callable[[str], None] | None = None
    simulated: bool = True

    def found(self) -> tuple[tuple[FoundInstrument, ...], tuple[Finding, ...]]:
        """What is plugged in; the simulated meter last."""
        rows, closed = plugged_in()
        extra = (
            (FoundInstrument(SIMULATED, "simulated", "simulated meter, to try this without one"),)
            if self.simulated
            else ()
        )
        return (*rows, *extra), closed

    def meter(self, address: str, baud: int = 9600) -> Meter:
        """A meter, opened."""
        return ScpiMeter(self._link(address, baud))

    def scope(self, address: str, baud: int = 9600) -> Scope:
        """An oscilloscope, opened."""
        return ScpiScope(self._link(address, baud))

    def _link(self, address: str, baud: int) -> Link:
        link = self._plain(address.strip(), baud)
        return RecordingLink(link, self.keep) if self.keep else link

    def _plain(self, address: str, baud: int) -> Link:
        if address == SIMULATED:
            return SimulatedMeter()
        if self.files and address.startswith(RECORDED):
            return RecordedLink(address, _text(address.removeprefix(RECORDED)))
        return VisaLink(address, baud)


def _text(path: str) -> str:
    try:
        return Path(path).read_text(encoding="utf-8")
    except (OSError, ValueError) as err:
        why = getattr(err, "strerror", None) or "no text"
        raise refuse(
            "INS-013", f"The recording cannot be read: {why}.", "Name a file of JSON lines.", Place(file=path)
        ) from None
