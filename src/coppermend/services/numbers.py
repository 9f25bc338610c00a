"""The numbers outside the log that belief and planning use, as a basis entry keeps them: written when a case is opened, read back as they were."""

from __future__ import annotations

import json
import math
from collections.abc import Mapping
from dataclasses import fields
from typing import Any

from coppermend.core.belief.model import Basis
from coppermend.core.findings import Place, refuse
from coppermend.core.log.canonical import canonical_bytes, sha256_hex
from coppermend.core.log.state import CaseState, plain
from coppermend.core.planning.costs import CostTable
from coppermend.services.learnednumbers import LEARNED, factors_of_values

DEFAULTS: dict[str, Any] = {"priors": Basis(), "costs": CostTable()}
"""What a new case starts from, by the name of its basis entry."""
MOST = 1e9
"""Numbers of a basis lie below this."""


def basis_payload(name: str) -> dict[str, Any]:
    """The payload of a basis entry with this version's defaults and their content hash."""
    values = plain(DEFAULTS[name])
    return {"name": name, "sha256": sha256_hex(canonical_bytes(values)), "values": values}


def basis_of(state: CaseState) -> Basis:
    """The numbers that the log says a belief uses; the defaults of this version where it names none. Fields of a later version are ignored."""
    return Basis(**_kept("priors", _named(state, "priors")))


def read_basis(values: Mapping[str, Any]) -> Basis:
    """A basis from plain values, as a basis entry keeps them."""
    return Basis(**_kept("priors", values))


def costs_of(state: CaseState) -> CostTable:
    """The modelled bench times that the log names; the defaults of this version where it names none."""
    return CostTable(**_kept("costs", _named(state, "costs")))


def check_numbers(name: str, values: Any) -> None:
    """Refusal CAS-007 when numbers of a basis entry are not of the form that this version uses."""
    if name in DEFAULTS:
        _kept(name, values)
    elif name == LEARNED:
        factors_of_values(values)


def check_typed(path: str, value: float) -> None:
    """Refusal CAS-008 for a number that somebody just typed and that no basis can hold: none at all, below 0, or 1e9 and more.

    >>> check_typed("priors.false_open", 0.03)
    """
    if not (math.isfinite(value) and 0.0 <= value < MOST):
        raise refuse(
            "CAS-008",
            f"The number typed for {path} is {value}; expected one from 0 up to {MOST:.0e}.",
            "Write it like: --set priors.false_open=0.03.",
            Place(thing=path),
        )


def _named(state: CaseState, name: str) -> Mapping[str, Any]:
    found: Mapping[str, Any] = {one: json.loads(text) for one, _, text in state.basis}.get(name, {})
    return found


def _kept(name: str, values: Mapping[str, Any]) -> dict[str, Any]:
    default = DEFAULTS[name]
    known = {one.name for one in fields(default)}
    return {
        field: _like(getattr(default, field), value, f"{name}.{field}")
        for field, value in values.items()
        if field in known
    }


def _like(default: Any, value: Any, where: str) -> Any:
    """A JSON value in the form of the default: JSON has lists for tuples and text for whole-number keys."""
    if isinstance(default, Mapping) and isinstance(value, Mapping):
        whole = all(isinstance(key, int) for key in default)
        return {_key(key, whole, where): _number(one, where) for key, one in value.items()}
    if isinstance(default, tuple) and isinstance(value, list) and all(isinstance(row, list) for row in value):
        return tuple(tuple(_number(one, where) for one in row) for row in value)
    return _number(value, where)


def _key(key: str, whole: bool, where: str) -> str | int:
    if whole and not key.isdecimal():
        raise _impossible(where, key)
    return int(key) if whole else key


def _number(value: Any, where: str) -> float:
    if (
        isinstance(value, bool)
        or not isinstance(value, (int, float))
        or not math.isfinite(value)
        or not 0.0 <= value < MOST
    ):
        raise _impossible(where, value)
    return float(value)


def _impossible(where: str, value: object) -> Exception:
    words = f"The number {where} of this case is {str(value)[:40]!r}; expected one from 0 up."
    return refuse("CAS-007", words, "Take the case from its source again.", Place(thing=where))
