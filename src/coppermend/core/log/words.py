"""Entries in words: one short line per entry, as a colleague would say it."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any

from coppermend.core.log.kinds import KINDS, TAKEN_WITH
from coppermend.core.log.model import Entry
from coppermend.core.log.values import ampere_words, hertz_words, ohm_words, volt_words

Payload = Mapping[str, Any]
_INSTRUMENT = dict(zip(TAKEN_WITH, ("a scope", "a logic probe", "a meter", "a logic analyser"), strict=True))


def how_many(count: int, one: str, many: str = "") -> str:
    """A count with its noun.

    >>> how_many(1, "case"), how_many(0, "case"), how_many(2, "entry", "entries")
    ('1 case', '0 cases', '2 entries')
    """
    return f"{count} {one if count == 1 else many or one + 's'}"


def point_names(payload: Payload) -> str:
    """The points of a payload in tip order, joined by "and"."""
    return " and ".join(str(one["id"]) for one in payload.get("points", ()))


def entry_words(entry: Entry) -> str:
    """What an entry says, without who and when.

    >>> from coppermend.core.log.model import Entry
    >>> p = {"points": [{"id": "U1.8/leg"}, {"id": "U7.3/leg"}]}
    >>> entry_words(Entry("i", "c", "b", 1, 1, "", "", "", "", "closed", 1, p))
    'closed: U1.8/leg and U7.3/leg'
    """
    payload = entry.payload
    special = _SPECIAL.get(entry.kind)
    text = special(payload) if special else _plain(payload)
    head = KINDS[entry.kind].words if entry.kind in KINDS else entry.kind
    tail = payload.get("words") if entry.kind not in _SAYS_WORDS else ""
    return f"{head}{': ' if text else ''}{text}" + (f" ({tail})" if tail and text else f": {tail}" if tail else "")


def _plain(payload: Payload) -> str:
    return str(payload.get("part") or "") or point_names(payload)


def _measured(name: str, say: Callable[[float | None], str]) -> Callable[[Payload], str]:
    return lambda payload: f"{point_names(payload) or payload.get('part', '')} {say(payload[name])}".strip()


def _ohms(payload: Payload) -> str:
    how = f", {payload['wires']:g}-wire" if payload.get("wires") else ""
    if payload.get("sense"):
        how += f", voltage at {' and '.join(str(one['id']) for one in payload['sense'])}"
    return f"{point_names(payload)} {ohm_words(payload['ohm'])}{how}".strip()


def with_words(name: str) -> str:
    """What a level was looked at with, as it follows the level; "" where it was not told.

    >>> with_words("probe"), with_words("")
    (', with a logic probe', '')
    """
    return f", with {_INSTRUMENT.get(name, name)}" if name else ""


def _celsius(value: float | None) -> str:
    return "out of range" if value is None else f"{value:g} °C"


def _area(payload: Payload) -> str:
    where = payload.get("label") or payload.get("part") or f"polygon of {len(payload['polygon'])} corners"
    return f"{where}, {payload['kind']}, severity {payload['severity']:g}"


def _starts(payload: Payload) -> str:
    said = f"{payload['good']} of {payload['of']} as they should be"
    if payload.get("condition"):
        where = f" on {payload['part']}" if payload.get("part") else ""
        after = f" {payload['minutes']:g}" if payload.get("minutes") is not None else ""
        said += f", {payload['condition']}{after}{where}"
    return said


def _part_state(payload: Payload) -> str:
    state = payload.get("state")
    return f"{payload.get('part') or point_names(payload)}" + (f", now {state}" if state else "")


_EFFECTS = {"cured": "it works", "changed": "it shows something else", "none": "no change", "worse": "it is worse"}


def _tried(payload: Payload) -> str:
    said = _part_state(payload)
    if payload.get("with"):
        said += f", {payload['with']} in"
    if payload.get("out"):
        said += f", {payload['out']} out"
    if payload.get("trial"):
        said += ", for a try, put back"
    return said + (f": {_EFFECTS[payload['effect']]}" if payload.get("effect") else "")


def _intake(payload: Payload) -> str:
    said = {
        "condition": "condition",
        "before": "what was done before",
        "limit": "cost limit",
        "consent": "consent to what cannot be undone",
        "original": "originality",
        "known good": "display and cables",
        "minimum": "minimum configuration",
    }[payload["item"]]
    if payload.get("amount") is not None:
        said += f" {payload['amount']:g} {payload.get('currency') or ''}".rstrip()
    answer = payload.get("yes")
    if payload["item"] == "consent":
        said += f": {'yes' if answer else 'no'} to {', '.join(map(str, payload.get('acts', ()))) or 'all of it'}"
    elif answer is not None:
        yes, no = {"known good": ("known good", "not known good"), "minimum": ("ready", "not ready")}.get(
            payload["item"], ("yes", "no")
        )
        said += f": {yes if answer else no}"
    photos = len(payload.get("photos", ()))
    return said + (f", {photos} photo{'s' if photos > 1 else ''}" if photos else "")


def _supply(payload: Payload) -> str:
    where = {"alone": "alone", "connector": "at the connector", "far": f"at {payload.get('part') or 'a far chip'}"}
    said = f"{payload['rail']} {where[payload['at']]} {volt_words(payload['volt'])}"
    for key, word, say in (
        ("load_a", "under", ampere_words),
        ("ripple_v", "ripple", volt_words),
        ("noise_v", "noise", volt_words),
    ):
        if payload.get(key) is not None:
            said += f", {word} {say(payload[key])}"
    return said + (f", up after {payload['rise_s'] * 1e3:g} ms" if payload.get("rise_s") is not None else "")


def _chip(payload: Payload) -> str:
    said = [str(payload["chip"])]
    said += [str(payload[key]) for key in ("type", "speed", "goodness") if payload.get(key)]
    said += [f"{word} {payload[key]}" for key, word in (("origin", "from"), ("place", "now")) if payload.get(key)]
    return ", ".join(said) + (f", price {payload['price']:g}" if payload.get("price") is not None else "")


def _chip_check(payload: Payload) -> str:
    good, bad = {
        "free": ("legs free", "legs not free"),
        "orientation": ("right way round", "wrong way round"),
        "type": ("right type", "wrong type"),
        "speed": ("fast enough", "too slow"),
        "legs": ("legs straight", "bent legs"),
        "seat": ("seat tight", "seat loose"),
        "joined": ("leg to track", "no way from leg to track"),
    }[payload["item"]]
    pins = ", ".join(str(one) for one in payload.get("pins", ()))
    return f"{payload['part']} {good if payload['good'] else bad}" + (f", pins {pins}" if pins else "")


def _look(payload: Payload) -> str:
    where = payload.get("part") or point_names(payload)
    if payload.get("finding"):
        return f"{where}: {'' if payload.get('seen', True) else 'no '}{payload['finding']}"
    if payload.get("side"):
        side = {"c": "component side", "s": "solder side"}[payload["side"]]
        return f"over the work area, {side}" + (": nothing more to see" if payload.get("sound") else "")
    if "sound" not in payload:
        return _plain(payload)
    return _plain(payload) + (": sound" if payload["sound"] else ": not sound")


def _patch(payload: Payload) -> str:
    length = payload.get("length_mm")
    return point_names(payload) + (f", {length:.0f} mm" if length else "")


def _cut(payload: Payload) -> str:
    side = {"c": "component side", "s": "solder side"}[payload["side"]]
    between = f"between {point_names(payload)}, " if payload.get("points") else ""
    stays = ", to stay" if payload.get("stays") else ""
    return f"{between}at {payload['x_mm']:.1f}, {payload['y_mm']:.1f} mm, {side}{stays}"


def _map(payload: Payload) -> str:
    says = payload["says"]
    if says == "agreed":
        return "compared with the board: they agree"
    names = point_names(payload)
    return f"{names} joined on this board" if says == "joined" else f"{names}: not on the map's net on this board"


def _gate(payload: Payload) -> str:
    item = {
        "intake": "intake seen to",
        "orientation": "orientation of the parts looked at",
        "rails": "rails measured to ground",
        "supply": "supply proven",
        "limit": "current limit and abort value named",
        "override": "gate passed over on purpose",
    }[payload["item"]]
    named = [
        f"{word} {ampere_words(payload[key])}"
        for key, word in (("limit_a", "limit"), ("abort_a", "abort at"))
        if payload.get(key) is not None
    ]
    return ", ".join([item, *named])


def _power(payload: Payload) -> str:
    return "on" if payload["on"] else "off"


def _seen(payload: Payload) -> str:
    said = [f"{name} {payload[name]}" for name in ("screen", "sound", "smell", "heat") if payload.get(name)]
    if payload.get("current_a") is not None:
        said.append(f"current {ampere_words(payload['current_a'])}")
    return ", ".join(said)


_SPECIAL: dict[str, Callable[[Payload], str]] = {
    "case": lambda p: ", ".join(str(p[k]) for k in ("title", "serial", "complaint") if p.get(k)),
    "board": lambda p: str(p.get("title") or p["package"]),
    "area": _area,
    "photo": lambda p: str(p.get("name") or p["sha256"][:12]),
    "lay": lambda p: f"{'component' if p['side'] == 'c' else 'solder'} side, {p['residual_mm']:.2f} mm",
    "ohms": _ohms,
    "volts": _measured("volt", volt_words),
    "diode": _measured("volt", volt_words),
    "heat": _measured("celsius", _celsius),
    "hertz": _measured("hertz", hertz_words),
    "level": lambda p: f"{point_names(p)} {p['level']}" + with_words(str(p.get("with") or "")),
    "look": _look,
    "remove": _part_state,
    "fit": _tried,
    "swap": _tried,
    "reseat": _tried,
    "clean": _tried,
    "press": _tried,
    "tap": _tried,
    "piggyback": _tried,
    "intake": _intake,
    "supply": _supply,
    "chip": _chip,
    "chipcheck": _chip_check,
    "state": _part_state,
    "patch": _patch,
    "cut": _cut,
    "map": _map,
    "gate": _gate,
    "power": _power,
    "seen": _seen,
    "starts": _starts,
    "symptom": lambda p: ("gone: " if p.get("gone") else "") + str(p["words"]),
    "test": lambda p: f"{p['item']} {p['result']}",
    "care": lambda p: f"{p['procedure']}, {p['step']} {p['state']}",
    "remark": lambda p: str(p["words"]),
    "schematic": lambda p: f"{p.get('name') or 'PDF'}, {p['pages']} pages",
    "freerun": lambda p: f"{len(p['lines'])} address lines",
    "diagnostic": lambda p: (
        f"{p['name']}: passed {p['passed']} steps" + (", stopped there" if p.get("stopped") else "")
    ),
    "memory": lambda p: f"{len(p['errors'])} words",
    "rom": lambda p: f"{p['part']} {p['verdict']}",
    "basis": lambda p: str(p["name"]),
    "practice": lambda p: "a simulated board answers",
    "progress": lambda p: str(p["state"]),
    "waits": lambda p: f"{p['what']}, {p['words']}" + (f", until {p['until']}" if p.get("until") else ""),
}
_SAYS_WORDS = ("symptom", "remark", "waits")
