"""A chip as plain JSON values and as words for the screen."""

from __future__ import annotations

from coppermend.devices.model import Chip, Pin, Rail


def pin_as_dict(chip: Chip, pin: Pin) -> dict[str, object]:
    """One pin: number, name, kind, active level; for a driven pin what it needs to move, its logic and when it drives.

    >>> from coppermend.devices import shipped
    >>> pin_as_dict(shipped().get("7400"), shipped().get("7400").pins[2])["logic"]
    '!(1A & 1B)'
    """
    row: dict[str, object] = {
        "number": pin.number,
        "name": pin.name,
        "kind": pin.kind.value,
        "active": "low" if pin.active_low else "high",
    }
    if pin.name in chip.needs:
        row["needs"] = list(chip.needs[pin.name])
    if pin.name in chip.logic:
        row["logic"] = chip.logic[pin.name]
    if pin.name in chip.drive:
        row["drives_while"] = chip.drive[pin.name]
    return row


def chip_as_dict(chip: Chip) -> dict[str, object]:
    """The whole entry. Voltages in volt, dissipation in watt, thermal resistance in kelvin per watt."""
    family = chip.family
    return {
        "type": chip.type,
        "title": chip.title,
        "package": chip.package,
        "family": family.name,
        "levels": {"vil_v": family.vil_v, "vih_v": family.vih_v, "vol_v": family.vol_v, "voh_v": family.voh_v},
        "pins": [pin_as_dict(chip, pin) for pin in chip.pins],
        "supply": [_rail(name, rail) for name, rail in chip.rails.items()],
        "makes": [_rail(name, rail) for name, rail in chip.makes.items()],
        "functions": [
            {
                "kind": one.kind,
                "pins": {role: list(names) for role, names in one.pins.items()},
                "edge": one.edge,
                "modulus": one.modulus,
            }
            for one in chip.functions
        ],
        "rules": dict(chip.rules),
        "typical_w": chip.typical_w,
        "power_first": list(chip.power_first),
        "piggyback": chip.piggyback,
        "theta_k_per_w": chip.theta_k_per_w,
        "aliases": list(chip.aliases),
        "note": chip.note,
        "source": chip.source,
        "sure": chip.sure,
        "file": chip.file,
    }


def needs_words(chip: Chip, pin: Pin) -> str:
    """What a driven pin does or needs, as a short phrase; empty for the others."""
    if pin.name in chip.logic:
        while_ = f" while {chip.drive[pin.name]}" if pin.name in chip.drive else ""
        return f"= {chip.logic[pin.name]}{while_}"
    needs = chip.needs.get(pin.name, ())
    return "needs " + " ".join(needs) if needs else ""


def _rail(name: str, rail: Rail) -> dict[str, object]:
    return {"pin": name, "nominal_v": rail.nominal_v, "tolerance_percent": rail.tolerance_percent}
