"""A command line's words made into a request: ``note CASE KIND POINT [POINT] [VALUE] [words]``."""

from __future__ import annotations

import re
from collections.abc import Callable, Sequence
from dataclasses import replace

from coppermend.core.board.model import PartState
from coppermend.core.copper.model import CopperGraph
from coppermend.core.findings import Refusal, refuse
from coppermend.core.log.canonical import Json
from coppermend.core.log.kinds import CONDITIONS, LEVELS, READINGS
from coppermend.core.log.values import is_value, parse_value
from coppermend.services.bind import bind
from coppermend.services.payloads import INNER, PLACE, wire_fields
from coppermend.services.points import known_part, wire_end
from coppermend.services.requests import NOTE_KINDS, PART_KINDS, PLACE_KINDS, TIPS, UNIT, Request
from coppermend.services.workshop import Workshop


def request_from_words(workshop: Workshop, case: str, kind: str, words: Sequence[str]) -> Request:
    """The request that a command line's words make: ``note CASE KIND POINT [POINT] [VALUE] [words]``.

    Points come first, then the value, the rest is free words. With no points, closed, open, ohms and skip answer the current check.
    """
    kind = kind.lower()
    if kind not in NOTE_KINDS:
        raise refuse(
            "NOT-001", f"There is nothing to note by the kind {kind!r}.", f"Kinds are {', '.join(NOTE_KINDS)}."
        )
    reader = _WORD_READERS.get(kind, _words_rest)
    rest, condition = _condition(kind, list(words))
    rest, tool = _taken_with(kind, rest)
    made = reader(workshop, case, kind, rest)
    more = {name: word for name, word in (("condition", condition), ("with", tool)) if word}
    return replace(made, fields={**made.fields, **more}) if more else made


def _condition(kind: str, words: list[str]) -> tuple[list[str], str]:
    """The words without when=CONDITION, and that condition. Refusal NOT-007 for one that is none.

    >>> _condition("level", ["U1.6", "low", "when=cold"])
    (['U1.6', 'low'], 'cold')
    """
    said = [one for one in words if one.lower().startswith("when=")]
    if not said or kind not in READINGS:
        return words, ""
    wanted = said[-1][5:].strip().lower().replace("_", " ")
    if wanted not in CONDITIONS:
        raise refuse("NOT-007", f"{said[-1][5:]!r} is no condition.", f"Say one of: {', '.join(CONDITIONS)}.")
    return [one for one in words if one not in said], wanted


def _taken_with(kind: str, words: list[str]) -> tuple[list[str], str]:
    """The words of a level without with=INSTRUMENT, and that instrument.

    >>> _taken_with("level", ["U1.6", "low", "with=probe"])
    (['U1.6', 'low'], 'probe')
    """
    said = [one for one in words if one.lower().startswith("with=")]
    if not said or kind != "level":
        return words, ""
    return [one for one in words if one not in said], said[-1][5:]


def _words_rest(workshop: Workshop, case: str, kind: str, words: list[str]) -> Request:
    return Request(kind, words=" ".join(words))


def _words_tips(workshop: Workshop, case: str, kind: str, words: list[str]) -> Request:
    fields: dict[str, Json] = {}
    if kind == "cut" and "stays" in (said := [one.lower() for one in words]):
        fields["stays"] = True
        words.pop(said.index("stays"))
    if kind == "cut" and words and (PLACE.fullmatch(words[0]) or INNER.fullmatch(words[0])):
        return Request(kind, (words[0],), words=" ".join(words[1:]), fields=fields)
    least, most = TIPS[kind]
    if kind == "ohms":
        fields, words = _ohms_how(words)
    points: list[str] = []
    while words and len(points) < most and not (len(points) >= least and _is_value_of(kind, words[0])):
        if len(points) >= least and not _is_point(workshop, case, words[0]):
            break
        if (
            kind in ("closed", "open", "ohms", "skip")
            and not points
            and not _is_point(workshop, case, words[0])
            and (_is_value_of(kind, words[0]) or len(words) != 2)
        ):
            break
        points.append(words.pop(0))
    value = words.pop(0) if words and kind in (*UNIT, "level") else ""
    if kind == "patch":
        value, words = " ".join(words), [] if wire_fields(" ".join(words)) else words
    found = points or _current_tips(workshop, case, kind)
    return Request(kind, tuple(found), value, words=" ".join(words), fields=fields)


