"""``coppermend chip``: chips as pieces, and the work of getting one out and in."""

from __future__ import annotations

from collections.abc import Iterable

import click

from coppermend.cli import print_json
from coppermend.cli.shop import CASE, JSON, shop_and_case
from coppermend.core.log.kinds import CHIP_CHECKS, GOODNESS
from coppermend.services.bind import bind
from coppermend.services.chips import note_check, note_chip, pin_list
from coppermend.services.chiptries import cards_of, chip_conflicts
from coppermend.services.chipwork import ChipWork, chip_work, parts_with_chips
from coppermend.services.looks import Conflict


@click.group("chip")
def chip_command() -> None:
    """Chips: what each piece is and where it has been; legs free, bare holes, the fit of the next one."""


@chip_command.command("list")
@CASE
@JSON
@click.pass_context
def chip_list(ctx: click.Context, case: str, as_json: bool) -> None:
    """The labelled chips of a case with their history, and the board's chips."""
    made, found = shop_and_case(ctx, case)
    binding = bind(made, found)
    cards, parts, conflicts = cards_of(binding), parts_with_chips(made, found), chip_conflicts(binding)
    if as_json:
        print_json(
            {
                "chips": [one.as_dict() for one in cards.values()],
                "parts": list(parts),
                "conflicts": [{"words": one.words, "settles": one.settles} for one in conflicts],
            }
        )
        return
    if not cards:
        click.echo("No chip has a label yet: coppermend chip card CASE C1 --type 4164 --place stock")
    for one in cards.values():
        kind = " ".join(word for word in (one.type, one.speed) if word)
        click.echo(
            f"{one.chip}: {kind or 'type not told'}, {one.goodness}, now {one.place or 'not told'}"
            + (f", from {one.origin}" if one.origin else "")
        )
        for stay in one.stays:
            click.echo(f"   {stay.when[:16].replace('T', ' ')}  {stay.place}{': ' + stay.words if stay.words else ''}")
        for words in one.says:
            click.echo(f"   {words}")
    print_conflicts(conflicts)
    click.echo(
        "On the board: "
        + ", ".join(
            f"{one['part']} {one['value']} ({one['state']}{', ' + one['chip'] if one['chip'] else ''})" for one in parts
        )
    )


@chip_command.command("card")
@CASE
@click.argument("chip")
@click.option("--type", "type_name", default="", help="What is printed on it.")
@click.option("--speed", default="", help="Its speed grade.")
@click.option("--origin", default="", help="Where it came from: this board, a donor, bought.")
@click.option("--known", "goodness", type=click.Choice(GOODNESS), default=None, help="What is known of it by itself.")
@click.option("--place", default="", help="Where it is: a part such as U4, stock, donor, out, 'to buy'.")
@click.option("--price", type=float, help="What it costs.")
@click.option("--words", default="", help="What else is known.")
@JSON
@click.pass_context
def chip_card(
    ctx: click.Context,
    case: str,
    chip: str,
    type_name: str,
    speed: str,
    origin: str,
    goodness: str | None,
    place: str,
    price: float | None,
    words: str,
    as_json: bool,
) -> None:
    """Note what CHIP (its label) is, where it came from and where it is."""
    made, found = shop_and_case(ctx, case)
    written = note_chip(
        made, found, chip, type_name=type_name, speed=speed, origin=origin, goodness=goodness or "", place=place, price=price, words=words
    )  # fmt: skip
    if as_json:
        print_json({**written.as_dict(), "card": cards_of(bind(made, found))[chip.strip()].as_dict()})
        return
    click.echo(f"Noted as {written.entry.bench_seq}: {written.words}.")
    print_conflicts([one for one in chip_conflicts(bind(made, found)) if written.entry.id in one.entries])


@chip_command.command("show")
@CASE
@click.argument("part")
@JSON
@click.pass_context
def chip_show(ctx: click.Context, case: str, part: str, as_json: bool) -> None:
    """The work on PART: legs free or not, the bare holes while it is out, the fit of the next one, every pin from leg to track."""
    made, found = shop_and_case(ctx, case)
    work = chip_work(made, found, part)
    if as_json:
        print_json(work.as_dict())
        return
    _print(work, case)


def print_conflicts(conflicts: Iterable[Conflict]) -> None:
    """What cannot all be, with what settles it."""
    for one in conflicts:
        click.echo(f"Contradiction: {one.words} {one.settles}")


def _print(work: ChipWork, case: str) -> None:
    chip = f", {work.chip.chip} in it" if work.chip is not None else ""
    click.echo(f"{work.part} {work.value}: {work.state}{chip}. {work.now}")
    out = work.state in ("out", "not fitted")
    if out and not work.in_area:
        click.echo(f"Its pins lie in no work area: coppermend area add {case} --part {work.part} --kind rework")
    for row in work.pins:
        free = {True: "free, ", False: "holds, ", None: ""}[row.free]
        if row.a and row.b:
            click.echo(f"  {row.pin:>3} {row.net}: {free}{row.a} to {row.b}: {row.stands or 'not read'}")
        elif free:
            click.echo(f"  {row.pin:>3} {row.net}: {free.rstrip(', ')}")
    for pair in work.apart:
        click.echo(f"      {pair.a} and {pair.b} apart: {pair.stands or 'not read'}")
    for item, ask, one in work.checks:
        click.echo(f"  {item}: {ask if one is None else ('as it should be' if one.good else 'wrong')}")
    for card in work.stock:
        click.echo(f"In stock: {card.chip} {card.type} {card.speed}".rstrip() + f", {card.goodness}")
    print_conflicts(work.conflicts)
    if work.piggyback:
        click.echo(f"A good chip may be held on top (device book: {work.piggyback}).")
    click.echo(f"Mind: {work.caution}")


@chip_command.command("check")
@CASE
@click.argument("part")
@click.argument("item", type=click.Choice(CHIP_CHECKS))
@click.argument("pins", nargs=-1)
@click.option("--bad", is_flag=True, help="It is not as it should be.")
@click.option("--words", default="", help="What was seen.")
@JSON
@click.pass_context
def chip_check(
    ctx: click.Context, case: str, part: str, item: str, pins: tuple[str, ...], bad: bool, words: str, as_json: bool
) -> None:
    """Tick a check of PART as it should be (or --bad), for the whole part or for PINS (1-20 40)."""
    made, found = shop_and_case(ctx, case)
    written = note_check(made, found, part, item, not bad, pins=pin_list(" ".join(pins)), words=words)
    work = chip_work(made, found, part)
    if as_json:
        print_json({**written.as_dict(), "work": work.as_dict()})
        return
    click.echo(f"Noted as {written.entry.bench_seq}: {written.words}.")
    click.echo(work.now)
