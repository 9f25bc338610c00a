"""A choice in words, with the points, parts and cautions of the work that it names."""

from __future__ import annotations

from dataclasses import replace

from coppermend.core.planning.whole import COPPER_WORK, TIMES, Choice, Named, Situation, hand_act
from coppermend.services.rails import gate_of
from coppermend.services.suspects import proposed
from coppermend.services.whole_copper import waiting
from coppermend.services.whole_mends import ends_between, ends_of, point_at, read_since_up
from coppermend.services.whole_view import WORKS, WholeStep, WholeView
from coppermend.services.whole_ways import likely, unread_rom, unseated

CAUTION = (
    "Power off and unplugged before anything goes out or in; mind the notch, and static. Hot solder, lead and flux fumes: your local rules first. "
    "Leave mains and picture tubes to people qualified for them."
)
RENEWED = "pin renewed"
"""Words of a soldering entry whose pin got a new contact, leg or land."""


def worded(view: WholeView, now: Situation, choice: Choice) -> WholeStep:
    """The choice as the step to take: its words, and the points, part, rail or item of it."""
    healthy = now.seen == WORKS and not now.tests and not now.shorted
    base = WholeStep(choice.kind, "", choice.why, 0.0, names=now.named, more=now.more, healthy=healthy)
    costs = view.binding.costs
    if choice.kind == "short":
        return replace(
            base,
            words=f"Find what shorts {now.shorted or 'the board'}: ohms by four wires, power off.",
            seconds=TIMES.ohms_s,
            rail=now.shorted,
        )
    if choice.kind in ("copper", "round"):
        return replace(
            base,
            kind="copper",
            words=view.copper.words,
            why=view.copper.reason or choice.why,
            seconds=view.copper.seconds,
            copper=view.copper,
        )
    if choice.kind == "gate":
        missing = gate_of(view.binding).missing
        asks = (*(f"{one.item}: {one.words}" for one in missing), *waiting(view))
        words = f"Before power: {missing[0].words}"
        return replace(base, words=words, item=missing[0].item, copper=view.copper, notes=asks)
    if choice.kind == "power":
        return replace(
            base,
            words="Put power on, look, listen, and note what is seen.",
            seconds=costs.power_s,
            copper=view.copper,
            notes=waiting(view),
        )
    if choice.kind == "look" and view.made is not None:
        found = proposed(view.made, now.looks[choice.which], "")
        return replace(base, words=found.words, seconds=found.step.seconds, look=found, caution=found.caution)
    if choice.kind == "prove" and view.made is not None:
        cause = next(one for one in view.made.field.causes if one.unit == now.unproven[0])
        ends = ends_of(view, cause)
        assert ends is not None
        words = f"Power off; check continuity from {ends[0]} to {ends[1]}: closed proves the mend."
        seconds = costs.read_s + 2 * costs.move_s
        return replace(base, kind="check", words=words, seconds=seconds, check=ends, sites=cause.sites)
    if choice.kind in ("mend", "ask"):
        return _mend_words(view, base, now.named[choice.which])
    if choice.kind == "test" or choice.kind == "memory":
        return replace(
            base,
            kind="memory",
            words="Test the whole memory from a good ROM (coppermend memory note).",
            seconds=TIMES.memory_test_s,
        )
    if choice.kind == "rom":
        part = unread_rom(view)
        return replace(
            base,
            words=f"Power off; take {part} out and compare what it reads with its list (coppermend rom note).",
            seconds=TIMES.rom_read_s,
            part=part,
        )
    if choice.kind == "reseat":
        part = unseated(view)
        return replace(
            base,
            words=f"Power off; press {part} out of its socket and in again.",
            seconds=costs.reseat_s,
            part=part,
        )
    if choice.kind == "likeliest":
        return _mend_likeliest(view, base)
    last = {
        "done": "It starts and its tests passed: protect the repair, test the other functions, hand it over.",
        "other hands": "Nothing is left to try within what the owner agreed to: put it before the owner, or into other hands.",
    }
    return replace(base, words=last.get(choice.kind, choice.why), copper=view.copper)


