"""Pulse-gap: what two presses do together that neither does alone.

A press of input i sends pulses that start 0 and gaps[i] later. Pulses that touch or overlap
are one, with one rise. Two presses therefore make at most four rises, and what the receiver
makes of those is counted here. A *ghost* is a strike that is not the due one of either press.

Whatever three or more presses do is for the engines: this is the table's own part of it.
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Literal

from verify.tables.gaps import Window


@dataclass(frozen=True)
class Ghosts:
    """Press ``second`` comes ``least`` to ``most`` ticks after ``first``: these outputs strike."""

    first: int
    second: int
    least: int
    most: int
    outputs: tuple[int, ...]


@dataclass(frozen=True)
class PulseTable:
    """Times in ticks. ``windows`` disjoint; the clocks of both ends run alike.

    ``busy``: what a press does while another is being sent: "overlay", "ignore" or "queue".
    ``jitter``: every rise may be this much late. Then ``ghosts`` lists every distance at which
    one is possible; each time from rise to rise is let vary by itself, so a receiver that
    measures twice from one rise may be blamed for a few that cannot happen.
    """

    gaps: tuple[int, ...]
    windows: tuple[Window, ...]
    pulse: int
    receiver: Literal["timer", "taps"] = "timer"
    on_miss: Literal["disarm", "rearm"] = "disarm"
    busy: Literal["overlay", "ignore", "queue"] = "overlay"
    jitter: int = 0

    # -- what one distance does ----------------------------------------------------

    def ghosts_at(self, first: int, second: int, distance: int) -> tuple[int, ...]:
        """Outputs that strike unasked when two sends start ``distance`` apart; ascending."""
        a, b = self.gaps[first], self.gaps[second]
        due = [(a, first), (distance + b, second)]
        rises = self.rises((0, a, distance, distance + b))
        # Two reasons for one output to strike in one tick are one strike.
        return tuple(
            sorted({output for now, output in self._strikes(rises) if (now, output) not in due})
        )

    def rises(self, starts: Sequence[int]) -> list[int]:
        """Of the line, when pulses start then."""
        rises: list[int] = []
        last = None
        for start in sorted(starts):
            if last is None or start > last + self.pulse:
                rises.append(start)
            last = start
        return rises

    def _strikes(self, rises: Sequence[int]) -> list[tuple[int, int]]:
        return self._timer(rises) if self.receiver == "timer" else self._taps(rises)

    def _taps(self, rises: Sequence[int]) -> list[tuple[int, int]]:
        return [
            (now, output)
            for n, now in enumerate(rises)
            for m, then in enumerate(rises[:n])
            for output in self._taken(now - then, 2 * (n - m))[0]
        ]

    def _timer(self, rises: Sequence[int]) -> list[tuple[int, int]]:
        """Follows every way that jitter leaves open; without jitter there is one."""
        strikes: list[tuple[int, int]] = []
        armed, idle = {True}, {False}
        state = idle  # of the receiver after a rise: armed at it, or not
        for n, now in enumerate(rises):
            after: set[bool] = set()
            if False in state:
                after |= armed
            if True in state:
                outputs, miss, late = self._taken(now - rises[n - 1], 2)
                strikes += [(now, output) for output in outputs]
                after |= idle if outputs else set()
                after |= armed if late or (miss and self.on_miss == "rearm") else set()
                after |= idle if miss and self.on_miss == "disarm" else set()
            state = after
        return strikes

    def _taken(self, elapsed: int, least: int) -> tuple[list[int], bool, bool]:
        """What a time from rise to rise may be taken for.

        Outputs; whether it may be in no window; whether it may come after all windows. Edges
        keep their order, a tick apart: jitter makes no time shorter than ``least``.
        """
        if self.jitter == 0:
            at = bisect_right(self._lows, elapsed) - 1
            if at >= 0 and elapsed <= self._highs[at]:
                return [self._order[at]], False, False
            late = elapsed > self._highs[-1]
            return [], not late, late
        low, high = max(least, elapsed - self.jitter), elapsed + self.jitter
        outputs, free = [], low
        miss = False
        for at in range(bisect_right(self._highs, low - 1), len(self._order)):
            if self._lows[at] > high:
                break
            outputs.append(self._order[at])
            miss = miss or free < self._lows[at]
            free = self._highs[at] + 1
        last = min(high, self._highs[-1])
        return outputs, miss or free <= last, high > self._highs[-1]

    @cached_property
    def _order(self) -> list[int]:
        return sorted(range(len(self.windows)), key=self.windows.__getitem__)

    @cached_property
    def _lows(self) -> list[int]:
        return [self.windows[i][0] for i in self._order]

    @cached_property
    def _highs(self) -> list[int]:
        return [self.windows[i][1] for i in self._order]

    # -- over all distances --------------------------------------------------------

    @cached_property
    def _steps(self) -> list[int]:
        """Differences of two pulses at which anything may change, ascending.

        Between two of them a difference makes the same rises and is taken for the same outputs.
        """
        jitter = self.jitter
        sizes = {0, 1, self.pulse + 1}
        for low, high in self.windows:
            sizes |= {low - jitter, low + jitter, high + 1 - jitter, high + 1 + jitter}
        if jitter:
            sizes |= {2 * rises + jitter for rises in (1, 2, 3)}
        return sorted(sizes | {1 - size for size in sizes})

    def _differences(self, first: int, second: int) -> tuple[int, int, int, int]:
        """What is added to the distance of two sends to get those of their pulses."""
        a, b = self.gaps[first], self.gaps[second]
        return 0, b, -a, b - a

    def least_distance(self, first: int) -> int:
        """Of two sends, of which the first is of input ``first``."""
        return 0 if self.busy == "overlay" else self.gaps[first] + self.pulse + 1

    def most_distance(self, first: int) -> int:
        """Beyond it, two sends have nothing to do with each other."""
        reach = self.gaps[first] + self.pulse + self.jitter
        return reach if self.receiver == "timer" else reach + self._highs[-1] + self.jitter

    def ghosts(self, first: int, second: int, least: int = 0) -> Iterator[Ghosts]:
        """Of a pair of presses at least ``least`` apart, the distances ascending."""
        # A queue sends what came meanwhile at once afterwards; of two in a tick, the lower first.
        queued = self.busy == "queue"
        least = max(least, int(queued and first > second))
        start = self.least_distance(first)
        open_: Ghosts | None = None
        at = max(start, least)
        while at <= self.most_distance(first):
            outputs = self.ghosts_at(first, second, at)
            end = self._alike_until(first, second, at)
            if open_ is not None and outputs != open_.outputs:
                yield open_
                open_ = None
            if outputs:
                since = min(at, least) if queued and at == start else at
                since = since if open_ is None else open_.least
                open_ = Ghosts(first, second, since, end, outputs)
            at = end + 1
        if open_ is not None:
            yield open_

    def _alike_until(self, first: int, second: int, distance: int) -> int:
        """The last distance that surely does the same as this one."""
        steps = self._steps
        ends = [
            steps[k] - x - 1
            for x in self._differences(first, second)
            if (k := bisect_right(steps, distance + x)) < len(steps)
        ]
        return min([self.most_distance(first), *ends])

    def last_ghost(self, first: int, second: int, above: int = -1) -> int | None:
        """The largest distance of two presses that makes one; None if none above ``above`` does."""
        steps, added = self._steps, self._differences(first, second)
        least = max(self.least_distance(first), above + 1)
        at = self.most_distance(first)
        while at >= least:
            if self.ghosts_at(first, second, at):
                return at
            starts = [steps[k - 1] - x for x in added if (k := bisect_right(steps, at + x)) > 0]
            at = max(starts, default=0) - 1
        return None

    def last_of_all(self, *, same: bool) -> tuple[int, int, int] | None:
        """(distance, first, second): the largest distance at which any two presses make a ghost.

        ``same``: of presses of one input; else of two inputs. None if no distance does.
        """
        best: tuple[int, int, int] | None = None
        inputs = range(len(self.gaps))
        for first in sorted(inputs, key=lambda i: -self.gaps[i]):
            for second in [first] if same else [j for j in inputs if j != first]:
                above = -1 if best is None else best[0]
                if self.most_distance(first) <= above:
                    return best
                found = self.last_ghost(first, second, above)
                if found is not None:
                    best = found, first, second
        return best
