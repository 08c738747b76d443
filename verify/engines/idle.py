"""Where a system is while nothing is done to it, after any time, without running all of it.

Scans left alone send nothing: each of their clocks goes round in a cycle of its own, which
is met after one turn. The state after any time is put together from where each clock is then.
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Collection, Iterator
from dataclasses import dataclass

from verify.engines.concrete import Chooser, Compiled, State, least_choice
from verify.engines.trace import Chosen
from verify.errors import ModelError
from verify.language import expressions as ex


@dataclass(frozen=True)
class _Event:
    """``passed`` ticks after power-up a clock struck; the state since, and what was picked."""

    passed: int
    state: State
    picked: tuple[tuple[str, int], ...]


class Idle:
    """The states of a system from ``start`` on. ``choose``: always picks the same of a kind.

    Raises ModelError for a system whose parts do not leave each other alone meanwhile.
    """

    def __init__(self, compiled: Compiled, start: State, choose: Chooser = least_choice) -> None:
        self.compiled, self.start, self.choose = compiled, start, choose
        running = [i for i in compiled.timers if start[i] and i not in compiled.restraints]
        self._cycles = [self._cycle(i, running) for i in running]
        changed = [cycle.changes for cycle in self._cycles]
        if sum(map(len, changed)) != len(set().union(*changed)):
            raise ModelError("two clocks that change the same memory")

    def at(self, passed: int) -> State:
        """The state ``passed`` ticks after power-up, 0 or more."""
        place = list(self.start)
        for i in self.compiled.restraints:
            if isinstance(place[i], int):
                place[i] = max(0, place[i] - passed)
        for cycle in self._cycles:
            event, since = cycle.last(passed)
            for i in cycle.changes:
                place[i] = event.state[i]
            place[cycle.timer] = event.state[cycle.timer] - since
        return tuple(place)

    def since(self, passed: int, others: Collection[str]) -> int:
        """Ticks since a clock last struck that is none of the ``others``; 0 if none has yet."""
        lasts = (
            cycle.last(passed)
            for cycle in self._cycles
            if self.compiled.memory[cycle.timer].name not in others
        )
        return min((since for event, since in lasts if event.passed), default=0)

    def picks(self, passed: int) -> list[Chosen]:
        """What was picked until then; the first tick is 0."""
        return [
            Chosen(tick - 1, name, value)
            for cycle in self._cycles
            # A clock that nothing is picked for may have struck millions of times.
            if any(event.picked for event in cycle.events)
            for tick, event in cycle.until(passed)
            for name, value in event.picked
        ]

    def _cycle(self, timer: int, running: list[int]) -> _Cycle:
        silent = {*running, *self.compiled.restraints} - {timer}
        banks = {i for i in silent if not isinstance(self.start[i], int)}
        state: State = tuple(
            (() if i in banks else 0) if i in silent else value
            for i, value in enumerate(self.start)
        )
        first = state
        events = [_Event(0, state, ())]
        seen: dict[State, int] = {}
        while state not in seen:
            seen[state] = len(events) - 1
            picked: list[tuple[str, int]] = []

            def choose(pick: ex.Pick, picked: list[tuple[str, int]] = picked) -> int:
                picked.append((pick.name, self.choose(pick)))
                return picked[-1][1]

            ticks = int(state[timer])
            result = self.compiled.step(state, ticks, (), choose)
            if result is None or result[1] or not result[0][timer]:
                raise ModelError("a system that does not go on by itself, unseen")
            state = result[0]
            events.append(_Event(events[-1].passed + ticks, state, tuple(picked)))
        changes = {
            i for event in events for i, value in enumerate(event.state) if value != first[i]
        }
        return _Cycle(timer, events, seen[state], frozenset({timer, *changes}))


@dataclass(frozen=True)
class _Cycle:
    """A clock's events; the last is the one numbered ``again``, a whole turn later."""

    timer: int
    events: list[_Event]
    again: int
    changes: frozenset[int]

    @property
    def turn(self) -> int:
        """Ticks."""
        return self.events[-1].passed - self.events[self.again].passed

    def last(self, passed: int) -> tuple[_Event, int]:
        """The last event until then, and the ticks since."""
        begun = self.events[self.again].passed
        if passed > begun:
            passed = begun + (passed - begun) % self.turn
        k = bisect_right(self.events, passed, key=lambda event: event.passed) - 1
        return self.events[k], passed - self.events[k].passed

    def until(self, passed: int) -> Iterator[tuple[int, _Event]]:
        """All events until then, with the ticks at which they came."""
        k, turns = 1, 0
        while (tick := self.events[k].passed + turns * self.turn) <= passed:
            yield tick, self.events[k]
            k += 1
            if k == len(self.events):
                k, turns = self.again + 1, turns + 1


__all__ = ["Idle"]
