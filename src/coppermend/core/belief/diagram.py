"""Exact sums over all break patterns of one net, by a weighted decision diagram swept forward and backward.

The net is given as *groups* (independent things that can fail, each outcome opening a set of readings), *readings* (with
their likelihoods when the circuit closes and when it does not) and *contacts* (a probe point that bites badly opens each of its
readings now and then). A state of the sweep is the set of readings already open and the contacts already drawn; equal
states are merged, so the cost is set by how many readings are under way at once, not by the number of groups.

Symbols: a = likelihood of what was read when the circuit closes, b = when it does not, q = probability that what was
absorbed into the reading (groups seen by it alone) is whole.
"""

from __future__ import annotations

from collections import OrderedDict
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
States = NDArray[Any]

STATE_CAP = 60_000
"""More states than this are pruned, and the answer then carries a bound above zero."""
CROWD = 16_000
"""More states than this are pruned at first, whatever the cap ..."""
KEPT_OF_A_CROWD = 4_000
"""... to so many of the weightiest ..."""
FINE = 1e-9
"""... and that answer stands when no probability can be off by more than this: on a ground net of 300 readings it was not off by 1e-12, for two fifths of
the time. Else the net is swept anew up to the cap."""
WORD_BITS = 63
"""Up to so many readings and contacts a state is one machine word; beyond, a (slower) whole number of any size."""


@dataclass(frozen=True, slots=True)
class Group:
    """Something that fails as one. ``outcomes``: (bit mask of the readings it opens, probability); the sum may be short of 1."""

    outcomes: tuple[tuple[int, float], ...]

    @property
    def readings(self) -> int:
        """Bit mask of every reading that some outcome opens."""
        mask = 0
        for opens, _ in self.outcomes:
            mask |= opens
        return mask


@dataclass(frozen=True, slots=True)
class Reading:
    """One reading: ``a`` its likelihood when the circuit closes, ``b`` when not, ``q`` chance that its absorbed part is whole."""

    a: float
    b: float
    q: float = 1.0


@dataclass(frozen=True, slots=True)
class Contact:
    """A probe point used by several readings (bit mask): bad with probability ``bad``; a bad one opens each reading with ``miss``."""

    readings: int
    bad: float
    miss: float


@dataclass(frozen=True, slots=True)
class _Step:
    """One step of the sweep: per outcome a weight (scalar or per state) and the index of the next state."""

    kind: str
    index: int
    weights: tuple[Floats, ...]
    child: tuple[Ints, ...]


@dataclass(frozen=True, slots=True)
class Swept:
    """What a sweep found. ``groups[g]``: posterior of each outcome. ``absorbed[r]``: posterior that reading r's absorbed part is broken.

    ``contacts[c]``: posterior that the contact is bad. ``dropped``: bound on every probability's error (0 = exact; above 1 nothing is known).
    """

    log_evidence: float
    groups: tuple[Floats, ...]
    absorbed: Floats
    contacts: Floats
    dropped: float
    steps: tuple[_Step, ...]
    beta: tuple[Floats, ...]
    readings: tuple[Reading, ...]

    @property
    def nbytes(self) -> int:
        """Bytes of the states' arrays: what remembering this sweep costs."""
        steps = sum(a.nbytes for step in self.steps for a in (*step.weights, *step.child))
        return steps + sum(b.nbytes for b in self.beta)

    def sample(self, uniforms: Floats) -> tuple[Ints, NDArray[np.bool_], NDArray[np.bool_]]:
        """Posterior samples from uniforms (steps + readings, samples).

        (groups, samples) outcome numbers, (readings, samples) absorbed part broken, (contacts, samples) contact bad.
        """
        n = uniforms.shape[1]
        groups = np.zeros((len(self.groups), n), dtype=np.int64)
        broken = np.zeros((len(self.readings), n), dtype=np.bool_)
        bad = np.zeros((len(self.contacts), n), dtype=np.bool_)
        at = np.zeros(n, dtype=np.int64)
        for k, step in enumerate(self.steps):
            after = self.beta[k + 1]
            if step.kind == "finish":
                one = self.readings[step.index]
                if one.q < 1.0:
                    share = (1.0 - one.q) * one.b / np.maximum(step.weights[0][at] * _scale(one), 1e-300)
                    broken[step.index] = uniforms[len(self.steps) + step.index] < share
                at = step.child[0][at]
                continue
            mass = np.stack([w * after[c[at]] for w, c in zip(step.weights, step.child, strict=True)])
            edges = np.cumsum(mass, axis=0)
            pick = (uniforms[k] * edges[-1] >= edges[:-1]).sum(axis=0)
            if step.kind == "group":
                groups[step.index] = pick
            else:
                bad[step.index] = pick == 1
            at = np.stack(step.child)[pick, at]
        return groups, broken, bad


