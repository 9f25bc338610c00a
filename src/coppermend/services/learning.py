"""Learning from cases: what finished, proven repairs say of the priors, kept in a book beside the store, taken into a case by a basis entry.

A case teaches once it is ready or returned and its copper is proven, its wires included. Its sites are judged by this version's own numbers, never by
learned ones, so that what was learned does not feed itself. Cases on practice patients teach nothing. What a case itself taught never counts in it.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field, replace
from typing import Any, Protocol

from coppermend.core.belief.engine import CopperBelief, prior_of
from coppermend.core.belief.model import Basis, WorkArea
from coppermend.core.belief.priors import priors
from coppermend.core.copper.model import CopperGraph, SiteKind
from coppermend.core.findings import Refusal, refuse
from coppermend.core.log.canonical import canonical_bytes, sha256_hex
from coppermend.core.log.model import Entry
from coppermend.core.log.state import CaseState, plain
from coppermend.core.log.words import how_many
from coppermend.core.planning.learned import (
    PART,
    CaseCounts,
    Cell,
    LearnedRate,
    factors_of,
    learned_rates,
    mean_scale,
)
from coppermend.services.bench import posterior_of, proof_of_binding
from coppermend.services.bench_times import LEAST, times_of
from coppermend.services.bind import Binding, bind, bind_state
from coppermend.services.cases import case_state
from coppermend.services.entries import write
from coppermend.services.learnednumbers import LEARNED, learned_of
from coppermend.services.learnedparts import part_cells
from coppermend.services.numbers import basis_of
from coppermend.services.workshop import Workshop

READS = "copper and parts"
FINISHED = ("ready", "returned")
_NO_SITES = (SiteKind.THROUGH, SiteKind.WIRE, SiteKind.UNKNOWN)


@dataclass(frozen=True, slots=True)
class Looked:
    """A case of this store that was looked at: its log's mark then, what it teaches, or why nothing."""

    mark: str
    row: CaseCounts | None
    why_not: str = ""


@dataclass(frozen=True, slots=True)
class Learned:
    """What the book holds. ``on``: new cases take it in; ``own`` by case id; ``taken`` rows from elsewhere; ``costs`` this bench's own times, None while too few."""

    on: bool = True
    own: dict[str, Looked] = field(default_factory=dict)
    taken: tuple[CaseCounts, ...] = ()
    costs: dict[str, Any] | None = None

    def rows(self) -> tuple[CaseCounts, ...]:
        """Every row, the store's own first; a case that stands in both counts once."""
        own = [one.row for one in self.own.values() if one.row is not None]
        known = {one.key for one in own}
        return (*own, *(one for one in self.taken if one.key not in known))


class LearnedBook(Protocol):
    """Where what was learned is kept. Refusals FIL-012, FIL-013, LRN-002."""

    def read(self) -> Learned:
        """What it holds."""

    def put(self, learned: Learned) -> None:
        """Keep this."""


class MemoryLearned:
    """A book that is kept as long as the program runs."""

    def __init__(self) -> None:
        self._held = Learned()

    def read(self) -> Learned:
        """What it holds."""
        return self._held

    def put(self, learned: Learned) -> None:
        """Keep this."""
        self._held = learned


@dataclass(frozen=True, slots=True)
class Gathered:
    """What a gathering found: cases that teach, newly so, and the others with why not (short number, words)."""

    teaching: int
    new: int
    times_used: int
    others: tuple[tuple[int, str], ...]

    def as_dict(self) -> dict[str, Any]:
        """Plain JSON values."""
        return dict(plain(self))


def key_of(case: str) -> str:
    """What stands for a case in the book and in an exported file: a hash of its id, which holds 74 random bits (RFC 9562, 5.7).

    >>> len(key_of("0190"))
    64
    """
    return sha256_hex(f"coppermend learned case {case}".encode())


def count(
    graph: CopperGraph, areas: Sequence[WorkArea], whole: Iterable[str], spans: Iterable[Sequence[str]], basis: Basis
) -> tuple[Cell, ...]:
    """The cells of one case: ids of sites that were proven whole, and the stretches (site ids) of which one site each was broken.

    A stretch's one break is shared among its sites by their priors. A site belongs to the damage of the area in which its prior is highest.
    """
    plain_areas = [replace(one, scale=(), rest=1.0) for one in areas]
    by_area = [priors(graph, (one,), basis) for one in plain_areas]
    prior = prior_of(graph, plain_areas, basis)
    scale = mean_scale(basis)
    at = {one.id: k for k, one in enumerate(graph.sites)}
    share: dict[int, float] = {at[one]: 0.0 for one in whole if one in at}
    for span in spans:
        mine = [at[one] for one in span if one in at]
        total = sum(float(prior[k]) for k in mine)
        for k in mine:
            share[k] = min(1.0, share.get(k, 0.0) + (float(prior[k]) / total if total else 0.0))
    sums: dict[tuple[str, str], list[float]] = {}
    for k, broken in share.items():
        site = graph.sites[k]
        inside = [(float(row[k]), one.kind) for row, one in zip(by_area, plain_areas, strict=True)]
        most, damage = max(inside, default=(0.0, ""), key=lambda one: one[0])
        if site.kind in _NO_SITES or most < basis.proven_below:
            continue
        cell = sums.setdefault((damage, str(site.kind)), [0, 0.0, 0.0])
        cell[0] += 1
        cell[1] += broken
        cell[2] += float(prior[k]) * scale
    return tuple(Cell(d, s, int(n), y, e) for (d, s), (n, y, e) in sorted(sums.items()))


