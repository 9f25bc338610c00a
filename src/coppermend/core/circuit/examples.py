"""Small circuits for worked examples and tests."""

from __future__ import annotations

from coppermend.core.circuit.build import PartInput, build_circuit
from coppermend.core.circuit.model import Circuit
from coppermend.core.circuit.toychip import Toy


def inverter_chain() -> Circuit:
    """Net A held high by R1, an inverter to B, another to C: U1 is a two-gate inverter on the rail VCC."""
    chip = Toy(
        "INV2",
        "1 A input|2 Y output|3 B input|4 Z output|7 GND ground|14 VCC power",
        {"Y": "!A", "Z": "!B"},
    )
    rows = (
        PartInput(
            "U1",
            "INV2",
            (("1", "", "A"), ("2", "", "B"), ("3", "", "B"), ("4", "", "C"), ("7", "", "GND"), ("14", "", "VCC")),
        ),
        PartInput("R1", "4k7", (("1", "", "A"), ("2", "", "VCC"))),
        PartInput("J1", "", (("1", "", "VCC"), ("2", "", "GND"))),
    )
    return build_circuit(rows, lambda text: chip if text == "INV2" else None)
