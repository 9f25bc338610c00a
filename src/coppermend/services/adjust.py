"""The numbers of a case, seen and adjusted: priors, error rates, thresholds, the meter at hand, modelled times."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from coppermend.core.belief.readings import rates
from coppermend.core.findings import Place, refuse
from coppermend.core.log.canonical import canonical_bytes, sha256_hex
from coppermend.core.log.model import Entry
from coppermend.core.log.state import CaseState, plain
from coppermend.services.cases import case_state
from coppermend.services.entries import write
from coppermend.services.numbers import basis_of, check_numbers, check_typed, costs_of, read_basis
from coppermend.services.workshop import Workshop


def numbers_for_case(workshop: Workshop, case: str) -> dict[str, Any]:
    """Every number that this case's belief ("priors") and plan ("costs") use, as plain JSON values; a path like priors.prior_in.joint names one."""
    return _now(case_state(workshop, case))


def set_numbers(workshop: Workshop, case: str, changes: Mapping[str, float]) -> tuple[Entry, ...]:
    """Change numbers by their paths; one basis entry for each of the two tables that changed. Refusals CAS-008 (no such number), CAS-007, BLF-001."""
    now = _now(case_state(workshop, case))
    touched: dict[str, dict[str, Any]] = {}
    for path, value in changes.items():
        table, _, rest = path.strip().partition(".")
        if table not in now:
            raise _unknown(path)
        check_typed(path.strip(), value)
        _put(now[table], rest, value, path)
        touched[table] = now[table]
    for table, values in touched.items():
        check_numbers(table, values)
        if table == "priors":
            rates(read_basis(values))
    return tuple(
        write(workshop, case, "basis", {"name": table, "sha256": sha256_hex(canonical_bytes(values)), "values": values})
        for table, values in touched.items()
    )


def _now(state: CaseState) -> dict[str, Any]:
    return {"priors": plain(basis_of(state)), "costs": plain(costs_of(state))}


def _put(values: dict[str, Any], rest: str, value: float, path: str) -> None:
    """Set the number at a path inside one table."""
    at: Any = values
    names = rest.split(".")
    for name in names[:-1]:
        at = at.get(name) if isinstance(at, dict) else None
    if not isinstance(at, dict) or not isinstance(at.get(names[-1]), (int, float)):
        raise _unknown(path)
    if path.startswith("priors.prior_") and not 0.0 <= value <= 0.5:
        raise refuse(
            "CAS-008",
            f"{path} = {value:g} is no prior: found outside 0 to 0.5.",
            "Give a chance such as 0.03.",
            Place(thing=path),
        )
    at[names[-1]] = float(value)


def _unknown(path: str) -> Exception:
    return refuse(
        "CAS-008",
        f"There is no number {path!r}.",
        "See them all: coppermend case numbers CASE; name one like priors.false_open or priors.prior_in.joint.",
        Place(thing=path),
    )
