"""What a case says beside readings, as the record shows it: the intake, the supply, what was looked at, its chips, counted starts. Pure."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence

from coppermend.core.copper.model import CopperGraph
from coppermend.core.log.state import Area, CaseState, ChipCheck, IntakeNote, StartsNote, SupplyReading
from coppermend.core.log.values import ampere_words, volt_words
from coppermend.services.chips import NOT_MUTE, chip_cards
from coppermend.services.intake import ACT_WORDS, ASKS, intake_of
from coppermend.services.looks import Conflict, Over, Said, look_conflicts, overs_of, said_of
from coppermend.services.recording.saying import SIDES, in_words, some, stamp

MEASURED_AT = {"alone": "by itself", "connector": "at the board's connector", "far": "far from the connector"}
CHECKED = {
    "free": "every leg free of solder",
    "orientation": "the right way round",
    "type": "the right type",
    "speed": "fast enough",
    "legs": "legs straight",
    "seat": "seated tight",
    "joined": "joined from leg to track",
}

INTAKE_NAMES: Sequence[str] = ("Asked", "Answer", "When")
SUPPLY_NAMES: Sequence[str] = ("Rail", "Measured", "Found", "Remark")
LOOK_NAMES: Sequence[str] = ("Entry", "Where", "What was seen", "How it stands")
CHIP_NAMES: Sequence[str] = ("Chip", "Type", "From", "Where it was", "What is known of it")
CHECK_NAMES: Sequence[str] = ("Part", "Looked at", "Good", "Remark")
START_NAMES: Sequence[str] = ("When", "Condition", "Good starts", "Remark")

Row3 = tuple[str, str, str]
Row4 = tuple[str, str, str, str]
Row5 = tuple[str, str, str, str, str]


def intake_rows(state: CaseState) -> tuple[Row3, ...]:
    """(item, answer, when) of what was asked at arrival; () while nothing was, with what was not asked yet once something was."""
    now = intake_of(state)
    if all(one.last is None for one in now.rows):
        return ()
    rows = []
    for one in now.rows:
        said = _answer(one.last) if one.last is not None else "not asked"
        rows.append((ASKS[one.item][0], said, stamp(one.last.observed_at) if one.last is not None else ""))
    return tuple(rows)


def _answer(one: IntakeNote) -> str:
    """An answer of the intake in words.

    >>> _answer(IntakeNote("", 0, "limit", "", None, 80.0, "EUR", (), (), ""))
    '80 EUR'
    >>> _answer(IntakeNote("", 0, "consent", "ask first", False, None, "", ("cut track",), (), ""))
    'no: cut a track; ask first'
    """
    told = [] if one.yes is None else ["yes" if one.yes else "no"]
    if one.acts:
        acts = ", ".join(ACT_WORDS.get(act, act) for act in one.acts)
        told = [f"{told[0]}: {acts}" if told else acts]
    if one.amount is not None:
        told.append(f"{one.amount:g} {one.currency}".strip())
    if one.words:
        told.append(one.words)
    if one.photos:
        told.append(some(len(one.photos), "photo"))
    return "; ".join(told)


def supply_rows(state: CaseState) -> tuple[Row4, ...]:
    """(rail, where, measured, remark) of every supply reading, in the order of the log."""
    return tuple((one.rail, _where(one), _measured(one), one.words) for one in state.supply)


def _where(one: SupplyReading) -> str:
    where = MEASURED_AT[one.place]
    return f"{where}, at {one.part}" if one.part else where


def _measured(one: SupplyReading) -> str:
    """What was measured of a rail in words.

    >>> _measured(SupplyReading("", 0, "+5V", "alone", 5.05, "", 1.0, 0.012, None, 0.02, (), ""))
    '5.05 V with 1 A drawn, ripple 12 mV, up after 20 ms'
    """
    said = [volt_words(one.volt)]
    if one.load_a is not None:
        said[0] += f" with {ampere_words(one.load_a)} drawn"
    if one.ripple_v is not None:
        said.append(f"ripple {volt_words(one.ripple_v)}")
    if one.noise_v is not None:
        said.append(f"noise {volt_words(one.noise_v)}")
    if one.rise_s is not None:
        said.append(f"up after {one.rise_s * 1000:.3g} ms")
    return ", ".join(said)


def look_rows(state: CaseState, graph: CopperGraph) -> tuple[Row4, ...]:
    """(entry, where, what was seen, how it stands) of looks: whole sides and single findings, in the order of the log."""
    against = {entry: one for one in look_conflicts(state, graph) for entry in one.entries}
    rows = [(one.at, _found(one, against.get(one.entry))) for one in said_of(state, graph)]
    areas = {one.id: one for one in state.areas}
    rows += [(one.at, _over(one, areas[one.area])) for one in overs_of(state)]
    return tuple((str(at + 1), *row) for at, row in sorted(rows))


def _found(one: Said, against: Conflict | None) -> Row3:
    side, place = SIDES.get(one.side, ""), in_words(one.place)
    where = f"{place}, {side}" if side and side not in place else place
    return where, one.finding if one.seen else f"looked for {one.finding}: not there", _stands(one, against)


def _stands(one: Said, against: Conflict | None) -> str:
    if one.why_not or against is None:
        return one.why_not or "as seen"
    return f"contradicted and not settled: {against.words}"


def _over(one: Over, area: Area) -> Row3:
    name = area.label or f"{area.part} {area.kind}".strip()
    return f"work area {name}, {SIDES[one.side]}", "looked over whole", one.why_not or "as seen"


def chip_rows(
    state: CaseState, mute: Mapping[str, str] = NOT_MUTE, conflicts: Sequence[Conflict] = ()
) -> tuple[Row5, ...]:
    """(chip, type, from where, where it was, what that says) of every chip the case knows as a piece.

    ``mute`` tries that tell nothing and why; ``conflicts`` where what was noted of chips cannot all be.
    """
    rows = []
    for card in chip_cards(state, mute).values():
        kind = ", ".join(filter(None, (card.type, card.speed)))
        been = "\n".join(f"{one.place}{f': {one.words}' if one.words else ''}" for one in card.stays) or card.place
        odd = [
            f"not settled: {one.words}" for one in conflicts if re.search(rf"\b{re.escape(card.chip)}(?!\w)", one.words)
        ]
        now = [f"now: {card.place}"] if card.place and (not card.stays or card.place != card.stays[-1].place) else []
        rows.append(
            (card.chip, kind, card.origin, "\n".join([been, *now]), "\n".join((card.goodness, *card.says, *odd)))
        )
    return tuple(rows)


def check_rows(state: CaseState) -> tuple[Row4, ...]:
    """(part, what was looked at, result, remark) of chips that went out or in; pins of one check together."""
    return tuple((one.part, CHECKED[one.item], _result(one), one.words) for one in state.chip_checks)


def _result(one: ChipCheck) -> str:
    pins = f" ({'pin' if len(one.pins) == 1 else 'pins'} {', '.join(one.pins)})" if one.pins else ""
    return f"{'yes' if one.good else 'no'}{pins}"


def start_rows(state: CaseState) -> tuple[Row4, ...]:
    """(when, condition, good starts, remark) of starts that were counted."""
    return tuple(
        (stamp(one.observed_at), _condition(one), f"{one.good} of {one.of}", one.words) for one in state.starts
    )


def _condition(one: StartsNote) -> str:
    """Under what was started.

    >>> _condition(StartsNote("", 0, 3, 5, "minutes", "", 20.0, "", "")), _condition(StartsNote("", 0, 3, 5, "heat", "U4", None, "", ""))
    ('after 20 minutes', 'heat on U4')
    """
    if one.condition == "minutes" and one.minutes is not None:
        return f"after {one.minutes:g} minutes"
    return f"{one.condition} on {one.part}" if one.part and one.condition else one.condition or "not said"
