"""The server's voice: a WAV that an independent reader (Python's wave module) reads, refusals in words, and the real voice where it is installed."""

from __future__ import annotations

import io
import sys
import wave

import pytest
from tests.api.conftest import Client

from coppermend.adapters.speech.espeak import EspeakVoice
from coppermend.api.app import create_app
from coppermend.core.findings import Refusal
from coppermend.services.speech import spoken_wave
from coppermend.services.workshop import Workshop

SENTENCE = "Tip A: U seven, pin thirty. Tip B: J two, pin four. Solder side."


class Parrot:
    """A voice that gives one sample for each letter."""

    def __init__(self) -> None:
        self.heard: list[tuple[str, float]] = []

    def available(self) -> bool:
        """Always there."""
        return True

    def speak(self, text: str, speed: float = 1.0) -> tuple[int, bytes]:
        """One sample a letter."""
        self.heard.append((text, speed))
        return 22050, b"\x01\x02" * len(text)


def read(data: bytes) -> tuple[int, int, int, int]:
    """Channels, bytes a sample, rate, samples."""
    with wave.open(io.BytesIO(data)) as one:
        return one.getnchannels(), one.getsampwidth(), one.getframerate(), one.getnframes()


def test_a_sentence_comes_back_as_a_wave_file(shop: Workshop) -> None:
    parrot = Parrot()
    client = Client(create_app(shop, parrot))
    assert client.request("GET", "/api/speech").json() == {"available": True}
    answer = client.request("POST", "/api/speech", json={"text": "U  seven\n", "speed": 0.8})
    assert answer.status_code == 200 and answer.headers["content-type"] == "audio/wav"
    assert read(answer.content) == (1, 2, 22050, len("U seven"))
    assert parrot.heard == [("U seven", 0.8)]


@pytest.mark.parametrize(
    "body", [{"text": ""}, {"text": "x" * 401}, {"text": "x", "speed": 9}, {"text": "x", "voice": "en"}]
)
def test_anything_else_is_refused(shop: Workshop, body: dict[str, object]) -> None:
    parrot = Parrot()
    answer = Client(create_app(shop, parrot)).request("POST", "/api/speech", json=body)
    assert answer.status_code == 422 and answer.json()["words"] and parrot.heard == []


def test_the_service_refuses_what_cannot_be_spoken() -> None:
    for text, speed in (("\n \x00", 1.0), ("x", 0.1)):
        with pytest.raises(Refusal, match="VOI-003"):
            spoken_wave(Parrot(), text, speed)


def test_without_the_optional_part_the_server_says_so(shop: Workshop, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(sys.modules, "espeakng_loader", None)  # importing it raises ImportError
    answer = Client(create_app(shop, EspeakVoice())).request("POST", "/api/speech", json={"text": "U seven"})
    assert (answer.status_code, answer.json()["code"]) == (503, "VOI-001")
    assert "coppermend[voice]" in answer.json()["remedy"]


def test_the_real_voice_speaks_longer_when_slowed() -> None:
    voice = EspeakVoice()
    if not voice.available():
        pytest.skip("not run: the optional package espeakng-loader is not installed")
    usual, slow = (read(spoken_wave(voice, SENTENCE, speed)) for speed in (1.0, 0.6))
    assert usual[:2] == (1, 2) and usual[2] >= 16000
    seconds = usual[3] / usual[2]
    assert 2 < seconds < 12  # sixteen words at about 165 a minute: 5.8 s
    assert slow[3] > 1.2 * usual[3]
