"""What a machine file says beyond netlist and book: what a start shows and what that means, sounds, expected levels and patterns, spare parts."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Screen:
    """What a start shows, with the nets that decide it: the first of a machine's list whose conditions all hold is what a fault leads to.

    ``still`` nets that do not move, ``moving`` nets that do, ``right`` nets that do what they should, ``not_right`` nets of which at least one does not.
    The screen named ``works`` is shown when everything does what it should.
    """

    name: str
    words: str
    still: tuple[str, ...] = ()
    moving: tuple[str, ...] = ()
    right: tuple[str, ...] = ()
    not_right: tuple[str, ...] = ()
    sound: str = ""


@dataclass(frozen=True, slots=True)
class Said:
    """A level that the machine's maker or a good machine says of a net: low, high or moving."""

    net: str
    level: str
    words: str


@dataclass(frozen=True, slots=True)
class DiagnosticStep:
    """A step of a diagnostic: its number, what it tests, the parts and nets that must work for it to pass."""

    number: int
    words: str
    parts: tuple[str, ...] = ()
    nets: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Diagnostic:
    """A diagnostic ROM or cartridge: steps that it goes through in order, stopping at the first that fails."""

    name: str
    steps: tuple[DiagnosticStep, ...]


@dataclass(frozen=True, slots=True)
class MustWork:
    """A function that is tested before the machine goes back: its name as in ``note CASE test NAME works``, and how it is tested."""

    name: str
    words: str = ""


USUAL_FUNCTIONS = (
    MustWork("keyboard", "every key once, also with shift and control"),
    MustWork("picture", "steady, right size and colours, also after ten minutes"),
    MustWork("sound", "every voice, loud and soft"),
    MustWork("ports", "each port with a device or a loop-back plug"),
    MustWork("drives", "load, save and read back, on each drive or the tape"),
    MustWork("memory soak", "a memory test that runs for an hour without an error"),
    MustWork("soak", "some hours switched on with somebody in the room, then all of it again warm"),
)
"""What is tested where the machine's own file says nothing (common practice, no source)."""

WORKS = Screen("works", "it starts as it should")
DEFAULT_SCREENS = (WORKS, Screen("fails", "it does not start as it should"))


@dataclass(frozen=True, slots=True)
class MachineModel:
    """A machine file as a value. ``patterns`` nets whose pattern after reset is known from a good machine (``*``: all); ``spares`` parts with a known-good one at hand."""

    name: str = ""
    screens: tuple[Screen, ...] = DEFAULT_SCREENS
    said: tuple[Said, ...] = ()
    patterns: tuple[str, ...] = ()
    spares: tuple[str, ...] = ()
    diagnostics: tuple[Diagnostic, ...] = ()
    must_work: tuple[MustWork, ...] = USUAL_FUNCTIONS

    def pattern_known(self, net: str) -> bool:
        """Whether the pattern of a net can be judged."""
        return "*" in self.patterns or net in self.patterns

    def screen(self, text: str) -> int | None:
        """The index of the screen of that name (``_`` for a space), None when the machine has none."""
        wanted = text.strip().lower().replace("_", " ")
        return next((k for k, one in enumerate(self.screens) if one.name == wanted), None)
