"""What the owner allows: acts that cannot be undone, and money. Folded from the intake entries; the latest word on an act counts."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from coppermend.core.log.kinds import IRREVERSIBLE
from coppermend.core.log.state import IntakeNote


@dataclass(frozen=True, slots=True)
class Consent:
    """``allowed`` and ``refused`` acts (``kinds.IRREVERSIBLE``); ``limit`` of money and its currency, None and "" where none was named."""

    allowed: frozenset[str]
    refused: frozenset[str]
    limit: float | None
    currency: str
    asked: bool = False
    """Whether the owner was asked at all."""

    def stops(self, act: str) -> bool:
        """Whether the owner was asked and did not agree: then an act that was done all the same is said. What is proposed asks ``allows``.

        >>> Consent(frozenset({"unsolder"}), frozenset(), None, "", True).stops("scrape mask"), Consent(frozenset(), frozenset(), None, "").stops("coat")
        (True, False)
        """
        return self.asked and act not in self.allowed

    def allows(self, act: str) -> bool:
        """Whether an act that cannot be undone may be done: only where the owner said so.

        >>> Consent(frozenset({"unsolder"}), frozenset(), None, "").allows("cut track")
        False
        """
        return act in self.allowed

    def affords(self, spent: float, price: float) -> bool:
        """Whether a price still lies within the limit."""
        return self.limit is None or spent + price <= self.limit + 1e-9


def consent_of(intake: Sequence[IntakeNote]) -> Consent:
    """The owner's word as it stands. A consent entry without acts speaks of all of them; without a yes or no it allows nothing."""
    said: dict[str, bool] = {}
    limit: float | None = None
    currency = ""
    for one in intake:
        if one.item == "consent":
            for act in one.acts or IRREVERSIBLE:
                said[act] = bool(one.yes)
        elif one.item == "limit" and one.amount is not None:
            limit, currency = one.amount, one.currency
    return Consent(
        frozenset(act for act, yes in said.items() if yes),
        frozenset(act for act, yes in said.items() if not yes),
        limit,
        currency,
        any(one.item == "consent" for one in intake),
    )
