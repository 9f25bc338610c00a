"""A round on paper: printed, filled in at a bench without a screen, and typed back."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from coppermend.core.findings import Place, Refusal, refuse
from coppermend.core.log.state import CaseState
from coppermend.core.log.values import is_value, parse_value
from coppermend.core.planning.model import Check
from coppermend.services.bench import need_areas, round_for_case
from coppermend.services.bind import bind
from coppermend.services.cases import case_state
from coppermend.services.notes import note
from coppermend.services.points import resolve
from coppermend.services.requests import Request
from coppermend.services.workshop import Workshop

ANSWERS = {"c": "closed", "closed": "closed", "o": "open", "open": "open", "x": "skip", "skip": "skip"}
"""What stands in the answer column: c closed, o open, x cannot be reached, or ohms."""

HEAD = "  No  tip A                 tip B                 net               expect   answer"


@dataclass(frozen=True, slots=True)
class TypedBack:
    """How many answers were noted, how many lines held none, how many answers had been typed back before."""

    noted: int
    left_out: int
    known: int = 0

    def as_dict(self) -> dict[str, Any]:
        """The answer as plain JSON values."""
        return {"noted": self.noted, "left_out": self.left_out, "known": self.known}


def round_sheet(workshop: Workshop, case: str) -> str:
    """The round as a sheet: one line a check, an empty column for the answer. Each line names its points, so that it can be typed back at any time."""
    need_areas(workshop, case)
    state, plan = case_state(workshop, case), round_for_case(workshop, case)
    number = workshop.store.number_of(case)
    lines = [
        f"Coppermend round, case {number}: {state.title}" + (f", serial {state.serial}" if state.serial else ""),
        f"{len(plan.checks)} continuity checks (at least {plan.bound} are needed), {len(plan.isolation)} isolation checks.",
        f"Modelled time {plan.seconds / 60:.0f} + {plan.isolation_seconds / 60:.0f} min. The board is unpowered.",
        f"Printed after entry {state.timeline[-1].entry}.",
        "Answer: c closed, o open, x cannot reach, or the ohms (0.4, 4k7). Leave empty what you did not do.",
        "",
        HEAD,
    ]
    for at, check in enumerate((*plan.checks, *plan.isolation), 1):
        if check.turn_over:
            lines.append("      -- turn the board over --")
        if check.clip_now:
            lines.append(f"      -- clip a lead on {check.clip} and leave it --")
        lines.append(_line(at, check))
    return "\n".join(
        [*lines, "", f"Type back: coppermend round {number} --type-back FILE (this text with the answers filled in)"]
    )


def _line(at: int, check: Check) -> str:
    net = check.net_a if check.net_a == check.net_b else f"{check.net_a}/{check.net_b}"
    expect = "closed" if check.purpose == "continuity" else "open"
    return f"{at:>4}  {check.point_a:<20}  {check.point_b:<20}  {net[:16]:<16}  {expect:<7}  [      ]"


def type_back(workshop: Workshop, case: str, text: str) -> TypedBack:
    """Note the answers of a filled-in sheet, all or none: a line that cannot be understood is refused (SHT-001 to SHT-003) before anything is written.

    The same sheet may be typed back again when more of it is filled in: an answer that is in the log from this sheet already counts once.
    """
    lines, empty = _filled_lines(text)
    requests, known = _not_yet_noted(case_state(workshop, case), text, lines)
    if not requests and not known:
        raise refuse("SHT-003", "The sheet holds no answers.", "Fill the column [      ] with c, o, x or ohms.")
    graph = bind(workshop, case).graph
    for place, one in requests:
        for name in one.points:
            try:
                resolve(graph, name)
            except Refusal as err:
                raise refuse(
                    "SHT-001", err.finding.words, f"{err.finding.remedy} Nothing of the sheet was noted.", place
                ) from err
    for _, one in sorted(
        requests, key=lambda line: line[1].kind == "skip"
    ):  # a point set out of reach cannot be read after
        note(workshop, case, one)
    return TypedBack(len(requests), empty, known)


def _filled_lines(text: str) -> tuple[list[tuple[Place, Request]], int]:
    """The lines with an answer as requests, and how many lines have none."""
    lines: list[tuple[Place, Request]] = []
    empty = 0
    for number, line in enumerate(text.splitlines(), 1):
        found = re.match(r"\s*\d+\s+(\S+)\s+(\S+)\s.*?\[([^\]]*)\]?\s*$", line)
        if not found:
            continue
        place = Place(file="sheet", line=number)
        answer = found[3].strip(" _.")
        if answer:
            lines.append((place, _request(found[1], found[2], answer, place)))
        else:
            empty += 1
    return lines, empty


def _not_yet_noted(
    state: CaseState, text: str, lines: Sequence[tuple[Place, Request]]
) -> tuple[list[tuple[Place, Request]], int]:
    """The lines without those that were noted from paper since this sheet was printed, each entry matched once; and how many were left away."""
    printed = re.search(r"^Printed after entry (\S+?)\.?\s*$", text, re.MULTILINE)
    since = next((one.at for one in state.timeline if printed and one.entry == printed[1]), -1)
    noted = Counter(
        (one.kind, tuple(point.id for point in one.points), one.value)
        for one in state.readings
        if one.instrument == "paper" and one.at > since
    )
    noted.update(("skip", tuple(point.id for point in one.points), None) for one in state.skips if one.at > since)
    left: list[tuple[Place, Request]] = []
    for place, one in lines:
        key = (one.kind, one.points, parse_value(one.value, "ohm") if one.kind == "ohms" else None)
        if noted[key] > 0:
            noted[key] -= 1
        else:
            left.append((place, one))
    return left, len(lines) - len(left)


def _request(point_a: str, point_b: str, answer: str, place: Place) -> Request:
    kind = ANSWERS.get(answer.lower())
    if kind is not None:
        return Request(kind, (point_a, point_b), instrument="paper")
    if is_value(answer, "ohm"):
        return Request("ohms", (point_a, point_b), answer, instrument="paper")
    raise refuse(
        "SHT-002",
        f"The answer {answer!r} is not understood.",
        "Write c, o, x or ohms like 0.4 or 4k7. Nothing of the sheet was noted.",
        place,
    )
