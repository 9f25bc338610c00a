"""``coppermend suspects``: which part, joint, contact, track, bridge or rail explains what was seen, and what to look at next."""

from __future__ import annotations

import click

from coppermend import bootstrap
from coppermend.cli import print_json
from coppermend.cli.shop import CASE, JSON, shop_and_case
from coppermend.core.planning.suspects_hands import HAND_KINDS
from coppermend.services.cases import case_state
from coppermend.services.suspectmap import suspect_map
from coppermend.services.suspects import WITHOUT, SuspectsView, suspects_for_case


@click.command("suspects")
@CASE
@click.option(
    "--machine", default=None, metavar="FILE", help="The machine's own file (TOML); the demonstration machine has one."
)
@click.option("--most", type=click.IntRange(1, 50), default=8, show_default=True, help="How many suspects.")
@click.option(
    "--map",
    "with_map",
    is_flag=True,
    help="With --json: also what a map draws, and how the belief went reading by reading.",
)
@click.option(
    "--without",
    multiple=True,
    type=click.Choice(WITHOUT),
    help="What the bench lacks: wave (no logic analyser), heat (no thermal camera), swap (no known-good parts).",
)
@JSON
@click.pass_context
def suspects_command(
    ctx: click.Context,
    case: str,
    machine: str | None,
    most: int,
    with_map: bool,
    without: tuple[str, ...],
    as_json: bool,
) -> None:
    """List the suspects of a case with what speaks for and against each, and the next step. Status 1 while none is named beyond doubt."""
    made, found = shop_and_case(ctx, case)
    book = bootstrap.device_book(ctx.find_root().obj.get("store"))
    model = bootstrap.machine_model(case_state(made, found).package, machine)
    if with_map and as_json:
        drawn = suspect_map(made, found, book, model, most)
        print_json(drawn)
        if not drawn["suspects"]["named"]:
            ctx.exit(1)
        return
    view = suspects_for_case(made, found, book, model, most, without)
    if as_json:
        print_json(view.as_dict())
    else:
        _print(view, case)
    if not view.named:
        ctx.exit(1)


def _print(view: SuspectsView, case: str) -> None:
    for short in view.rails_shorted:
        click.echo(f"{short.words}")
        if short.next:
            click.echo(f"What tells them apart: {short.next}")
        if short.note:
            click.echo(
                f"      coppermend note {case} {short.note}   (then: coppermend supply short {case} --rail {short.rail})"
            )
    for one in view.suspects:
        click.echo(f"{100 * one.p:5.1f} %  {one.words}")
        for reason in one.pro:
            click.echo(f"         for: {reason.words} (x {reason.factor:.3g})")
        for reason in one.con:
            click.echo(f"         against: {reason.words} (x {reason.factor:.3g})")
        if one.clears:
            click.echo(f"         {one.clears}")
    if view.stop:
        click.echo(view.stop)
    for two in view.conflicts:
        click.echo(f"Contradiction: {two.words} {two.settles}")
    if view.nothing_left:
        click.echo("Nothing more can be told apart by looks, waves, checks and swaps.")
    elif view.step is not None or view.step_words:
        click.echo(f"Next: {view.step_words}")
        if view.step is not None:
            for line in (view.why, f"Risk: {view.risk}.", view.caution):
                click.echo(f"      {line}")
            if view.step.kind in HAND_KINDS:
                kind = "swap" if view.step.kind == "replace" else view.step.kind
                click.echo(f"      coppermend note {case} {kind} {view.step.part} effect=none|changed|cured|worse")
        for other in view.instead:
            click.echo(
                f"Or:   {other.words} ({other.step.gain_bits:.2f} bits, {other.step.seconds:.0f} s; {other.risk})"
            )
    for part, why in view.kept_back:
        click.echo(f"Kept back: {part}: {why}.")
    if view.copper_first is not None:
        click.echo(view.copper_first.words)
    for words in view.unexplained:
        click.echo(f"Not explained: {words}")
    for _, words in view.expired:
        click.echo(f"Speaks no more: {words}")
    for _, words in view.unused:
        click.echo(f"Not used: {words}")
