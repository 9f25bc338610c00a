"""Alloys by mass: read from their usual names, mixed, and checked."""

from __future__ import annotations

import math
import re
from collections.abc import Mapping
from dataclasses import dataclass

from coppermend.core.findings import refuse

KNOWN = ("Sn", "Pb", "Bi", "Ag", "Cu", "Sb", "In")
"""Elements of solders that an alloy may be written with; cadmium is refused."""

DENSITY_G_CM3 = {"Sn": 7.29, "Pb": 11.34, "Bi": 9.79, "Ag": 10.49, "Cu": 8.96, "Sb": 6.69, "In": 7.31}
"""Pure elements at room temperature (handbook values, from memory; mixed by volume they meet the published alloys within 0.1 g/cm3)."""

SHORT_NAMES = {
    "SAC305": "Sn96.5Ag3Cu0.5",
    "SAC387": "Sn95.5Ag3.8Cu0.7",
    "SAC405": "Sn95.5Ag4Cu0.5",
    "ROSE": "Bi50Pb28Sn22",
}
"""Names of the trade for compositions by mass (J-STD-006 short names from memory; Rose's metal after an encyclopaedia)."""

OFF_BY_WT = 0.5
"""An alloy whose numbers miss 100 by no more than this is rounded, not wrong."""


@dataclass(frozen=True, slots=True)
class Alloy:
    """An alloy by mass: ``wt`` holds (element, percent) with the largest share first; the percents sum to 100."""

    wt: tuple[tuple[str, float], ...]

    def share(self, element: str) -> float:
        """Percent by mass of one element, 0 when it has none.

        >>> read_alloy("Sn63Pb37").share("Pb")
        37.0
        """
        return dict(self.wt).get(element, 0.0)

    @property
    def name(self) -> str:
        """Its usual name.

        >>> read_alloy("Pb37Sn63").name
        'Sn63Pb37'
        """
        return "".join(f"{element}{round(percent, 2):g}" for element, percent in self.wt if round(percent, 2) > 0)

    @property
    def density_g_cm3(self) -> float:
        """Density at room temperature, volumes added up, g/cm3.

        >>> round(read_alloy("Sn63Pb37").density_g_cm3, 2)   # published 8.40
        8.4
        """
        return 100.0 / sum(percent / DENSITY_G_CM3[element] for element, percent in self.wt)

    def as_dict(self) -> dict[str, float]:
        """Percent by mass by element, rounded to 0.001."""
        return {element: round(percent, 3) for element, percent in self.wt if percent > 0}


def alloy(percents: Mapping[str, float]) -> Alloy:
    """An alloy from percents by mass (any common factor), the largest share first."""
    total = sum(percents.values())
    rows = [(element, 100.0 * value / total) for element, value in percents.items() if value > 0]
    return Alloy(tuple(sorted(rows, key=lambda row: (-row[1], row[0]))))


TERM = re.compile(r"([A-Z][a-z]?)(\d+(?:\.\d*)?|\.\d+)?")
DASHED = re.compile(r"([A-Z][a-z]?)((?:-(?:\d+(?:\.\d*)?|\.\d+)[A-Z][a-z]?)+)")
DASHED_TERM = re.compile(r"-(\d+(?:\.\d*)?|\.\d+)([A-Z][a-z]?)")