def _scale(one: Reading) -> float:
    return max(one.a, one.b, 1e-300)


def sweep(
    groups: Sequence[Group],
    readings: Sequence[Reading],
    contacts: Sequence[Contact],
    cap: int = STATE_CAP,
    wish: Sequence[int] | None = None,
) -> Swept:
    """Posterior of every group, absorbed part and contact given all readings, and the log evidence.

    ``wish``: an order of the groups that may suit (the answer does not depend on it, the time does).

    >>> s = sweep([Group(((0, 0.9), (1, 0.1)))], [Reading(0.02, 0.998)], [])      # an open reading over one doubtful site
    >>> round(float(s.groups[0][1]), 6), round(0.1 * 0.998 / (0.1 * 0.998 + 0.9 * 0.02), 6)
    (0.847199, 0.847199)
    """
    return _forward(groups, readings, contacts, cap, wish).close(groups)


def evidence_of(
    groups: Sequence[Group],
    readings: Sequence[Reading],
    contacts: Sequence[Contact],
    cap: int = STATE_CAP,
    wish: Sequence[int] | None = None,
) -> float:
    """The log evidence alone, without the way back that the posteriors need.

    >>> asked = [Group(((0, 0.9), (1, 0.1)))], [Reading(0.02, 0.998)], []
    >>> evidence_of(*asked) == sweep(*asked).log_evidence
    True
    """
    return _forward(groups, readings, contacts, cap, wish).log_evidence()


def _forward(
    groups: Sequence[Group],
    readings: Sequence[Reading],
    contacts: Sequence[Contact],
    cap: int,
    wish: Sequence[int] | None,
) -> _Weights:
    """The way there: along the course that is known, else step by step."""
    asked = _shape_key(groups, readings, contacts, cap, wish)
    known = _SHAPES.get(asked)
    if known is not None:
        return _weighed(known, groups, tuple(readings), tuple(contacts))
    order = _order(groups, len(readings), contacts, wish)
    forward = _Forward(tuple(readings), tuple(contacts), min(cap, CROWD), KEPT_OF_A_CROWD if cap > CROWD else cap)
    if not forward.along(order, groups, FINE if cap > CROWD else np.inf):
        forward = _Forward(tuple(readings), tuple(contacts), cap, cap)
        forward.along(order, groups, np.inf)
    if not forward.pruned and sum(len(m.child) for m in forward.moves) < MOST_SHAPE:
        _SHAPES[asked] = tuple(forward.moves)
        while len(_SHAPES) > SHAPES_KEPT:
            _SHAPES.popitem(last=False)
    return forward


@dataclass(frozen=True, slots=True)
class _Move:
    """What one step of a sweep does to the states, whatever they weigh: ``child`` and ``count`` of the next states; for the end of a reading the
    ``case`` of each state: bit k when the k-th of its ``contacts`` is bad, and the bit after those when the reading is open.
    """

    kind: str
    index: int
    child: Ints
    count: int
    contacts: tuple[int, ...] = ()
    case: Ints | None = None


SHAPES_KEPT = 12
"""Courses of sweeps remembered: one net is swept for several suppositions one after the other, which change weights but no states."""
MOST_SHAPE = 1_500_000
"""A course with more states than this is not remembered."""
_SHAPES: OrderedDict[tuple[object, ...], tuple[_Move, ...]] = OrderedDict()