def _ohms_how(words: list[str]) -> tuple[dict[str, Json], list[str]]:
    """How ohms were read, taken out of the words: 4wire or 2wire, step=1m (the last digit), zeroed (the meter showed 0 with its tips on each
    other) or leads=0.21 (so much was taken off), sense P Q, and 1.2mV@500mA as the value.

    >>> _ohms_how(["A", "B", "1mV@500mA", "4wire", "sense", "P", "Q"])
    ({'volt': 0.001, 'ampere': 0.5, 'wires': 4, 'sense': ['P', 'Q']}, ['A', 'B', '0.002'])
    >>> _ohms_how(["A", "B", "0.31", "2wire", "zeroed"])
    ({'wires': 2, 'lead_ohm': 0.0}, ['A', 'B', '0.31'])

    A drop below nothing was read with the tips of the voltage the other way round: it is kept as read the right way round.

    >>> _ohms_how(["A", "B", "-1mV@500mA", "sense", "P", "Q"])
    ({'volt': 0.001, 'ampere': 0.5, 'sense': ['Q', 'P'], 'wires': 4}, ['A', 'B', '0.002'])
    """
    fields: dict[str, Json] = {}
    rest: list[str] = []
    left = list(words)
    turned = False
    while left:
        word = left.pop(0)
        low = word.lower()
        volt, at, ampere = word.partition("@")
        if at and is_value(volt, "volt") and is_value(ampere, "ampere"):
            v, i = parse_value(volt, "volt"), parse_value(ampere, "ampere")
            if v is None or not i:
                raise refuse("NOT-002", f"{word} gives no ohms.", "Write it like 1.2mV@500mA, the current not 0.")
            turned = v / i < 0
            fields |= {"volt": abs(v), "ampere": abs(i)}
            rest.append(f"{abs(v / i):.9g}")
        elif low.replace("-", "") in ("4wire", "2wire"):
            fields["wires"] = int(low[0])
        elif low.startswith("step=") and is_value(word[5:], "ohm"):
            fields["step_ohm"] = parse_value(word[5:], "ohm")
        elif low == "zeroed":
            fields["lead_ohm"] = 0.0
        elif low.startswith("leads=") and is_value(word[6:], "ohm"):
            fields["lead_ohm"] = parse_value(word[6:], "ohm")
        elif low == "sense" and len(left) >= 2:
            fields["sense"] = [left.pop(0), left.pop(0)]
            fields.setdefault("wires", 4)
        else:
            rest.append(word)
    if turned:
        tips = fields.get("sense")
        if not isinstance(tips, list):
            what = "A drop below nothing gives no ohms: the tips of the voltage stand the other way round than those of the current."
            raise refuse("NOT-002", what, "Turn the meter's tips and read again.")
        fields["sense"] = tips[::-1]
    return fields, rest


def _is_value_of(kind: str, word: str) -> bool:
    unit = UNIT.get(kind)
    return (unit is not None and is_value(word, unit)) or (kind == "level" and word.lower() in LEVELS)


def _is_point(workshop: Workshop, case: str, word: str) -> bool:
    try:
        wire_end(bind(workshop, case).graph, word)
    except Refusal as err:
        return err.finding.code == "PNT-002"
    return True


def _current_tips(workshop: Workshop, case: str, kind: str) -> list[str]:
    """The points of the current check, for an answer given without naming them."""
    from coppermend.services.bench import next_for_case

    if kind not in ("closed", "open", "ohms", "skip"):
        return []
    step = next_for_case(workshop, case)
    if step.check is None:
        raise refuse(
            "NOT-002", f"{kind} without points answers the current check, and there is none.", "Name both points."
        )
    return [step.check.point_a, step.check.point_b]


def _words_part(workshop: Workshop, case: str, kind: str, words: list[str]) -> Request:
    part = words.pop(0) if words else ""
    fields, words = _act_fields(words)
    state = ""
    if words and kind in ("fit", "state"):
        joined = " ".join(words)
        state = next(
            (str(one) for one in PartState if joined.lower().startswith(str(one))), "" if kind == "fit" else joined
        )
        words = joined[len(state) :].split() if joined.lower().startswith(state) else []
    return Request(kind, part=part, value=state, words=" ".join(words), fields=fields)


def _act_fields(words: list[str]) -> tuple[dict[str, Json], list[str]]:
    """What an act did and with which chips, taken out of the words: effect=none, with=C7, out=C3, trial (put back afterwards).

    >>> _act_fields(["with=C7", "trial", "effect=none", "took", "long"])
    ({'with': 'C7', 'trial': True, 'effect': 'none'}, ['took', 'long'])
    """
    fields: dict[str, Json] = {}
    rest = []
    for word in words:
        name, equals, text = word.partition("=")
        if equals and name.lower() in ("effect", "with", "out"):
            fields[name.lower()] = text.lower() if name.lower() == "effect" else text
        elif word.lower() == "trial":
            fields["trial"] = True
        else:
            rest.append(word)
    return fields, rest


