"""How soon after input i may input j come? The matrix for every ordered pair, proved as a whole."""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction
from itertools import pairwise
from math import ceil, floor, lcm

from verify.engines.answer import Budget, Progress, Verdict
from verify.engines.concrete import Compiled
from verify.engines.lone import factored_windows
from verify.engines.trace import Trace
from verify.engines.two_presses import TwoPresses
from verify.errors import UsageError
from verify.parts.link import factored
from verify.questions.engine_choice import EngineName
from verify.questions.judging import DEFAULT_SECONDS, Subject, judge

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

    Raises UsageError where the operator takes presses of one tick together.
    """
    if subject.link.operator.together:
        raise UsageError(
            "spacing of pairs: found together = true; allowed: without it: a time from one press "
            "to any later one has no exceptions"
        )
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
            runner = TwoPresses(compiled, free, resolution)
            for a, i in enumerate(carried):
                for b, j in enumerate(carried):
                    least = runner.least(a, b, spacing)
                    matrix[i][j] = max(matrix[i][j], least)
    return tuple(map(tuple, matrix))
