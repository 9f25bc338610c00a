"""The types written in the page's comments, checked strictly by the TypeScript compiler: a wrong field, argument or possible null fails here.

The compiler is fetched by npm into a cache folder; without Node and npm this is not run, and says so.
"""

from __future__ import annotations

import shutil
import subprocess
from pathlib import Path

import pytest
from tests.npm_tools import npm_tool

HERE = Path(__file__).resolve().parent
PAGE = Path(__file__).resolve().parents[2] / "src" / "coppermend" / "page"
TYPESCRIPT = "5.9.3"
FLAGS = (
    "--allowJs", "--checkJs", "--noEmit", "--strict", "--pretty", "false", "--target", "es2022", "--module", "es2022",
    "--moduleResolution", "bundler", "--lib", "es2022,dom,dom.iterable",
)  # fmt: skip


def compiled(files: list[Path]) -> subprocess.CompletedProcess[str]:
    """The compiler's word on these modules and all that they import."""
    compiler = npm_tool("typescript", TYPESCRIPT) / "lib" / "tsc.js"
    words = [shutil.which("node") or "node", str(compiler), *FLAGS, *(str(one) for one in files)]
    return subprocess.run(words, cwd=PAGE, capture_output=True, text=True, timeout=300, check=False)


def test_every_module_of_the_page_keeps_its_types() -> None:
    files = sorted(PAGE.rglob("*.js"))
    assert len(files) > 20
    done = compiled([HERE / "worklet.d.ts", *files])
    assert done.returncode == 0, done.stdout


@pytest.mark.parametrize(
    ("line", "complaint"),
    [
        ("export const wrong = canAnswer(null);", "TS2554"),
        ("/** @param {string} a */ export function f(a) { return a.lenght; }", "TS2551"),
    ],
)
def test_the_compiler_would_see_a_fault(tmp_path: Path, line: str, complaint: str) -> None:
    module = tmp_path / "faulty.js"
    module.write_text(
        f"import {{ canAnswer }} from '{(PAGE / 'round' / 'state.js').as_posix()}';\n{line}\ncanAnswer;\n"
    )
    done = compiled([module])
    assert done.returncode != 0 and complaint in done.stdout, done.stdout
