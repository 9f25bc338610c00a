"""What the bench commands share: the workshop of this run, and how steps and answers are printed."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import click

from coppermend.bootstrap import workshop
from coppermend.core.planning.describe import clip_words
from coppermend.core.planning.model import Check, NextStep
from coppermend.services.areas import MARGIN_MM
from coppermend.services.bench import next_for_case
from coppermend.services.bind import bind
from coppermend.services.cases import find_case
from coppermend.services.togo import ToGo, to_go
from coppermend.services.workshop import Workshop

CASE = click.argument("case", metavar="CASE")
JSON = click.option("--json", "as_json", is_flag=True, help="Print one JSON object.")


def margin(words: str) -> Callable[[Any], Any]:
    """The option for how far a work area reaches round a part's pins."""
    return click.option(
        "--margin", "margin_mm", type=float, default=MARGIN_MM, show_default=True, metavar="MM", help=words
    )


def shop(ctx: click.Context) -> Workshop:
    """The workshop of this run, opened once."""
    root = ctx.find_root()
    root.ensure_object(dict)
    if "workshop" not in root.obj:
        made = workshop(root.obj.get("store"))
        root.obj["workshop"] = made
        root.call_on_close(made.store.close)
    found: Workshop = root.obj["workshop"]
    return found


def shop_and_case(ctx: click.Context, name: str) -> tuple[Workshop, str]:
    """The workshop and the id of the case that was named."""
    made = shop(ctx)
    return made, find_case(made, name)


def say_next(made: Workshop, case: str) -> None:
    """Print the next step in words."""
    step = next_for_case(made, case)
    for line in step_lines(step, to_go(bind(made, case), step)):
        click.echo(line)


def step_lines(step: NextStep, go: ToGo | None = None) -> list[str]:
    """A next step in a few lines: what to do, where both tips go, why, what it costs. ``go``: what of the round is to go with it, where it is a step of the round."""
    lines = [f"Next: {step.words}"]
    if step.check is not None:
        lines.append(f"      {check_line(step.check)}")
    if step.reason:
        lines.append(f"      {step.reason}")
    cost = [f"{step.seconds:.0f} s modelled"] if step.seconds else []
    if step.gain_bits:
        cost.append(f"{step.gain_bits:.2f} bits")
    left, seconds = (go.after(step).checks, go.after(step).seconds) if go else (step.left, step.left_seconds)
    if left:
        what = "to bridge" if step.kind == "patch" and left == step.left else "check" if left == 1 else "checks"
        cost.append(f"then {left} more {what}, {seconds / 60:.0f} min modelled")
    if cost:
        lines.append(f"      {', '.join(cost)}")
    return lines + [f"      {note}" for note in step.notes]


def check_line(check: Check) -> str:
    """A check on one line: both points, the net, what sound copper reads."""
    ohms = f", sound copper reads {check.expected_ohm:.2f} Ω" if check.expected_ohm is not None else ""
    net = check.net_a if check.net_a == check.net_b else f"{check.net_a} against {check.net_b}"
    needs = f" (needs {', '.join(check.needs)})" if check.needs else ""
    turn = "turn the board over; " if check.turn_over else ""
    if check.clip:
        words = clip_words(check)
        turn = f"{words[0].lower()}{words[1:]}; {turn}"
    must = {"continuity": "must be closed", "ohms": "ohms"}.get(check.purpose, "must be open")
    return f"{turn}{check.point_a}  to  {check.point_b}  [{net}] {must}{ohms}{needs}"
