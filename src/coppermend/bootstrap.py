"""Joins adapters to services: the only place that builds adapters."""

from __future__ import annotations

import contextlib
import getpass
import os
import shutil
import sys
import tempfile
from dataclasses import dataclass, replace
from importlib import metadata
from pathlib import Path
from typing import TYPE_CHECKING

import platformdirs

from coppermend.adapters.files.cache import DiskBoards
from coppermend.adapters.files.packages import DiskPackages
from coppermend.adapters.files.version import code_digest
from coppermend.adapters.storage.place import beside_store, is_shared
from coppermend.adapters.storage.system import SystemClock, Uuid7Ids
from coppermend.core.board.model import Board
from coppermend.core.findings import Place, Refusal, refuse
from coppermend.services.graphs import shelved
from coppermend.services.packages import Progress, build_board
from coppermend.services.ports import ShelvedBoard
from coppermend.services.shelf import Builder, MemoryShelf
from coppermend.services.workshop import Workshop

if TYPE_CHECKING:
    import socket
    from collections.abc import Callable
    from typing import IO

    from coppermend.adapters.lan.certificates import Papers
    from coppermend.adapters.storage.sql import SqlStore
    from coppermend.core.circuit.machine import MachineModel
    from coppermend.devices.book import DeviceBook
    from coppermend.services.demo import Machine
    from coppermend.services.health import Look
    from coppermend.services.labels import LabelPrinter
    from coppermend.services.lan import LanBook
    from coppermend.services.learning import LearnedBook
    from coppermend.services.packages import Package, PackageSource
    from coppermend.services.ports import Instruments
    from coppermend.services.powered import PoweredBoard
    from coppermend.services.practice import PracticeSetting
    from coppermend.services.records import Typesetter
    from coppermend.services.speech import Voice
    from coppermend.services.storekeeping import BackedUp, Migrated, Restored
    from coppermend.services.thumbnails import Thumbs
    from coppermend.services.whole_setting import WholeSetting


def workshop(
    store_url: str | None = None,
    cache_dir: str | Path | None = None,
    *,
    author: str | None = None,
    builder: Builder | None = None,
) -> Workshop:
    """A workshop on this machine: the store, the shelf of boards, the clock.

    ``store_url`` a folder, an SQLite file or ``postgresql://SERVER/DATABASE``; None: COPPERMEND_STORE, else the user's data folder. ``cache_dir`` where built boards are kept;
    None: COPPERMEND_CACHE, else the user's cache folder. ``author`` who works here; None: COPPERMEND_AUTHOR, else the login name.
    ``builder`` makes boards of packages; None: this machine's files and disk cache.
    """
    ids = Uuid7Ids()
    return Workshop(
        store=open_store(store_url),
        shelf=MemoryShelf(builder or board_builder(cache_dir)),
        clock=SystemClock(),
        ids=ids,
        author=author if author is not None else who(store_url),
        files=DiskPackages(),
        fields=field_cache(cache_dir),
    )


def open_store(store_url: str | None = None, *, older: bool = False) -> SqlStore:
    """The store of a URL (see ``workshop``). ``older``: also one of an older version, to bring it up. Refusal STO-0xx in words."""
    url = named_store(store_url)
    if url and is_shared(url):
        from coppermend.adapters.storage.place import bench_of_this_computer
        from coppermend.adapters.storage.postgres import PostgresStore

        return PostgresStore(url, bench_of_this_computer(Uuid7Ids().new()), older=older)
    from coppermend.adapters.storage.sqlite import SqliteStore

    return SqliteStore(url, Uuid7Ids().new(), older=older)


def named_store(store_url: str | None = None) -> str | None:
    """The store's URL: as given, else COPPERMEND_STORE; None: the user's data folder."""
    return store_url or os.environ.get("COPPERMEND_STORE") or None


def in_background(made: Workshop, cache_dir: str | Path | None = None) -> Workshop:
    """The same workshop for a server: a board that is not there at once is built in the background, tells its progress and can be stopped."""
    from coppermend.services.building import BuildingShelf
    from coppermend.services.drawing import Drawings

    assert isinstance(made.shelf, MemoryShelf)
    shelf = BuildingShelf(lambda package, told: open_shelved(package, cache_dir, progress=told), made.shelf)
    drawings = Drawings(lambda package: DiskPackages().read(package_path(package)), board_cache(cache_dir))
    return replace(made, shelf=shelf, building=shelf, drawings=drawings)