def _shape_key(
    groups: Sequence[Group],
    readings: Sequence[Reading],
    contacts: Sequence[Contact],
    cap: int,
    wish: Sequence[int] | None,
) -> tuple[object, ...]:
    """All that the course of a sweep depends on."""
    opens = tuple(tuple(mask for mask, _ in g.outcomes) for g in groups)
    return opens, len(readings), tuple(c.readings for c in contacts), cap, None if wish is None else tuple(wish)


def _weighed(
    moves: Sequence[_Move], groups: Sequence[Group], readings: tuple[Reading, ...], contacts: tuple[Contact, ...]
) -> _Weights:
    """A sweep along a known course: the weights alone."""
    work = _Weights(readings, contacts)
    for move in moves:
        if move.kind == "finish":
            assert move.case is not None
            work.end(move.index, move.contacts, move.case, move.child, move.count)
        elif move.kind == "group":
            work.branch("group", move.index, tuple(np.array([p]) for _, p in groups[move.index].outcomes), move)
        else:
            work.branch("contact", move.index, work.of_contact(move.index), move)
    return work


def _order(
    groups: Sequence[Group], n_readings: int, contacts: Sequence[Contact], wish: Sequence[int] | None
) -> list[tuple[str, int]]:
    """Steps of the sweep: the group order that keeps the fewest readings apart; a reading is closed off as soon as it can be."""
    masks = [g.readings for g in groups]
    orders = [list(wish)] if wish is not None else []
    if len(groups) <= GREEDY_UP_TO or not orders:
        orders.append(_greedy(masks, n_readings))
    return _steps_of(min(orders, key=lambda o: _width(o, masks, n_readings)), masks, n_readings, contacts)


GREEDY_UP_TO = 40
"""Up to so many groups a greedy order is tried beside the wished one."""


def _greedy(masks: Sequence[int], n_readings: int) -> list[int]:
    """Always the group that leaves the fewest readings under way."""
    left = [0] * n_readings
    for mask in masks:
        for r in _bits(mask):
            left[r] += 1
    todo, order, under_way = set(range(len(masks))), [], 0
    while todo:
        last = 0
        for r in range(n_readings):
            if left[r] == 1:
                last |= 1 << r
        g = min(
            todo,
            key=lambda k: (
                (masks[k] & ~under_way).bit_count() - (masks[k] & last).bit_count(),
                -(masks[k] & under_way).bit_count(),
                k,
            ),
        )
        todo.discard(g)
        order.append(g)
        for r in _bits(masks[g]):
            left[r] -= 1
            under_way = under_way | 1 << r if left[r] else under_way & ~(1 << r)
    return order


def _width(order: Sequence[int], masks: Sequence[int], n_readings: int) -> tuple[int, int]:
    """Most kinds of readings that are under way at once with this order, and their sum: readings with one past are one kind."""
    last = [-1] * n_readings
    for at, g in enumerate(order):
        for r in _bits(masks[g]):
            last[r] = at
    ends: dict[int, int] = {}
    for r, at in enumerate(last):
        ends[at] = ends.get(at, 0) | 1 << r
    kinds: list[int] = []
    seen, peak, total = 0, 0, 0
    for at, g in enumerate(order):
        mask = masks[g]
        kinds = [part for kind in kinds for part in (kind & mask, kind & ~mask) if part]
        if mask & ~seen:
            kinds.append(mask & ~seen)
        seen |= mask
        peak = max(peak, len(kinds))
        total += len(kinds)
        done = ends.get(at, 0)
        kinds = [kind & ~done for kind in kinds if kind & ~done]
    return peak, total


