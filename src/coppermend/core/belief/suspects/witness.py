"""What other work found (a memory test, a ROM's read-out, readings compared power off) as evidence: which parts, nets and pins it speaks for, and how much.

A ``Say`` names a part, a net or a pin with the natural logarithm of how likely the finding is when a fault is there, against the likeliest (0). A set of
faults counts as its best fault does; sets that hold none of the named ones make the finding as likely as ``other``.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from coppermend.core.belief.suspects.causes import Cause
from coppermend.core.belief.suspects.field import Field, Floats, Ints

Say = tuple[str, str, float]
"""("part", "U53", log) any fault of that part; ("net", "RA0", log) a fault of that net's copper, a bridge on it, or a pin that holds it;
("pin", "U53.14", log) the fault of one pin, or of the whole part or the net it is on; ("site", "joint@U5.3", log) the span of copper that holds that
site; ("short", "RA0 RA1", log) the bridges between two nets; ("whole", "U1", log) a part as a whole, not one of its pins; ("held", "A3", log) what holds a net, not
its copper; ("content", "U5", log) what stands in a memory, which is no cause here: no level shows it; ("unit", "rail VCC", log) any fault of that unit of repair;
("fault", "lowrail VCC", log) that one fault."""


def witness_logs(made: Field, members: Ints, says: Sequence[Say], other: float) -> Floats:
    """Log P(finding | set) for every fault set (n, size), -1 where fewer."""
    each = cause_logs(made, says, other)[members]
    against = all(log < other for _, _, log in says)
    return np.asarray(each.min(axis=1) if against else each.max(axis=1), dtype=np.float64)


def cause_logs(made: Field, says: Sequence[Say], other: float) -> Floats:
    """Log P(finding | one cause alone), (causes + 1,); the last for none."""
    key = ("witness", tuple(says), other)
    if key not in made.memo:
        found = np.full(len(made.causes) + 1, other)
        sites = {name: log for kind, name, log in says if kind == "site"}
        rest = [say for say in says if say[0] != "site"]
        for k, cause in enumerate(made.causes):
            named = [log for kind, name, log in rest if _of(made, cause, kind, name)]
            named += [sites[one] for one in cause.sites if one in sites] if sites else []
            found[k] = max(named, default=other)
        made.memo[key] = found
    kept: Floats = made.memo[key]
    return kept


def _of(made: Field, cause: Cause, kind: str, name: str) -> bool:
    if kind == "content":
        return False
    if kind == "unit":
        return cause.unit == name
    if kind == "fault":
        return " ".join(map(str, cause.key)) == name
    if kind == "part":
        return cause.part == name
    if kind == "whole":
        return cause.part == name and "." not in str(cause.key[1])
    if kind == "held":
        return cause.kind != "span" and _of(made, cause, "net", name)
    if kind == "short":
        if cause.key[0] != "short":
            return False
        bridge = made.behaviour.shorts[int(cause.key[2])]
        return set(name.split(" ")) == {bridge.net_a, bridge.net_b}
    if kind == "pin":
        part = made.behaviour.circuit.by_ref.get(name.split(".")[0])
        t = next((t for t in part.terminals if t.id == name), None) if part is not None else None
        whole = cause.part == name.split(".")[0] and "." not in str(cause.key[1])
        return str(cause.key[1]) == name or whole or (t is not None and t.net != "" and _of(made, cause, "net", t.net))
    if cause.key[0] == "short":
        short = made.behaviour.shorts[int(cause.key[2])]
        return name in (short.net_a, short.net_b)
    if cause.part and "." in str(cause.key[1]):
        part = made.behaviour.circuit.by_ref.get(cause.part)
        return part is not None and any(t.id == str(cause.key[1]) and t.net == name for t in part.terminals)
    return cause.net == name
