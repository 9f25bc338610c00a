"""Does the page's ear hear the meter's beep? The page's own module in Node, offline, over generated sounds; no real meter, no real workshop.

``alarms``: hours of each scene without a beep, and what was taken for an answer (an ear that has learnt a meter of 2730 Hz, -30 dBFS, double
tap on). ``beeps``: beeps of 300 ms at 2.0, 2.7, 3.2 and 4.0 kHz, loud (-20 dBFS) and soft (-30 dBFS), with the scene 10 dB softer than for
``alarms`` ("usual") and as loud as there ("loud"). Scenes: silence, noise, hammering, voice (a speech-like voice of our own) and, where the
optional package espeakng-loader is installed, spoken (English sentences in many voices).
Arguments: hours of each scene (default 3), beeps of each scene (default 1000), seed (default 1).
"""

from __future__ import annotations

import json
import random
import shutil
import subprocess
import sys
import threading
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from typing import Any

from coppermend.adapters.speech.espeak import EspeakVoice
from coppermend.core.findings import Refusal

HERE = Path(__file__).resolve().parent
ORDER = ("silence", "noise", "hammering", "voice", "spoken")
SCENES = ("noise", "hammering", "voice", "spoken")
RATE_HZ = 48000
VOICE = EspeakVoice()
LEVEL_RMS = 0.05  # -26 dBFS over a sentence
VOICES = ("en", "en-us", "en-gb-scotland", "en+f2", "en+f4", "en-us+m3", "en+f5", "en-us+m7", "de", "fr", "it", "pl")


def sentences(rand: random.Random) -> str:
    """A few sentences of bench talk and prose, from the project's own documents."""
    text = " ".join(one.read_text(encoding="utf-8") for one in sorted((HERE.parent / "docs").rglob("*.md"))[:12])
    words = [w for w in text.split() if w.strip(".,;:").isalpha()]
    at = rand.randrange(len(words) - 40)
    return " ".join(words[at : at + rand.randint(8, 30)])


def spoken(pipe: Any, seed: int) -> None:
    """Writes speech to a pipe until the other side has had enough: 48000 samples a second, 16 bits, pauses between the sentences."""
    import numpy as np

    rand = random.Random(seed)
    try:
        while True:
            rate, raw = VOICE.speak(sentences(rand), rand.uniform(0.8, 1.5), rand.choice(VOICES), rand.randint(20, 80))
            wave = np.frombuffer(raw, "<i2").astype(float) / 32768
            if not len(wave):
                continue
            there = np.arange(int(len(wave) * RATE_HZ / rate)) * rate / RATE_HZ
            wave = np.interp(there, np.arange(len(wave)), wave)
            wave *= LEVEL_RMS / max(1e-6, float(np.sqrt(np.mean(wave**2))))
            quiet = np.random.default_rng(seed).normal(0, 3e-4, int(rand.uniform(0.1, 0.8) * RATE_HZ))
            out = np.concatenate([np.clip(wave, -0.99, 0.99), quiet])
            pipe.write((out * 32767).astype("<i2").tobytes())
    except (BrokenPipeError, ValueError):
        pass


def measure(job: dict[str, Any]) -> dict[str, Any]:
    """One job in Node."""
    words = [str(shutil.which("node")), str(HERE / "beep_sounds" / "measure.mjs"), json.dumps(job)]
    run = subprocess.Popen(words, stdin=subprocess.PIPE, stdout=subprocess.PIPE)
    assert run.stdin is not None and run.stdout is not None
    if job["scene"] == "spoken":
        threading.Thread(target=spoken, args=(run.stdin, job["seed"]), daemon=True).start()
    answer: dict[str, Any] = json.loads(run.stdout.read())
    run.wait()
    return answer


def told(job: dict[str, Any]) -> dict[str, Any]:
    """One job; its row is said at once, so that a long run that is stopped is not lost."""
    row = measure(job)
    print(json.dumps(row), file=sys.stderr, flush=True)
    return row


def table(rows: list[dict[str, Any]]) -> list[str]:
    """The rows of a run as the lines of the tables in docs/how-to/hear-the-beep.md: false alarms, then beeps."""
    alarms: dict[str, list[float]] = {}
    for row in rows:
        if row["what"] == "alarms":
            had = alarms.setdefault(row["scene"], [0.0, 0, 0])
            found = row["learnt"]
            alarms[row["scene"]] = [had[0] + row["hours"], had[1] + found["closed"], had[2] + found["open"]]
    lines = ["| scene, no beep in it | hours | heard as closed | heard as open |", "|---|---|---|---|"]
    lines += [
        f"| {scene} | {hours:.2f} | {closed:.0f} | {opened:.0f} |" for scene, (hours, closed, opened) in alarms.items()
    ]
    lines += [
        "",
        "| scene | its level | beep | beeps | missed | answers without a beep | 95th percentile |",
        "|---|---|---|---|---|---|---|",
    ]
    for row in sorted((r for r in rows if r["what"] == "beeps"), key=lambda r: (r["gain_db"], ORDER.index(r["scene"]))):
        for level, one in row["levels_dbfs"].items():
            heard = one["learnt"]
            lines.append(
                f"| {row['scene']} | {'loud' if row['gain_db'] == 0 else 'usual'} | {level} dBFS | {one['beeps']} | {heard['missed_percent']:.1f} % |"
                f" {one['answers_without_a_beep']} | {heard['p95_ms']:.0f} ms |"
            )
    return lines


def run(arguments: list[str]) -> dict[str, Any]:
    """The benchmark; says so when there is no Node, and which speech there was."""
    if shutil.which("node") is None:
        return {"not_run": "no Node on this machine"}
    hours = float(arguments[0]) if arguments else 3.0
    count = int(arguments[1]) if len(arguments) > 1 else 1000
    seed = int(arguments[2]) if len(arguments) > 2 else 1
    scenes = list(SCENES)
    try:
        VOICE.speak("one")
    except Refusal as err:
        scenes.remove("spoken")
        missing = err.finding.words
    else:
        missing = ""
    jobs: list[dict[str, Any]] = [{"what": "alarms", "scene": s, "hours": hours, "seed": seed} for s in scenes]
    for gain in (-10, 0):
        jobs += [
            {"what": "beeps", "scene": s, "count": count, "length_ms": 300, "seed": seed, "gain_db": gain}
            for s in ["silence", *scenes]
        ]
    with ThreadPoolExecutor(2) as pool:
        done = list(pool.map(told, jobs))
    return {"seed": seed, "spoken_left_out": missing, "results": done}
