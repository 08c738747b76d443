"""Zones joined: one for all states that differ in times only, and so few of them.

Where many edges are under way at once, each late by something of its own, zones tell every
order of them apart. Here whatever differs in times only is one zone, the least that holds all
that was met; and a sum of several times is known by what differences of two say of it, which
is what a pause of any length makes of a timer. ``loosened`` has systems that have even fewer
zones. All of it only adds states, so what cannot fail here cannot fail at all. What fails here
need not: then this says nothing, and the zones themselves have to be asked.
"""

from __future__ import annotations

from collections import deque
from dataclasses import replace
from typing import Any, TypeAlias

from verify.engines.answer import Answer, Budget, OutOfTimeError, Progress, SpentError, Verdict
from verify.engines.bounds import Bounds, Decisions, Matrix, Span, TimesError, World
from verify.engines.loosened import loosened
from verify.engines.zones import Shape, Stepper, Zone
from verify.errors import ModelError
from verify.language.machine import System
from verify.language.state import Bank, Number
from verify.parts.signals import failure

# Of a zone: all but its times, and which of these there are.
_Key: TypeAlias = tuple[Any, ...]


def joined_zones(system: System, budget: Budget, progress: Progress) -> list[Zone] | None:
    """Zones of which every step from one ends in one, and none is to a failure; None if none
    were found so. Raises OutOfTimeError."""
    search = _Search(Stepper(system), budget, progress)
    try:
        return search.run()
    except (ModelError, TimesError, IndexError):
        return None  # of states that may not be possible
    except SpentError:
        raise OutOfTimeError from None


def few_zones(
    system: System, budget: Budget, progress: Progress
) -> tuple[list[Zone], tuple[Number, ...]] | None:
    """As ``joined_zones``, of the first loosened system that has some, and the unknowns that this
    one leaves out. Raises OutOfTimeError."""
    cut = False
    for loose, gone in loosened(system):
        progress.states = 0
        try:
            found = joined_zones(loose, budget, progress)
        except OutOfTimeError:
            cut = True
            continue
        if found is not None:
            return found, gone
    if cut:
        raise OutOfTimeError
    return None


def prove(system: System, budget: Budget, progress: Progress) -> Answer | None:
    """That nothing can fail, ``undecided`` if the budget was spent before that was known; None if
    zones joined do not show it."""
    try:
        found = few_zones(system, budget, progress)
    except OutOfTimeError:
        return Answer(Verdict.UNDECIDED, "zones", covered="nothing")
    if found is None:
        return None
    covered = f"all {len(found[0])} zones, joined"
    return Answer(Verdict.HOLDS, "zones", covered=covered, complete=True)


class _Loose(World):
    """Of a sum of two times only what differences of two say; so it may be more than it is."""

    def __init__(self, bounds: Bounds, decisions: Decisions) -> None:
        super().__init__(bounds, decisions)
        self.made: list[tuple[int, int, int]] = []

    def sum(self, a: Span, b: Span) -> Span:
        """Both from now: x_i + x_j - now, as a time of its own. Raises TimesError for others."""
        if a.j != self.now or b.j != self.now:
            return super().sum(a, b)
        rows, i, j = self.bounds.rows, a.i, b.i
        # As much later than x_i as x_j is than now, and as much later than x_j as x_i.
        new = self.bounds.add(i, -rows[self.now][j], rows[j][self.now])
        self._apart(new, j, i, self.now)
        # Two that became later by the same are as far apart as they were.
        for other, k, more in self.made:
            if more == j:
                self._apart(new, other, i, k)
        self.made.append((new, i, j))
        return Span(self, new, self.now, a.more + b.more)

    def _apart(self, a: int, b: int, i: int, j: int) -> None:
        """From now on x_a - x_b is within what x_i - x_j is known to be."""
        rows = self.bounds.rows
        least, most = -rows[j][i], rows[i][j]
        if not self.bounds.tighten(a, b, most) or not self.bounds.tighten(b, a, -least):
            raise AssertionError("a sum that cannot be")


