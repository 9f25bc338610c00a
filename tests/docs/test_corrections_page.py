"""The example on the corrections page is a corrections file that Coppermend takes without a complaint."""

from __future__ import annotations

import re
from pathlib import Path

from coppermend.formats.package import read_corrections
from coppermend.services.board_corrections import builder_corrections

PAGE = Path(__file__).resolve().parents[2] / "docs" / "reference" / "corrections.md"


def test_the_example_is_taken_whole() -> None:
    (example,) = re.findall(r"```toml\n(.*?)```", PAGE.read_text(encoding="utf-8"), re.S)
    file = read_corrections(example.encode(), "coppermend-corrections.toml")
    said, findings = builder_corrections(file)
    assert not file.findings
    assert {finding.code for finding in findings} == {"COR-010"}
    assert len(file.files) == 2 and set(said.parts) == {"U1"} and len(said.net_names) == 2
    assert said.ignore_netlists == ("old.ipc",) and said.origin_shift_mm == (12.7, -3.81) and said.thickness_mm == 1.6