def cache_folder(cache_dir: str | Path | None = None) -> Path:
    """Where built boards are kept."""
    named = cache_dir or os.environ.get("COPPERMEND_CACHE")
    return Path(named) if named else Path(platformdirs.user_cache_dir("coppermend", appauthor=False))


def who(store_url: str | None = None) -> str:
    """Who works here, for the entries: COPPERMEND_AUTHOR, else the login name, else nothing; behind it the bench's name, where it has one."""
    named = os.environ.get("COPPERMEND_AUTHOR")
    if named is None:
        try:
            named = getpass.getuser()
        except (OSError, KeyError):
            named = ""
    return ", ".join(one for one in (named, bench_name(store_url)) if one)


def bench_name(store_url: str | None = None) -> str:
    """How this bench is called: COPPERMEND_BENCH, else as ``bench name`` kept it beside the store; "" for none."""
    from coppermend.adapters.files.beside import read_beside

    named = os.environ.get("COPPERMEND_BENCH")
    return named if named is not None else read_beside(_bench_file(store_url))


def name_bench(store_url: str | None, name: str) -> str:
    """Give this bench a name (printable, at most 40 letters; "" takes it away); what was kept. Refusal FIL-013."""
    from coppermend.adapters.files.beside import write_beside

    kept = " ".join("".join(c if c.isprintable() else " " for c in name).split())[:40]
    write_beside(_bench_file(store_url), kept)
    return kept


def _bench_file(store_url: str | None) -> Path:
    return beside_store(named_store(store_url)) / "bench-name.txt"


def device_book(store_url: str | None = None) -> DeviceBook:
    """The device book with this user's own chips: the folder COPPERMEND_DEVICES, else ``devices`` beside the store."""
    from coppermend.devices.book import open_book

    named = os.environ.get("COPPERMEND_DEVICES")
    if named:
        return open_book(Path(named))
    return open_book(beside_store(named_store(store_url)) / "devices")


def keeper_of_boards(store_url: str | None = None, folder: Path | None = None) -> Callable[[Package], str]:
    """What keeps packages of bundles on this computer: in ``folder``, None: ``boards`` beside the store."""
    from coppermend.adapters.files.keeping import keep_package

    place = folder or beside_store(named_store(store_url)) / "boards"
    return lambda package: keep_package(place, package)


def learned_book(store_url: str | None = None) -> LearnedBook:
    """The book of what past cases taught: ``learned.json`` beside the store."""
    from coppermend.adapters.files.learnedbook import FileLearned

    return FileLearned(beside_store(named_store(store_url)) / "learned.json")


def small_pictures(cache_dir: str | Path | None = None) -> Thumbs:
    """Where small pictures of photos are kept: ``thumbs`` in the cache folder."""
    from coppermend.adapters.files.thumbs import FolderThumbs

    return FolderThumbs(cache_folder(cache_dir) / "thumbs")


def package_source() -> PackageSource:
    """Reads packages as people name them, the word ``demo`` too."""
    return _Named()


class _Named(DiskPackages):
    def read(self, path: str) -> Package:
        return super().read(package_path(path))


# ---- keeping the store ----
def back_up(store_url: str | None, sink: IO[bytes], scratch: Path) -> BackedUp:
    """Write the whole store into ``sink``: SQLite as a snapshot, PostgreSQL as a bundle. ``scratch`` a folder with room for the database."""
    url = named_store(store_url)
    if not is_shared(url):
        from coppermend.adapters.storage.backup import back_up as back_up_sqlite
        from coppermend.adapters.storage.place import store_place

        return back_up_sqlite(store_place(url), sink, scratch)
    with contextlib.closing(open_store(url, older=True)) as store:
        return _bundled(store, sink)


def _bundled(store: SqlStore, sink: IO[bytes]) -> BackedUp:
    from coppermend.services.bundling.writing import write_bundle
    from coppermend.services.storekeeping import BackedUp

    done = write_bundle(sink, store, [case for _, case in store.numbers()])
    return BackedUp("bundle", done.cases, done.entries, done.attachments)


