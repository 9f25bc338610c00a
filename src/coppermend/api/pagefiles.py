"""The page's own files, kept in memory packed and unpacked, and its documents with every module named at once.

A page of some seventy small modules that import one another is loaded in as many rounds as the imports are deep. Named in the document
(``modulepreload``) they all come in the first. Nothing is built: the names are read from the modules' own import lines.
"""

from __future__ import annotations

import gzip
import re
from dataclasses import dataclass
from hashlib import sha256
from pathlib import Path, PurePosixPath

from fastapi import Request, Response
from starlette.exceptions import HTTPException

TYPES = {
    ".html": "text/html; charset=utf-8",
    ".js": "text/javascript; charset=utf-8",
    ".css": "text/css; charset=utf-8",
    ".svg": "image/svg+xml",
}
"""What a browser is told of a file; a system's own table of types is not asked."""

FRESH = "max-age=10, must-revalidate"
"""Long enough that a worker has the modules that its page has just loaded, too short to meet a program that was renewed."""

SCRIPT = re.compile(r"""<script type="module"[^>]* src="/page/([^"]+)">""")
IMPORTED = re.compile(r"""^(?:import|export)\s(?:[^'"]*?\sfrom\s)?\s*'(\.[^']+)'""", re.MULTILINE)


@dataclass(frozen=True, slots=True)
class PageFile:
    """A file as it is sent: its type, its mark (of the bytes), the bytes and the same packed by gzip."""

    kind: str
    mark: str
    raw: bytes
    packed: bytes


class PageFiles:
    """The files under ``folder``. What changes on disk is read anew."""

    def __init__(self, folder: Path) -> None:
        self._folder = folder.resolve()
        self._kept: dict[str, tuple[int, PageFile]] = {}

    def answer(self, name: str, request: Request) -> Response:
        """The file of that name (``map/map.js``) as a response; 304 where the browser has it. HTTPException 404 where there is none."""
        return _sent(self._file(name), request)

    def _file(self, name: str) -> PageFile:
        path = (self._folder / name).resolve()
        kind = TYPES.get(path.suffix)
        if kind is None or not path.is_relative_to(self._folder) or not path.is_file():
            raise HTTPException(404, "Not Found")
        changed = path.stat().st_mtime_ns
        known = self._kept.get(name)
        if known is None or known[0] != changed:
            raw = path.read_bytes()
            known = self._kept[name] = (changed, _file_of(kind, self._named(raw) if path.suffix == ".html" else raw))
        return known[1]

    def _named(self, html: bytes) -> bytes:
        """A document with the modules that its scripts import, near and far, named in its head."""
        scripts = [one for one in SCRIPT.findall(html.decode()) if (self._folder / one).is_file()]
        wanted = dict.fromkeys(one for script in scripts for one in modules_of(self._folder, script))
        links = "".join(f'<link rel="modulepreload" href="/page/{one}">\n' for one in wanted)
        return html.replace(b"</head>", links.encode() + b"</head>", 1)


def _file_of(kind: str, raw: bytes) -> PageFile:
    return PageFile(kind, f'"{sha256(raw).hexdigest()[:20]}"', raw, gzip.compress(raw, 6, mtime=0))


def _sent(file: PageFile, request: Request) -> Response:
    head = {"etag": file.mark, "cache-control": FRESH, "vary": "accept-encoding", "content-type": file.kind}
    if file.mark in request.headers.get("if-none-match", ""):
        return Response(status_code=304, headers=head)
    if "gzip" in request.headers.get("accept-encoding", ""):
        return Response(file.packed, headers={**head, "content-encoding": "gzip"})
    return Response(file.raw, headers=head)


def imports_of(text: str) -> tuple[str, ...]:
    """The files that a module's own lines import, as written there.

    >>> imports_of("import { h } from './dom.js';\\nimport './early.js';\\nexport { a } from '../b.js';\\nconst c = import('./later.js');\\n")
    ('./dom.js', './early.js', '../b.js')
    """
    return tuple(IMPORTED.findall(text))


def modules_of(folder: Path, module: str) -> tuple[str, ...]:
    """The module and all that it imports, near and far, nearest first; names under ``folder``."""
    found = [module]
    for one in found:
        for said in imports_of((folder / one).read_text(encoding="utf-8")):
            name = PurePosixPath(*_walked(PurePosixPath(one).parent / said)).as_posix()
            if name not in found:
                found.append(name)
    return tuple(found)


def _walked(path: PurePosixPath) -> list[str]:
    out: list[str] = []
    for part in path.parts:
        if part == "..":
            out.pop()
        elif part != ".":
            out.append(part)
    return out
