"""A build says what it does, stage by stage, and ends where it is told to (issue 3: progress by stage, cancel)."""

from __future__ import annotations

from pathlib import Path

import pytest

from coppermend import bootstrap
from coppermend.services.packages import Stopped


def test_board_and_graph_tell_their_stages_in_order(tmp_path: Path) -> None:
    told: list[tuple[str, float]] = []
    bootstrap.open_shelved("demo", tmp_path, progress=lambda words, share: told.append((words, share)))
    shares = [share for _, share in told]
    assert shares == sorted(shares) and shares[0] == 0.0 and 0.9 < shares[-1] <= 1.0
    words = " / ".join(words for words, _ in told)
    for stage in (
        "reading drill files",
        "contacts on",
        "islands",
        "pins, parts",
        "tracks and lands of the solder side",
        "sites",
    ):
        assert stage in words


@pytest.mark.parametrize("at", ["contacts", "tracks and lands of the solder side"])
def test_what_the_listener_raises_ends_the_build_and_keeps_nothing_of_that_stage(at: str, tmp_path: Path) -> None:
    def stop(words: str, _share: float) -> None:
        if words.startswith(at):
            raise Stopped

    with pytest.raises(Stopped):
        bootstrap.open_shelved("demo", tmp_path, progress=stop)
    kept = {path.name.split(".")[1].split("-")[0] for path in tmp_path.glob("*.npz")}
    assert kept == (set() if at == "contacts" else {"board", "drawing"})
