"""``coppermend lay``: a photo of a side laid on the board."""

from __future__ import annotations

from pathlib import Path

import click

from coppermend.cli import print_json
from coppermend.cli.files import file_bytes
from coppermend.cli.shop import CASE, JSON, shop_and_case
from coppermend.core.findings import Refusal, refuse
from coppermend.services.layphoto import Tap, board_size_mm, laid_view, lay_photo, look_at_choice
from coppermend.services.notes import undo
from coppermend.services.photos import attach_photo


@click.command("lay")
@CASE
@click.argument("file", type=click.Path(path_type=Path), required=False)
@click.option(
    "--side", type=click.Choice(["c", "s"]), default="c", help="Component side (as it is unless said) or solder side."
)
@click.option(
    "--tap",
    "taps",
    multiple=True,
    metavar="PIN=X,Y",
    help="A pin and its pixel (x right, y down) in the photo; four or more.",
)
@JSON
@click.pass_context
def lay_command(
    ctx: click.Context, case: str, file: Path | None, side: str, taps: tuple[str, ...], as_json: bool
) -> None:
    """Lay a photo of a side on the board.

    Without FILE: which pins are good to tap, and what lies on the board now. A photo that is too coarse, blurred, mirrored, of the other side or of
    another board is refused with the reason.
    """
    made, found = shop_and_case(ctx, case)
    if file is None:
        view = laid_view(made, found)
        if as_json:
            print_json(view)
            return
        for key, one in view["laid"].items():
            click.echo(
                f"Side {key}: a photo lies on it, off by {one['residual_mm']:.2f} mm, {one['matched']} lands found."
            )
        click.echo(f"Good pins to tap: {', '.join(one['pin'] for one in view['suggest'][side])}.")
        click.echo(
            f"Then: coppermend lay {case} PHOTO --side {side} --tap {view['suggest'][side][0]['pin']}=X,Y ... (four or more)."
        )
        return
    marks = [_tap(one) for one in taps]
    data = file_bytes(file)
    look_at_choice(data, board_size_mm(made, found))
    kept = attach_photo(made, found, data, name=file.name, side=side)
    try:
        answer = lay_photo(made, found, str(kept.entry.payload["sha256"]), side, marks)
    except Refusal:
        undo(
            made, found, kept.entry.id
        )  # a photo that was brought to be laid and does not fit is no part of the record
        raise
    if as_json:
        print_json(answer.as_dict())
        return
    click.echo(f"Noted as {answer.noted.entry.bench_seq}. {answer.words}")


def _tap(text: str) -> Tap:
    pin, _, place = text.partition("=")
    x, _, y = place.partition(",")
    try:
        return Tap(pin.strip(), (float(x), float(y)))
    except ValueError:
        raise refuse("CLI-005", f"--tap {text!r} is no pin with a pixel.", "Write it as U1.1=120,455.") from None
