"""A sentence spoken by the server, for browsers that have no voice of their own."""

from __future__ import annotations

import struct
from typing import Protocol

from coppermend.core.findings import refuse

LONGEST_TEXT = 400
SLOWEST, QUICKEST = 0.4, 2.0


class Voice(Protocol):
    """Something that speaks. May raise Refusal VOI-001 (not installed) or VOI-002 (does not work)."""

    def available(self) -> bool:
        """Whether there is such a voice on this computer; nothing is loaded to find out."""

    def speak(self, text: str, speed: float = 1.0) -> tuple[int, bytes]:
        """Sample rate in Hz and mono samples (16 bits, little-endian) of a text; ``speed`` 1 is usual."""


def spoken_wave(voice: Voice, text: str, speed: float = 1.0) -> bytes:
    """A text as the bytes of a WAV file (RIFF, PCM, 16 bits, mono).

    ``text`` 1 to 400 characters, ``speed`` 0.4 to 2. Refusal VOI-003 for another text or speed, VOI-001 or VOI-002 where the voice has none.
    """
    words = " ".join("".join(c if c.isprintable() else " " for c in text).split())
    if not words or len(words) > LONGEST_TEXT:
        raise refuse(
            "VOI-003", f"A sentence of {len(words)} characters is not spoken.", f"Send 1 to {LONGEST_TEXT} characters."
        )
    if not SLOWEST <= speed <= QUICKEST:
        raise refuse("VOI-003", f"A speed of {speed:g} is out of range.", f"Give {SLOWEST} to {QUICKEST}; 1 is usual.")
    rate_hz, samples = voice.speak(words, speed)
    return wave_of(rate_hz, samples)


def wave_of(rate_hz: int, samples: bytes) -> bytes:
    """Mono 16-bit samples as a WAV file: RIFF header, ``fmt`` chunk (PCM), ``data`` chunk (Microsoft/IBM, RIFF specification 1.0, 1991).

    >>> len(wave_of(22050, bytes(4)))
    48
    """
    form = struct.pack("<HHIIHH", 1, 1, rate_hz, rate_hz * 2, 2, 16)
    size = 4 + 8 + len(form) + 8 + len(samples)
    return (
        b"RIFF"
        + struct.pack("<I", size)
        + b"WAVEfmt "
        + struct.pack("<I", len(form))
        + form
        + b"data"
        + struct.pack("<I", len(samples))
        + samples
    )