def restore(store_url: str | None, source: IO[bytes], name: str, *, replace: bool = False) -> Restored:
    """Put a backup (or a bundle) into an empty store. ``replace``: an SQLite store that stands there is put aside. Refusal STO-040, BUN-0xx, STO-0xx."""
    from coppermend.adapters.storage.backup import is_backup
    from coppermend.adapters.storage.backup import restore as restore_sqlite
    from coppermend.adapters.storage.place import store_place
    from coppermend.services.bundling import layout
    from coppermend.services.bundling.reading import open_bundle
    from coppermend.services.bundling.taking import take_in
    from coppermend.services.storekeeping import Restored, copy_store

    url = named_store(store_url)
    snapshot = is_backup(source)
    if snapshot and not is_shared(url):
        done = restore_sqlite(store_place(url), source, name, Uuid7Ids().new(), replace)
        _brought_up(url)
        return done
    bundle = None if snapshot else open_bundle(source, name, layout.FROM_DISK)
    with contextlib.closing(open_store(url)) as store:
        if store.numbers():
            raise refuse(
                "STO-040",
                "The store holds cases already.",
                "Name an empty one with --store (--replace puts an SQLite store aside, no other), or take a bundle in: coppermend bundle import FILE.",
                Place(thing=f"store {store.where}"),
            )
        if bundle is not None:
            found = take_in(store, bundle)
            return Restored(store.where, store.bench, "", found.attachments)
        with tempfile.TemporaryDirectory() as folder:
            restore_sqlite(store_place(folder), source, name, Uuid7Ids().new())
            _brought_up(folder)
            with contextlib.closing(open_store(folder)) as middle:
                copied = copy_store(middle, store)
        return Restored(store.where, store.bench, "", copied.attachments)


def _brought_up(url: str | None) -> None:
    """A restored store of an older version is brought up at once: the backup itself holds it as it was."""
    from coppermend.adapters.storage.schema import SCHEMA_VERSION

    with contextlib.closing(open_store(url, older=True)) as store:
        if store.version < SCHEMA_VERSION:
            store.migrate()


def migrate(store_url: str | None) -> Migrated:
    """Bring a store of an older version up, after a backup beside it. Refusal STO-005 for a newer one, STO-0xx in words."""
    from coppermend.adapters.storage.schema import SCHEMA_VERSION
    from coppermend.services.storekeeping import Migrated

    with contextlib.closing(open_store(store_url, older=True)) as store:
        before = store.version
        backup = _backed_up_first(store, named_store(store_url)) if before < SCHEMA_VERSION else ""
        if backup:
            store.migrate()
        return Migrated(store.where, before, store.version, backup)


def _backed_up_first(store: SqlStore, url: str | None) -> str:
    """Keep the store as it is in a file beside it, whole and synced, before it is changed. Attachments are not changed and stay where they are."""
    from coppermend.adapters.storage.attachments import sync_folder
    from coppermend.adapters.storage.sqlite import SqliteStore

    stamp = SystemClock().now()[:19].replace("-", "").replace(":", "").replace("T", "-")
    folder = beside_store(url) / "backups"
    name = folder / f"version-{store.version}-{stamp}{'.db' if isinstance(store, SqliteStore) else '.zip'}"
    part = name.with_suffix(".part")
    try:
        folder.mkdir(parents=True, exist_ok=True)
        part.unlink(missing_ok=True)
        if isinstance(store, SqliteStore):
            from coppermend.adapters.storage.backup import snapshot

            said = snapshot(store.place, part)
            if said:
                words = f"SQLite reports: {said[0]}; the store was not changed."
                raise refuse("STO-013", words, "Run store check; restore from a backup.", Place(thing=f"store {store.where}"))  # fmt: skip
        else:
            with part.open("wb") as sink:
                _bundled(store, sink)
                sink.flush()
                os.fsync(sink.fileno())
        part.replace(name)
        sync_folder(folder)
    except OSError as err:
        words = f"The store cannot be backed up first: {err.strerror or err}. It was not changed."
        raise refuse("STO-042", words, "Make room, or give yourself the right to write there.", Place(file=str(folder))) from err  # fmt: skip
    finally:
        part.unlink(missing_ok=True)
    return str(name)


# ---- boards ----
def demo_package() -> Path:
    """Where the demonstration machine's fabrication package lies: beside the sources in a checkout."""
    return Path(__file__).resolve().parents[2] / "demo" / "package"