def _steps_of(
    order: Sequence[int], masks: Sequence[int], n_readings: int, contacts: Sequence[Contact]
) -> list[tuple[str, int]]:
    """The groups in order, with each contact drawn just before the first reading that needs it is closed off."""
    contact_of: list[list[int]] = [[] for _ in range(n_readings)]
    for c, contact in enumerate(contacts):
        for r in _bits(contact.readings):
            contact_of[r].append(c)
    left = [0] * n_readings
    for mask in masks:
        for r in _bits(mask):
            left[r] += 1
    steps: list[tuple[str, int]] = []
    drawn: set[int] = set()

    def finish(reading: int) -> None:
        for c in contact_of[reading]:
            if c not in drawn:
                drawn.add(c)
                steps.append(("contact", c))
        steps.append(("finish", reading))

    for r in range(n_readings):
        if not left[r]:
            finish(r)
    for g in order:
        steps.append(("group", g))
        for r in _bits(masks[g]):
            left[r] -= 1
            if not left[r]:
                finish(r)
    return steps


def _bits(mask: int) -> list[int]:
    found = []
    while mask:
        low = mask & -mask
        found.append(low.bit_length() - 1)
        mask ^= low
    return found


class _Weights:
    """The weights of the states of a sweep, the steps taken, and the way back."""

    def __init__(self, readings: tuple[Reading, ...], contacts: tuple[Contact, ...]) -> None:
        self.readings = readings
        self.contacts = contacts
        self.alpha: Floats = np.ones(1)
        self.alphas: list[Floats] = [self.alpha]
        self.steps: list[_Step] = []
        self.log_scale = 0.0
        self.dropped = 0.0

    def of_contact(self, index: int) -> tuple[Floats, ...]:
        """Chances of a contact to be good and to be bad."""
        bad = self.contacts[index].bad
        return np.array([1.0 - bad]), np.array([bad])

    def branch(self, kind: str, index: int, chances: tuple[Floats, ...], move: _Move) -> None:
        """Every state goes on once for each outcome."""
        n = len(self.alpha)
        weight = np.concatenate([self.alpha * p for p in chances])
        self.steps.append(_Step(kind, index, chances, _cut(move.child, n, len(chances))))
        self.settle(np.asarray(np.bincount(move.child, weights=weight, minlength=move.count), dtype=np.float64))

    def end(self, index: int, contacts: tuple[int, ...], case: Ints, child: Ints, count: int) -> None:
        """Every state is weighed by one reading."""
        factor = self.factor(index, contacts, case)
        self.log_scale += float(np.log(_scale(self.readings[index])))
        self.steps.append(_Step("finish", index, (factor,), (child,)))
        alpha = np.bincount(child, weights=self.alpha * factor, minlength=count)
        self.settle(np.asarray(alpha, dtype=np.float64))

    def factor(self, index: int, contacts: Sequence[int], case: Ints) -> Floats:
        """Likelihood of a reading in each state, as a share of the most it can be."""
        one = self.readings[index]
        most = _scale(one)
        wholes = [one.q]
        for c in contacts:
            wholes += [whole * (1.0 - self.contacts[c].miss) for whole in wholes]
        table = [(whole * one.a + (1.0 - whole) * one.b) / most for whole in wholes] + [one.b / most] * len(wholes)
        return np.asarray(np.array(table).take(case), dtype=np.float64)

    def settle(self, alpha: Floats) -> None:
        """The weights after a step, made to sum to 1."""
        total = float(alpha.sum())
        if total > 0.0:
            alpha = alpha / total
            self.log_scale += float(np.log(total))
            self.dropped /= total
        self.alpha = alpha
        self.alphas.append(alpha)

    def log_evidence(self) -> float:
        """Log of the weight of all states together, at the end of the way."""
        total = float(self.alpha.sum())
        return self.log_scale + float(np.log(total)) if total > 0.0 else -np.inf

    def close(self, groups: Sequence[Group]) -> Swept:
        """The way back: how much each state can still earn, and from it every posterior."""
        total = float(self.alpha.sum())
        beta: list[Floats] = [np.array([1.0, 0.0])] * (len(self.steps) + 1)
        group_post: list[Floats] = [np.array([p for _, p in g.outcomes]) for g in groups]
        absorbed = np.array([1.0 - one.q for one in self.readings])
        contact_post = np.array([c.bad for c in self.contacts])
        for k in range(len(self.steps) - 1, -1, -1):
            step, after, alpha = self.steps[k], beta[k + 1], self.alphas[k]
            earned = [w * after[c] for w, c in zip(step.weights, step.child, strict=True)]
            now = earned[0]
            for more in earned[1:]:
                now = now + more
            mass = float(alpha @ now)
            if mass > 0.0:
                if step.kind == "group":
                    group_post[step.index] = np.array([float(alpha @ e) for e in earned]) / mass
                elif step.kind == "contact":
                    contact_post[step.index] = float(alpha @ earned[1]) / mass
                else:
                    one = self.readings[step.index]
                    broken = (1.0 - one.q) * one.b / _scale(one)
                    absorbed[step.index] = float(alpha @ (broken * after[step.child[0]])) / mass
                now = now / mass
            beta[k] = back = np.zeros(len(now) + 1)
            back[:-1] = now
        dropped = max(0.0, self.dropped / total) if total > 0.0 else 1.0
        return Swept(
            self.log_evidence(),
            tuple(group_post),
            absorbed,
            contact_post,
            dropped,
            tuple(self.steps),
            tuple(beta),
            self.readings,
        )


