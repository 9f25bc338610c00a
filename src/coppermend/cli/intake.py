"""``coppermend intake``: what is asked when a machine arrives, and what the owner allows."""

from __future__ import annotations

from pathlib import Path

import click

from coppermend.cli import print_json
from coppermend.cli.files import file_bytes
from coppermend.cli.shop import CASE, JSON, shop_and_case
from coppermend.core.log.kinds import IRREVERSIBLE
from coppermend.services.intake import IntakeNow, intake_now, note_intake


@click.group("intake")
def intake_command() -> None:
    """Intake: condition in pictures, what was done before, cost limit, consent to what cannot be undone, originality, what is known good."""


@intake_command.command("show")
@CASE
@JSON
@click.pass_context
def intake_show(ctx: click.Context, case: str, as_json: bool) -> None:
    """What was asked and answered, and what the owner allows."""
    made, found = shop_and_case(ctx, case)
    now = intake_now(made, found)
    if as_json:
        print_json(now.as_dict())
        return
    _print(now)


def _print(now: IntakeNow) -> None:
    value = now.as_dict()
    for one in value["items"]:
        answer = one["answer"]
        said = []
        if answer is not None:
            said = [answer["words"], {True: "yes", False: "no"}.get(answer["yes"], "")]
            if answer["amount"] is not None:
                said.append(f"{answer['amount']:g} {answer['currency']}".strip())
        photos = f", {len(one['photos'])} photos" if one["photos"] else ""
        click.echo(
            f"[{'x' if answer else ' '}] {one['item']}: "
            + (", ".join(filter(None, said)) or "noted" if answer else one["ask"])
            + photos
        )
    for one in value["acts"]:
        click.echo(f"    {one['act']} ({one['words']}): {one['answer'] or 'not agreed to'}")
    if value["limit"] is not None:
        click.echo(f"Spent {value['spent']:g} of {value['limit']:g} {value['currency']}".rstrip() + ".")
    click.echo(f"Mind: {value['caution']}")


@intake_command.command("note")
@CASE
@click.argument("item")
@click.argument("words", nargs=-1)
@click.option("--yes/--no", "yes", default=None, help="For consent, known good, minimum (and where a yes or no fits).")
@click.option("--amount", type=float, help="The cost limit.")
@click.option("--currency", default="", help="Its currency, such as EUR.")
@click.option(
    "--act", "acts", multiple=True, type=click.Choice(IRREVERSIBLE), help="Consent to this act; without it to all."
)
@click.option(
    "--photo", "photos", multiple=True, type=click.Path(path_type=Path), help="A picture, kept with the case."
)
@JSON
@click.pass_context
def intake_note(
    ctx: click.Context,
    case: str,
    item: str,
    words: tuple[str, ...],
    yes: bool | None,
    amount: float | None,
    currency: str,
    acts: tuple[str, ...],
    photos: tuple[Path, ...],
    as_json: bool,
) -> None:
    """Note one item: condition, before, limit, consent, original, "known good", minimum."""
    made, found = shop_and_case(ctx, case)
    pictures = [(one.name, file_bytes(one)) for one in photos]
    written = note_intake(
        made,
        found,
        item,
        yes=yes,
        words=" ".join(words),
        amount=amount,
        currency=currency,
        acts=acts,
        pictures=pictures,
    )
    now = intake_now(made, found)
    if as_json:
        print_json({**written.as_dict(), "intake": now.as_dict()})
        return
    click.echo(f"Noted as {written.entry.bench_seq}: {written.words}.")
    if now.left:
        click.echo(f"Still to ask: {', '.join(now.left)}.")