def _mend_likeliest(view: WholeView, base: WholeStep) -> WholeStep:
    """Mend what is likeliest, though it is not beyond doubt."""
    one = likely(view)
    if one is None:
        return replace(base, kind="other hands", words="Whatever was likely has been mended: put it into other hands.")
    return _mend_words(view, replace(base, kind="ask" if one.consent else "mend"), one)


def _mend_words(view: WholeView, base: WholeStep, one: Named) -> WholeStep:
    base = replace(base, named=one, seconds=one.seconds)
    if base.kind == "ask":
        return replace(
            base,
            words=f"Ask the owner: {one.unit} can only be mended by what cannot be undone ({one.consent or 'the price'}).",
            seconds=TIMES.ask_s,
        )
    part = one.unit.partition(" ")[2]
    if one.act == "supply":
        return replace(base, words="Take another supply and prove it alone.", item="supply")
    if one.act in ("swap", "replace"):
        return replace(base, words=f"Power off; put a good {part} in for good.", part=part, caution=CAUTION)
    assert view.made is not None
    cause = next(c for c in view.made.field.causes if c.unit == one.unit)
    if one.act == "clear":
        short = view.made.behaviour.shorts[int(cause.key[2])]
        ends = [point_at(view, short.net_a, short.node_a), point_at(view, short.net_b, short.node_b)]
        return replace(
            base,
            words=f"Power off; take the solder from between {ends[0]} and {ends[1]}.",
            check=(ends[0], ends[1]),
            caution=CAUTION,
        )
    return _span_words(view, base, one, cause.net, int(cause.key[2]), cause.sites)


def _span_words(view: WholeView, base: WholeStep, one: Named, net: str, edge: int, sites: tuple[str, ...]) -> WholeStep:
    """Read across the span first; once that was open the copper's own advice, or the wire."""
    assert view.made is not None
    a, b = view.made.behaviour.trees[net].edges[edge]
    ends = ends_between(view, net, a, b, edge)
    if ends is not None and not read_since_up(view, net, a, b):
        words = f"Power off; check continuity from {ends[0]} to {ends[1]}: what was seen under power says it is open."
        return replace(
            base,
            kind="check",
            words=words,
            seconds=view.binding.costs.read_s + 2 * view.binding.costs.move_s,
            check=ends,
            sites=sites,
        )
    kinds = {site.partition("@")[0] for site in sites}
    pins = {site.partition("@")[2] for site in sites}
    if len(pins) == 1 and kinds <= {"joint", "contact", "leg"}:
        return _pin_words(view, base, pins.pop(), kinds, sites)
    if view.kind in COPPER_WORK and view.kind != "isolation":
        return replace(
            base,
            kind="copper",
            words=view.copper.words,
            why=view.copper.reason,
            seconds=view.copper.seconds,
            copper=view.copper,
        )
    return replace(
        base,
        words=f"Bridge net {net} round {one.unit} by a wire (coppermend wire plan).",
        sites=sites,
        item=net,
        check=ends,
    )


def _pin_words(view: WholeView, base: WholeStep, pin: str, kinds: set[str], sites: tuple[str, ...]) -> WholeStep:
    """A break inside one pin: what was not tried since it was named, quick before slow."""
    part = pin.rpartition(".")[0]
    since = view.binding.state.power_ups[-1].at
    done = {
        "renew" if one.words == RENEWED else one.kind
        for one in view.binding.state.acts
        if one.at > since and (one.part == part or any(f"{p.part}.{p.pin}" == pin for p in one.points))
    }
    act = hand_act(kinds, done)
    words, seconds = {
        "reseat": (f"Power off; press {part} out of its socket and in again: {pin} does not connect.", view.binding.costs.reseat_s),
        "solder": (f"Power off; solder the joint of {pin} again.", TIMES.solder_s),
        "clean": (f"Power off; take {part} out, wipe the contact and the leg of {pin}, put it back.", TIMES.clean_s),
        "renew": (f"Power off; renew what connects {pin}: the socket's contact, the leg, the land.", TIMES.renew_pin_s),
    }[act]  # fmt: skip
    return replace(base, words=words, seconds=seconds, item=act, part=pin, sites=sites, caution=CAUTION)
