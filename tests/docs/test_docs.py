"""The documents say what the program does: every command, option, kind and code; the generated parts are fresh; links lead somewhere;
nothing is named that must not be."""

from __future__ import annotations

import ast
import hashlib
import re
import subprocess
from importlib.metadata import distributions
from pathlib import Path

import click
import pytest
from packaging.requirements import Requirement
from packaging.utils import canonicalize_name
from tools import reference

ROOT = Path(__file__).resolve().parents[2]
DOCS = ROOT / "docs"
PAGES = sorted([*DOCS.rglob("*.md"), ROOT / "README.md", ROOT / "CONTRIBUTING.md"])


def text(path: str) -> str:
    """A page of docs."""
    return (DOCS / path).read_text(encoding="utf-8")


@pytest.mark.parametrize("name", reference.PARTS)
def test_generated_parts_are_fresh(name: str) -> None:
    """On red: python tools/reference.py"""
    assert [one[0] for one in reference.stale([name])] == []


COMMANDS = list(reference.commands())


@pytest.mark.parametrize(("name", "command"), COMMANDS, ids=[name for name, _ in COMMANDS])
def test_every_command_and_option_is_documented(name: str, command: click.Command) -> None:
    page = text("reference/cli.md")
    assert f"`{name}" in page
    assert (command.help or "").strip(), "a command says what it does"
    for option in reference.options(command):
        if option.hidden:
            continue
        assert (option.help or "").strip(), f"{option.opts} has no words"
        for written in option.opts:
            assert f"`{written}`" in page, written


def test_the_fixed_names_exist() -> None:
    """Names that measurements and later work depend on (issues 2, 7 and 9, section fixed names)."""
    fixed = (
        "demo", "serve", "doctor", "board build", "board compare", "board path", "board nets", "board graph", "case new", "case list", "case show",
        "case export", "case import", "area add", "next", "note", "record", "practice run", "practice batch", "practice patient", "practice referee",
        "wire gauge", "wire plan", "alloy mix", "bundle export", "bundle import", "bundle verify", "store check", "store backup", "store restore",
        "store migrate", "store copy",
    )  # fmt: skip
    have = {name for name, _ in COMMANDS}
    assert [one for one in fixed if f"coppermend {one}" not in have] == []


def test_every_kind_of_entry_is_documented() -> None:
    from coppermend.core.log.kinds import KINDS

    page = text("reference/log.md")
    assert [kind for kind in KINDS if f"| `{kind}` |" not in page] == []


def test_every_code_is_documented() -> None:
    page = text("reference/errors.md")
    every = reference.codes()
    assert len({one.code for one in every}) > 50
    assert [one.code for one in every if f"| `{one.code}` |" not in page] == []
    said_by_the_page = {
        code
        for path in (ROOT / "src" / "coppermend" / "page").rglob("*.js")
        for code in re.findall(r"PAGE-\d{3}", path.read_text(encoding="utf-8"))
    }
    assert said_by_the_page and said_by_the_page == {one.code for one in reference.page_codes()}


def test_every_refusal_says_what_to_do() -> None:
    """No call of ``refuse`` has an empty remedy."""
    bad = []
    for path in (ROOT / "src").rglob("*.py"):
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.Call) and getattr(node.func, "id", "") == "refuse" and len(node.args) >= 3:
                remedy = node.args[2]
                if isinstance(remedy, ast.Constant) and not re.fullmatch(r"\S.{8,}", str(remedy.value), re.DOTALL):
                    bad.append((path.name, node.lineno, remedy.value))
    assert bad == []


LINK = re.compile(r"\]\(([^)#\s]+)(?:#[^)]*)?\)")


@pytest.mark.parametrize("page", PAGES, ids=lambda p: p.relative_to(ROOT).as_posix())
def test_links_lead_somewhere(page: Path) -> None:
    for target in LINK.findall(page.read_text(encoding="utf-8")):
        if "://" not in target:
            assert (page.parent / target).resolve().exists(), target


def tracked() -> list[Path]:
    """Every text file under version control or about to be."""
    done = subprocess.run(
        ["git", "ls-files", "-co", "--exclude-standard"],
        cwd=ROOT,
        capture_output=True,
        text=True,
        timeout=60,
        check=True,
    )
    binary = {".png", ".jpg", ".webp", ".zip", ".npz", ".pdf", ".woff2"}
    return [
        ROOT / name for name in done.stdout.splitlines() if Path(name).suffix not in binary and (ROOT / name).is_file()
    ]


FILES = tracked()
HOSTS = re.compile(
    "|".join(
        re.escape("".join(parts))
        for parts in (
            ("py", "pi.org"),
            ("python", "hosted.org"),
            ("npm", "js.org"),
            ("npm", "js.com"),
            ("crates", ".io"),
            ("cond", "a.anaconda.org"),
        )
    ),
    re.IGNORECASE,
)
HOME = re.compile(r"(?<![\w.$}\])/])/(?:work|home|root|Users)/[a-z]\w*")