def machine_file() -> Path:
    """The demonstration machine's own file, beside its package: complaint, work areas, what it does on start."""
    return demo_package().with_name("machine.json")


def demo_machine() -> Machine:
    """The demonstration machine as its file describes it. Refusal FIL-001 where there is no checkout, PRA-013 when the file cannot be used."""
    from coppermend.services.demo import machine_of

    try:
        text = machine_file().read_text(encoding="utf-8")
    except (OSError, ValueError) as err:
        words = (
            f"The demonstration machine's file cannot be read: {getattr(err, 'strerror', None) or type(err).__name__}."
        )
        remedy = "Use a checkout of Coppermend; the demonstration machine lies in its demo folder."
        raise refuse("FIL-001", words, remedy, Place(file=machine_file().name)) from None
    return machine_of(text, machine_file().name)


def board_cache(cache_dir: str | Path | None = None) -> DiskBoards:
    """The cache of built boards and graphs, kept apart for each state of the building code."""
    return DiskBoards(cache_folder(cache_dir), code_digest())


def field_cache(cache_dir: str | Path | None = None) -> DiskBoards:
    """The cache of fault sets of boards under power, beside the built boards, kept apart for each state of the code that predicts them."""
    from coppermend.adapters.files.version import predicting_digest

    return DiskBoards(cache_folder(cache_dir), predicting_digest())


def package_path(package: str) -> str:
    """A package as named by a person: the word ``demo`` stands for the demonstration machine (a folder of that name is ``./demo``)."""
    return str(demo_package()) if package == "demo" else package


def open_board(
    package: str, cache_dir: str | Path | None = None, *, fresh: bool = False, progress: Progress | None = None
) -> Board:
    """The board of a package (folder, zip, or ``demo``); ``fresh`` builds it anew. Refusal when it gives no board."""
    cache = board_cache(cache_dir)
    return build_board(DiskPackages(), package_path(package), cache, progress, fresh=fresh)


def compared_with(board: Board, path: str) -> Board:
    """The board with a list of the original board (pin list, netlist, parts list) to compare it with. Refusal when the file is none."""
    from coppermend.services.pinlists import compared_with as with_list

    return with_list(board, DiskPackages().table(path))


def open_shelved(
    package: str, cache_dir: str | Path | None = None, *, fresh: bool = False, progress: Progress | None = None
) -> ShelvedBoard:
    """The board of a package with its copper graph, both kept in the cache; ``fresh`` builds both anew. Refusal when it gives no board."""
    first = _part_of(progress, 0.0, 0.6)
    board = open_board(package, cache_dir, fresh=fresh, progress=first)
    named = package if package == "demo" else str(Path(package).expanduser().absolute())
    cache = board_cache(cache_dir)
    if "cached" not in dict(board.seconds):
        from coppermend.services.drawing import keep_drawing

        keep_drawing(board, cache)
    return shelved(named, board, cache, fresh, _part_of(progress, 0.6, 1.0))


def _part_of(progress: Progress | None, begin: float, end: float) -> Progress | None:
    """What tells a part's progress as that of the whole: the part's 0 to 1 is the whole's ``begin`` to ``end``."""
    if progress is None:
        return None
    return lambda words, share: progress(words, begin + (end - begin) * share)


def board_builder(cache_dir: str | Path | None = None) -> Builder:
    """What builds boards with their graphs for the shelf, on this machine's files and disk cache."""
    return lambda package: open_shelved(package, cache_dir)


def practice_setting(package: str, socket: str = "", machine: str | None = None) -> PracticeSetting:
    """A board to practise on. ``socket``: the part whose socket was changed; ``machine``: a file with more damaged zones (the demonstration machine has its own)."""
    from coppermend.services.practice import machine_areas, setting_of

    made = open_shelved(package)
    file = Path(machine) if machine else machine_file() if package == "demo" else None
    zones = machine_areas(made.board, file.read_text(encoding="utf-8"), file.name) if file and file.exists() else ()
    return setting_of(made.board, made.graph, socket, zones)


