"""The page's own files, kept in memory packed and unpacked, and its documents with every module named at once.

A page of some seventy small modules that import one another is loaded in as many rounds as the imports are deep. Named in the document
(``modulepreload``) they all come in the first. Nothing is built: the names are read from the modules' own import lines.

A document names them under an address that changes with their bytes (``/page/of/MARK/map/map.js``), so that a browser keeps them and a second opening
asks for none. Modules import each other by relative names and stay under that address, workers too.
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

KEPT = "max-age=31536000, immutable"
"""What lies under an address of its own bytes never changes (RFC 8246)."""

FRESH = "max-age=10, must-revalidate"
"""Long enough that a worker has the modules that its page has just loaded, too short to meet a program that was renewed."""

SCRIPT = re.compile(r"""<script type="module"[^>]* src="/page/([^"]+)">""")
IMPORTED = re.compile(r"""^(?:import|export)\s(?:[^'"]*?\sfrom\s)?\s*'(\.[^']+)'""", re.MULTILINE)

MARKED = re.compile(r"^of/([0-9a-f]{20})/(.+)$")
NAMED = re.compile(r"""((?:src|href)=")/page/([^"]+\.(?:js|css|svg))\"""")
OPEN_TO_ALL = ("pair.html",)
"""Documents that a device which is not let in yet may read: what they need is let through by its plain name."""


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
        self._kept: dict[str, tuple[object, PageFile]] = {}
        self._marked: dict[str, int] = {}
        self._mark = ""

    def answer(self, name: str, request: Request) -> Response:
        """The file of that name (``map/map.js``, ``of/MARK/map/map.js``) as a response; 304 where the browser has it. HTTPException 404 where there is none."""
        marked = MARKED.match(name)
        if marked is None:
            return _sent(self._file(name), request)
        file = self._file(marked[2])
        as_marked = marked[1] == self._mark and self._kept[marked[2]][0] == (self._marked.get(marked[2]), "")
        return _sent(file, request, KEPT if as_marked else FRESH)

    @property
    def mark(self) -> str:
        """The mark of all files that documents name: another one as soon as a byte of one of them is another."""
        found = {
            one.relative_to(self._folder).as_posix(): one.stat().st_mtime_ns
            for one in sorted(self._folder.rglob("*"))
            if one.suffix in (".js", ".css", ".svg")
        }
        if found != self._marked:
            whole = sha256()
            for name in found:
                whole.update(f"{name}\n{sha256((self._folder / name).read_bytes()).hexdigest()}\n".encode())
            self._marked, self._mark = found, whole.hexdigest()[:20]
        return self._mark

    def _file(self, name: str) -> PageFile:
        path = self._there(name)
        kind = TYPES.get(path.suffix) if path else None
        if path is None or kind is None:
            raise HTTPException(404, "Not Found")
        document = path.suffix == ".html"
        changed = (path.stat().st_mtime_ns, self.mark if document else "")
        known = self._kept.get(name)
        if known is None or known[0] != changed:
            raw = path.read_bytes()
            known = self._kept[name] = (changed, _file_of(kind, self._named(raw, name) if document else raw))
        return known[1]

    def _there(self, name: str) -> Path | None:
        """The file by its one plain name; None for any other way to write it, and for what no file can be called."""
        try:
            path = (self._folder / name).resolve()
            plain = path.is_relative_to(self._folder) and path.relative_to(self._folder).as_posix() == name
            return path if plain and path.is_file() else None
        except (ValueError, OSError):
            return None

    def _named(self, html: bytes, name: str) -> bytes:
        """A document with the modules that its scripts import, near and far, named in its head, all under the address of their bytes."""
        scripts = [one for one in SCRIPT.findall(html.decode()) if (self._folder / one).is_file()]
        wanted = dict.fromkeys(one for script in scripts for one in modules_of(self._folder, script))
        links = "".join(f'<link rel="modulepreload" href="/page/{one}">\n' for one in wanted)
        text = html.decode().replace("</head>", f"{links}</head>", 1)
        return (text if name in OPEN_TO_ALL else NAMED.sub(rf'\1/page/of/{self.mark}/\2"', text)).encode()


def _file_of(kind: str, raw: bytes) -> PageFile:
    return PageFile(kind, f'"{sha256(raw).hexdigest()[:20]}"', raw, gzip.compress(raw, 6, mtime=0))


def _sent(file: PageFile, request: Request, keep: str = FRESH) -> Response:
    head = {"etag": file.mark, "cache-control": keep, "vary": "accept-encoding", "content-type": file.kind}
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