class _Search:
    def __init__(self, stepper: Stepper, budget: Budget, progress: Progress) -> None:
        self.stepper, self.budget, self.progress = stepper, budget, progress
        self.restraints = stepper.restraint
        self.known: dict[_Key, Zone] = {}
        # Alike but for restraints: of these one may stand for another that forbids more.
        self.near: dict[_Key, list[_Key]] = {}
        self.changed: deque[_Key] = deque()
        self.waiting: set[_Key] = set()

    def run(self) -> list[Zone] | None:
        for zone, _ in self.stepper.zones(self.budget.look):
            self._reach(zone)
        while self.changed:
            key = self.changed.popleft()
            self.waiting.discard(key)
            if key in self.known and not self._steps(self.known[key]):
                return None
        return list(self.known.values())

    def _steps(self, zone: Zone) -> bool:
        """All that one tick, or more, leads to; False: a failure."""
        later = self.stepper.elapse(zone)
        if any(True for _ in self.stepper.live(zone.shape)) and self._take(zone, later, ()) is None:
            return False
        pending: list[tuple[int, ...]] = [()]
        while pending:
            group = pending.pop()
            for index in range(group[-1] + 1 if group else 0, self.stepper.count):
                may = self._take(zone, later, (*group, index))
                if may is None:
                    return False
                if may:
                    pending.append((*group, index))
        return True

    def _take(self, zone: Zone, later: Bounds, taken: tuple[int, ...]) -> bool | None:
        """Every way through the tick. Whether there is one; None: it fails."""
        may = False
        plan: list[bool] | None = []
        while plan is not None:
            decisions = Decisions(plan)
            world = _Loose(Bounds(later.rows), decisions)
            reached = self.stepper.run(zone.shape, world, taken, world.span)
            plan = decisions.others()
            self.progress.states += 1
            if self.budget.spent(self.progress.states):
                raise OutOfTimeError
            if reached is None:
                continue
            may = True
            if any(signal == failure(0) for signal, _ in reached.said):
                return None
            self._reach(Zone(reached.shape, world.bounds.select(reached.times)))
        return may

    def _reach(self, zone: Zone) -> None:
        key, near = self._key(zone.shape), self._bare(zone.shape)
        alike = self.near.setdefault(near, [])
        if any(self._stands_for(self.known[other], zone) for other in alike):
            return
        known = self.known.get(key)
        if known is None:
            self.known[key] = zone
            alike.append(key)
        else:
            self.known[key] = replace(known, matrix=_hull(known.matrix, zone.matrix))
        # What forbids more than the new one, and is no wider, is not needed any more.
        for other in [k for k in alike if k != key]:
            if self._stands_for(self.known[key], self.known[other]):
                alike.remove(other)
                del self.known[other]
        if key not in self.waiting:
            self.waiting.add(key)
            self.changed.append(key)

    def _bare(self, shape: Shape) -> _Key:
        return tuple(
            None if i in self.restraints else _without_times(value, isinstance(item, Number))
            for i, (item, value) in enumerate(zip(self.stepper.memory, shape, strict=True))
        )

    def _key(self, shape: Shape) -> _Key:
        return tuple(
            _without_times(value, isinstance(item, Number))
            for item, value in zip(self.stepper.memory, shape, strict=True)
        )

    def _stands_for(self, known: Zone, zone: Zone) -> bool:
        """Alike but for restraints, of which the known has no others, none longer; and wider."""
        pairs = [(0, 0, False)]
        for i, item in enumerate(self.stepper.memory):
            if isinstance(item, Number):
                continue
            found = _paired(known.shape[i], zone.shape[i], isinstance(item, Bank))
            if found is None:
                return False
            pairs += [(a, b, i in self.restraints) for a, b in found]
        return all(
            zone.matrix[b][d] <= known.matrix[a][c]
            for a, b, restraint in pairs
            if not restraint
            for c, d, _ in pairs
        )


def _without_times(value: Any, is_number: bool) -> Any:
    if is_number:
        return value
    if isinstance(value, tuple):
        return tuple(tuple(entry[1:]) for entry in value)
    return value != 0


def _paired(known: Any, other: Any, is_bank: bool) -> list[tuple[int, int]] | None:
    """Times of the first with those of the second; None: not all of them are there."""
    if not is_bank:
        if not known:
            return []
        return [(known, other)] if other else None
    left = list(other)
    pairs = []
    for time, *rest in known:
        entry = next((e for e in left if list(e[1:]) == rest), None)
        if entry is None:
            return None
        left.remove(entry)
        pairs.append((time, entry[0]))
    return pairs


def _hull(a: Matrix, b: Matrix) -> Matrix:
    """The least bounds that hold both; closed, as both are."""
    return tuple(tuple(map(max, one, other)) for one, other in zip(a, b, strict=True))