def settled(posterior: CopperBelief) -> tuple[str, ...]:
    """The sites that readings spoke of and left as whole (P below the basis' threshold)."""
    if posterior.spoken is None:
        return ()
    graph, limit = posterior.copper.graph, posterior.basis.proven_below
    return tuple(s.id for k, s in enumerate(graph.sites) if posterior.spoken[k] and posterior.sites[k] < limit)


def what_it_teaches(binding: Binding) -> CaseCounts:
    """What a case teaches of copper and of parts. Refusal LRN-003 in words when it teaches nothing of either: not finished, not proven and not seen running,
    or a practice patient behind it."""
    state = binding.state
    if state.practice:
        raise _nothing("a practice patient is behind it")
    if state.progress not in FINISHED:
        raise _nothing(f"it is not finished ({state.progress or 'no progress noted'})")
    parts = part_cells(binding)
    try:
        copper = _copper_cells(binding)
    except Refusal:
        if not parts:
            raise
        copper = ()
    return CaseCounts(key_of(state.case), state.package_id, (*copper, *parts))


def _copper_cells(binding: Binding) -> tuple[Cell, ...]:
    state = binding.state
    if not state.areas:
        raise _nothing("no work area is marked")
    own = judged_anew(binding)
    if not proof_of_binding(own).all_proven:
        raise _nothing("its copper is not proven, or a wire of it")
    areas = tuple(one for one in own.areas if one.id in {area.id for area in state.areas})
    whole = settled(posterior_of(own))
    spans = [sites for _, sites in own.mended]
    gone = {site for span in spans for site in span}
    basis = Basis()
    cells = count(own.base, areas, [one for one in whole if one not in gone], spans, basis)
    if not cells:
        raise _nothing("its readings settle no site in a work area")
    return cells


def judged_anew(binding: Binding) -> Binding:
    """The binding by this version's own numbers: without what was learned and without numbers that somebody set."""
    state: CaseState = binding.state
    own = replace(state, basis=tuple(one for one in state.basis if one[0] not in (LEARNED, "priors")))
    return bind_state(own, binding.board, binding.base)


def _nothing(why: str) -> Refusal:
    return refuse(
        "LRN-003",
        f"This case teaches nothing yet: {why}.",
        "A case teaches once it is ready or returned and its copper is proven.",
    )


def gather(workshop: Workshop, book: LearnedBook) -> Gathered:
    """Look at every case whose log changed since, and keep what finished ones teach; this bench's own times are fitted over all of them."""
    held = book.read()
    own: dict[str, Looked] = {}
    new, others, finished = 0, [], []
    for number, case in workshop.store.numbers():
        mark = _mark(workshop, case)
        known = held.own.get(case)
        looked = known if known is not None and known.mark == mark else _look(workshop, case, mark)
        own[case] = looked
        if looked.row is None:
            others.append((number, looked.why_not))
        else:
            finished.append(case)
            new += known is None or known.row is None
    times = times_of(workshop, finished)
    costs = plain(times.costs) if times.used >= LEAST else None
    book.put(replace(book.read(), own=own, costs=costs))  # what was switched or taken in meanwhile stays
    return Gathered(len(finished), new, times.used, tuple(others))


def learn_from(workshop: Workshop, book: LearnedBook, case: str) -> bool:
    """Keep what a case teaches as soon as it is called ready or returned, where learning is on; whether it teaches. The entry that says so stands in any
    case: a book that cannot be read or written is said by ``learn show``."""
    try:
        held = book.read()
        if not held.on or case_state(workshop, case).progress not in FINISHED:
            return False
        looked = _look(workshop, case, _mark(workshop, case))
        book.put(replace(held, own={**held.own, case: looked}))
    except Refusal:
        return False
    return looked.row is not None


def _mark(workshop: Workshop, case: str) -> str:
    """What a look at a case stands for: its log as it is, and what this version reads from it."""
    return f"{workshop.store.mark(case)} {READS}"


