"""The voice of espeak-ng, by the optional package espeakng-loader (``pip install 'coppermend[voice]'``); nothing else is needed, no network.

espeak-ng is GPL-3.0-or-later; it is not part of Coppermend and is loaded only where the user installed it. Its C interface: speak_lib.h.
"""

from __future__ import annotations

import ctypes
import importlib
import importlib.util
import threading
from typing import Any

from coppermend.core.findings import refuse

SYNCHRONOUS = 2  # speak_lib.h: AUDIO_OUTPUT_SYNCHRONOUS, samples come by the callback
DO_NOT_EXIT = 0x8000  # espeakINITIALIZE_DONT_EXIT
UTF8 = 1  # espeakCHARS_UTF8
RATE, PITCH, RANGE = 1, 3, 4  # espeak_PARAMETER
CALLBACK = ctypes.CFUNCTYPE(ctypes.c_int, ctypes.POINTER(ctypes.c_short), ctypes.c_int, ctypes.c_void_p)
NORMAL_WORDS_PER_MINUTE = 165
REMEDY = "Use a browser that has a voice, or read the words on the screen; they are the same."


class EspeakVoice:
    """Speaks sentences as 16-bit mono samples. One at a time; the library is loaded by the first sentence."""

    def __init__(self) -> None:
        self._door = threading.Lock()
        self._library: Any = None
        self._rate_hz = 0
        self._pieces: list[bytes] = []
        self._callback = CALLBACK(self._take)

    def available(self) -> bool:
        """Whether the optional package is installed; it is not loaded to find out."""
        return importlib.util.find_spec("espeakng_loader") is not None

    def speak(self, text: str, speed: float = 1.0, voice: str = "en", pitch: int = 50) -> tuple[int, bytes]:
        """Sample rate in Hz and the samples (16 bits, little-endian, mono) of a text. ``speed`` 0.4 to 2, ``pitch`` 0 to 99.

        Refusal VOI-001 where the optional package is not installed, VOI-002 where it does not load or speak.
        """
        with self._door:
            library = self._opened()
            library.espeak_SetVoiceByName(voice.encode())
            library.espeak_SetParameter(RATE, round(NORMAL_WORDS_PER_MINUTE * speed), 0)
            library.espeak_SetParameter(PITCH, pitch, 0)
            self._pieces.clear()
            words = text.encode("utf-8")
            if library.espeak_Synth(words, len(words) + 1, 0, 0, 0, UTF8, None, None) != 0:
                raise refuse("VOI-002", "The server's voice did not speak the sentence.", REMEDY)
            library.espeak_Synchronize()
            return self._rate_hz, b"".join(self._pieces)

    def _take(self, samples: Any, count: int, _events: Any) -> int:
        if samples and count > 0:
            self._pieces.append(ctypes.string_at(samples, 2 * count))
        return 0

    def _opened(self) -> Any:
        if self._library is not None:
            return self._library
        try:
            loader = importlib.import_module("espeakng_loader")
        except ImportError as err:
            raise refuse(
                "VOI-001",
                "This server has no voice: its optional part 'voice' is not installed.",
                "Install it with: pip install 'coppermend[voice]'.",
            ) from err
        try:
            library = ctypes.CDLL(loader.get_library_path())
            library.espeak_Synth.argtypes = [
                ctypes.c_char_p, ctypes.c_size_t, ctypes.c_uint, ctypes.c_int, ctypes.c_uint, ctypes.c_uint, ctypes.c_void_p, ctypes.c_void_p,
            ]  # fmt: skip
            rate_hz = library.espeak_Initialize(SYNCHRONOUS, 0, loader.get_data_path().encode(), DO_NOT_EXIT)
        except (OSError, RuntimeError, AttributeError) as err:
            raise refuse("VOI-002", f"The server's voice could not be loaded ({err}).", REMEDY) from err
        if rate_hz <= 0:
            raise refuse("VOI-002", "The server's voice could not be started; its data files were not found.", REMEDY)
        library.espeak_SetSynthCallback(self._callback)
        self._library, self._rate_hz = library, rate_hz
        return library