def _words_place(workshop: Workshop, case: str, kind: str, words: list[str]) -> Request:
    """A part, points or only words; for look also ``sound`` or ``bad``; for heat the value."""
    graph = bind(workshop, case).graph
    part, points = "", []
    if words and _is_part(graph, words[0]):
        part = words.pop(0)
    while words and not part and (_is_bare(kind, words[0]) or _is_point(workshop, case, words[0])):
        points.append(words.pop(0))
    value = words.pop(0) if words and kind == "heat" else ""
    fields: dict[str, Json] = {}
    if kind in ("clean", "press", "tap"):
        fields, words = _act_fields(words)
    if kind == "look" and words and words[0].lower() in ("sound", "good", "fine", "bad"):
        fields["sound"] = words.pop(0).lower() != "bad"
    return Request(kind, tuple(points), value, part, " ".join(words), fields)


def _is_bare(kind: str, word: str) -> bool:
    """Whether a word names a place on the board where something was cleared."""
    return kind == "clean" and PLACE.fullmatch(word) is not None


def _is_part(graph: CopperGraph, word: str) -> bool:
    try:
        known_part(graph, word)
    except Refusal:
        return False
    return True


def _words_gate(workshop: Workshop, case: str, kind: str, words: list[str]) -> Request:
    item = words.pop(0).lower() if words else ""
    fields: dict[str, Json] = {"item": item}
    if item == "limit":
        amperes = [parse_value(one, "ampere") for one in words if is_value(one, "ampere")]
        words = [one for one in words if not is_value(one, "ampere")]
        fields |= dict(zip(("limit_a", "abort_a"), amperes, strict=False))
    if item == "supply" and words and is_value(words[0], "volt"):
        fields["volt"] = parse_value(words[0], "volt")
    return Request(kind, words=" ".join(words), fields=fields)


def _words_value(workshop: Workshop, case: str, kind: str, words: list[str]) -> Request:
    """power on|off ..., progress STATE."""
    if kind == "progress":
        return Request(kind, value=" ".join(words))
    return Request(kind, value=words[0] if words else "", words=" ".join(words[1:]))


def _words_symptom(workshop: Workshop, case: str, kind: str, words: list[str]) -> Request:
    """code=NAME (a screen of the machine's file) and free words; without words the name alone is what there is to say."""
    named = [word[5:] for word in words if word.lower().startswith("code=") and len(word) > 5]
    free = " ".join(word for word in words if not word.lower().startswith("code="))
    if not named:
        return Request(kind, words=free)
    return Request(kind, words=free or named[-1], fields={"code": named[-1]})


def _words_seen(workshop: Workshop, case: str, kind: str, words: list[str]) -> Request:
    """screen=..., sound=..., smell=..., heat=..., current=..., the rest free words."""
    fields: dict[str, Json] = {}
    free = []
    for word in words:
        name, equals, text = word.partition("=")
        if equals and name in ("screen", "sound", "smell", "heat"):
            fields[name] = text
        elif equals and name == "current":
            fields["current_a"] = parse_value(text, "ampere")
        else:
            free.append(word)
    return Request(kind, words=" ".join(free), fields=fields)


def _words_test(workshop: Workshop, case: str, kind: str, words: list[str]) -> Request:
    """ITEM works|fails|not tested ..."""
    text = " ".join(words)
    found = re.search(r"\b(works|fails|not tested)\b", text)
    if not found:
        return Request(kind, fields={"item": text})
    return Request(
        kind, value=found[1], words=text[found.end() :].strip(), fields={"item": text[: found.start()].strip()}
    )


def _words_undo(workshop: Workshop, case: str, kind: str, words: list[str]) -> Request:
    return Request(kind, undoes=words[0] if words else "")


_WORD_READERS: dict[str, Callable[[Workshop, str, str, list[str]], Request]] = {
    **dict.fromkeys(TIPS, _words_tips),
    **dict.fromkeys(PART_KINDS, _words_part),
    **dict.fromkeys(PLACE_KINDS, _words_place),
    "gate": _words_gate,
    "power": _words_value,
    "progress": _words_value,
    "seen": _words_seen,
    "symptom": _words_symptom,
    "test": _words_test,
    "undo": _words_undo,
}