def _look(workshop: Workshop, case: str, mark: str) -> Looked:
    state = case_state(workshop, case)
    if state.progress not in FINISHED or state.practice:
        return Looked(
            mark, None, "practice" if state.practice else f"not finished ({state.progress or 'no progress noted'})"
        )
    try:
        return Looked(mark, what_it_teaches(bind(workshop, case)))
    except Refusal as err:
        return Looked(mark, None, err.finding.words.removeprefix("This case teaches nothing yet: "))


def rates_for(workshop: Workshop, book: LearnedBook, case: str) -> tuple[LearnedRate, ...]:
    """What other cases say of this one's board model; what the case itself taught is left out."""
    return learned_rates(book.read().rows(), case_state(workshop, case).package_id, {key_of(case)})


def use_learned(workshop: Workshop, case: str, book: LearnedBook) -> Entry:
    """Take what was learned into a case: a basis entry with the factors and their counts. Refusal LRN-004 when nothing was learned."""
    state = case_state(workshop, case)
    rates = rates_for(workshop, book, case)
    if not rates:
        raise refuse("LRN-004", "Nothing was learned yet.", "Gather it from finished cases: coppermend learn gather.")
    factors = factors_of(rates, basis_of(state))
    rows = [{**plain(one), "factor": factors[one.damage][one.site]} for one in rates]
    return _write(workshop, case, {"board": state.package_id, "rates": rows})


def drop_learned(workshop: Workshop, case: str) -> Entry | None:
    """Plan a case without what was learned; None when it does already."""
    if not learned_of(case_state(workshop, case)).get("rates"):
        return None
    return _write(workshop, case, {"rates": []})


def begin_with_learned(workshop: Workshop, case: str, book: LearnedBook) -> tuple[Entry, ...]:
    """What a new case takes in where learning is switched on: the factors, and this bench's own times. Nothing where nothing was learned."""
    held = book.read()
    if not held.on:
        return ()
    done = []
    if rates_for(workshop, book, case):
        done.append(use_learned(workshop, case, book))
    if held.costs:
        values = held.costs
        sha256 = sha256_hex(canonical_bytes(values))
        done.append(write(workshop, case, "basis", {"name": "costs", "sha256": sha256, "values": values}))
    return tuple(done)


def _write(workshop: Workshop, case: str, values: dict[str, Any]) -> Entry:
    return write(
        workshop, case, "basis", {"name": LEARNED, "sha256": sha256_hex(canonical_bytes(values)), "values": values}
    )


def switch(book: LearnedBook, on: bool) -> None:
    """Whether new cases take in what was learned."""
    book.put(replace(book.read(), on=on))


def take_rows(book: LearnedBook, rows: Sequence[CaseCounts]) -> int:
    """Take in rows from elsewhere; how many were new. A case that is known counts once, however often it comes."""
    held = book.read()
    known = {one.key for one in held.rows()}
    new = tuple(one for one in rows if one.key not in known)
    if new:
        book.put(replace(held, taken=(*held.taken, *new)))
    return len(new)


def forget_taken(book: LearnedBook) -> int:
    """Let go of everything that came from elsewhere; how many rows."""
    held = book.read()
    book.put(replace(held, taken=()))
    return len(held.taken)


def learned_view(workshop: Workshop, book: LearnedBook, case: str) -> dict[str, Any]:
    """What a case plans with and what could be taken in, each prior with its counts; and whether learning is switched on."""
    state = case_state(workshop, case)
    used = learned_of(state).get("rates", [])
    rates = rates_for(workshop, book, case)
    factors = factors_of(rates, basis_of(state))
    now = [{**plain(one), "factor": factors[one.damage][one.site]} for one in rates]
    return {"on": book.read().on, "used": used, "now": now, "words": in_words(used or now, bool(used))}


def in_words(rows: Sequence[dict[str, Any]], used: bool, *, everywhere: bool = False) -> list[str]:
    """Each rate in a sentence: counts first, then what they make of the prior. ``everywhere``: no board model is meant, all cases stand in ``other_*``."""
    return [_sentence(one, "planned with" if used else "would make", everywhere) for one in rows]


def _sentence(one: dict[str, Any], said: str, everywhere: bool) -> str:
    here = f"{one['broken']:.1f} of {one['sites']} broken in {how_many(one['cases'], 'case')} of this board model"
    there = f"{one['other_broken']:.1f} of {one['other_sites']} in {how_many(one['other_cases'], 'case')} of others"
    default, rate, low, high = (f"{100 * one[name]:.2f}" for name in ("default", "rate", "low", "high"))
    learned = f"{default} % by default, {rate} % ({low} to {high}) learned"
    counts = f"{here}, {there}"
    if everywhere:
        counts = f"{one['other_broken']:.1f} of {one['other_sites']} broken in {how_many(one['other_cases'], 'case')} of all board models"
    what = f"{one['site']} after {one['damage']}"
    if one["damage"] == PART:
        what, counts = f"part {one['site']}", counts.replace(" broken in ", " at fault in ")
    return f"{what}: {counts}; {learned}: {said} {one['factor']:.2f} times the prior"
