"""``coppermend care``: cleaning and protection as steps that are ticked, timed and photographed."""

from __future__ import annotations

from pathlib import Path

import click

from coppermend.cli import print_json
from coppermend.cli.shop import CASE, JSON, shop_and_case
from coppermend.core.findings import Place, refuse
from coppermend.core.rework.care import PROCEDURES
from coppermend.services.care import CareNow, care_now, care_of, tick

MARKS = {"open": "[ ]", "started": "[>]", "done": "[x]", "left out": "[-]"}


@click.group("care")
def care_command() -> None:
    """Cleaning and protection: a leaked cell, lifted lands, lost barrels, mask over mended copper, a short under a limited current."""


@care_command.command("list")
@JSON
def care_list(as_json: bool) -> None:
    """The procedures there are, and when each is the right one."""
    if as_json:
        print_json([{"procedure": one.key, "title": one.title, "when": one.when} for one in PROCEDURES.values()])
        return
    for one in PROCEDURES.values():
        click.echo(f"{one.key:8} {one.title}: {one.when}")


@care_command.command("show")
@CASE
@click.argument("procedure", required=False)
@JSON
@click.pass_context
def care_show(ctx: click.Context, case: str, procedure: str | None, as_json: bool) -> None:
    """How far a case has come: every step of PROCEDURE, or a line for each procedure."""
    made, found = shop_and_case(ctx, case)
    shown = (care_now(made, found, procedure),) if procedure else care_of(made, found)
    if as_json:
        print_json([one.as_dict() for one in shown])
        return
    for one in shown:
        click.echo(f"{one.procedure.key}: {one.procedure.title}, {one.done} of {len(one.steps)} steps over")
        if procedure:
            _print_steps(one)


@care_command.command("tick")
@CASE
@click.argument("procedure")
@click.argument("step")
@click.option("--start", is_flag=True, help="The step begins now; its time runs.")
@click.option("--left-out", is_flag=True, help="The step is left out; say why with --words.")
@click.option("--words", default="", help="What was seen or done.")
@click.option("--photo", type=click.Path(path_type=Path), help="A photo of it, kept with the case.")
@JSON
@click.pass_context
def care_tick(
    ctx: click.Context,
    case: str,
    procedure: str,
    step: str,
    start: bool,
    left_out: bool,
    words: str,
    photo: Path | None,
    as_json: bool,
) -> None:
    """Tick STEP of PROCEDURE as done (or as begun, or left out)."""
    made, found = shop_and_case(ctx, case)
    if start and left_out:
        raise refuse("CAR-003", "A step cannot begin and be left out at once.", "Give --start or --left-out.")
    state = "started" if start else "left out" if left_out else "done"
    data = None if photo is None else _read(photo)
    name = "" if photo is None else photo.name
    written, now = tick(made, found, procedure, step, state=state, words=words, photo=data, photo_name=name)
    if as_json:
        print_json({**written.as_dict(), "care": now.as_dict()})
        return
    click.echo(f"Noted no. {written.entry.bench_seq}: {written.words}")
    for one in now.cautions:
        click.echo(f"Mind: {one}")
    following = next((one for one in now.steps if one.step.key == now.next), None)
    click.echo(f"Next: {following.step.key}: {following.step.words}" if following else "All steps are over.")
    for one in following.step.mind if following else ():
        click.echo(f"Mind: {one}")


def _read(path: Path) -> bytes:
    try:
        return path.read_bytes()
    except OSError as err:
        raise refuse(
            "PHO-004",
            f"{path.name} cannot be read ({err.strerror}).",
            "Name the picture's file.",
            Place(file=path.name),
        ) from err


def _print_steps(now: CareNow) -> None:
    click.echo(f"   {now.procedure.when}")
    for one in now.steps:
        took = f", took {one.seconds / 60:.0f} min" if one.seconds is not None else ""
        left = f", {one.wait_left_s / 3600:.1f} h of waiting left" if one.wait_left_s > 0 else ""
        click.echo(f"{MARKS[one.state]} {one.step.key}: {one.step.words}{took}{left}")
        for mind in one.step.mind:
            click.echo(f"      Mind: {mind}")
        click.echo(f"      [{one.step.source}]{' photo asked for' if one.step.photo and not one.photos else ''}")
        if one.words:
            click.echo(f"      said: {one.words}")
