"""The plans of the rework that a case keeps, as the record shows them: words, diagram, limits, and what each rests on."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence

from coppermend.core.findings import Refusal
from coppermend.core.log.state import KeptPlan
from coppermend.core.rework.alloy.composition import read_alloy
from coppermend.services.alloydrawing import draw_alloys
from coppermend.services.plans import AlloyKept, ListKept, ListsKept, read_plan
from coppermend.services.recording.model import Picture, PlanRow, PlanTable
from coppermend.services.warmingdrawing import HEIGHT, WIDTH, draw_warming

MOST_PLANS = 20
"""Plans that a record draws; the story names them all."""
ALLOY_RATIO = 0.47


def plan_rows(plans: Sequence[KeptPlan], stamp: Callable[[str], str]) -> Iterable[PlanRow]:
    """Each kept plan, one that was kept again unchanged only the last time; one that cannot be drawn keeps its words alone. ``stamp`` makes a time of its text."""
    last = {one.plan: one for one in plans}
    shown = [one for one in plans if last[one.plan] is one]
    for number, one in enumerate(shown[-MOST_PLANS:], 1):
        kept = read_plan(one.plan)
        when = stamp(one.observed_at)
        if kept is None:
            yield PlanRow("Plan", when, one.words, None, (), ())
        elif isinstance(kept, AlloyKept):
            title = f"Alloy: {kept.add} fed to {kept.base}"
            yield PlanRow(title, when, one.words, _alloy(number, kept), (), kept.assumed, _tables(kept.tables))
        elif isinstance(kept, ListsKept):
            yield PlanRow(kept.title, when, one.words, None, (), kept.assumed, _tables(kept.tables))
        else:
            alt = f"Temperature of both sides over the time, up to the target of {kept.target_c:.0f} degC, under the laminate's limit."
            picture = Picture(f"plan-{number}", "", alt, draw_warming(kept), HEIGHT / WIDTH)
            limits = tuple(
                (name, found, limit, "yes" if kept_ else "NO", source)
                for name, found, limit, kept_, source in kept.held
            )
            yield PlanRow("Warming the board", when, one.words, picture, limits, kept.assumed)


def _tables(kept: Iterable[ListKept]) -> tuple[PlanTable, ...]:
    return tuple(PlanTable(table.title, table.names, table.rows) for table in kept)


def _alloy(number: int, kept: AlloyKept) -> Picture | None:
    """The joint's path on the melting diagram; None where the model does not know the alloys."""
    try:
        svg = draw_alloys(read_alloy(kept.base), read_alloy(kept.add), kept.shares, kept.keep_c)
    except Refusal:
        return None
    alt = f"Solidus and liquidus from {kept.base} to {kept.add}, the doses numbered, and the way over the triangle of tin, lead and bismuth."
    return Picture(f"plan-{number}", "", alt, svg, ALLOY_RATIO)
