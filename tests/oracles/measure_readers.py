"""Time of our readers against gerbonara's on every file of a package: ``python -m tests.oracles.measure_readers FOLDER``.

Alternating runs in one process, six pairs, the first thrown away, medians of processor seconds (shared/measures.md). Ours includes making the shapes
in mm; gerbonara's is opening alone, which leaves macros and arcs unmade. Files that gerbonara refuses count for both sides up to
where it stops.
"""

from __future__ import annotations

import logging
import statistics
import sys
import time
import warnings
from collections.abc import Callable
from pathlib import Path

from coppermend.formats.drill import read_drill
from coppermend.formats.gerber import read_gerber
from coppermend.formats.ipcd356 import read_ipcd356
from coppermend.formats.member import Member
from coppermend.formats.package import Format
from coppermend.formats.package.sniff import format_of


def _ours(path: Path, form: Format) -> int:
    data = path.read_bytes()
    if form is Format.GERBER:
        return len(read_gerber(data, path.name))
    if form is Format.DRILL:
        return len(read_drill(data, path.name))
    return len(read_ipcd356(data, path.name).records)


def _theirs(path: Path, form: Format) -> int:
    from gerbonara import ExcellonFile, GerberFile
    from gerbonara.ipc356 import Netlist

    try:
        if form is Format.GERBER:
            return len(GerberFile.open(path).objects)
        if form is Format.DRILL:
            return len(ExcellonFile.open(path).objects)
        return len(Netlist.open(path).test_records)
    except SyntaxError:
        return -1


def _seconds(read: Callable[[Path, Format], int], files: list[tuple[Path, Format]]) -> float:
    begin = time.process_time()
    for path, form in files:
        read(path, form)
    return time.process_time() - begin


def main(folder: Path) -> None:
    """Prints one line: files, medians in seconds, their ratio, files that gerbonara refuses."""
    warnings.simplefilter("ignore")
    logging.disable(logging.CRITICAL)
    wanted = (Format.GERBER, Format.DRILL, Format.IPCD356)
    known = [(p, format_of(Member(p.name, p.read_bytes()))) for p in sorted(folder.iterdir()) if p.is_file()]
    files = [(p, f) for p, f in known if f in wanted]
    refused = [p.name for p, f in files if _theirs(p, f) < 0]
    pairs = [(_seconds(_theirs, files), _seconds(_ours, files)) for _ in range(6)][1:]
    theirs, ours = (statistics.median(column) for column in zip(*pairs, strict=True))
    print(
        f"{folder.name}: {len(files)} files, gerbonara {theirs:.2f} s, ours {ours:.2f} s, ratio {ours / theirs:.2f}, refused {refused}"
    )


if __name__ == "__main__":
    for name in sys.argv[1:]:
        main(Path(name))