def machine_model(package: str, file: str | None = None) -> MachineModel:
    """What a machine's own file (TOML) says; the demonstration machine has its own. Without one: only "starts" and "does not start". Refusal FIL-001, MAC-001, MAC-002."""
    from coppermend.core.circuit.machine import MachineModel
    from coppermend.formats.machinefile import read_machine

    own = demo_package().with_name("machine.toml")
    path = Path(file) if file else own if package == "demo" and own.exists() else None
    if path is None:
        return MachineModel()
    try:
        data = path.read_bytes()
    except OSError as err:
        raise refuse(
            "FIL-001",
            f"The machine file cannot be read: {err.strerror or type(err).__name__}.",
            "Name a TOML file.",
            Place(file=path.name),
        ) from None
    return read_machine(data, path.name)


def powered_setting(
    package: str,
    socket: str = "",
    machine: str | None = None,
    model: str | None = None,
    most: int | None = None,
    store_url: str | None = None,
) -> PoweredBoard:
    """A board to practise on under power, with the work areas of ``practice_setting``. ``model``: the machine's own file; ``most`` fault sets."""
    from coppermend.core.belief.suspects.field import MOST_SETS
    from coppermend.services.powered import powered_board

    setting = practice_setting(package, socket, machine)
    board = open_shelved(package).board
    return powered_board(
        board,
        setting.graph,
        setting.areas,
        device_book(store_url),
        machine_model(package, model),
        most=MOST_SETS if most is None else most,
        keep=field_cache(),
    )


def whole_setting(package: str, socket: str = "", machine: str | None = None, model: str | None = None) -> WholeSetting:
    """A board to repair as a whole in practice: ``practice_setting`` and ``powered_setting`` in one."""
    from coppermend.services.whole_setting import whole_setting as made_of

    setting = practice_setting(package, socket, machine)
    made = powered_setting(package, socket, machine, model)
    return made_of(package, open_shelved(package).board, setting.graph, setting.areas, made)


def practice_workshop() -> Workshop:
    """An empty workshop in memory, for a case that nobody keeps."""
    from coppermend.adapters.storage.heap import HeapStore

    ids = Uuid7Ids()
    return Workshop(
        store=HeapStore(ids.new()),
        shelf=MemoryShelf(board_builder()),
        clock=SystemClock(),
        ids=ids,
        author="practice",
        files=DiskPackages(),
        fields=field_cache(),
    )


def typesetter() -> Typesetter:
    """What sets the record as a PDF; loaded when it is asked for."""
    from coppermend.adapters.files.typesetter import TypstTypesetter

    return TypstTypesetter()


def label_printer() -> LabelPrinter:
    """What sets a machine's label as a PDF; loaded when it is asked for."""
    from coppermend.adapters.files.typesetter import TypstTypesetter

    return TypstTypesetter()


def server_voice() -> Voice:
    """What speaks for browsers without a voice; its library is loaded by the first sentence."""
    from coppermend.adapters.speech.espeak import EspeakVoice

    return EspeakVoice()


def instruments(*, files: bool = False, keep: Callable[[str], None] | None = None) -> Instruments:
    """The instruments of this bench; their library is loaded when one is looked for.

    ``files``: recordings on this computer may be named (never over the network). ``keep`` takes the lines of each conversation.
    """
    from coppermend.adapters.instruments.bench import BenchInstruments

    return BenchInstruments(files=files, keep=keep)


def lan_folder(store_url: str | None = None) -> Path:
    """Where devices, codes and certificates of the local network are kept: ``lan`` beside the store."""
    return beside_store(named_store(store_url)) / "lan"


def lan_book(store_url: str | None = None) -> LanBook:
    """The devices that were let in, and the pairing code of now."""
    from coppermend.adapters.lan.book import FolderBook

    return FolderBook(lan_folder(store_url))


@dataclass(frozen=True, slots=True)
class LanPlace:
    """Where the bench listens on the network: the socket, names it is reached by, its address for people, and its certificate."""

    sock: socket.socket
    names: tuple[str, ...]
    address: str
    papers: Papers


def lan_place(store_url: str | None, wanted: str, ports: tuple[int, ...]) -> LanPlace:
    """Listen on the network, with a certificate for it. ``wanted``: one of this computer's addresses, "" for all. Refusal LAN-007, LAN-008, SRV-001."""
    from coppermend.adapters.lan import addresses, certificates

    address, names = addresses.listening_on(wanted)
    made = certificates.papers(lan_folder(store_url), names)
    sock = addresses.listening(address, ports)
    return LanPlace(sock, names, f"https://{names[0]}:{sock.getsockname()[1]}/", made)


