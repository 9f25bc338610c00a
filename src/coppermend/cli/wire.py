"""``coppermend wire``: patch wires by gauge, and the wires that restore a net."""

from __future__ import annotations

import click

from coppermend.cli import print_json
from coppermend.core.rework.gauge import gauge


@click.group("wire")
def wire_command() -> None:
    """Patch wires: what a gauge is good for, and which wires restore a net."""


@wire_command.command("gauge")
@click.option("--awg", type=int, required=True, help="Gauge number, 0 to 40 (30 is wrap wire).")
@click.option("--length-mm", type=float, required=True, help="Length in mm.")
@click.option("--json", "as_json", is_flag=True, help="Print one JSON object.")
def gauge_command(awg: int, length_mm: float, as_json: bool) -> None:
    """Resistance and fusing currents of a length of copper wire at 20 degC."""
    found = gauge(awg, length_mm)
    if as_json:
        print_json(found.as_dict())
        return
    click.echo(
        f"{found.awg} AWG, {found.length_mm:g} mm: diameter {found.diameter_mm:.4f} mm, section {found.section_mm2:.4f} mm2"
    )
    click.echo(f"resistance     {found.resistance_ohm * 1e3:.2f} milliohm at 20 degC (real wire within 2 to 3 %)")
    click.echo(f"fuses at about {found.preece_a:.1f} A steady in free air (Preece)")
    click.echo(f"fuses at about {found.onderdonk_a:.1f} A within one second (Onderdonk)")
    click.echo("The two fusing models disagree by a factor of two and more: an order of magnitude, not a rating.")
