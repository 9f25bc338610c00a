"""``coppermend wave``: records of oscilloscopes and logic analysers measured and judged, gates against their logic, starts as sequences."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from coppermend import bootstrap
from coppermend.cli import print_json
from coppermend.cli.files import file_bytes
from coppermend.core.findings import Place, refuse
from coppermend.core.signals.starts import LATE_S, StartRules
from coppermend.core.signals.wave import Capture
from coppermend.devices.book import DeviceBook
from coppermend.formats.waves import LARGEST_BYTES
from coppermend.services.waves import (
    CRYSTAL_TOLERANCE_PPM,
    Asked,
    MeasuredRecord,
    judge_typed,
    measure_record,
    read_record,
    typed_figure,
    typed_raw,
)
from coppermend.services.wavesets import StartAsked, judge_gate, judge_starts, rules_of

if TYPE_CHECKING:
    from coppermend.core.circuit.machine import MachineModel
    from coppermend.services.wavecase import Tap
    from coppermend.services.workshop import Workshop

JSON = click.option("--json", "as_json", is_flag=True, help="Print one JSON object.")
FILE = click.argument("file", type=click.Path(path_type=Path))
STEP = click.option(
    "--step",
    "step_s",
    type=float,
    default=None,
    metavar="SECONDS",
    help="Time between samples, where the file does not say it.",
)
FAMILY = click.option(
    "--family",
    default="",
    metavar="NAME",
    help="Logic family that reads the pin: TTL, LS, HCT, HC, NMOS, CMOS and others of the device book.",
)
HERTZ = click.option("--expect-hz", type=float, default=None, metavar="F", help="Frequency that should be there.")
PPM = click.option(
    "--tolerance-ppm",
    type=float,
    default=None,
    metavar="P",
    help="How far it may be off. Default 100; at a point of a case 5000.",
)
IN_CASE = click.option(
    "--case", "case", default=None, metavar="CASE", help="Note it in this case, as evidence for its suspects."
)
MACHINE = click.option(
    "--machine", default=None, metavar="FILE", help="The machine's own file (TOML); the demonstration machine has one."
)


@click.group("wave")
def wave_command() -> None:
    """Waves: records (CSV of oscilloscopes and logic analysers, VCD) measured, judged and noted."""


@wave_command.command("measure")
@FILE
@click.option("--channel", default="", metavar="NAME", help="Channel by name or number. Default the first.")
@HERTZ
@PPM
@FAMILY
@STEP
@IN_CASE
@click.option(
    "--at", "places", multiple=True, metavar="POINT", help="Where the probe was: U1.6; with several channels CH1=U1.6."
)
@MACHINE
@JSON
@click.pass_context
def measure_command(
    ctx: click.Context, file: Path, channel: str, expect_hz: float | None, tolerance_ppm: float | None, family: str, step_s: float | None,
    case: str | None, places: tuple[str, ...], machine: str | None, as_json: bool,
) -> None:  # fmt: skip
    """Measure a channel: state levels, period, frequency, duty, widths, rise and fall, overshoot, each as IEEE 181 means it, and say what is wrong.

    With --case and --at it is judged against what that pin should show, and noted. Status 1 unless the verdict is right or moving.
    """
    data, capture = _record(file, step_s)
    asked = Asked(
        _above_zero(expect_hz, "--expect-hz"), _above_zero(tolerance_ppm, "--tolerance-ppm", zero=True), family
    )
    book = _book(ctx)
    if case is None:
        if places:
            raise refuse("CLI-006", "--at needs --case: a point belongs to a case's board.", "Give both, or neither.")
        found = measure_record(capture, asked, book, channel)
    else:
        from coppermend.services.wavecase import measure_for_case

        made, known = _case(ctx, case)
        taps = [_tap(one, channel) for one in places]
        found = measure_for_case(made, known, data, capture, taps, book, _model(made, known, machine), asked)
    if as_json:
        print_json(found.as_dict())
    else:
        _print(found)
    if not all(one.features.verdict in ("right", "moving") for one in found.measured):
        ctx.exit(1)


def _print(found: MeasuredRecord) -> None:
    click.echo(f"Read as {found.read}.")
    if len(found.channels) > 1:
        click.echo(f"Channels: {', '.join(found.channels[:40])}" + (" ..." if len(found.channels) > 40 else ""))
    for one in found.measured:
        f = one.features
        click.echo(f"{f.channel}{f' at {one.point}' if one.point else ''}: {f.words}")
        rows = (
            ("width", f.width_s, "s"),
            ("rise", f.rise_s, "s"),
            ("fall", f.fall_s, "s"),
            ("period", f.period_s, "s"),
            ("jitter", f.jitter_s, "s"),
        )
        shown = [f"{name} {value:.6g} {unit}" for name, value, unit in rows if value is not None]
        shown += [f"overshoot {100 * f.overshoot:.3g} %"] if f.overshoot is not None else []
        click.echo(f"  {f.edges} edges" + "".join(f", {one}" for one in shown))
        if one.expected:
            click.echo(f"  expected: {one.expected}")
        for finding in f.findings:
            click.echo(f"  {finding.line()}")
    for finding in found.findings:
        click.echo(finding.line())
    if found.noted is not None:
        click.echo(f"Noted as {found.noted.entry.bench_seq}: {found.noted.words}")


@wave_command.command("typed")
@click.argument("figure", metavar="FIGURE")
@click.option(
    "--step",
    "step",
    default="",
    metavar="STEP",
    help="Last digit of the counter or grid of the cursors, like 2ns or 1kHz. Default the last digit typed.",
)
@click.option(
    "--periods",
    type=click.IntRange(1, 1_000_000),
    default=1,
    help="How many periods lie between the cursors. Default 1.",
)
@HERTZ
@PPM
@IN_CASE
@click.option("--at", "place", default="", metavar="POINT", help="Where it was read: U1.6.")
@MACHINE
@JSON
@click.pass_context
def typed_command(
    ctx: click.Context, figure: str, step: str, periods: int, expect_hz: float | None, tolerance_ppm: float | None, case: str | None, place: str,
    machine: str | None, as_json: bool,
) -> None:  # fmt: skip
    """Judge a period or frequency read by cursor or counter (70ns, 14.3MHz) by its resolution. Status 1 when it is wrong."""
    read = typed_figure(figure, step, periods)
    if (case is None) != (not place):
        raise refuse("CLI-006", "--case and --at belong together.", "Give both, or neither.")
    if case is None:
        done = judge_typed(
            read,
            _above_zero(expect_hz, "--expect-hz"),
            CRYSTAL_TOLERANCE_PPM if tolerance_ppm is None else tolerance_ppm,
        )
    else:
        made, known = _case(ctx, case)
        from coppermend.services.wavecase import typed_for_case

        raw = typed_raw(figure, step, periods)
        asked = Asked(_above_zero(expect_hz, "--expect-hz"), tolerance_ppm)
        done = typed_for_case(made, known, read, place, raw, _book(ctx), _model(made, known, machine), asked)
    if as_json:
        print_json(done.as_dict())
    else:
        click.echo(f"{done.verdict}: {done.words}")
        if done.noted is not None:
            click.echo(f"Noted as {done.noted.entry.bench_seq}: {done.noted.words}")
    if done.verdict == "wrong frequency":
        ctx.exit(1)


@wave_command.command("gate")
@FILE
@click.option("--chip", default="", metavar="TYPE", help="What stands on the chip: 74LS00.")
@click.option(
    "--pin",
    "pins",
    multiple=True,
    metavar="PIN=CHANNEL",
    help="Which channel is at which pin; without any: channels named like pins.",
)
@click.option(
    "--settle",
    "settle_s",
    type=click.FloatRange(0),
    default=100e-9,
    metavar="SECONDS",
    help="Time after a change before levels count. Default 1e-7.",
)
@FAMILY
@STEP
@IN_CASE
@click.option("--part", default="", metavar="REF", help="The part on the case's board: U5.")
@MACHINE
@JSON
@click.pass_context
def gate_command(
    ctx: click.Context, file: Path, chip: str, pins: tuple[str, ...], settle_s: float, family: str, step_s: float | None, case: str | None, part: str,
    machine: str | None, as_json: bool,
) -> None:  # fmt: skip
    """Look whether a chip obeys its logic over a record, and which pin disagrees. Status 1 when one does."""
    data, capture = _record(file, step_s)
    named = dict(_pair(one) for one in pins)
    book = _book(ctx)
    if case is not None:
        if not part:
            raise refuse(
                "CLI-006", "--case needs --part: which chip was recorded.", "Write it like --case 1 --part U5."
            )
        made, known = _case(ctx, case)
        from coppermend.services.wavesetcase import judge_gate_for_case

        done = judge_gate_for_case(
            made, known, data, capture, part, named, book, _model(made, known, machine), family, settle_s
        )
    else:
        if not chip:
            raise refuse("CLI-006", "Which chip was recorded?", "Write it like --chip 74LS00, or --case 1 --part U5.")
        done = judge_gate(capture, book.get(chip), named, book, family, settle_s, part)
    if as_json:
        print_json(done.as_dict())
    else:
        for one in done.report.pins:
            click.echo(
                f"pin {one.pin} ({one.name} = {one.logic}): {one.words}; {one.wrong_s:.4g} s wrong of {one.judged_s:.4g} s judged"
            )
            for row, level in one.rows:
                click.echo(f"   {row}: {level}")
        if done.noted is not None:
            click.echo(f"Noted as {done.noted.entry.bench_seq}: {done.noted.words}")
    if done.report.disagree:
        ctx.exit(1)


@wave_command.command("start")
@click.argument("files", nargs=-1, required=True, type=click.Path(path_type=Path), metavar="FILE...")
@click.option("--reset", required=True, metavar="CHANNEL", help="Channel of the reset line.")
@click.option("--rail", default="", metavar="CHANNEL", help="Channel of the supply.")
@click.option("--clock", default="", metavar="CHANNEL", help="Channel of the clock.")
@click.option("--chip", default="", metavar="TYPE", help="Whose reset rules of the device book hold: Z80.")
@click.option(
    "--active",
    type=click.Choice(["low", "high"]),
    default="low",
    help="Level at which the reset is active. Default low; a chip says it itself.",
)
@click.option(
    "--clocks",
    type=click.FloatRange(0),
    default=0.0,
    help="Clocks that the reset must last once supply and clock are there. Default 0.",
)
@click.option("--least", "least_s", type=click.FloatRange(0), default=0.0, help="Seconds that it must last. Default 0.")
@click.option("--most", "most_s", type=click.FloatRange(0), default=LATE_S, help="Seconds that it may last. Default 1.")
@click.option("--rail-v", type=float, default=4.75, help="Voltage from which the supply counts. Default 4.75.")
@click.option("--clock-hz", type=float, default=None, help="Frequency of the clock, where it is not recorded.")
@FAMILY
@STEP
@IN_CASE
@click.option("--at", "place", default="", metavar="POINT", help="Where the reset was recorded: U1.26.")
@MACHINE
@JSON
@click.pass_context
def start_command(
    ctx: click.Context, files: tuple[Path, ...], reset: str, rail: str, clock: str, chip: str, active: str, clocks: float, least_s: float, most_s: float,
    rail_v: float, clock_hz: float | None, family: str, step_s: float | None, case: str | None, place: str, machine: str | None, as_json: bool,
) -> None:  # fmt: skip
    """Read records of a power-up as a sequence: supply, clock, reset released in time. Several files are several starts. Status 1 unless all are right."""
    records = [_record(one, step_s) for one in files]
    rules = StartRules(active == "low", clocks, least_s, most_s, rail_v, _above_zero(clock_hz, "--clock-hz"))
    book = _book(ctx)
    asked = StartAsked(reset, rail, clock, rules_of(book.get(chip), rules) if chip else rules, family)
    if (case is None) != (not place):
        raise refuse("CLI-006", "--case and --at belong together.", "Give both, or neither.")
    if case is None:
        done = judge_starts([one for _, one in records], asked, book)
    else:
        made, known = _case(ctx, case)
        from coppermend.services.wavesetcase import judge_starts_for_case

        done = judge_starts_for_case(made, known, records, asked, place, book, _model(made, known, machine))
    right, times, words = done.counted
    if as_json:
        print_json(done.as_dict())
    else:
        for path, one in zip(files, done.starts, strict=True):
            click.echo(f"{path.name}: {one.verdict}, {one.words}")
            for at, what in one.events:
                click.echo(f"   {at:.6g} s  {what}")
        click.echo(words)
    if right < times:
        ctx.exit(1)


# ---- helpers ----
def _record(file: Path, step_s: float | None) -> tuple[bytes, Capture]:
    if step_s is not None and not 0 < step_s < 1e6:
        raise refuse("CLI-005", f"--step {step_s:g} is no time between samples.", "Write it in seconds: --step 1e-8.")
    if file.is_file() and file.stat().st_size > LARGEST_BYTES:
        raise refuse(
            "WAV-001",
            f"The file is larger than {LARGEST_BYTES // 1_000_000} MB.",
            "Save a shorter record.",
            Place(file=file.name),
        )
    data = file_bytes(file)
    return data, read_record(data, file.name, step_s)


def _book(ctx: click.Context) -> DeviceBook:
    return bootstrap.device_book((ctx.find_root().obj or {}).get("store"))


def _case(ctx: click.Context, case: str) -> tuple[Workshop, str]:
    """The workshop and the case; its library is loaded now, a record alone is measured without it."""
    from coppermend.cli.shop import shop_and_case

    return shop_and_case(ctx, case)


def _model(made: Workshop, case: str, machine: str | None) -> MachineModel:
    from coppermend.services.bind import bind

    return bootstrap.machine_model(bind(made, case).state.package, machine)


def _tap(text: str, channel: str) -> Tap:
    from coppermend.services.wavecase import Tap

    name, sign, point = text.rpartition("=")
    return Tap(name if sign else channel, point)


def _pair(text: str) -> tuple[str, str]:
    pin, sign, channel = text.partition("=")
    if not sign or not pin or not channel:
        raise refuse("CLI-005", f"--pin {text!r} is no pin with a channel.", "Write it as 3=D2.")
    return pin.strip(), channel.strip()


def _above_zero(value: float | None, option: str, *, zero: bool = False) -> float | None:
    if value is not None and not (0 <= value < 1e15 if zero else 0 < value < 1e15):
        raise refuse(
            "CLI-005", f"{option} {value:g} cannot be.", f"Give a number {'of 0 or more' if zero else 'above 0'}."
        )
    return value
