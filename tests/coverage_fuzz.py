"""Coverage-guided fuzzing of one reader with atheris, which is no dependency of the project: ``python -m tests.coverage_fuzz READER SECONDS``.

READER: gerber, drill, ipcd356, ipc2581, centroid. Whatever bytes come in, the answer is a value or a Refusal in words, soon; anything else
ends the run and leaves the input in ``.soak/crash-...``. Exit status 0 fine, 1 a fault was found, 2 atheris is not installed.
"""

from __future__ import annotations

import os
import sys
from collections.abc import Callable
from pathlib import Path

ABSENT = "not run: atheris is not installed here (see CONTRIBUTING, long jobs)"
SECONDS_A_TRIAL = 30


def readers() -> dict[str, tuple[Callable[[bytes], object], list[bytes]]]:
    """Each reader with the inputs it starts from."""
    from tests.properties.test_formats_fuzz import DRILLS, GERBERS, NETLISTS, _ipc2581

    from coppermend.formats.centroid import read_centroids
    from coppermend.formats.drill import read_drill
    from coppermend.formats.gerber import read_gerber
    from coppermend.formats.ipc2581 import read_ipc2581
    from coppermend.formats.ipcd356 import read_ipcd356

    return {
        "gerber": (lambda data: read_gerber(data, "f.gbr"), GERBERS),
        "drill": (lambda data: read_drill(data, "f.drl"), DRILLS),
        "ipcd356": (lambda data: read_ipcd356(data, "f.ipc"), NETLISTS),
        "ipc2581": (lambda data: read_ipc2581(data, "f.xml"), _ipc2581()),
        "centroid": (lambda data: read_centroids(data, "f.csv"), [b"Ref,X,Y,Rot,Side\nU1,1.0,2.0,90,top\n"]),
    }


def main(words: list[str]) -> int:
    """Fuzz; never returns when atheris runs (it ends the process)."""
    try:
        import atheris
    except ImportError:
        print(ABSENT)
        return 2
    name, seconds = words
    with atheris.instrument_imports(include=["coppermend.formats"]):
        read, seeds = readers()[name]
        from coppermend.core.findings import Refusal
    home = Path(os.environ.get("COPPERMEND_SOAK", "") or Path(__file__).resolve().parent.parent / ".soak")
    corpus = home / f"corpus-{name}"
    corpus.mkdir(parents=True, exist_ok=True)
    for n, seed in enumerate(seeds):
        (corpus / f"seed{n}").write_bytes(seed)

    def trial(data: bytes) -> None:
        try:
            read(data)
        except Refusal as refusal:
            assert refusal.finding.words and refusal.finding.remedy

    options = [f"-max_total_time={seconds}", f"-timeout={SECONDS_A_TRIAL}", "-rss_limit_mb=1536", "-max_len=8192"]
    atheris.Setup([sys.argv[0], *options, f"-artifact_prefix={home}/", str(corpus)], trial)
    atheris.Fuzz()
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