def read_alloy(text: str) -> Alloy:
    """The alloy a name stands for: ``Sn63Pb37``, ``Bi51.6Pb32.6Sn15.8``, ``Sn-3.0Ag-0.5Cu``, ``Sn``, ``SAC305``.

    One element without a number takes what is missing to 100. A Refusal says what is wrong: not understood, cadmium, sums.

    >>> read_alloy("Sn-3.0Ag-0.5Cu").as_dict()
    {'Sn': 96.5, 'Ag': 3.0, 'Cu': 0.5}
    """
    said = SHORT_NAMES.get(text.strip().upper(), text.strip()).replace(" ", "")
    terms = _terms(said)
    if not terms:
        raise refuse(
            "ALY-001",
            f"{text!r} is no alloy by mass.",
            "Write elements with percents by mass, such as Sn63Pb37, Bi51.6Pb32.6Sn15.8 or Sn-3.0Ag-0.5Cu.",
        )
    for element, _ in terms:
        if element == "Cd":
            raise refuse(
                "ALY-004",
                f"{text!r} holds cadmium. Its fume and dust are poisonous; cadmium alloys are not offered here.",
                "Take an alloy without it, such as Sn42Bi58.",
            )
        if element not in KNOWN:
            raise refuse("ALY-001", f"{element} in {text!r} is no element of a solder known here.", _write())
    names = [element for element, _ in terms]
    if len(set(names)) < len(names):
        raise refuse("ALY-001", f"{text!r} names an element twice.", _write())
    return _completed(text, terms)


def _write() -> str:
    return f"Use {', '.join(KNOWN)}."


def _terms(said: str) -> list[tuple[str, float | None]]:
    """Elements with their numbers, None where one has no number; nothing when the text is of no such form."""
    dashed = DASHED.fullmatch(said)
    if dashed is not None:
        rest: list[tuple[str, float | None]] = [(b, float(a)) for a, b in DASHED_TERM.findall(dashed[2])]
        return [(dashed[1], None), *rest]
    if re.fullmatch(f"(?:{TERM.pattern})+", said) is None:
        return []
    return [(element, float(number) if number else None) for element, number in TERM.findall(said)]


def _completed(text: str, terms: list[tuple[str, float | None]]) -> Alloy:
    """The alloy with the one open share filled in; a Refusal when the sum is not 100."""
    named = sum(number for _, number in terms if number is not None)
    left_open = [element for element, number in terms if number is None]
    too_much = named > 100 + OFF_BY_WT
    if len(left_open) > 1 or too_much or (not left_open and abs(named - 100) > OFF_BY_WT):
        raise refuse(
            "ALY-002",
            f"The shares of {text!r} sum to {named:g} percent; expected 100.",
            "Give percents by mass that sum to 100; one element may stand without a number and takes the rest.",
        )
    rest = max(0.0, 100.0 - named)
    return alloy({element: rest if number is None else number for element, number in terms})


def mix(base: Alloy, add: Alloy, share: float) -> Alloy:
    """The alloy of a joint when ``share`` (0 to 1, by mass) of it is the added alloy and the rest what was there.

    >>> mix(read_alloy("Sn63Pb37"), read_alloy("Sn42Bi58"), 0.5).as_dict()
    {'Sn': 52.5, 'Bi': 29.0, 'Pb': 18.5}
    """
    check_share(share)
    names = dict.fromkeys([element for element, _ in (*base.wt, *add.wt)])
    return alloy({one: (1 - share) * base.share(one) + share * add.share(one) for one in names})


def check_share(share: float) -> None:
    """A Refusal unless ``share`` is a number from 0 to 1."""
    if not (math.isfinite(share) and 0 <= share <= 1):
        raise refuse(
            "ALY-003",
            f"A share of {share:g} is none; expected 0 (nothing added) to 1 (only the added alloy).",
            "Give the added alloy's part of the whole joint by mass, such as 0.5.",
        )


def share_by_mass(base_mass: float, add_mass: float) -> float:
    """The added alloy's share of the whole, from two masses in one unit; a Refusal for masses below zero or both zero.

    >>> share_by_mass(12.0, 6.0)
    0.3333333333333333
    """
    if not (math.isfinite(base_mass) and math.isfinite(add_mass)) or min(base_mass, add_mass) < 0:
        raise refuse(
            "ALY-003",
            f"Masses of {base_mass:g} and {add_mass:g} cannot be; expected zero or more.",
            "Give what the joint holds and what is added, both in the same unit.",
        )
    if base_mass + add_mass <= 0:
        raise refuse("ALY-003", "Both masses are zero: there is no joint.", "Give at least one mass above zero.")
    return add_mass / (base_mass + add_mass)
