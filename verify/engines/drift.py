"""Ends that drift apart without end (free scans whose clocks differ): the soonest failure.

Which slot a sample meets is settled by the two clocks alone; levers change nothing about it.
While every sample meets its own slot nothing can go wrong, and the first that does not shows
another lever as soon as that one is moved: runs of one move are enough. Boundaries of slots
come later, sample for sample, the longer the periods are: so of all rates the soonest failure
comes at the largest error either way, and of all periods that wander when all are as long, or
as short, as they may be. Until close to it nothing needs to be searched: left alone, both
ends go round by themselves (``idle``).
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from fractions import Fraction
from itertools import product
from math import lcm

from verify.engines.answer import Answer, Budget, OutOfTimeError, Progress, Verdict
from verify.engines.concrete import Compiled, State
from verify.engines.idle import Idle
from verify.engines.paces import at_known_rate
from verify.engines.soonest import SoonestSearch, later
from verify.engines.trace import Script
from verify.language import expressions as ex
from verify.language.state import Number, Timer
from verify.parts.clock import Clock
from verify.parts.link import Link, factored
from verify.parts.monitor import Windows

MOVES = 1


class Drifting:
    """Judges the parts of a link one after another: each only up to the soonest failure so far."""

    def __init__(self, budget: Budget, progress: Progress) -> None:
        self.budget, self.progress = budget, progress
        # Ticks after power-up, line delay left out.
        self.soonest: Fraction | None = None

    def judge(self, link: Link, windows: Windows) -> Answer:
        """Fails, with the soonest failure; undecided if this part has none that is sooner."""
        self.progress.doing = "looking for the soonest failure"
        script: Script | None = None
        try:
            for run in self._extremes(link, windows):
                limit = None if self.soonest is None else self.soonest * run.resolution
                found = run.soonest(limit)
                if found is not None:
                    ticks, script = found
                    self.soonest = Fraction(ticks, run.resolution)
        except OutOfTimeError:
            told = f"{self.progress.states} zones, not enough to find out when it fails"
            return Answer(Verdict.UNDECIDED, "zones", covered=told)
        if script is None:
            told = "nothing fails sooner than elsewhere"
            return Answer(Verdict.UNDECIDED, "zones", covered=told, complete=True)
        covered = (
            f"{self.progress.states} zones up to the soonest failure, at the largest errors "
            f"of the clock, in steps of 1/{script.resolution} tick"
        )
        return Answer(Verdict.FAILS, "zones", script, covered, complete=True)

    def is_soon(self, link: Link, windows: Windows, ticks: int) -> bool:
        """Something fails within so many ticks after power-up, or there was no time to see."""
        parts = lcm(link.clock.resolution, windows.resolution)
        try:
            for error in link.clock.rate:
                clock = replace(link.clock, rate=(error, error))
                system = replace(factored(replace(link, clock=clock), windows, parts), dense=False)
                search = SoonestSearch(system, ticks * parts, self.budget, self.progress)
                if search.soon(MOVES):
                    return True
        except OutOfTimeError:
            return True
        return False

    def _extremes(self, link: Link, windows: Windows) -> Iterator[_Run]:
        for error, sign in zip(link.clock.rate, (-1, 1), strict=True):
            clock = replace(link.clock, rate=(error, error))
            yield _Run(link, clock, sign, windows, self.budget, self.progress)


class _Run:
    """One extreme: all periods as short (sign -1), or as long (sign 1), as they may be.

    Times are parts of a tick since power-up.
    """

    def __init__(
        self,
        link: Link,
        clock: Clock,
        sign: int,
        windows: Windows,
        budget: Budget,
        progress: Progress,
    ) -> None:
        self.clock, self.sign, self.rated = clock, sign, link.clock.rated
        parts = self.resolution = lcm(clock.resolution, windows.resolution)
        self.system = replace(
            factored(replace(link, clock=clock).at_any_step, windows, parts), dense=False
        )
        self.compiled = Compiled(self.system)
        own = {item for machine in link.scheme.transmitter() for item in machine.memory}
        self.own = {item.name for item in own}
        step = (link.scheme.step or 1) * parts
        length = int(step * (1 + clock.rate[0])) + sign * clock.wander * parts
        self.drift, self.slot = length - step, max(step, length)
        self.frame = link.scheme.steps * self.slot
        # In another slot the samples come at other times, at most a frame sooner. A lever that has
        # to be up for long has to go up before.
        still = int(max(windows.latest) * parts) + self.frame if link.operator.moves else 0
        self.lead = self.frame + self.slot + still
        # A whole frame of drift, and all is as at first.
        self.round = self.frame // max(1, abs(self.drift)) * self.slot + 4 * self.frame
        self.search = SoonestSearch(self.system, 3 * self.frame + still, budget, progress)

    def soonest(self, limit: Fraction | None) -> tuple[int, Script] | None:
        """When the soonest failure before ``limit`` comes, and its run."""
        if not self.drift:
            return None
        most = self.round if limit is None else min(self.round, int(limit))
        # A late transmitter is worst for a receiver that is early.
        rough = self._roughly(self._idle({}, late=self.drift < 0), most + self.frame)
        if rough is None:
            return None
        best: tuple[int, Script] | None = None
        for values in self._numbers():
            found = self._close(values, max(0, rough - self.lead), most)
            if found is not None:
                most, best = found[0], found
        return best

    def _roughly(self, idle: Idle, most: int) -> int | None:
        """When the first failure comes, from one state at power-up."""

        def failing(since: int) -> int | None:
            state = idle.at(since)
            found = self.search.look(state, state, MOVES)
            return None if found is None else since + found.ticks

        good, since, found = 0, 0, failing(0)
        while found is None:
            # What is wrong stays wrong for longer than it was right: doubling does not miss it.
            if since == most:
                return None
            good, since = since, min(max(self.frame, 2 * since), most)
            found = failing(since)
        while since - good > self.frame:
            middle = (good + since) // 2
            sooner = failing(middle)
            if sooner is None:
                good = middle
            else:
                since, found = middle, sooner
        return found

    def _close(self, values: dict[str, int], since: int, before: int) -> tuple[int, Script] | None:
        """The soonest failure after ``since`` and before another, from power-up with these."""
        best: tuple[int, Script] | None = None
        for least, most, at, idle in self._roots(values, since):
            found = self.search.look(least, most, MOVES, before - at)
            if found is None:
                continue
            constants = dict(self.compiled.constants(idle.start))
            told = dict(found.script.constants)
            for i, item in enumerate(self.compiled.memory):
                if isinstance(item, Timer) and item.name in told:
                    constants[item.name] += told[item.name] - least[i]
            script = later(found.script, at, idle.picks(at), constants)
            before = at + found.ticks
            if self.rated:
                script = at_known_rate(script, self.clock, self.resolution)
            best = before, script
        return best

    def _roots(
        self, values: dict[str, int], since: int
    ) -> Iterator[tuple[State, State, int, Idle]]:
        """States from which to look, and when they are reached: one for all settings of the
        receiver's clock if these only differ in when it strikes next."""
        early, late = self._idle(values), self._idle(values, late=True)
        # Where the latest has just struck, the others have struck as often.
        since -= late.since(since, self.own)
        places = early.at(since), late.at(since)
        items = zip(self.compiled.memory, *places, strict=True)
        if all(a == b or (isinstance(item, Timer) and a and b) for item, a, b in items):
            yield *places, since, early
            return
        for idle in (early, late):
            yield idle.at(since), idle.at(since), since, idle

    # -- power-up -------------------------------------------------------------

    def _numbers(self) -> Iterator[dict[str, int]]:
        """All values of the unknown numbers: the slots in which it may be switched on."""
        unknown = [
            (item.name, item.start)
            for item in self.compiled.memory
            if isinstance(item, Number) and isinstance(item.start, tuple)
        ]
        for values in product(*(range(a, b + 1) for _, (a, b) in unknown)):
            yield {name: value for (name, _), value in zip(unknown, values, strict=True)}

    def _idle(self, values: dict[str, int], *, late: bool = False) -> Idle:
        """From power-up on, untouched; the receiver's clock set as early or late as may be."""
        constants = dict(values)
        for item in self.compiled.memory:
            if isinstance(item, Timer) and isinstance(item.begin, tuple):
                last = self.sign > 0 if item.name in self.own else late
                constants[item.name] = item.begin[last]
        return Idle(self.compiled, self.compiled.start_with(constants), self._choose)

    def _choose(self, pick: ex.Pick) -> int:
        return pick.most if self.sign > 0 else pick.least
