"""Bundles: written and read by standard tools (sha256sum, unzip, jq), damaged in every way, merged between benches.

Sources: RFC 8493 (BagIt 1.0: bagit.txt, manifests, Payload-Oxum), RFC 8259 (a JSON text a line), the manual of sha256sum.
"""

from __future__ import annotations

import hashlib
import io
import json
import random
import shutil
import subprocess
import zipfile
from collections.abc import Callable, Iterable
from pathlib import Path

import pytest
from PIL import Image
from tests.cli_runner import Run

from coppermend.bootstrap import demo_package

Store = Callable[[str], None]


@pytest.fixture
def at(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> Store:
    """Work at another bench's store."""
    return lambda name: monkeypatch.setenv("COPPERMEND_STORE", str(tmp_path / name))


@pytest.fixture
def run(plain_run: Run, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Run:
    """Two cases, one with a photo."""
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("COPPERMEND_AUTHOR", "Zoë")
    picture = io.BytesIO()
    Image.new("RGB", (40, 30), "green").save(picture, "PNG")
    (tmp_path / "board.png").write_bytes(picture.getvalue())
    for words in (
        ("case", "new", "--board", "demo", "--title", "Machine Ω"),
        ("case", "new", "--board", "demo", "--title", "Second"),
        ("photo", "1", "board.png", "--words", "before"),
        ("note", "1", "remark", "Grüße, 作業台"),
    ):
        assert plain_run(*words)[0] == 0
    return plain_run


def answer(run: Run, *words: str) -> dict:
    status, out, err = run(*words, "--json")
    assert status == 0, err
    return json.loads(out)


@pytest.mark.skipif(
    not all(map(shutil.which, ("sha256sum", "unzip", "jq"))), reason="not run: needs sha256sum, unzip, jq"
)
def test_a_whole_store_is_read_by_standard_tools_alone(run: Run, tmp_path: Path) -> None:
    done = answer(run, "bundle", "export", "--all", "--to", "all.zip")
    assert (done["cases"], done["attachments"], done["boards"], done["left_out"]) == (2, 1, 1, [])
    folder = tmp_path / "unzipped"

    def tool(*words: str) -> str:
        return subprocess.run(words, cwd=folder, capture_output=True, text=True, check=True).stdout

    subprocess.run(["unzip", "-q", str(tmp_path / "all.zip"), "-d", str(folder)], check=True)
    assert (folder / "bagit.txt").read_text() == "BagIt-Version: 1.0\nTag-File-Character-Encoding: UTF-8\n"
    tool("sha256sum", "--quiet", "--strict", "-c", "manifest-sha256.txt", "tagmanifest-sha256.txt")
    oxum = next(one for one in (folder / "bag-info.txt").read_text().splitlines() if one.startswith("Payload-Oxum"))
    payload = [one for one in (folder / "data").rglob("*") if one.is_file()]
    assert oxum == f"Payload-Oxum: {sum(one.stat().st_size for one in payload)}.{len(payload)}"
    logs = sorted(folder.glob("data/cases/*/log.jsonl"))
    titles = {tool("jq", "-r", 'select(.kind == "case") | .payload.title', str(one)).strip() for one in logs}
    assert titles == {"Machine Ω", "Second"}
    assert sum(int(tool("jq", "-s", "length", str(one))) for one in logs) == done["entries"]
    photo = next(tool("jq", "-r", 'select(.kind == "photo") | .payload.sha256', str(one)).strip() for one in logs if "before" in one.read_text())  # fmt: skip
    assert hashlib.sha256((folder / "data/attachments" / photo).read_bytes()).hexdigest() == photo
    assert (folder / "data/attachments" / photo).read_bytes() == (tmp_path / "board.png").read_bytes()
    (board,) = folder.glob("data/boards/*")
    for file in Path(demo_package()).iterdir():
        assert (board / "package" / file.name).read_bytes() == file.read_bytes()
    # the id of a board as docs/reference/bundle.md describes it, reckoned here anew
    digest = hashlib.sha256()
    about = json.loads((board / "about.json").read_text())
    for one in sorted(about["package"], key=lambda row: row["name"]):
        if one["name"] not in ("coppermend-corrections.toml", "coppermend-map.toml"):
            digest.update(
                one["name"].encode() + b"\0" + one["bytes"].to_bytes(8, "big") + (board / one["file"]).read_bytes()
            )
    assert digest.hexdigest() == board.name == about["package_id"]


def test_a_store_goes_to_an_empty_bench_and_back_without_doubling(run: Run, at: Store, tmp_path: Path) -> None:
    answer(run, "bundle", "export", "--all", "--to", "all.zip")
    assert answer(run, "bundle", "verify", "all.zip")["well"] is True
    at("elsewhere")
    first = answer(run, "bundle", "import", "all.zip")
    assert [one["number"] for one in first["cases"]] == [1, 2] and all(
        one["new"] == one["entries"] for one in first["cases"]
    )
    again = answer(run, "bundle", "import", "all.zip")
    assert [one["new"] for one in again["cases"]] == [0, 0]
    assert run("doctor")[0] == 0
    (board,) = first["boards"]
    assert Path(board["path"]).is_relative_to(tmp_path / "elsewhere" / "boards")
    assert run("case", "board", "1", "--board", board["path"])[0] == 0  # the same package: accepted without --changed
    assert run("next", "1")[0] == 0
    run("note", "1", "remark", "from elsewhere")
    answer(run, "bundle", "export", "1", "--to", "back.zip", "--without-boards")
    at("store")
    run("note", "1", "remark", "meanwhile here")
    back = answer(run, "bundle", "import", "back.zip")
    assert [one["new"] for one in back["cases"]] == [2] and back["boards"] == []
    words = [one["words"] for one in json.loads(run("case", "show", "1", "--json")[1])["notes"]]
    assert sorted(words) == ["Grüße, 作業台", "from elsewhere", "meanwhile here"]


def test_every_entry_of_a_merged_case_can_be_named(run: Run, at: Store, tmp_path: Path) -> None:
    """Both benches count from 1: what the other one wrote stands in the story under the end of its id, by which it can be taken back."""
    run("bundle", "export", "1", "--to", "all.zip")
    at("other bench")
    run("bundle", "import", str(tmp_path / "all.zip"))
    assert run("note", "1", "remark", "written here")[0] == 0
    story = run("case", "show", "1")[1].partition("Where it stands:")[0].splitlines()
    told = [one.split() for one in story if one.startswith("  ") and "Z  " in one]
    names = [one[0] for one in told]
    assert len(set(names)) == len(names) and names[-1] == "1"
    theirs = next(one for one in told if "remark:" in one and "written" not in one)
    status, out, err = run("note", "1", "undo", theirs[0])
    assert status == 0 and "taken back" in out, err
    assert next(one for one in run("case", "show", "1")[1].splitlines() if theirs[0] in one).endswith("[taken back]")


def test_the_same_contents_give_the_same_bytes(run: Run, tmp_path: Path) -> None:
    for name in ("a.zip", "b.zip"):
        answer(run, "bundle", "export", "--all", "--to", name)
    assert (tmp_path / "a.zip").read_bytes() == (tmp_path / "b.zip").read_bytes()


def test_a_board_alone_needs_no_store(run: Run, at: Store, tmp_path: Path) -> None:
    at("never made")
    done = answer(run, "bundle", "export", "--board", "demo", "--to", "board.zip")
    assert (done["cases"], done["boards"]) == (0, 1) and not (tmp_path / "never made").exists()
    assert [one["title"] for one in answer(run, "bundle", "verify", "board.zip")["boards"]] == ["package"]


def test_names_that_no_system_takes_come_back_as_they_were(run: Run, tmp_path: Path, at: Store) -> None:
    folder = tmp_path / "odd board"
    shutil.copytree(Path(demo_package()), folder)
    for name in ("Lötstopp oben.txt", "aux.txt", "a&b.txt"):
        (folder / name).write_text(name)
    (tmp_path / "odd board.parts.csv").write_text("ref,value\nU1,Z80\n")
    answer(run, "bundle", "export", "--board", "odd board", "--to", "odd.zip")
    at("elsewhere")
    (board,) = answer(run, "bundle", "import", "odd.zip", "--boards", "kept")["boards"]
    with zipfile.ZipFile(board["path"]) as kept:
        assert kept.read("Lötstopp oben.txt").decode() == "Lötstopp oben.txt" and kept.read("aux.txt") == b"aux.txt"
    assert (Path(board["path"]).with_suffix(".parts.csv")).read_text() == "ref,value\nU1,Z80\n"


def listing(members: dict[str, bytes], names: Iterable[str]) -> bytes:
    return "".join(f"{hashlib.sha256(members[one]).hexdigest()}  {one}\n" for one in sorted(names)).encode()


def rewritten(data: bytes, change: Callable[[dict[str, bytes]], None], sums: bool = True) -> bytes:
    """A bundle with changed members, its lists of checksums made to fit again (``sums``)."""
    with zipfile.ZipFile(io.BytesIO(data)) as file:
        members = {one: file.read(one) for one in file.namelist()}
    change(members)
    if sums:
        members["manifest-sha256.txt"] = listing(members, (n for n in members if n.startswith("data/")))
        tags = ("bagit.txt", "bag-info.txt", "manifest-sha256.txt", "read-me.txt")
        members["tagmanifest-sha256.txt"] = listing(members, (n for n in tags if n in members))
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w") as file:
        for name, body in members.items():
            file.writestr(name, body)
    return out.getvalue()


def named(members: dict[str, bytes], begin: str, end: str = "") -> str:
    return next(one for one in members if one.startswith(begin) and one.endswith(end))


def drop(begin: str, end: str = "") -> Callable[[dict[str, bytes]], None]:
    return lambda members: members.pop(named(members, begin, end)) and None


def swap(begin: str, old: bytes, new: bytes, end: str = "") -> Callable[[dict[str, bytes]], None]:
    def change(members: dict[str, bytes]) -> None:
        name = named(members, begin, end)
        assert old in members[name]
        members[name] = members[name].replace(old, new)

    return change


def moved(members: dict[str, bytes]) -> None:
    members["data/attachments/" + "0" * 64] = members.pop(named(members, "data/attachments/"))


@pytest.mark.parametrize(
    ("change", "sums", "code"),
    [
        (swap("data/cases/", b"Machine", b"Machina", "log.jsonl"), False, "BUN-003"),
        (swap("data/cases/", b"Machine", b"Machina", "log.jsonl"), True, "LOG-011"),
        (swap("data/attachments/", b"PNG", b"GNP"), False, "BUN-003"),
        (swap("data/attachments/", b"PNG", b"GNP"), True, "BUN-003"),
        (moved, True, "BUN-003"),
        (drop("data/attachments/"), True, "BUN-004"),
        (drop("data/attachments/"), False, "BUN-003"),
        (drop("data/boards/", "about.json"), True, "BUN-007"),
        (drop("data/boards/", "parts.csv"), True, "BUN-007"),
        (swap("data/boards/", b"parts.csv", b"../../../x", "about.json"), True, "BUN-007"),
        (swap("bag-info.txt", b"Bundle: 1", b"Bundle: 2"), True, "BUN-006"),
        (swap("bag-info.txt", b"Coppermend-Bundle: 1\n", b""), True, "BUN-001"),
        (drop("bagit.txt"), True, "BUN-001"),
        (lambda members: members.update({"../../evil": b"x"}), True, "BUN-001"),
        (lambda members: members.update({"data/cases/x/log.jsonl": b""}), True, "BUN-001"),
        (lambda members: members.update({f"data/boards/{'0' * 64}/package/../../evil": b""}), True, "BUN-001"),
        (swap("read-me.txt", b"Repair", b"repair"), False, "BUN-003"),
    ],
)  # fmt: skip
def test_what_is_wrong_is_named_and_nothing_is_taken_in(
    run: Run, at: Store, tmp_path: Path, change: Callable[[dict[str, bytes]], None], sums: bool, code: str
) -> None:
    answer(run, "bundle", "export", "1", "--to", "good.zip")
    (tmp_path / "bad.zip").write_bytes(rewritten((tmp_path / "good.zip").read_bytes(), change, sums))
    at("elsewhere")
    status, out, err = run("bundle", "verify", "bad.zip")
    assert code in out + err and "Traceback" not in err and status == (2 if code in err else 1)
    status, _, err = run("bundle", "import", "bad.zip", "--boards", "kept")
    assert status == 2 and code in err
    assert json.loads(run("case", "list", "--json")[1]) == [] and not (tmp_path / "kept").exists()


def test_every_fault_is_named_at_once(run: Run, tmp_path: Path) -> None:
    answer(run, "bundle", "export", "--all", "--to", "good.zip")

    def both(members: dict[str, bytes]) -> None:
        swap("data/attachments/", b"PNG", b"GNP")(members)
        swap("data/boards/", b"M02*", b"M00*", ".gbr")(members)

    (tmp_path / "bad.zip").write_bytes(rewritten((tmp_path / "good.zip").read_bytes(), both, sums=False))
    status, out, _ = run("bundle", "verify", "bad.zip", "--json")
    found = json.loads(out)
    assert status == 1 and found["well"] is False and len(found["cases"]) == 2
    assert sorted(one["place"]["thing"].split("/")[1] for one in found["findings"]) == ["attachments", "boards"]


def test_a_hundred_random_damages_are_seen_or_harmless(run: Run, at: Store, tmp_path: Path) -> None:
    answer(run, "bundle", "export", "1", "--to", "good.zip", "--without-boards")
    good = (tmp_path / "good.zip").read_bytes()
    at("elsewhere")
    seen, dice = 0, random.Random(9)
    for _ in range(100):
        spot, length = dice.randrange(len(good)), dice.choice((1, 1, 4, 200))
        bad = good[:spot] + dice.randbytes(length) + good[spot + length :] if dice.random() < 0.7 else good[:spot]
        (tmp_path / "bad.zip").write_bytes(bad)
        status, _, err = run("bundle", "verify", "bad.zip")
        assert status in (0, 1, 2) and "CLI-900" not in err
        seen += status != 0
    assert seen > 80


@pytest.mark.parametrize(
    ("words", "code"),
    [
        (("export", "--to", "x.zip"), "BUN-009"),
        (("export", "1", "--all", "--to", "x.zip"), "BUN-009"),
        (("export", "7", "--to", "x.zip"), "CAS-001"),
        (("export", "1", "--to", "nowhere/x.zip"), "CLI-001"),
        (("export", "--board", "nowhere", "--to", "x.zip"), "FIL-001"),
        (("import", "nothing.zip"), "CLI-002"),
        (("import", "board.png"), "BUN-001"),
        (("verify", "board.png"), "BUN-001"),
    ],
)
def test_what_cannot_be_done_is_said(run: Run, words: tuple[str, ...], code: str, tmp_path: Path) -> None:
    status, _, err = run("bundle", *words)
    assert status == 2 and code in err and not (tmp_path / "x.zip").exists()
    assert list(tmp_path.glob(".*.part")) == []


@pytest.mark.parametrize("what", ["LARGEST_LOG", "LARGEST_BOARD"])
def test_what_would_not_fit_into_memory_is_refused_before_it_is_read(
    run: Run, at: Store, monkeypatch: pytest.MonkeyPatch, what: str
) -> None:
    answer(run, "bundle", "export", "1", "--to", "good.zip")
    monkeypatch.setattr(f"coppermend.services.bundling.layout.{what}", 500)
    at("elsewhere")
    status, out, _ = run("bundle", "verify", "good.zip")
    assert status == 1 and "BUN-002" in out
    assert "BUN-002" in run("bundle", "import", "good.zip")[2]


def test_two_copies_of_one_store_that_were_both_written_to_are_refused(run: Run, at: Store, tmp_path: Path) -> None:
    shutil.copytree(tmp_path / "store", tmp_path / "copy")
    run("note", "1", "remark", "here")
    at("copy")
    run("note", "1", "remark", "there")
    before = run("case", "show", "1", "--json")[1]
    at("store")
    answer(run, "bundle", "export", "--all", "--to", "all.zip")
    at("copy")
    status, _, err = run("bundle", "import", "all.zip")
    assert status == 2 and "STO-030" in err and run("case", "show", "1", "--json")[1] == before


def test_a_damaged_store_gives_out_the_rest(run: Run, at: Store, tmp_path: Path) -> None:
    (photo,) = (one for one in (tmp_path / "store" / "attachments").glob("??/*"))
    photo.write_bytes(b"changed")
    status, _, err = run("bundle", "export", "--all", "--to", "all.zip")
    assert status == 2 and "STO-021" in err and not (tmp_path / "all.zip").exists()
    status, out, _ = run("bundle", "export", "--all", "--to", "all.zip", "--rescue", "--json")
    assert status == 1 and [one["what"] for one in json.loads(out)["left_out"]] == [f"attachment {photo.name}"]
    at("elsewhere")
    done = answer(run, "bundle", "import", "all.zip")
    assert len(done["cases"]) == 2 and done["left_out"] == [f"attachment {photo.name}"]
    status, out, _ = run("doctor")
    assert status == 1 and "STO-020" in out


def test_a_refused_bundle_leaves_no_store_behind(plain_run: Run, at: Store, tmp_path: Path) -> None:
    at("fresh")
    with zipfile.ZipFile(tmp_path / "no.zip", "w") as made:
        made.writestr("letter.txt", "no bundle")
    status, _, err = plain_run("bundle", "import", str(tmp_path / "no.zip"))
    assert status == 2 and "BUN-0" in err
    assert not (tmp_path / "fresh").exists()
