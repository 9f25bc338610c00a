"""Each entry breaks one line in a copy of the source; the named tests must then turn red. First of all they must be green on an unbroken copy.

A sabotage that can no longer be applied (its line is gone) is red too: find the line's successor, or the guard has been lost.
"""

from __future__ import annotations

import compileall
import os
import shutil
import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

import pytest
from tests.forked import Forks, forks

ROOT = Path(__file__).resolve().parents[2]
SOURCE = ROOT / "src" / "coppermend"


@dataclass(frozen=True, slots=True)
class Sabotage:
    """Replace ``old`` by ``new`` in ``file`` (below src/coppermend); ``tests`` go to pytest and must fail."""

    name: str
    file: str
    old: str
    new: str
    tests: tuple[str, ...]


WIRES = "tests/facts/test_rework_wires.py"
GAUGE = "tests/facts/test_rework_gauge.py"
RECORD = "tests/facts/test_record_pages.py"
STORE = "tests/ports/test_store_settings.py"
OHMS = "tests/facts/test_copper_resistance.py"
BELIEF = "tests/facts/test_belief_exact.py"
POLICIES = "tests/facts/test_practice_definitions.py"
UNKNOWN = "tests/properties/test_unknown_copper.py"
CONTRACT = "tests/docs/test_code.py::test_import_contracts"
TOUCH = "tests/properties/test_touch.py"
LAN = "tests/api/test_lan.py"
WAVES = "tests/facts/test_wave_measure.py"

