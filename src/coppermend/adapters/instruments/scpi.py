"""A meter and an oscilloscope spoken to in SCPI over any link.

Meter: *IDN?, *CLS (IEEE 488.2), CONFigure:RESistance / :FRESistance, READ?, SYSTem:ERRor? (SCPI-1999 volume 2). Oscilloscope: waves are not
in the standard; the widely used WAVeform subsystem with ASCII data is tried, and a refusal says so where an instrument has another.
"""

from __future__ import annotations

import contextlib

from coppermend.adapters.instruments.link import Link
from coppermend.core.findings import Place, Refusal, refuse
from coppermend.formats.scpi import Identity, error_of, identity_of, number_of, step_of_answer, volts_of
from coppermend.services.ports import Sample, WaveTaken

SHORT_S = 1.0
OHMS = {2: "RES", 4: "FRES"}


class _Scpi:
    """What every instrument behind a link answers."""

    def __init__(self, link: Link) -> None:
        self._link = link

    @property
    def address(self) -> str:
        """Where its link leads."""
        return self._link.address

    def identity(self) -> Identity:
        """The answer to *IDN?."""
        return identity_of(self._link.ask("*IDN?"))

    def close(self) -> None:
        """Let go of the link."""
        self._link.close()


class ScpiMeter(_Scpi):
    """A multimeter behind a link."""

    def set_ohms(self, wires: int) -> None:
        """Ohms, range found by itself. The instrument's own list of errors says whether it can; one without a list is believed."""
        if wires not in OHMS:
            raise refuse("INS-008", f"Ohms in {wires} wires are not read.", "Say 2 or 4 wires.")
        self._link.tell("*CLS")
        self._link.tell(f"CONF:{OHMS[wires]}")
        with contextlib.suppress(_Silent):
            number, words = _errors(self._link)
            if number != 0:
                raise refuse(
                    "INS-008",
                    f"The meter refused ohms in {wires} wires ({number}: {words}).",
                    "Use two wires." if wires == 4 else "Set it to ohms by hand and see its manual for SCPI.",
                    Place(thing=self.address),
                )

    def read(self) -> Sample:
        """One reading by READ?."""
        raw = self._link.ask("READ?")
        return Sample(raw, number_of(raw), step_of_answer(raw))


class ScpiScope(_Scpi):
    """An oscilloscope behind a link."""

    def wave(self, channel: int) -> WaveTaken:
        """The channel's wave as it stands on the screen."""
        if not 1 <= channel <= 16:
            raise refuse("INS-008", f"There is no channel {channel}.", "Name a channel from 1 on.")
        self._link.tell("*CLS")
        for line in (f"WAV:SOUR CHAN{channel}", "WAV:MODE NORM", "WAV:FORM ASC"):
            self._link.tell(line)
        volts = volts_of(self._link.ask("WAV:DATA?", 10.0))
        step, start = number_of(self._link.ask("WAV:XINC?")), number_of(self._link.ask("WAV:XOR?"))
        if step is None or step <= 0 or start is None:
            raise refuse(
                "INS-007",
                "The oscilloscope does not say how far its samples lie apart.",
                "Save the wave as CSV on the oscilloscope and note it by hand.",
            )
        return WaveTaken(start, step, volts)


class _Silent(Exception):
    """The instrument has no list of errors."""


def _errors(link: Link) -> tuple[int, str]:
    try:
        return error_of(link.ask("SYST:ERR?", SHORT_S))
    except Refusal as err:
        if err.finding.code == "INS-005":
            raise _Silent from None
        raise
