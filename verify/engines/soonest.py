"""The soonest failure within a time, from a known state on: zones, those of least time first.

As ``zones.explore_zones``, but in the order of time instead of presses, and no further than a
horizon. So what is found is not the failure with the fewest presses, but the first there is.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from heapq import heappop, heappush
from typing import Any

from verify.engines.answer import Budget, OutOfTimeError, Progress
from verify.engines.bounds import PRESENT, Bounds, World
from verify.engines.concrete import State, is_unknown
from verify.engines.trace import Script
from verify.engines.zones import Reached, Stepper, Zone, _Node, _Search, _Visit
from verify.language.machine import Machine, System
from verify.language.state import Bank, Number, Timer
from verify.parts.signals import failure


@dataclass(frozen=True)
class Soonest:
    """A failure ``ticks`` after the state from which it was looked for, and the run from there."""

    ticks: int
    script: Script


class SoonestSearch:
    """Searches of one system, from any number of states."""

    def __init__(self, system: System, horizon: int, budget: Budget, progress: Progress) -> None:
        """``horizon``: ticks looked ahead."""
        self.horizon, self.budget, self.progress = horizon, budget, progress
        end = Timer("horizon", horizon, begin=horizon)
        machines = (*system.machines, Machine("horizon", (end,), ()))
        self.stepper = Stepper(replace(system, machines=machines))

    def look(
        self, least: State, most: State, presses: int, before: int | None = None
    ) -> Soonest | None:
        """The soonest failure after a state of the system, or one of several that differ in
        what is left of timers, from ``least`` to ``most``.

        ``presses``: with no more than so many; ``before``: later ones, or as late, are of no
        use. Raises OutOfTimeError when the budget is spent.
        """
        before = self.horizon if before is None else min(before, self.horizon)
        search = _Soonest(self, before, presses)
        return search.soonest(search.standing((*least, self.horizon), (*most, self.horizon)))

    def soon(self, presses: int) -> bool:
        """Something fails within the horizon after power-up. Raises as ``look``."""
        zones = (zone for zone, _ in self.stepper.zones())
        return any(
            _Soonest(self, self.horizon, presses).soonest(zone) is not None for zone in zones
        )


class _Soonest(_Search):
    def __init__(self, asked: SoonestSearch, before: int, presses: int) -> None:
        super().__init__(asked.stepper, asked.budget, asked.progress, False)
        self.horizon, self.before, self.presses = asked.horizon, before, presses
        self.failing: tuple[_Node, tuple[int, ...], tuple[bool, ...]] | None = None

    def standing(self, least: State, most: State) -> Zone:
        """A zone that holds the states between two."""
        bounds, shape = Bounds(), []
        for item, value, last in zip(self.stepper.memory, least, most, strict=True):
            place: Any = value
            if isinstance(item, Timer) and value:
                place = bounds.add(PRESENT, value, last)
            elif isinstance(item, Bank):
                place = tuple((bounds.add(PRESENT, *entry[:1] * 2), *entry[1:]) for entry in value)
            shape.append(place)
        return Zone(tuple(shape), bounds.matrix())

    def soonest(self, root: Zone) -> Soonest | None:
        """Best first; what comes no sooner than the best failure so far is left."""
        # What is unknown at power-up has long been decided.
        values = {
            item.name: root.shape[i]
            for i, item in enumerate(self.stepper.memory)
            if isinstance(item, Number) and is_unknown(item)
        }
        self._reach(_Node(root, 0, None, values=values))
        while self.heap and self.heap[0][0] < self.before:
            _, _, visit = heappop(self.heap)
            self._follow(visit)
            if self.budget.spent(self.progress.states):
                raise OutOfTimeError
        if self.failing is None:
            return None
        return Soonest(self.before, self._script(*self.failing))

    def _push(self, node: _Node, group: tuple[int, ...] | None) -> None:
        if group is not None and node.presses + len(group) >= self.presses:
            return
        heappush(self.heap, (self._time(node.zone), next(self.order), _Visit(node, group)))

    def _arrive(
        self,
        node: _Node,
        world: World,
        reached: Reached,
        taken: tuple[int, ...],
        made: tuple[bool, ...],
    ) -> bool:
        zone = Zone(reached.shape, world.bounds.select(reached.times))
        if zone.shape[-1] == 0 or (ticks := self._time(zone)) >= self.before:
            return False
        if any(signal == failure(0) for signal, _ in reached.said):
            self.before, self.failing = ticks, (node, taken, made)
        else:
            self._reach(_Node(zone, node.presses + len(taken), node, taken, made))
        return False

    def _time(self, zone: Zone) -> int:
        """The least time that has passed."""
        return self.horizon - int(zone.matrix[zone.shape[-1]][PRESENT])


def later(script: Script, ticks: int, before: Sequence[Any], constants: dict[str, int]) -> Script:
    """The run from a state that was reached after so many ticks, as one from power-up on."""
    presses = tuple(replace(p, tick=p.tick + ticks) for p in script.presses)
    picks = (*before, *(replace(c, tick=c.tick + ticks) for c in script.picks))
    return Script(presses, script.delay, picks, tuple(constants.items()), script.resolution)


__all__ = ["Soonest", "SoonestSearch", "later"]
