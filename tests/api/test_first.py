"""What comes first of all the work, as the bench shows it: the same step as the command line names, and no answer waits while it is weighed."""

from __future__ import annotations

import json
from pathlib import Path

import anyio
import pytest
from click.testing import CliRunner
from tests.api.conftest import Client

from coppermend.api.app import create_app
from coppermend.api.everything import done_entry
from coppermend.bootstrap import workshop
from coppermend.cli import cli
from coppermend.core.planning.whole import Named, hand_act
from coppermend.services.areas import add_area
from coppermend.services.bind import bind
from coppermend.services.cases import case_state, new_case
from coppermend.services.intake import note_intake
from coppermend.services.notes import note
from coppermend.services.placewords import places_in_words
from coppermend.services.requests import Request
from coppermend.services.whole_view import WholeStep
from coppermend.services.whole_words import RENEWED
from coppermend.services.workshop import Workshop


def started(shop: Workshop, case: str, screen: str) -> None:
    note(shop, case, Request("gate", value="override", words="a test"))
    note(shop, case, Request("power", value="on"))
    note(shop, case, Request("seen", fields={"screen": screen}))
    note(shop, case, Request("power", value="off"))


def test_before_anything_can_tell_only_the_copper_counts(client: Client, shop: Workshop, case: str) -> None:
    client.post(f"/api/cases/{case}/areas", json={"part": "U1"})
    assert client.get(f"/api/cases/{case}/bench").json()["everything"] is False
    assert client.get(f"/api/cases/{case}/first").json() == {"weighed": False}


@pytest.fixture
def kept(tmp_path: Path, demo_package: Path) -> tuple[Workshop, str, str]:
    """A workshop on disk with a case whose first start showed nothing."""
    store = str(tmp_path / "store")
    shop = workshop(store)
    case = new_case(shop, str(demo_package), "Machine").state.case
    add_area(shop, case, part="U1")
    started(shop, case, "blank")
    return shop, case, store


def test_page_and_command_line_name_the_same_step(kept: tuple[Workshop, str, str]) -> None:
    """After a start that showed nothing: a look; with a supply that is too low: that supply. Both by ``coppermend next`` and by the bench's route."""
    shop, case, store = kept
    client = Client(create_app(shop))
    assert client.get(f"/api/cases/{case}/bench").json()["everything"] is True
    found = client.get(f"/api/cases/{case}/first").json()
    run = CliRunner().invoke(cli, ["--store", store, "next", case, "--json"], catch_exceptions=False)
    told = json.loads(run.output)
    assert (found["weighed"], found["own"], found["kind"], found["leaf"]) == (True, False, "look", "suspects")
    assert found["words"] == places_in_words(bind(shop, case).board, told["words"])
    assert found["seconds"] == pytest.approx(told["seconds"], abs=0.06)
    assert found["mark"] == client.get(f"/api/cases/{case}/bench").json()["mark"]
    # a reading elsewhere does not wait: the board under power is made beside the door, the choice has it ready
    desk = client._app.state.desk
    with desk.beside:  # somebody's board is being made
        points = [client.get(f"/api/cases/{case}/bench").json()["step"]["check"][k] for k in ("point_a", "point_b")]
        noted = client.post(f"/api/cases/{case}/entries", json={"kind": "closed", "points": points})
    assert noted.status_code == 201 and noted.json()["bench"]["progress"]["done"] == 1
    with desk.door:  # an answer is being noted
        anyio.run(anyio.to_thread.run_sync, lambda: desk.board_beside(bind(shop, case)))


def test_a_board_without_a_known_chip_goes_on_with_its_copper(tmp_path: Path) -> None:
    """Nothing of it can be judged under power (EXP-011): after a start the copper's step stands, and it is said why."""
    bare = tmp_path / "bare"
    bare.mkdir()
    (bare / "pins.csv").write_text("part,pin,net\nX1,1,A\nX1,2,B\nX2,1,A\nX2,2,B\n", encoding="utf-8")
    shop = workshop(str(tmp_path / "store"))
    case = new_case(shop, str(bare), "Bare").state.case
    started(shop, case, "blank")
    client = Client(create_app(shop))
    found, own = client.get(f"/api/cases/{case}/first").json(), client.get(f"/api/cases/{case}/bench").json()["step"]
    assert found["own"] is True and found["words"] == own["words"]
    assert any("judged under power" in one for one in found["notes"])


def test_a_supply_that_is_far_off_comes_first(client: Client, shop: Workshop, case: str) -> None:
    """A supply that was measured alone and is far off comes first: its leaf is that of the supply. The supply's limits: +-5 % of the nominal (TTL data books)."""
    client.post(f"/api/cases/{case}/areas", json={"part": "U1"})
    note_intake(shop, case, "known good", yes=True)
    note_intake(shop, case, "minimum", yes=True)
    from coppermend.services.supplyproof import note_supply, supply_now

    rail = supply_now(shop, case).rails[0].want.net
    note_supply(shop, case, rail, "alone", 3.1, load_a=0.5)
    found = client.get(f"/api/cases/{case}/first").json()
    assert (found["kind"], found["leaf"]) == ("mend", "supply") and "supply" in found["words"]


@pytest.mark.parametrize("act", ["reseat", "solder", "clean", "renew"])
def test_work_by_hand_is_noted_by_its_key(client: Client, shop: Workshop, case: str, act: str) -> None:
    """The entry behind the key is taken, and names the part or a joint of the pin that a tip reaches."""
    client.post(f"/api/cases/{case}/areas", json={"part": "U1"})
    step = WholeStep("mend", "", "", 60.0, named=Named("span A2 11", 0.99, "wire", 60.0), item=act, part="U1.32")
    entry = done_entry(bind(shop, case), step)
    assert entry is not None
    noted = client.post(
        f"/api/cases/{case}/entries", json={key: entry[key] for key in ("kind", "part", "points", "words")}
    )
    assert noted.status_code == 201, noted.text
    last = case_state(shop, case).acts[-1]
    assert last.kind == {"renew": "solder"}.get(act, act)
    assert last.part == "U1" or {f"{one.part}.{one.pin}" for one in last.points} == {"U1.32"}
    assert hand_act({"contact", "joint"}, {"renew" if last.words == RENEWED else last.kind}) != act
