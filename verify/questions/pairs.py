"""How soon after input i may input j come? The matrix for every ordered pair, proved as a whole."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from fractions import Fraction
from itertools import pairwise
from math import ceil, floor, lcm

from verify.engines.answer import Budget, Progress, Verdict
from verify.engines.concrete import Compiled, Occurrence, State
from verify.engines.lone import factored_windows
from verify.engines.trace import Trace
from verify.parts.link import Link, factored
from verify.parts.signals import failure
from verify.questions.judging import DEFAULT_SECONDS, EngineName, Subject, judge

Matrix = tuple[tuple[int, ...], ...]

# A failure of more presses than these is one of sustained load.
SUSTAINED = 6


@dataclass(frozen=True)
class Pairs:
    """``ticks[i][j]``: least time from a press of i to any later press of j.

    ``verdict`` is that of the matrix as a whole: every sequence in which each two presses
    keep their entry. ``raised``: entries that two presses alone would allow to be smaller,
    ``(i, j, by two alone)``.
    """

    ticks: Matrix
    verdict: Verdict
    engine: str
    covered: str
    raised: tuple[tuple[int, int, int], ...]
    trace: Trace | None = None


def least_pairs(
    subject: Subject,
    engine: EngineName,
    progress: Progress,
    spacing: int,
    budget: Budget | None = None,
) -> Pairs:
    """Least time per ordered pair. ``spacing``: the least safe spacing, ticks; no entry exceeds it.

    First each pair by itself: the least time from which on the second press is safe at
    every later time too. Then one proof of the matrix; a failure of three or more presses
    raises the entry of one of its pairs, and the proof is repeated.
    """
    budget = budget if budget is not None else Budget(DEFAULT_SECONDS)
    alone = _two_presses(subject, spacing)
    matrix = [list(row) for row in alone]
    if (queue := subject.link.scheme.queue) is not None:
        # Under sustained load presses may come no faster than the queue is emptied.
        slowest = 1 + subject.link.clock.rate[1]
        for i, send in enumerate(queue.sends):
            matrix[i] = [max(least, min(ceil(send * slowest), spacing)) for least in matrix[i]]
    while True:
        frozen = tuple(map(tuple, matrix))
        judged = judge(subject.respaced(spacing=0, pairs=frozen), engine, progress, budget=budget)
        if judged.trace is None or not _raise_one(
            matrix, judged.trace, subject.lone.settled, spacing
        ):
            break
    raised = tuple(
        (i, j, alone[i][j])
        for i in range(len(matrix))
        for j in range(len(matrix))
        if matrix[i][j] > alone[i][j]
    )
    return Pairs(
        tuple(map(tuple, matrix)),
        judged.verdict,
        judged.engine,
        judged.covered,
        raised,
        judged.trace,
    )


def _raise_one(
    matrix: list[list[int]], trace: Trace, settled: tuple[int, ...], spacing: int
) -> bool:
    """Forbid a failing trace by raising one entry that it just keeps; False if none is left.

    The one whose first press is furthest from rest when the second comes, the last of those:
    most of what goes wrong begins there, so the fewest entries end up raised. Of a long trace,
    which fails under sustained load, all that it just keeps.
    """
    presses = trace.script.presses
    blamed: list[tuple[Fraction, int, int, int]] = []
    for place, (before, after) in enumerate(pairwise(presses)):
        apart = Fraction(after.tick - before.tick, trace.script.resolution)
        if apart < spacing and matrix[before.input][after.input] <= apart:
            unrest = settled[before.input] - apart
            blamed.append((unrest, place, before.input, after.input))
    if not blamed:
        return False
    for _, place, i, j in blamed if len(presses) > SUSTAINED else [max(blamed)]:
        apart = Fraction(presses[place + 1].tick - presses[place].tick, trace.script.resolution)
        if matrix[i][j] <= apart:
            matrix[i][j] = floor(apart) + 1
    return True


def _two_presses(subject: Subject, spacing: int) -> Matrix:
    """The matrix of pairs by themselves; inputs that share no machine do not disturb each other."""
    n = subject.link.inputs
    own = subject.link.operator
    matrix = [[0] * n for _ in range(n)]
    for i in range(n):
        matrix[i][i] = min(spacing, max(own.repeat, own.hold[0] + 1))
    # A link that never rests has no lone runs to start from: its proof alone raises entries.
    for piece in subject.parts if subject.lone.rests else ():
        part, carried = piece.link, piece.carried
        free = part.with_operator(spacing=0, pairs=None)
        for windows in factored_windows(part, subject.lone_of(part)):
            resolution = lcm(free.clock.resolution, windows.resolution)
            compiled = Compiled(factored(free, windows, resolution))
            runner = _Runner(free, compiled, resolution)
            for a, i in enumerate(carried):
                for b, j in enumerate(carried):
                    least = runner.least(a, b, spacing)
                    matrix[i][j] = max(matrix[i][j], least)
    return tuple(map(tuple, matrix))


class _Runner:
    """Runs two presses on a link part and looks for failures. Picks and unknowns at their least:
    the proof of the matrix covers the others, and raises what they need. ``resolution``: parts
    of a tick in which it counts; distances are asked in whole ticks."""

    def __init__(self, part: Link, compiled: Compiled, resolution: int) -> None:
        self.part, self.compiled, self.resolution = part, compiled, resolution
        self.start = next(compiled.starts())
        self.alone: dict[int, list[tuple[int, State]]] = {}
        self.safe_after: dict[State, bool] = {}

    def least(self, first: int, second: int, spacing: int) -> int:
        """Going down from ``spacing``: the last distance before the first that fails."""
        for apart in range(spacing - 1, -1, -1):
            if not self._safe(first, second, apart * self.resolution):
                return apart + 1
        return 0

    def _safe(self, first: int, second: int, apart: int) -> bool:
        if apart == 0:
            if first == second:
                return True  # one press, not two
            together = tuple(sorted((first, second)))
            return self._runs_well(self.compiled.step(self.start, 1, together))
        when, state = self._standing(first, apart)
        return self._runs_well(self.compiled.step(state, apart - when, (second,)))

    def _standing(self, first: int, apart: int) -> tuple[int, State]:
        """The last event of a lone press that is over ``apart`` ticks after it."""
        if first not in self.alone:
            self.alone[first] = list(self._lone(first))
        return max((e for e in self.alone[first] if e[0] < apart), key=lambda e: e[0])

    def _lone(self, index: int) -> Iterator[tuple[int, State]]:
        result = self.compiled.step(self.start, 1, (index,))
        now = 0
        while result is not None:
            yield now, result[0]
            passed = self.compiled.next_event(result[0])
            if passed is None:
                return
            now += passed
            result = self.compiled.step(result[0], passed)

    def _runs_well(self, result: tuple[State, list[Occurrence]] | None) -> bool:
        """No failure now or before all is at rest; a press that may not be does no harm."""
        passed_through: list[State] = []
        well = True
        while result is not None:
            state, log = result
            if any(signal == failure(0) for signal, _ in log):
                well = False
                break
            if state in self.safe_after:
                well = self.safe_after[state]
                break
            passed_through.append(state)
            passed = self.compiled.next_event(state)
            if passed is None:
                break
            result = self.compiled.step(state, passed)
        for state in passed_through:
            self.safe_after[state] = well
        return well
