"""``coppermend bench``: how this bench is called, and how fast it works."""

from __future__ import annotations

import click

from coppermend.bootstrap import bench_name, name_bench
from coppermend.cli import print_json
from coppermend.cli.shop import JSON, shop
from coppermend.core.findings import refuse
from coppermend.core.log.state import plain
from coppermend.services.bench_times import take_times, times_of
from coppermend.services.cases import find_case


@click.group("bench")
def bench_command() -> None:
    """The bench: its name, and what its own log says of its speed."""


@bench_command.command("name")
@click.argument("name", required=False)
@click.pass_context
def bench_name_command(ctx: click.Context, name: str | None) -> None:
    """Say how this bench is called, or give it a NAME ('' takes it away). It stands behind the author's in every entry written here from now on."""
    store = (ctx.find_root().obj or {}).get("store")
    kept = bench_name(store) if name is None else name_bench(store, name)
    click.echo(f"This bench is called: {kept}" if kept else "This bench has no name.")


@bench_command.command("times")
@click.argument("case", required=False, metavar="CASE")
@click.option("--all", "every", is_flag=True, help="Over all cases of this store.")
@click.option("--use", is_flag=True, help="Plan CASE with these times from now on (a basis entry in its log).")
@JSON
@click.pass_context
def bench_times_command(ctx: click.Context, case: str | None, every: bool, use: bool, as_json: bool) -> None:
    """Compare the modelled seconds of readings with the times of the log, act by act."""
    made = shop(ctx)
    if not case and (use or not every):
        raise refuse("BEN-002", "No case is named.", "Name one, or ask for all with --all.")
    own = find_case(made, case) if case else ""
    times = times_of(made, [one for _, one in made.store.numbers()] if every else [own])
    entry = take_times(made, own, times) if use else None
    if as_json:
        print_json({**plain(times), "noted": entry.bench_seq if entry else None})
        return
    click.echo(f"{times.used} times between readings used, {times.left_out} left out (pauses, typed lists).")
    for act in times.acts:
        seen = f"{act.table_s:5.1f} s modelled, {act.bench_s:5.1f} s here" if act.seen else "not seen yet"
        click.echo(f"  {act.act:13} {act.seen:5} times  {seen}  (factor {act.factor:.2f} +- {act.sd:.2f})")
    click.echo(
        f"Predicted {times.predicted_s:.0f} s, with these factors {times.fitted_s:.0f} s, actual {times.actual_s:.0f} s."
    )
    for note in times.notes:
        click.echo(note)
    if entry is not None:
        click.echo(f"Noted as {entry.bench_seq}: this case is planned with these times.")
