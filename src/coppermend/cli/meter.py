"""``coppermend meter``: instruments found, tried, their leads zeroed, a touch's reading noted; an oscilloscope's wave saved."""

from __future__ import annotations

import time
from collections.abc import Callable
from pathlib import Path

import click

from coppermend.bootstrap import instruments
from coppermend.cli import print_json
from coppermend.cli.shop import CASE, JSON, say_next, shop_and_case
from coppermend.core.findings import Place, refuse
from coppermend.core.signals.touch import TouchState, feel
from coppermend.services.instruments import (
    Touched,
    keep_zero,
    look_around,
    measure_zero,
    note_touch,
    points_in_hand,
    take_wave,
    try_meter,
    try_scope,
)
from coppermend.services.ports import Meter, Sample

ADDRESS = click.argument("address")
BAUD = click.option(
    "--baud", type=click.IntRange(300, 4_000_000), default=9600, help="Speed of a serial line. Default 9600."
)
WIRES = click.option(
    "--wires", type=click.Choice(["2", "4"]), default="2", help="Ohms in two or four wires. Default 2."
)


@click.group("meter")
def meter_command() -> None:
    """Multimeters and oscilloscopes over SCPI: serial line, network, USB."""


@meter_command.command("list")
@JSON
def list_command(as_json: bool) -> None:
    """List what is plugged in, and which ways to instruments are closed here and why. Instruments on the network are named by you: HOST:PORT."""
    around = look_around(instruments())
    if as_json:
        print_json(around.as_dict())
        return
    for one in around.rows:
        click.echo(f"{one.address}  ({one.words})")
    for shut in around.closed:
        click.echo(f"unavailable because: {shut.words} {shut.remedy}")
    click.echo("On the network: name it HOST:PORT. Next: coppermend meter test ADDRESS")


@meter_command.command("test")
@ADDRESS
@click.option("--scope", is_flag=True, help="It is an oscilloscope.")
@click.option("--channel", type=click.IntRange(1, 16), default=1, help="Channel of the oscilloscope. Default 1.")
@WIRES
@BAUD
@JSON
def test_command(address: str, scope: bool, channel: int, wires: str, baud: int, as_json: bool) -> None:
    """Ask an instrument's name and take a few readings, or one wave. Nothing is noted."""
    bench = instruments(files=True)
    trial = try_scope(bench, address, channel, baud) if scope else try_meter(bench, address, int(wires), baud)
    if as_json:
        print_json(trial.as_dict())
        return
    click.echo(trial.words)


@meter_command.command("read")
@CASE
@click.argument("points", nargs=-1, metavar="[POINT POINT]")
@click.option("--address", required=True, help="The meter: as 'meter list' shows it, or HOST:PORT.")
@click.option(
    "--zero", "only_zero", is_flag=True, help="Take the zero of the leads (tips on each other) and keep it in the case."
)
@click.option(
    "--now", "at_once", is_flag=True, help="Do not wait for a touch: note what it shows now; overload is open."
)
@click.option(
    "--wait", "wait_s", type=click.FloatRange(1, 3600), default=60.0, help="Seconds to wait for a touch. Default 60."
)
@click.option(
    "--record",
    "record",
    type=click.Path(dir_okay=False),
    help="Keep the conversation with the meter as JSON lines in this file.",
)
@WIRES
@BAUD
@JSON
@click.pass_context
def read_command(
    ctx: click.Context, case: str, points: tuple[str, ...], address: str, only_zero: bool, at_once: bool, wait_s: float,
    record: str | None, wires: str, baud: int, as_json: bool,
) -> None:  # fmt: skip
    """Wait for one touch and note its ohms between two points; without points, for the check that is proposed now."""
    made, found = shop_and_case(ctx, case)
    if len(points) not in (0, 2):
        raise refuse(
            "NOT-002", f"A reading takes 2 points, found {len(points)}.", "Name both, or none for the proposed check."
        )
    tips = points or (() if only_zero else points_in_hand(made, found))
    meter = instruments(files=True, keep=_keeper(record)).meter(address, baud)
    try:
        name = meter.identity().words
        meter.set_ohms(int(wires))
        if only_zero:
            zero = measure_zero(meter, int(wires))
            keep_zero(made, found, name, zero)
            if as_json:
                print_json({"zero_ohm": zero.ohm, "spread_ohm": zero.spread_ohm, "instrument": name})
            else:
                click.echo(f"Noted: leads of {name}, {zero.ohm:.3g} ohm; taken off two-wire readings from now on.")
            return
        if not at_once:
            click.echo(
                f"{name}: touch {tips[0]} and {tips[1]}. If the tips are down already, lift them once.", err=True
            )
        sample = meter.read() if at_once else one_touch(meter, wait_s)
    finally:
        meter.close()
    touched = Touched(made.ids.new(), sample.raw, sample.ohm, sample.step_ohm, int(wires), name)
    done = note_touch(made, found, tips, touched)
    if as_json:
        print_json(done.as_dict())
        return
    click.echo(f"Noted: {done.words}")
    say_next(made, found)


@meter_command.command("wave")
@ADDRESS
@click.option("--channel", type=click.IntRange(1, 16), default=1, help="Channel of the oscilloscope. Default 1.")
@click.option(
    "--csv",
    "csv",
    type=click.Path(dir_okay=False, writable=True),
    required=True,
    help="File to write: second and volt of each sample.",
)
@BAUD
def wave_command(address: str, channel: int, csv: str, baud: int) -> None:
    """Save what an oscilloscope's channel shows as CSV."""
    data = take_wave(instruments(files=True), address, channel, baud)
    try:
        Path(csv).write_bytes(data)
    except OSError as err:
        raise refuse(
            "CLI-004", f"The file cannot be written: {err.strerror or err}.", "Name another file.", Place(file=csv)
        ) from None
    samples = len(data.splitlines()) - 1
    click.echo(f"{csv}: {samples} samples.")


def one_touch(meter: Meter, wait_s: float) -> Sample:
    """The next settled touch. Refusal INS-015 when none comes in time."""
    state, until = TouchState(), time.monotonic() + wait_s
    while time.monotonic() < until:
        sample = meter.read()
        state, done = feel(state, time.monotonic(), sample.ohm)
        if done is not None:
            return Sample(sample.raw, done.ohm, max(sample.step_ohm or 0.0, done.spread_ohm) or None)
    raise refuse(
        "INS-015",
        f"No touch settled within {wait_s:g} s; nothing was noted.",
        "An open net shows overload just as tips in the air do: with both tips set, give --now.",
    )


def _keeper(path: str | None) -> Callable[[str], None] | None:
    """Appends each line of the conversation to the file."""
    if path is None:
        return None
    file = Path(path)

    def keep(line: str) -> None:
        try:
            with file.open("a", encoding="utf-8") as out:
                out.write(line + "\n")
        except OSError as err:
            raise refuse(
                "CLI-004", f"The file cannot be written: {err.strerror or err}.", "Name another file.", Place(file=path)
            ) from None

    return keep
