"""Who on the network may ask for what: one table from route to role, and nothing that is not in it.

``look`` sees all that is shown, ``work`` writes into cases, ``manage`` lets devices in and out, takes whole cases in and out and keeps the numbers.
``bench`` is done at the bench computer alone, whatever a device may otherwise: it names folders and addresses of that computer.
The bench computer itself (loopback) is not asked: whoever sits there can do everything anyway.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from types import MappingProxyType

from coppermend.services.lan import ROLES

BENCH = "bench"
OPEN = "open"
"""Served to a device that is not paired yet."""

LOOK = """
GET /
GET /openapi.json
GET /api/me
GET /api/cases
GET /api/cases/{case}
GET /api/cases/{case}/acceptance
GET /api/cases/{case}/bench
GET /api/cases/{case}/board-photo/{side}
GET /api/cases/{case}/bringup
GET /api/cases/{case}/care
GET /api/cases/{case}/chips
GET /api/cases/{case}/chips/{part}
GET /api/cases/{case}/events
GET /api/cases/{case}/excess
GET /api/cases/{case}/expect
GET /api/cases/{case}/find
GET /api/cases/{case}/first
GET /api/cases/{case}/gate
GET /api/cases/{case}/heat
GET /api/cases/{case}/heat/{entry}
GET /api/cases/{case}/heat/{entry}/picture
GET /api/cases/{case}/intake
GET /api/cases/{case}/label.pdf
GET /api/cases/{case}/laid
GET /api/cases/{case}/laid/{side}
GET /api/cases/{case}/learned
GET /api/cases/{case}/log
GET /api/cases/{case}/look
GET /api/cases/{case}/map
GET /api/cases/{case}/nets/{net}
GET /api/cases/{case}/next
GET /api/cases/{case}/numbers
GET /api/cases/{case}/parts/small
GET /api/cases/{case}/parts/{part}/inferred
GET /api/cases/{case}/photos/{sha256}
GET /api/cases/{case}/photos/{sha256}/small
GET /api/cases/{case}/pictures/{name}
GET /api/cases/{case}/pin
GET /api/cases/{case}/places
GET /api/cases/{case}/points
GET /api/cases/{case}/rails
GET /api/cases/{case}/readings/compared
GET /api/cases/{case}/record.html
GET /api/cases/{case}/record.pdf
GET /api/cases/{case}/removal/{part}
GET /api/cases/{case}/round
GET /api/cases/{case}/scene
GET /api/cases/{case}/scene.bin
GET /api/cases/{case}/schematics
GET /api/cases/{case}/schematics/find
GET /api/cases/{case}/schematics/{entry}/pages/{number}
GET /api/cases/{case}/short
GET /api/cases/{case}/short/supply
GET /api/cases/{case}/spans
GET /api/cases/{case}/starts
GET /api/cases/{case}/story
GET /api/cases/{case}/supply
GET /api/cases/{case}/supply/short
GET /api/cases/{case}/suspects
GET /api/cases/{case}/suspects/map
GET /api/cases/{case}/times
GET /api/cases/{case}/unproven
GET /api/cases/{case}/waits
GET /api/cases/{case}/waves
GET /api/cases/{case}/waves/{entry}
GET /api/cases/{case}/ways
GET /api/cases/{case}/wires
GET /api/builds/{build}
GET /api/alloys
GET /api/wires/gauge
GET /api/meters
GET /api/meters/events
GET /api/speech
POST /api/alloys/mix
POST /api/cases/{case}/alloys
POST /api/cases/{case}/preheat
POST /api/cases/{case}/wires/plan
POST /api/speech
"""
"""The POSTs among them reckon or speak and write nothing (tests/api/test_roles.py asks each)."""

WORK = """
DELETE /api/builds/{build}
GET /api/cases/{case}/practice/planner
GET /api/cases/{case}/practice/truth
POST /api/cases/{case}/areas
POST /api/cases/{case}/care
POST /api/cases/{case}/chips
POST /api/cases/{case}/chips/{part}/checks
POST /api/cases/{case}/diagnostic
POST /api/cases/{case}/entries
POST /api/cases/{case}/freerun
POST /api/cases/{case}/heat
POST /api/cases/{case}/heat/preview
POST /api/cases/{case}/intake
POST /api/cases/{case}/laid
POST /api/cases/{case}/look
POST /api/cases/{case}/memory
POST /api/cases/{case}/meter/readings
POST /api/cases/{case}/meter/zero
POST /api/cases/{case}/photos
POST /api/cases/{case}/places
POST /api/cases/{case}/practice/ask
POST /api/cases/{case}/removal/{part}
POST /api/cases/{case}/roms
POST /api/cases/{case}/schematics
POST /api/cases/{case}/short/supply
POST /api/cases/{case}/starts
POST /api/cases/{case}/supply
POST /api/cases/{case}/waits
POST /api/cases/{case}/waits/over
POST /api/cases/{case}/waves
POST /api/cases/{case}/waves/gate
POST /api/cases/{case}/waves/starts
POST /api/cases/{case}/waves/typed
POST /api/meters/now
POST /api/practice
"""

MANAGE = """
DELETE /api/lan/devices/{which}
GET /api/cases/{case}/export
GET /api/lan
GET /api/learning/export
POST /api/cases/{case}/learned
POST /api/cases/{case}/numbers
POST /api/cases/{case}/times
POST /api/import
POST /api/lan/code
POST /api/learning/gather
POST /api/learning/import
POST /api/learning/switch
POST /api/lan/devices/{which}/role
"""

AT_THE_BENCH = """
DELETE /api/meters/watch
POST /api/cases
POST /api/meters/test
POST /api/meters/watch
"""

FREE = """
GET /lan/authority.crt
POST /api/pair
"""


def _table() -> Mapping[str, str]:
    rows = ((OPEN, FREE), ("look", LOOK), ("work", WORK), ("manage", MANAGE), (BENCH, AT_THE_BENCH))
    return MappingProxyType({line: role for role, lines in rows for line in lines.split("\n") if line})


ROUTES: Mapping[str, str] = _table()
"""Role by ``METHOD /path`` as the routes are declared."""


def _pattern(route: str) -> re.Pattern[str]:
    """What a declared path matches: one word without a slash in each brace, as the framework reads it."""
    return re.compile(
        "".join("[^/]+" if one.startswith("{") else re.escape(one) for one in re.split(r"(\{\w+\})", route))
    )


_PATTERNS = tuple((one.partition(" ")[0], _pattern(one.partition(" ")[2]), role) for one, role in ROUTES.items())
_ORDER = (OPEN, *ROLES, BENCH)


def needed(method: str, path: str) -> str:
    """The role that a request needs: the highest of all routes that it could mean; ``bench`` for whatever the table does not name.

    >>> needed("GET", "/api/cases/1/bench"), needed("POST", "/api/cases/1/entries"), needed("PUT", "/api/cases/1")
    ('look', 'work', 'bench')
    """
    asked = "GET" if method == "HEAD" else method
    if asked == "GET" and path.startswith("/page/"):
        return "look"
    found = [role for way, pattern, role in _PATTERNS if way == asked and pattern.fullmatch(path)]
    return max(found, key=_ORDER.index, default=BENCH)