def qr_rows(text: str) -> tuple[str, ...]:
    """A text as a QR picture: rows of "1" (dark) and "0"."""
    from coppermend.adapters.lan import qr

    return qr.rows(text)


def qr_lines(text: str) -> tuple[str, ...]:
    """A text as a QR picture for a terminal."""
    from coppermend.adapters.lan import qr

    return qr.lines(text)


def clock_now() -> str:
    """The time now: ISO 8601, UTC, milliseconds."""
    return SystemClock().now()


def demo_store() -> Path:
    """Where the demonstration keeps its cases: ``.coppermend/demo`` in a checkout, else beside the user's own cases."""
    checkout = demo_package().parents[1]
    if (checkout / "run.py").exists() and os.access(checkout, os.W_OK):
        return checkout / ".coppermend" / "demo"
    return Path(platformdirs.user_data_dir("coppermend", appauthor=False)) / "demo"


# ---- doctor ----
LIBRARIES = (
    "numpy",
    "scipy",
    "shapely",
    "rustworkx",
    "click",
    "fastapi",
    "uvicorn",
    "sqlalchemy",
    "pillow",
    "typst",
    "pyvisa",
    "pyvisa-py",
    "pyserial",
    "trustme",
    "segno",
)


def examine(store_url: str | None = None, cache_dir: str | Path | None = None) -> tuple[Look, ...]:
    """What ``doctor`` looks at: versions, the board cache, the demonstration package, fonts, microphone, instruments, the store, free space, the clock."""
    from coppermend.adapters.files.typesetter import font_families
    from coppermend.adapters.lan.certificates import valid_until
    from coppermend.services import health
    from coppermend.services.health import Look, guarded, look_at_space, look_at_store
    from coppermend.services.instruments import look_at_instruments

    now = clock_now()
    looks = [_versions(), _cache(cache_folder(cache_dir)), _demo(), health.look_at_fonts(font_families())]
    looks.append(guarded("microphone", lambda: health.look_at_microphone(now, valid_until(lan_folder(store_url)))))
    looks.append(guarded("instruments", lambda: look_at_instruments(instruments())))
    try:
        store = open_store(store_url)
    except Refusal as err:
        return (*looks, Look("store", "bad", err.finding.line(), err.finding.remedy))
    folder = beside_store(named_store(store_url))
    looks += [
        guarded("store", lambda: look_at_store(store)),
        look_at_space(str(folder), shutil.disk_usage(folder).free, _size_of(folder)),
        guarded(
            "clock", lambda: health.look_at_clock(now, max((one.head.recorded_at for one in store.heads()), default=""))
        ),
    ]
    store.close()
    return tuple(looks)


def _size_of(folder: Path) -> int:
    """Bytes of the store's files in its folder; 0 for a store on a server."""
    kept = [*folder.glob("*.db"), *folder.glob("*.db-wal"), *folder.glob("attachments/??/*")]
    return sum(one.stat().st_size for one in kept if one.is_file())


def _versions() -> Look:
    from coppermend.services.health import look_at_versions

    found, missing = [], []
    for name in LIBRARIES:
        try:
            found.append((name, metadata.version(name)))
        except metadata.PackageNotFoundError:
            missing.append(name)
    return look_at_versions((sys.version_info.major, sys.version_info.minor), found, missing)


def _cache(folder: Path) -> Look:
    """The board cache may be lost at any time; a folder that cannot be written only costs time."""
    from coppermend.services.health import Look

    try:
        folder.mkdir(parents=True, exist_ok=True)
        with tempfile.TemporaryFile(dir=folder):
            pass
    except OSError as err:
        words = f"{folder} cannot be written ({err.strerror or err}); boards are built anew each time"
        return Look("board cache", "warning", words, "Name another folder with COPPERMEND_CACHE.")
    size = sum(one.stat().st_size for one in folder.rglob("*") if one.is_file())
    return Look("board cache", "ok", f"{folder}, {size / 2**20:.0f} MiB; it may be deleted at any time")


def _demo() -> Look:
    from coppermend.services.health import Look

    folder = demo_package()
    if folder.is_dir():
        return Look("demonstration", "ok", f"{folder}")
    return Look(
        "demonstration",
        "warning",
        "the demonstration package is not here",
        "Use a checkout to try the demonstration machine.",
    )
