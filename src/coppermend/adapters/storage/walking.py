"""A page of the list without the tables that it is kept in: every log is read. For a store whose pages of heads or terms are damaged."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace
from typing import Any

from coppermend.core.log.model import Entry
from coppermend.core.log.terms import terms_of
from coppermend.services.heads import best_hit
from coppermend.services.ports import MOST_MEANT, CaseHead, Found, Wanted


def walk(heads: Sequence[CaseHead], log: Callable[[CaseHead], Sequence[Entry]], wanted: Wanted) -> Found:
    """The page that is wanted of these cases. ``log``: a case's entries, none where they can no longer be read."""
    said = {one.id: frozenset[str]().union(*map(terms_of, log(one))) for one in heads} if wanted.terms else {}
    every = sorted(frozenset[str]().union(*said.values()))
    meant = [_meant(term, every) for term in wanted.terms]
    cut = tuple(term for term, words in zip(wanted.terms, meant, strict=True) if len(words) > MOST_MEANT)
    groups = [words[:MOST_MEANT] for words in meant]
    fit = [
        one for one in heads if all(not said[one.id].isdisjoint(words) for words in groups) and _is_wanted(one, wanted)
    ]
    fit.sort(key=lambda one: _place(one.number, one.head.last_at, wanted.order), reverse=True)
    if wanted.after is not None:
        fit = [
            one
            for one in fit
            if _place(one.number, one.head.last_at, wanted.order) < _place(*wanted.after, wanted.order)
        ]
    page = fit[: wanted.limit]
    if groups:
        page = [replace(one, hit=best_hit(log(one), groups)) for one in page]
    return Found(tuple(page), len(fit) > wanted.limit, cut if all(groups) else (), from_logs=True)


def _meant(term: str, every: Sequence[str]) -> list[str]:
    word = term.removesuffix("*")
    return [word] if word == term and word in every else [one for one in every if one.startswith(word)]


def _is_wanted(one: CaseHead, wanted: Wanted) -> bool:
    return (
        (not wanted.states or one.head.state in wanted.states)
        and wanted.waits in (None, bool(one.head.waits))
        and wanted.package_id in ("", one.head.package_id)
        and one.head.last_at >= wanted.since
    )


def _place(number: int, at: str, order: str) -> tuple[Any, ...]:
    return (at, number) if order == "last" else (number,)
