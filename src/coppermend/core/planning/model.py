"""Plans as values: checks, rounds, next steps, spans."""

from __future__ import annotations

from dataclasses import dataclass, field


@dataclass(frozen=True, slots=True)
class Check:
    """One reading between two probe points. ``purpose`` continuity or isolation; ``sites`` that a closed answer speaks for; ``expected_ohm`` of sound copper."""

    id: str
    purpose: str
    point_a: str
    point_b: str
    net_a: str
    net_b: str
    expected_ohm: float | None
    sites: tuple[str, ...]
    seconds: float
    reason: str
    needs: tuple[str, ...] = ()
    """Part states in words, e.g. "U1 socketed"."""
    turn_over: bool = False
    clip: str = ""
    """Id of the point of the two on which a clipped lead is left, "" = both tips are held by hand."""
    clip_now: bool = False
    """The lead is put there for this check; else it hangs there already."""
    broken_ohm: float | None = None
    """What a reading in ohms shows when the stretch in doubt is broken, or holds by half; None where a beep is asked for."""


@dataclass(frozen=True, slots=True)
class RoundPlan:
    """A round: continuity checks in order, isolation checks in order, and the certificate.

    ``bound`` = sum over nets of ceil(L'/2), ``bound_terms`` (net, L') lets a reader recompute it; ``excess`` checks beyond it, with ``excess_saves_s``.
    ``unprovable``: (site id, words why, words what would prove it).
    """

    checks: tuple[Check, ...]
    isolation: tuple[Check, ...]
    bound: int
    bound_terms: tuple[tuple[str, int], ...]
    excess: int
    excess_saves_s: float
    seconds: float
    isolation_seconds: float
    at_risk: tuple[str, ...]
    provable: tuple[str, ...]
    unprovable: tuple[tuple[str, str, str], ...]
    window_mm: float


@dataclass(frozen=True, slots=True)
class Span:
    """The stretch of copper that the readings leave as the place of a break."""

    net: str
    sites: tuple[str, ...]
    p: float
    words: str
    path: tuple[tuple[str, tuple[tuple[float, float], ...]], ...] = ()
    """(layer key, ((x_mm, y_mm), ...)) pieces to draw."""


@dataclass(frozen=True, slots=True)
class NextStep:
    """The recommended action: kind check, patch, look, retest, gate, power, done ... with its reason, modelled seconds, expected gain in bits."""

    kind: str
    words: str
    reason: str
    seconds: float
    gain_bits: float
    check: Check | None = None
    span: Span | None = None
    wire: object | None = None
    left: int = 0
    """Checks that remain in the round after this one, as far as is known now."""
    left_seconds: float = 0.0
    notes: tuple[str, ...] = field(default=())
