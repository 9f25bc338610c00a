"""What past cases say, as a case keeps it: the basis entry ``learned`` with a factor on the priors by damage and site or by kind of part, its counts beside it."""

from __future__ import annotations

import json
import math
import re
from collections.abc import Mapping
from typing import Any

from coppermend.core.copper.model import SiteKind
from coppermend.core.findings import Place, refuse
from coppermend.core.log.kinds import AREA_KINDS
from coppermend.core.log.state import CaseState
from coppermend.core.planning.learned import MOST_FACTOR, PART

LEARNED = "learned"
"""Name of the basis entry."""
MOST_PARTS = 256
"""Kinds of parts that a case takes in at most."""
MOST_ROWS = len(AREA_KINDS) * len(SiteKind) + MOST_PARTS
KIND = re.compile(r"[a-z0-9][a-z0-9 _./+-]{0,39}")
"""A kind of part."""
SITES = tuple(str(one) for one in SiteKind)


def learned_of(state: CaseState) -> dict[str, Any]:
    """The values of the case's last ``learned`` entry; empty when it has none."""
    found: dict[str, Any] = {one: json.loads(text) for one, _, text in state.basis}.get(LEARNED, {})
    return found


def factors_in(state: CaseState) -> dict[str, dict[str, float]]:
    """Factor on the priors by damage and site that the case's log names; empty when it learns from nothing."""
    return factors_of_values(learned_of(state))


def factors_of_values(values: Mapping[str, Any]) -> dict[str, dict[str, float]]:
    """The factors of a ``learned`` entry's values. Refusal CAS-007 for values that no bench writes."""
    rows = values.get("rates", [])
    if not isinstance(rows, list) or len(rows) > MOST_ROWS:
        raise _impossible("rates", rows)
    out: dict[str, dict[str, float]] = {}
    for row in rows:
        if not isinstance(row, Mapping) or not _known(row.get("damage"), row.get("site")):
            raise _impossible("a rate", row)
        factor = row.get("factor")
        if isinstance(factor, bool) or not isinstance(factor, (int, float)) or not math.isfinite(factor):
            raise _impossible("a factor", factor)
        if not 0.0 < factor <= MOST_FACTOR:
            raise _impossible("a factor", factor)
        out.setdefault(str(row["damage"]), {})[str(row["site"])] = float(factor)
    return out


def _known(damage: object, site: object) -> bool:
    if damage == PART:
        return isinstance(site, str) and KIND.fullmatch(site) is not None
    return damage in AREA_KINDS and site in SITES


def _impossible(what: str, value: object) -> Exception:
    words = f"What was learned says {what} {str(value)[:60]!r}, which no bench writes."
    return refuse("CAS-007", words, "Take the case from its source again.", Place(thing=LEARNED))