def test_no_registry_is_named() -> None:
    assert [p.name for p in FILES if HOSTS.search(p.read_text(encoding="utf-8", errors="replace"))] == []


def test_locks_hold_hashes_and_no_address() -> None:
    for lock in (ROOT / "locks").glob("*.lock"):
        words = lock.read_text(encoding="utf-8")
        assert "--hash=sha256:" in words
        assert "://" not in words


def test_locks_name_the_extras_that_a_package_asks_of_another() -> None:
    """The pip of Python 3.11 takes ``coverage[toml]`` for another package than ``coverage==7.17.4`` when a newer one is out, and then refuses to set up."""
    pinned = {
        name: set(filter(None, (extras or "").strip("[]").split(",")))
        for name, extras in re.findall(
            r"^([a-z0-9-]+)(\[[^]]*\])?==", (ROOT / "locks" / "test.lock").read_text(encoding="utf-8"), re.MULTILINE
        )
    }
    missing = {
        str(asked)
        for dist in distributions()
        if canonicalize_name(dist.name) in pinned
        for asked in map(Requirement, dist.requires or ())
        if asked.extras and (asked.marker is None or asked.marker.evaluate({"extra": ""}))
        if not asked.extras <= pinned.get(canonicalize_name(asked.name), asked.extras)
    }
    assert missing == set()


def test_no_path_of_one_machine() -> None:
    bad = {
        p.relative_to(ROOT).as_posix(): HOME.findall(p.read_text(encoding="utf-8", errors="replace"))
        for p in FILES
        if p != Path(__file__)
    }
    assert {name: found for name, found in bad.items() if found} == {}


# SHA-256 (first 16 digits) of names that demo data, page and documents must not hold: makers and models of home computers. Hashed, so that this
# file does not hold them either. Common knowledge, no source.
BRANDS = frozenset(
    [
        "cc9e0dc5cdfb5151",
        "d0711972e2a8e2e4",
        "f3c1f895fdb1ac14",
        "3d5c95aa66ecc74e",
        "1fd6202c9bb335c6",
        "ec81dc4b9aa0d454",
        "84f0ceca5ebebf54",
        "39e7269dccaa7d10",
        "a6a749de059c7088",
        "766a1f031d60f26b",
        "4357ef902b58d6cd",
        "17c3272c9452ee23",
        "734cb1a7e57cbd48",
        "dcfa08fcfbede7dc",
        "55f504856a6aa4ce",
        "77e6f78af45f649c",
        "b056acef0cbb82e4",
        "413fedc88760592b",
        "aeadfb4b3ba36c7b",
        "0bdcb056df160c67",
        "275ecd543817b433",
        "28affdb6d66f01f5",
        "6bfbaac71e1cb887",
        "b0d8f22a5df6690c",
        "df7787c5a868b042",
        "f7f9120faf1a31f9",
        "f61d7ebfd10a7802",
        "4557f5fa13621d00",
        "e49734abe83525fe",
        "959bf83dbf964392",
        "3be9076b1836b4d3",
        "f916a6b54fccf4fb",
        "916a98f0fa2a39af",
        "b886fb7f1c248a67",
        "68a28c2215a945f5",
        "a496d694d7bdb42c",
    ]
)


def test_no_brand_of_a_machine() -> None:
    """Demo data, documents, page and command line name no machine that was ever sold."""
    assert len(BRANDS) >= 20
    looked = [
        p
        for p in FILES
        if p.relative_to(ROOT).parts[0] in ("demo", "docs", "README.md") or "page" in p.parts or "cli" in p.parts
    ]
    found = set()
    for path in looked:
        for word in set(re.findall(r"[a-z][a-z0-9]+", path.read_text(encoding="utf-8", errors="replace").lower())):
            if hashlib.sha256(word.encode()).hexdigest()[:16] in BRANDS:
                found.add((path.name, word))
    assert found == set()


def test_measured_numbers_carry_their_command() -> None:
    """A paragraph or table that claims something measured names the command that measures it."""
    missing = []
    for page in PAGES:
        for block in re.split(r"\n\s*\n", page.read_text(encoding="utf-8")):
            claims = (
                re.search(r"\b(was|were|as) measured\b|\bmeasured (on|in|with|by)\b", block)
                and re.search(r"\d", block)
                and "was measured; the command" not in block
            )
            if claims and not re.search(r"`(python|\.venv|coppermend|pytest)[^`]+`", block):
                missing.append((page.name, block[:80]))
    assert missing == []


def test_readme_opens_with_the_job_and_two_commands() -> None:
    page = (ROOT / "README.md").read_text(encoding="utf-8")
    commands = re.findall(r"^python3 run\.py.*$", page, re.MULTILINE)
    assert [one.split("#")[0].strip() for one in commands[:2]] == ["python3 run.py", "python3 run.py test"]
    assert page.index("```") < page.index("![")
    assert (ROOT / "docs" / "pictures" / "bench.png").is_file()