SABOTAGES = (
    Sabotage(
        "unknown copper: pins paired as if the copper between were known",
        "core/planning/risk.py",
        "    if v not in risk.frame.roots:",
        "    if True:",
        (UNKNOWN + "::test_a_supply_asks_only_for_its_pins_in_the_area",),
    ),
    Sabotage(
        "unknown copper: not hung along the readings",
        "core/copper/unknown.py",
        "if site is not None and head != name and head not in groups.roots:",
        "if False:",
        (UNKNOWN + "::test_only_readings_that_tie_all_pins_prove_a_net",),
    ),
    Sabotage(
        "areas stay behind when a part's place is marked",
        "services/around.py",
        "    if copper_is_known(board):",
        "    if True:",
        ("tests/api/test_places.py::test_marks_place_the_parts_and_the_area_follows",),
    ),
    Sabotage(
        "templates: the solder side not mirrored",
        "core/board/templates.py",
        "number: (round(at[0] + flip * (c * x - s * y), 6) + 0.0",
        "number: (round(at[0] + (c * x - s * y), 6) + 0.0",
        ("tests/facts/test_formats_pinlist.py::test_the_solder_side_is_mirrored",),
    ),
    Sabotage(
        "wires: optional pieces never used",
        "core/rework/least.py",
        "for count in range(1, len(tried) + 1):",
        "for count in range(0):",
        (WIRES + "::test_equal_to_brute_force_on_500_random_nets",),
    ),
    Sabotage(
        "wires: the farthest pair of ends instead of the nearest",
        "core/rework/joins.py",
        'for i in np.argsort(flat, kind="stable").tolist():',
        'for i in np.argsort(-flat, kind="stable").tolist():',
        (WIRES + "::test_equal_to_brute_force_on_500_random_nets",),
    ),
    Sabotage(
        "wires: soldered to a chip's leg in its socket",
        "core/rework/pieces.py",
        'if point.kind == "contact" or (point.kind == "leg" and states.get(point.part) is PartState.SOCKETED):',
        "if False:",
        (WIRES + "::test_no_wire_is_soldered_into_a_socket",),
    ),
    Sabotage(
        "wires: a deliberate cut is bridged again",
        "core/rework/wires.py",
        "if home[at[pin]] in hurt)",
        "if True)",
        (WIRES + "::test_what_was_cut_on_purpose_stays_apart",),
    ),
    Sabotage(
        "gauge: 93 for 92",
        "core/rework/gauge.py",
        "float(92.0 ** ((36 - awg) / 39))",
        "float(93.0 ** ((36 - awg) / 39))",
        (GAUGE,),
    ),
    Sabotage(
        "gauge: Onderdonk with the wrong sign of the ambient",
        "core/rework/gauge.py",
        "(234.0 + ambient_c)",
        "(234.0 - ambient_c)",
        (GAUGE + "::test_onderdonk",),
    ),
    Sabotage(
        "record: words of users not escaped",
        "services/recording/html.py",
        "return escape_markup(printable(words))",
        "return str(printable(words))",
        (RECORD,),
    ),
    Sabotage(
        "record: the solder side is not turned over",
        "services/recording/maps.py",
        'view = _View(x0 - pad, y0 - pad, x1 + pad, y1 + pad, side == "s")',
        "view = _View(x0 - pad, y0 - pad, x1 + pad, y1 + pad, False)",
        (RECORD + "::test_the_solder_side_is_turned_over",),
    ),
    Sabotage(
        "record: places that continuity cannot prove are called proven",
        "services/recording/gather.py",
        "s for s in judgement.at_risk if s not in cannot and",
        "s for s in judgement.at_risk if",
        (RECORD,),
    ),
    Sabotage(
        "store: the commit is left out",
        "adapters/storage/sql.py",
        "self._engine.begin() as line:\n            self._queue",
        "self._engine.connect() as line:\n            self._queue",
        ("tests/ports/test_case_store.py",),
    ),
    Sabotage(
        "store: commits are not synced",
        "adapters/storage/sqlite.py",
        '"synchronous=FULL"',
        '"synchronous=OFF"',
        (STORE + "::test_every_connection_syncs_each_commit",),
    ),
    Sabotage(
        "store: an entry's own SHA-256 is not looked at",
        "adapters/storage/checking.py",
        "if sha256_hex(row.body.encode()) != row.sha256:",
        "if False:",
        ("tests/ports/test_sqlite_faults.py::test_a_changed_entry_and_a_changed_attachment_are_named",),
    ),
    Sabotage(
        "store: a power cut after the commit loses it",
        "adapters/storage/sqlite.py",
        '"synchronous=FULL"',
        '"synchronous=NORMAL"',
        ("tests/ports/test_power_cut.py::test_nothing_acknowledged_is_lost_at_any_cut[loses_all]",),
    ),
    Sabotage(
        "list: what is taken back stays in the line",
        "services/heads.py",
        'if target is not None and target.kind in (*STANDING, "undo"):',
        "if False:",
        ("tests/ports/test_listing.py::test_taking_back_keeps_the_head_right[sqlite]",),
    ),
    Sabotage(
        "bundle: checksums are not held",
        "services/bundling/bag.py",
        "if digest.hexdigest() != self.sums[name]:",
        "if False:",
        ("tests/cli/test_case_hostile_files.py::test_a_file_that_is_not_the_listed_one_is_refused",),
    ),
    Sabotage(
        "store: attachments are not synced",
        "adapters/storage/attachments.py",
        "            os.fsync(file.fileno())\n",
        "",
        (STORE + "::test_an_attachment_is_synced_file_and_folder",),
    ),
    Sabotage(
        "log: undo ignored",
        "core/log/fold.py",
        "return frozenset(gone & {entry.id for entry in ordered})",
        "return frozenset()",
        ("tests/properties/test_log_fold.py",),
    ),
    Sabotage(
        "log: the hash of the entry before is not checked",
        "core/log/chain.py",
        "elif entry.prev != expected_prev:",
        "elif False:",
        ("tests/ports/test_sqlite_faults.py::test_a_changed_entry_and_a_changed_attachment_are_named",),
    ),
    Sabotage(
        "log: an unknown version is read as if it were known",
        "core/log/fold.py",
        "        check_known(entry)\n",
        "        pass\n",
        ("tests/properties/test_log_fold.py::test_a_version_that_is_not_known_is_refused_never_dropped",),
    ),
    Sabotage(
        "gate: an override covers a short that is read after it",
        "core/log/gate.py",
        'one.item == "override" and one.at > worst]',
        'one.item == "override"]',
        ("tests/facts/test_log_gate.py::test_an_override_covers_what_was_known_and_no_later_short",),
    ),
    Sabotage(
        "consent: what was not agreed to is allowed",
        "core/log/consent.py",
        "return act in self.allowed",
        "return act not in self.refused",
        ("tests/facts/test_supplies.py::test_the_owners_latest_word_counts",),
    ),
    Sabotage(
        "hands: a press that changes something speaks for the whole board",
        "core/belief/suspects/hands.py",
        "and of == part and (not pins or pin in pins)",
        "",
        ("tests/facts/test_hands.py::test_pressing_speaks_for_what_is_pressed",),
    ),
    Sabotage(
        "gate: soldering does not close it",
        "core/log/gate.py",
        "fresh = [one for one in gate if one.at > last_soldering]",
        "fresh = list(gate)",
        ("tests/facts/test_log_gate.py",),
    ),
    Sabotage(
        "copper: barrels by the thin-wall formula",
        "core/copper/squares.py",
        "(math.pi * (drill_mm - wall) * wall)",
        "(math.pi * drill_mm * wall)",
        (OHMS + "::test_barrel_by_its_annulus",),
    ),
    Sabotage(
        "copper: a corner counts a whole square",
        "core/copper/squares.py",
        "CORNER_SQUARES = 1.0 - 2.0 / math.pi * math.log(2.0)",
        "CORNER_SQUARES = 1.0",
        (OHMS + "::test_a_right_angle_corner_counts_its_closed_form",),
    ),
    Sabotage(
        "copper: a beep at the joint passes the socket contact",
        "core/copper/pins.py",
        "_site(laid, pin, SiteKind.CONTACT, tip, socket, pin.side",
        "_site(laid, pin, SiteKind.CONTACT, tip, tip, pin.side",
        ("tests/facts/test_copper_parts.py",),
    ),
    Sabotage(
        "copper: holes that are not plated join layers",
        "core/copper/islands.py",
        "np.flatnonzero(here & holes.plated)",
        "np.flatnonzero(here)",
        ("tests/facts/test_copper_islands.py::test_two_tracks_that_met_only_inside_a_bare_hole_are_apart",),
    ),
    Sabotage(
        "copper: clear polarity ignored",
        "core/geometry/polarity.py",
        "np.flatnonzero(dark & filled), np.flatnonzero(~dark & filled)",
        "np.flatnonzero(dark & filled), np.flatnonzero(~dark & ~filled)",
        ("tests/facts/test_board_polarity.py",),
    ),
    Sabotage(
        "copper: two ways round called proven",
        "core/copper/provable.py",
        "if low[node] > order[parent]:",
        "if low[node] >= order[parent]:",
        ("tests/oracles/test_copper_provable.py",),
    ),
    Sabotage(
        "drill: G85 slots ignored",
        "formats/drill/reader.py",
        "G85(?:X({_NUMBER}))?",
        "G95(?:X({_NUMBER}))?",
        ("tests/facts/test_formats_drill.py::test_slots_of_both_kinds",),
    ),
    Sabotage(
        "package: a zip may expand without limit",
        "formats/archive.py",
        "if total > RATIO_FROM_BYTES and total > MAX_RATIO * max(1, packed):",
        "if False:",
        ("tests/facts/test_formats_archive.py",),
    ),
    Sabotage(
        "belief: error_bound always 0",
        "core/belief/network.py",
        "    bound = swept.dropped\n",
        "    bound = 0.0\n",
        (BELIEF + "::test_pruned_states_are_paid_for_in_the_error_bound",),
    ),
    Sabotage(
        "belief: two opens through one bad contact are two witnesses",
        "core/belief/engine.py",
        "contact, (tolerance, cap) = (bench.share, miss), care",
        "contact, (tolerance, cap) = (0.0, miss), care",
        (BELIEF,),
    ),
    Sabotage(
        "belief: that the damage is mild counts as a proof of a site",
        "core/belief/engine.py",
        "return self.sites if self.stated is None else self.stated",
        "return self.sites",
        (BELIEF + "::test_that_the_damage_is_mild_is_no_proof_of_a_site",),
    ),
    Sabotage(
        "belief: the rate of false opens is taken as it is stated",
        "core/belief/readings.py",
        "    if factor == 1.0:\n",
        "    if factor > 0.0:\n",
        (BELIEF + "::test_rates_of_false_opens_are_averaged_by_how_well_they_explain_the_readings",),
    ),
    Sabotage(
        "round: leaves paired with their neighbours, not across the middle",
        "core/planning/trees.py",
        "pairs = [PathPair(order[i], order[i + half]) for i in range(len(order) - half)]",
        "pairs = [PathPair(order[2 * i], order[2 * i + 1]) for i in range(len(order) - half)]",
        ("tests/facts/test_planning_cover.py",),
    ),
    Sabotage(
        "board: nets taken from stated names instead of copper",
        "core/board/build.py",
        "        islands.piece_island[at],\n",
        '        np.unique(texts["net"].astype(str), return_inverse=True)[1].astype(np.int32),\n',
        ("tests/facts/test_board_build.py::test_stripping_every_name_changes_no_island",),
    ),
    Sabotage(
        "board: the netlist's origin shift with the wrong sign",
        "core/board/match.py",
        "np.array([self.sx, self.sy]) + np.array([self.dx_mm, self.dy_mm])",
        "np.array([self.sx, self.sy]) - np.array([self.dx_mm, self.dy_mm])",
        ("tests/facts/test_board_netlists.py",),
    ),
    Sabotage(
        "isolation: everything on the board is a neighbour",
        "core/copper/neighbours.py",
        "pairs = one.shapes.near_pairs(window_mm, other.shapes)",
        "pairs = one.shapes.near_pairs(1000.0, other.shapes)",
        ("tests/facts/test_copper_neighbours.py",),
    ),
    Sabotage(
        "evidence: an open reading still counts after its part was reseated",
        "services/evidence.py",
        'return replace(one, why_not=f"{act.kind} since then may have closed it")',
        "return one",
        ("tests/facts/test_log_evidence.py",),
    ),
    Sabotage(
        "server: any host name is let in",
        "api/guard.py",
        "if host_name(host) not in names:",
        "if False:",
        ("tests/api/test_guard.py",),
    ),
    Sabotage(
        "policies: the star's hub is the worst pin",
        "practice/policies.py",
        "hub = max(inside, key=lambda p: (_degree",
        "hub = min(inside, key=lambda p: (_degree",
        (POLICIES,),
    ),
    Sabotage(
        "policies: opens are not repeated",
        "practice/policies.py",
        '    if said == "open":\n        said = yield a, b\n    return said',
        "    return said",
        (POLICIES + "::test_every_open_reading_is_repeated_once",),
    ),
    Sabotage(
        "belief: a tip's false open ignored",
        "core/belief/readings.py",
        "low_open, low_closed = max(basis.false_open, LEAST_RATE), max(basis.false_closed, LEAST_RATE)",
        "low_open, low_closed = LEAST_RATE, LEAST_RATE",
        (BELIEF,),
    ),
    Sabotage(
        "truth visible to the planner",
        "core/planning/round.py",
        "from __future__ import annotations\n",
        "from __future__ import annotations\n\nimport coppermend.practice\n",
        (CONTRACT,),
    ),
    Sabotage(
        "one touch of the meter is read again without lifting",
        "core/signals/touch.py",
        '    return replace(state, where="lift", tail=()), done',
        '    return replace(state, where="apart", tail=()), done',
        (TOUCH + "::test_every_touch_that_is_held_gives_its_reading_once",),
    ),
    Sabotage(
        "a gap of the meter's ranging counts as lifting the tips",
        "core/signals/touch.py",
        "at_s - since >= rules.lift_s",
        "at_s - since >= 0.0",
        (TOUCH + "::test_a_gap_shorter_than_a_lift_is_the_same_touch",),
    ),
    Sabotage(
        "wrong pairing codes are not counted",
        "services/lan.py",
        "    tries = known.tries + 1",
        "    tries = known.tries",
        (LAN + "::test_a_code_dies_after_five_wrong_tries_and_by_a_newer_one",),
    ),
    Sabotage(
        "a pairing code works twice",
        "services/lan.py",
        "    book.put_code(None)\n    book.put_devices((*devices, made))",
        "    book.put_devices((*devices, made))",
        (LAN + "::test_a_code_is_good_once",),
    ),
    Sabotage(
        "a revoked device stays let in",
        "services/lan.py",
        "if one not in gone))",
        "if True))",
        (LAN + "::test_devices_end_by_time_by_revocation_and_by_number",),
    ),
    Sabotage(
        "the network's door lets everybody in",
        "api/lan.py",
        "        if device is None:\n            return _no(",
        "        if False:\n            return _no(",
        (LAN + "::test_without_a_token_nothing_is_served",),
    ),
    Sabotage(
        "the same answer from two screens is written twice",
        "services/together.py",
        "            return Answered(noted(one), already=True)",
        "            break",
        ("tests/api/test_together.py::test_the_same_answer_from_two_screens_is_one_reading",),
    ),
    Sabotage(
        "the core reads the clock",
        "core/copper/provable.py",
        "from __future__ import annotations\n",
        "from __future__ import annotations\n\nimport time\n",
        (CONTRACT,),
    ),
    Sabotage(
        "waves: the uncertainty of a period forgets how long the record is",
        "core/signals/period.py",
        "return Period(slope, sigma / math.sqrt(spread),",
        "return Period(slope, sigma,",
        (WAVES + "::test_period_uncertainty_by_the_formula_and_by_simulation",),
    ),
    Sabotage(
        "waves: any frequency is right",
        "core/signals/measure.py",
        "    if off > slack + doubt:",
        "    if False:",
        (WAVES + "::test_frequency_right_and_wrong",),
    ),
    Sabotage(
        "waves: state levels lie where the bins lie",
        "core/signals/levels.py",
        "    return float(np.median(near)) if near.size else about",
        "    return about",
        (WAVES + "::test_trapezoid_by_closed_form",),
    ),
    Sabotage(
        "waves: time may go back",
        "formats/waves/table.py",
        "    if least < 0:",
        "    if False:",
        ("tests/facts/test_wave_files.py::test_refused_in_words",),
    ),
    Sabotage(
        "waves: a gate is judged while its inputs change",
        "core/signals/gates.py",
        "    begin = np.maximum(grid, last + wait)",
        "    begin = grid",
        ("tests/facts/test_wave_sets.py::test_good_gates_obey",),
    ),
    Sabotage(
        "alloys: tin in solid lead as the public copy misprints it",
        "core/rework/alloy/gibbs.py",
        "(5510.0, -8.46)",
        "(4150.0, -5.2)",
        ("tests/facts/test_alloy_model.py::test_invariant_temperatures",),
    ),
    Sabotage(
        "alloys: no warning of what freezes last",
        "core/rework/alloy/caution.py",
        "    if found.last_c > WARM_C or found.last_share < WORTH_TELLING:",
        "    if True:",
        ("tests/facts/test_alloy_dose.py::test_warnings_follow_the_alloy",),
    ),
    Sabotage(
        "warming: the laminate's limit above its glass transition",
        "core/rework/heat/limits.py",
        "tg_c - BELOW_TG_K",
        "tg_c + BELOW_TG_K",
        ("tests/facts/test_heat_plan.py::test_the_setting_that_may_stay_on_settles_at_the_limit",),
    ),
)


