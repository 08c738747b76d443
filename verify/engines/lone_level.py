"""What does one move of one lever do, all alone, whenever it comes?

A link that never rests, such as a scan, may be anywhere when the lever moves: every state
that it passes through while nothing moves is tried, with every tick before its next event.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator

from verify.engines.answer import Budget, OutOfTimeError, TooManyError
from verify.engines.concrete import MOST_STARTS, Compiled, Occurrence, State
from verify.errors import UsageError
from verify.language.state import Signal
from verify.parts.link import Link, factored
from verify.parts.signals import rest, strike

# States in which a lever may move; more, and the link is taken to do ever new things.
MOST_STATES = 1_000_000

Delays = tuple[int | None, int | None, int, bool]


def lone_move(link: Link, watched: int, budget: Budget | None = None) -> Delays:
    """Earliest and latest ticks from a move of one lever to its output, and the longest followed.

    Earliest is None if the output never follows, latest if it may not; the last says whether
    the link comes to rest. Up and down moves alike; the line's constant delay is left out.
    Raises OutOfTimeError when the budget is spent, or there is too much to go through.
    """
    compiled = Compiled(factored(link, None))
    runner = _Runner(compiled, watched, link.outputs[watched], budget or Budget())
    starts = listed(compiled.starts(), budget)
    up = [*runner.moves(runner.while_still(starts), strike(0))]
    down = runner.moves(runner.while_still(runner.shown), rest(0))
    times = [*up, *down]  # a lever goes down where it has been shown up
    seen = [t for t in times if t is not None]
    latest = None if None in times or not seen else max(seen)
    rests = any(compiled.next_event(state) is None for state in runner.shown)
    return min(seen, default=None), latest, runner.longest, rests


def listed(starts: Iterable[State], budget: Budget | None) -> list[State]:
    """All of them. Raises OutOfTimeError, also where there are too many."""
    found: list[State] = []
    for state in starts:
        found.append(state)
        if budget is not None and budget.spent(0):
            raise OutOfTimeError
        if len(found) > MOST_STARTS:
            raise TooManyError(f"{MOST_STARTS} states at power-up")
    return found


class _Runner:
    def __init__(self, compiled: Compiled, watched: int, output: int, budget: Budget) -> None:
        self.compiled, self.watched, self.output = compiled, watched, output
        self.budget = budget
        self.shown: set[State] = set()
        self.longest = 1  # ticks that any move was followed

    def while_still(self, starts: Iterable[State]) -> set[State]:
        """Every state after an event that is reached from these while no lever moves."""
        known = set(starts)
        new = list(known)
        while new:
            if self.budget.spent(0):
                raise OutOfTimeError
            state = new.pop()
            passed = self.compiled.next_event(state)
            if passed is None:
                continue
            for after, _, _ in self.compiled.outcomes(state, passed):
                if len(known) > MOST_STATES:
                    raise UsageError(
                        f"found a link that does something new for more than {MOST_STATES} events "
                        "while no lever moves; allowed: links that come round in the end"
                    )
                if after not in known:
                    known.add(after)
                    new.append(after)
        return known

    def moves(self, states: Iterable[State], wanted: Signal) -> Iterator[int | None]:
        """Move the lever at every tick of every state; ticks until the signal, None if never."""
        for state in states:
            event = self.compiled.next_event(state)
            for passed in self._ticks(state, event or 1):
                if self.budget.spent(0):
                    raise OutOfTimeError
                for after, log, _ in self.compiled.outcomes(state, passed, (self.watched,)):
                    yield from self._until(after, log, wanted)

    def _ticks(self, state: State, event: int) -> Iterable[int]:
        """The ticks up to the next event at which a move may make a difference.

        Where a move starts nothing that takes time, all moves before the event lead to the same,
        sooner or later: the first and the last of them say how soon and how late.
        """
        first = self.compiled.first_open(state, self.watched, event)
        if first is None:
            return ()
        every = range(first, event + 1)
        if event - first <= 2:
            return every
        ways = list(self.compiled.outcomes(state, first, (self.watched,)))
        if len(ways) != 1 or ways[0][2] or not self._only_ran_on(state, ways[0][0], first):
            return every
        return first, event - 1, event

    def _only_ran_on(self, before: State, after: State, passed: int) -> bool:
        """All that ran runs still, so many ticks less, and nothing else does."""
        for i in self.compiled.timers:
            if i not in self.compiled.restraints and after[i] != max(0, before[i] - passed):
                return False
        for i in self.compiled.banks:
            aged = tuple((entry[0] - passed, *entry[1:]) for entry in before[i])
            if i not in self.compiled.restraints and after[i] != aged:
                return False
        return True

    def _until(self, state: State, log: list[Occurrence], wanted: Signal) -> Iterator[int | None]:
        """Follow every way that a move can go until the output shows it."""
        ways = [(state, log, 0)]
        passed_through: set[State] = set()
        while ways:
            state, log, now = ways.pop()
            self.longest = max(self.longest, now)
            if (wanted, (self.output,)) in log:
                self.shown.add(state)
                yield now
                continue
            passed = self.compiled.next_event(state)
            if passed is None or state in passed_through:
                yield None  # at rest, or round in a circle, without it
                continue
            passed_through.add(state)
            for after, said, _ in self.compiled.outcomes(state, passed):
                ways.append((after, said, now + passed))
                if len(ways) > MOST_STARTS:
                    raise TooManyError(f"{MOST_STARTS} ways that a lone move can go")
