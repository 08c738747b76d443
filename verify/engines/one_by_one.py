"""Links that are at rest, or nearly, when the next press comes: two presses decide.

The argument. Every press alone is followed, under every choice of the world, until the link is
as at power-up, restraints of the operator apart. Wherever the operator allows another press
before that, the state right after it must be one that the other press leads to from rest, or
differ from such a one by longer restraints only. Then whatever comes next has been judged
already, so sequences of any length hold, by induction on the number of presses.

Presses that do the same on lines of other numbers share a representative: see ``Scheme.alike``.
"""

from __future__ import annotations

from collections.abc import Hashable, Iterable, Iterator
from dataclasses import dataclass

from verify.engines.answer import Answer, Budget, OutOfTimeError, Progress, Verdict
from verify.engines.concrete import Compiled, State
from verify.engines.explorer import is_weaker
from verify.engines.shrink import size
from verify.engines.trace import Chosen, Press, Script
from verify.language.machine import System
from verify.parts.scheme import Scheme
from verify.parts.signals import failure


@dataclass(frozen=True)
class _Run:
    """A link at tick ``now``, and what was done with it since power-up."""

    state: State
    now: int
    presses: tuple[Press, ...] = ()
    picks: tuple[Chosen, ...] = ()


def one_by_one(system: System, scheme: Scheme, budget: Budget, progress: Progress) -> Answer:
    """Judge a link that allows no two presses in one tick and comes to rest after each.

    A proof if ``scheme``, that of the link, is closed; a failure is one in any case.
    ``undecided`` where a press may find the link at work on another.
    """
    search = _Search(system, scheme, budget, progress)
    try:
        search.run()
    except OutOfTimeError:
        search.settled = False
    failed = min(search.failed, key=size, default=None)
    if failed is not None:
        covered = f"{progress.states} states of two presses"
        return Answer(Verdict.FAILS, "explorer", failed, covered, rough=True)
    verdict = Verdict.HOLDS if search.settled else Verdict.UNDECIDED
    covered = f"induction on presses, each from rest, inputs alike as one: {progress.states} states"
    return Answer(verdict, "explorer", None, covered, search.settled)


class _Search:
    def __init__(self, system: System, scheme: Scheme, budget: Budget, progress: Progress) -> None:
        self.compiled, self.scheme = Compiled(system), scheme
        self.budget, self.progress = budget, progress
        self.failed: list[Script] = []
        self.settled = True
        self.free = [i for i in range(len(system.memory)) if i not in self.compiled.lenient]

    def run(self) -> None:
        """Raises OutOfTimeError."""
        inputs = range(self.compiled.inputs)
        firsts = [i for (i,) in self._different((i,) for i in inputs)]
        self.progress.presses = 1
        for first in firsts:
            for start in self._starts((first,)):
                self._follow(start, self._press(start, _Run(start, -1), 1, first))
        if self.failed:
            return
        self.progress.presses = 2
        for first, second in self._different((i, j) for i in firsts for j in inputs):
            for start in self._starts((first, second)):
                self._in_turn(start, first, second)

    def _different(self, groups: Iterable[tuple[int, ...]]) -> Iterator[tuple[int, ...]]:
        seen: set[Hashable] = set()
        for inputs in groups:
            alike = self.scheme.alike(inputs)
            if alike not in seen:
                seen.add(alike)
                yield inputs

    def _starts(self, inputs: tuple[int, ...]) -> Iterator[State]:
        return self.compiled.starts_alike(self.scheme.exchangeable(inputs))

    def _in_turn(self, start: State, first: int, second: int) -> None:
        fresh = _Run(start, -1)
        alone = [run.state for run in self._press(start, fresh, 1, second)]
        for run in self._to_rest(start, self._press(start, fresh, 1, first)):
            event = self.compiled.next_event(run.state) or 0
            for passed in range(1, event + 1):
                for after in self._press(start, run, passed, second):
                    if not any(self._stands_for(state, after.state) for state in alone):
                        self.settled = False
                        self._follow(start, [after])

    def _press(self, start: State, run: _Run, passed: int, index: int) -> list[_Run]:
        """After a press, for each choice of the world; none if it is not allowed."""
        if not self.compiled.allowed(run.state, passed, index):
            return []
        return self._step(start, run, passed, (index,))

    def _step(self, start: State, run: _Run, passed: int, taken: tuple[int, ...]) -> list[_Run]:
        now, found = run.now + passed, []
        for state, log, picked in self.compiled.outcomes(run.state, passed, taken):
            self.progress.states += 1
            if self.budget.spent(self.progress.states):
                raise OutOfTimeError
            after = _Run(
                state,
                now,
                (*run.presses, *self.compiled.pressed(now, taken)),
                (*run.picks, *(Chosen(now, name, value) for name, value in picked)),
            )
            if any(signal == failure(0) for signal, _ in log):
                constants = self.compiled.constants(start)
                self.failed.append(Script(after.presses, 0, after.picks, constants))
            else:
                found.append(after)
        return found

    def _to_rest(self, start: State, runs: list[_Run]) -> Iterator[_Run]:
        """All states that these come to with no more presses, but rest itself, each once."""
        met: set[State] = set()
        while runs:
            run = runs.pop()
            if run.state in met:
                continue
            met.add(run.state)
            event = self.compiled.next_event(run.state)
            if event is None:
                self.settled = self.settled and self._stands_for(start, run.state)
                continue
            yield run
            runs += self._step(start, run, event, ())

    def _follow(self, start: State, runs: list[_Run]) -> None:
        for _ in self._to_rest(start, runs):
            pass

    def _stands_for(self, known: State, state: State) -> bool:
        """The same but for restraints, which forbid no more in ``known``."""
        if any(known[i] != state[i] for i in self.free):
            return False
        lenient = self.compiled.lenient
        return is_weaker(tuple(known[i] for i in lenient), tuple(state[i] for i in lenient))
