"""``coppermend supply``: the supply proven by itself, rails on the board, and which part shorts one."""

from __future__ import annotations

import click

from coppermend.cli import print_json
from coppermend.cli.shop import CASE, JSON, shop_and_case
from coppermend.core.findings import refuse
from coppermend.core.log.kinds import SUPPLY_AT
from coppermend.core.log.values import ohm_words, parse_value, volt_words
from coppermend.services.rails import rails_for_case
from coppermend.services.railshort import shorted_part
from coppermend.services.supplyproof import CAUTION, note_supply, supply_now


@click.group("supply")
def supply_command() -> None:
    """The supply: proven alone under a dummy load, its rails at the connector and far away, the current to expect, a shorted part."""


@supply_command.command("show")
@CASE
@JSON
@click.pass_context
def supply_show(ctx: click.Context, case: str, as_json: bool) -> None:
    """What each rail should be and was measured to be, the limits to set, and where to measure each rail to ground."""
    made, found = shop_and_case(ctx, case)
    now, rails = supply_now(made, found), rails_for_case(made, found)
    if as_json:
        to_ground = [
            {"rail": one.net, "ground": one.ground, "points": [one.point_a, one.point_b], "read": one.read, "ohm": one.ohm, "diode_v": one.diode_v, "low": one.low}
            for one in rails
        ]  # fmt: skip
        print_json({**now.as_dict(), "to_ground": to_ground})
        return
    for one in now.as_dict()["rails"]:
        click.echo(
            f"{one['rail']}: {one['low_v']:g} to {one['high_v']:g} V, ripple and noise at most {one['ripple_most_v'] * 1e3:g} mV"
        )
        alone = one["alone"]
        state = (
            "not measured"
            if alone is None
            else "; ".join(one["faults"]) or ("proven" if one["proven"] else "without a load it proves little")
        )
        click.echo(f"   alone: {'' if alone is None else volt_words(alone['volt']) + ', '}{state}")
        if one["connector_v"] is not None:
            click.echo(f"   at the connector: {volt_words(one['connector_v'])}")
        for far in one["far"]:
            drop = (
                ""
                if far["drop_v"] is None
                else f", {far['drop_v'] * 1e3:.0f} mV lost{': too much' if far['bad'] else ''}"
            )
            click.echo(f"   at {far['part']}: {volt_words(far['volt'])}{drop}")
    for words in (*now.order, *now.rise):
        click.echo(f"Order: {words}.")
    for rail in rails:
        diode = f"{volt_words(rail.diode_v)} in diode mode" if rail.diode_v is not None else ""
        said = ", ".join(one for one in (ohm_words(rail.ohm) if rail.read else "", diode) if one) or "not measured"
        said += ", too low: do not switch on" if rail.low else ""
        click.echo(f"To ground, power off: {rail.point_a} and {rail.point_b} ({rail.net}): {said}")
    if now.limit_words:
        click.echo(now.limit_words)
    click.echo(f"Mind: {CAUTION}")


@supply_command.command("note", context_settings={"ignore_unknown_options": True})
@CASE
@click.argument("rail")
@click.argument("volt")
@click.option(
    "--at",
    type=click.Choice(SUPPLY_AT),
    default="alone",
    show_default=True,
    help="By itself under a dummy load, at the connector, or at a far chip.",
)
@click.option("--part", default="", help="The far chip.")
@click.option("--load", "load_a", default="", metavar="1.5A", help="Current of the dummy load.")
@click.option("--ripple", default="", metavar="30mV", help="Ripple, peak to peak.")
@click.option("--noise", default="", metavar="20mV", help="Noise, peak to peak.")
@click.option("--rise", default="", metavar="20ms", help="Time from switch-on until the rail is within its tolerance.")
@click.option("--words", default="", help="What else was seen.")
@JSON
@click.pass_context
def supply_note(
    ctx: click.Context,
    case: str,
    rail: str,
    volt: str,
    at: str,
    part: str,
    load_a: str,
    ripple: str,
    noise: str,
    rise: str,
    words: str,
    as_json: bool,
) -> None:
    """Note RAIL with VOLT (5.02V): alone under a dummy load, at the connector, or at a far chip."""
    made, found = shop_and_case(ctx, case)
    written = note_supply(
        made,
        found,
        rail,
        at,
        _figure(volt, "volt") or 0.0,
        part=part,
        load_a=_figure(load_a, "ampere"),
        ripple_v=_figure(ripple, "volt"),
        noise_v=_figure(noise, "volt"),
        rise_s=_figure(rise, "second"),
        words=words,
    )
    now = supply_now(made, found)
    if as_json:
        print_json({**written.as_dict(), "supply": now.as_dict()})
        return
    click.echo(f"Noted as {written.entry.bench_seq}: {written.words}.")
    if now.proof.wrong:
        click.echo(f"Wrong: {now.proof.wrong}. Do not put it on the board.")
    elif now.proof.left:
        click.echo(f"Still to measure alone: {', '.join(now.proof.left)}.")


def _figure(text: str, unit: str) -> float | None:
    if not text:
        return None
    value = parse_value(text, unit)
    if value is None:
        raise refuse(
            "SUP-002", f"{text!r} says overload: that is no figure.", "Choose a higher range and measure again."
        )
    return value


@supply_command.command("short")
@CASE
@click.option("--rail", default="", help="The rail; without it the one that reads lowest.")
@JSON
@click.pass_context
def supply_short(ctx: click.Context, case: str, rail: str, as_json: bool) -> int:
    """Which part shorts a rail to ground, by milliohms and neighbourhood. Status 1 while none is named."""
    made, found = shop_and_case(ctx, case)
    answer = shorted_part(made, found, rail)
    if as_json:
        print_json(answer.as_dict())
        return 0 if answer.state == "named" else 1
    click.echo(answer.words)
    for one in answer.parts:
        near = f", reads {ohm_words(one.near_ohm)} at it" if one.near_ohm is not None else ""
        click.echo(
            f"  {100 * one.p:5.1f} %  {one.part} {one.value} ({one.kind}), {one.pin_rail} and {one.pin_ground}{near}"
        )
    if answer.next is not None:
        click.echo(f"Next: {answer.next.words}")
        click.echo(f"      coppermend note {case} {answer.next.note_words}")
    click.echo(f"Mind: {answer.caution}")
    return 0 if answer.state == "named" else 1