def _cut(child: Ints, n: int, parts: int) -> tuple[Ints, ...]:
    return tuple(child[k * n : (k + 1) * n] for k in range(parts))


def _alike(states: States) -> tuple[States, Ints]:
    """The different states in order, and for each of ``states`` which of them it is."""
    order = states.argsort(kind="stable")
    rising = states[order]
    fresh = np.ones(len(order), dtype=np.bool_)
    np.not_equal(rising[1:], rising[:-1], out=fresh[1:])
    child = np.empty(len(order), dtype=np.int64)
    child[order] = np.cumsum(fresh) - 1
    return rising[fresh], child


class _Forward(_Weights):
    """The forward sweep: states with their weights."""

    def __init__(self, readings: tuple[Reading, ...], contacts: tuple[Contact, ...], cap: int, keep: int) -> None:
        super().__init__(readings, contacts)
        self.cap = cap
        self.keep = keep
        """Of more than ``cap`` states so many stay."""
        self.pruned = False
        self.moves: list[_Move] = []
        """The course so far; of no use once states were pruned by their weights."""
        self.states: States = np.zeros(1, dtype=np.uint64)
        self.word: Any = np.uint64
        self.kinds: dict[int, int] = {}
        """Slot -> readings (bit mask) that share it: they have had the same past, so they are open together."""
        self.begun = 0
        self.drawn: dict[int, int] = {}
        """Contact -> its slot."""
        self.free = list(range(WORD_BITS - 1, -1, -1))
        self.top = WORD_BITS
        self.unread = [c.readings for c in contacts]

    def along(self, order: Sequence[tuple[str, int]], groups: Sequence[Group], most: float) -> bool:
        """Every step in order; False as soon as more than ``most`` of all weight was dropped (the share only grows), or when nothing is left."""
        for kind, index in order:
            if kind == "group":
                self.group(index, groups[index])
            elif kind == "contact":
                self.contact(index)
            else:
                self.finish(index)
            if most < np.inf and self.pruned and (self.dropped > most or not self.alpha.any()):
                return False
        return True

    def _take(self) -> int:
        """A free slot; when a machine word is full, states become whole numbers of any size."""
        if not self.free:
            if self.word is not int:
                self.states = self.states.astype(object)
                self.word = int
            self.free.append(self.top)
            self.top += 1
        return self.free.pop()

    def _part(self, mask: int) -> None:
        """Give the readings in ``mask`` slots of their own: a kind that lies partly inside is split, and its bit copied."""
        for slot, kind in list(self.kinds.items()):
            inside = kind & mask
            if inside and inside != kind:
                new = self._take()
                self.kinds[slot] = kind & ~mask
                self.kinds[new] = inside
                self.states = self.states | (((self.states >> self.word(slot)) & self.word(1)) << self.word(new))
        fresh = mask & ~self.begun
        if fresh:
            self.kinds[self._take()] = fresh
            self.begun |= fresh

    def _bit(self, slot: int) -> NDArray[np.bool_]:
        return np.asarray((self.states >> self.word(slot)) & self.word(1), dtype=np.bool_)

    def group(self, index: int, group: Group) -> None:
        """Draw what happened to one group: each outcome opens its readings."""
        for opens, _ in group.outcomes:
            self._part(opens)
        masks = [sum(1 << slot for slot, kind in self.kinds.items() if kind & opens) for opens, _ in group.outcomes]
        chances = tuple(np.array([p]) for _, p in group.outcomes)
        self._branch("group", index, chances, masks)

    def contact(self, index: int) -> None:
        """Draw whether one probe point bites badly."""
        slot = self.drawn[index] = self._take()
        self._branch("contact", index, self.of_contact(index), [0, 1 << slot])

    def _branch(self, kind: str, index: int, chances: tuple[Floats, ...], masks: Sequence[int]) -> None:
        n = len(self.states)
        grown = np.concatenate([self.states | self.word(m) for m in masks])
        weight = np.concatenate([self.alpha * p for p in chances])
        child = self._merge(grown, weight)
        self.steps.append(_Step(kind, index, chances, _cut(child, n, len(masks))))
        self.moves.append(_Move(kind, index, child, len(self.states)))

    def finish(self, index: int) -> None:
        """Weigh every state by one reading, and forget the reading."""
        slot = next((s for s, kind in self.kinds.items() if kind >> index & 1), None)
        dead = self._bit(slot) if slot is not None else np.zeros(len(self.states), dtype=np.bool_)
        clear = 0
        if slot is not None:
            self.kinds[slot] &= ~(1 << index)
            if not self.kinds[slot]:
                clear |= 1 << slot
                del self.kinds[slot]
                self.free.append(slot)
        used: list[int] = []
        case = np.zeros(len(self.states), dtype=np.int64)
        for c, at in list(self.drawn.items()):
            if self.contacts[c].readings >> index & 1:
                case |= self._bit(at).astype(np.int64) << len(used)
                used.append(c)
                self.unread[c] &= ~(1 << index)
                if not self.unread[c]:
                    clear |= 1 << at
                    self.free.append(self.drawn.pop(c))
        case |= dead.astype(np.int64) << len(used)
        factor = self.factor(index, used, case)
        self.log_scale += float(np.log(_scale(self.readings[index])))
        child = self._merge(self.states - (self.states & self.word(clear)), self.alpha * factor)
        self.steps.append(_Step("finish", index, (factor,), (child,)))
        self.moves.append(_Move("finish", index, child, len(self.states), tuple(used), case))

    def _merge(self, states: States, weight: Floats) -> Ints:
        """Merge equal states, prune beyond the cap, renormalise; the new index of each old state (the last index = dropped)."""
        if len(states) == 1:
            self.states, alpha, child = states, weight, np.zeros(1, dtype=np.int64)
        else:
            self.states, child = _alike(states)
            alpha = np.asarray(np.bincount(child, weights=weight, minlength=len(self.states)), dtype=np.float64)
        if len(self.states) > self.cap:
            self.pruned = True
            child, alpha = self._prune(child, alpha)
        self.settle(alpha)
        return child

    def _prune(self, child: Ints, alpha: Floats) -> tuple[Ints, Floats]:
        reach = alpha.copy()
        for slot, kind in self.kinds.items():
            worth = float(np.prod([self.readings[r].b / _scale(self.readings[r]) for r in _bits(kind)]))
            reach = np.where(self._bit(slot), reach * worth, reach)
        keep = np.sort(np.argpartition(-reach, self.keep)[: self.keep])
        place = np.full(len(alpha), self.keep, dtype=np.int64)
        place[keep] = np.arange(self.keep)
        self.dropped += float(reach.sum() - reach[keep].sum())
        self.states = self.states[keep]
        return place[child], alpha[keep]
