"""``coppermend freerun`` and ``coppermend diagnostic``: a processor that counts through its addresses, and a diagnostic's steps."""

from __future__ import annotations

import click

from coppermend import bootstrap
from coppermend.cli import print_json
from coppermend.cli.shop import CASE, JSON, shop_and_case
from coppermend.core.circuit.expect import hertz_words
from coppermend.core.findings import refuse
from coppermend.core.log.values import parse_value
from coppermend.services.bringup import CAUTION, bringup_view, note_diagnostic, note_free_run, parse_lines
from coppermend.services.cases import case_state


@click.command("freerun")
@CASE
@click.argument("lines", nargs=-1, required=True, metavar="A0=HZ A1=HZ...")
@click.option("--clock", "clock", required=True, metavar="HZ", help="The processor's clock, such as 4MHz.")
@click.option("--clocks", type=float, help="Clocks from one address to the next, where the type does not tell.")
@click.option(
    "--gated", is_flag=True, help="The rates were read while /RD is low (a Z80 puts refresh addresses in between)."
)
@JSON
@click.pass_context
def freerun_command(
    ctx: click.Context, case: str, lines: tuple[str, ...], clock: str, clocks: float | None, gated: bool, as_json: bool
) -> None:
    """Judge a processor in free run: which address lines run at their rate, stand still or touch.

    Fed instructions that do nothing, it counts through all addresses: each line runs at half the rate of the one below. 0 is a line that does not move.
    Noted in the case, as evidence for its suspects. Status 1 when a line is not as it should be.
    """
    made, found = shop_and_case(ctx, case)
    book = bootstrap.device_book(ctx.find_root().obj.get("store"))
    hertz = parse_value(clock, "hertz")
    if hertz is None:
        raise refuse("FRR-002", f"{clock!r} is no clock.", "Write it as --clock 4MHz.")
    read = note_free_run(made, found, book, parse_lines(lines), hertz, clocks=clocks, gated=gated)
    if as_json:
        print_json(read.as_dict())
    else:
        click.echo(f"{read.part} ({read.kind}), clock {hertz_words(hertz)}, {read.clocks:g} clocks an address.")
        for one in read.run.lines:
            click.echo(
                f"  A{one.bit:<2} {read.nets[one.bit]:8} {one.seen_hz:>12.6g} Hz of {one.expected_hz:>12.6g}  {one.words}"
            )
        if read.run.words:
            click.echo(read.run.words)
        click.echo(f"Mind: {CAUTION}")
    if read.run.odd:
        ctx.exit(1)


@click.command("diagnostic")
@CASE
@click.argument("name", required=False, default="")
@click.option("--passed", type=int, help="How many steps it passed before it stopped.")
@click.option("--machine", default=None, metavar="FILE", help="The machine's own file (TOML) with its [[diagnostic]].")
@click.option("--words", default="", help="What else it showed.")
@JSON
@click.pass_context
def diagnostic_command(
    ctx: click.Context, case: str, name: str, passed: int | None, machine: str | None, words: str, as_json: bool
) -> None:
    """Note how far a diagnostic ROM or cartridge came (--passed N), or list its steps as the machine's file has them.

    What the passed steps need works; the step it stopped at needs something that does not. NAME may be left out where there is only one.
    """
    made, found = shop_and_case(ctx, case)
    model = bootstrap.machine_model(case_state(made, found).package, machine)
    noted = None if passed is None else note_diagnostic(made, found, model, name, passed, words=words)
    book = bootstrap.device_book(ctx.find_root().obj.get("store"))
    view = bringup_view(made, found, book, model)
    if as_json:
        print_json({**view, "entry": None if noted is None else noted.as_dict()})
        return
    if noted is not None:
        click.echo(f"{noted.entry.bench_seq}  {noted.words}")
    for one in view["diagnostics"]:
        click.echo(one["name"])
        for step in one["steps"]:
            click.echo(f"  {step['number']}. {step['words']}: needs {', '.join([*step['parts'], *step['nets']])}")
    if not view["diagnostics"]:
        click.echo(
            "The machine's file describes no diagnostic: write its steps as [[diagnostic]] (docs/reference/machines.md)."
        )