@pytest.fixture(scope="module")
def copy(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder with a copy of the source, compiled, for all tests of a worker; ``broken`` puts back what it breaks."""
    folder = tmp_path_factory.mktemp("copy")
    shutil.copytree(SOURCE, folder / "coppermend")
    compileall.compile_dir(folder / "coppermend", quiet=1)
    return folder


@pytest.fixture(scope="module")
def runs(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Forks]:
    """Runs of pytest against the copy."""
    with forks(tmp_path_factory.mktemp("runs")) as started:
        yield started


@contextmanager
def broken(copy: Path, one: Sabotage) -> Iterator[None]:
    """The copy with one line broken, whole again afterwards."""
    target = copy / "coppermend" / one.file
    words = target.read_text(encoding="utf-8")
    assert words.count(one.old) >= 1, "the line is gone: find its successor"
    stood = target.stat()
    target.write_text(words.replace(one.old, one.new, 1), encoding="utf-8")
    # never the second of the original: by that and its size Python knows whether what it compiled still holds
    os.utime(target, (stood.st_atime, stood.st_mtime + 60))
    try:
        yield
    finally:
        shutil.copy2(SOURCE / one.file, target)


def test_there_are_enough() -> None:
    assert len(SABOTAGES) >= 20
    assert len({one.name for one in SABOTAGES}) == len(SABOTAGES)


def test_unbroken_copy_is_green(copy: Path, runs: Forks) -> None:
    """Otherwise red below would mean nothing. The copy, not the checkout, is what the tests and the processes they start import."""
    where = subprocess.run(
        [sys.executable, "-c", "import coppermend; print(coppermend.__file__)"],
        cwd=ROOT,
        env={**os.environ, "PYTHONPATH": str(copy)},
        capture_output=True,
        text=True,
        timeout=60,
        check=True,
    )
    assert Path(where.stdout.strip()).is_relative_to(copy)
    code, said = runs.run(copy, tuple(dict.fromkeys(test for one in SABOTAGES for test in one.tests)))
    assert code == 0, said[-3000:]


@pytest.mark.parametrize("one", SABOTAGES, ids=[one.name for one in SABOTAGES])
def test_turns_red(one: Sabotage, copy: Path, runs: Forks) -> None:
    with broken(copy, one):
        code, said = runs.run(copy, one.tests)
    # 1: tests ran and some failed; 2 would be a test that cannot be loaded
    assert code == 1, said[-3000:]
