"""The transmitter's clock: a rate that is off by a constant, and periods that wander.

A transformation of machines, the same for every scheme: whoever runs on the clock has its
lengths given in the clock's own periods, which last as long as the clock makes them.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from fractions import Fraction
from math import ceil, floor, lcm
from typing import Any

from verify.errors import ModelError
from verify.language import expressions as ex
from verify.language.counts import as_counts
from verify.language.durations import Key, Measure, is_rest, remeasured
from verify.language.machine import Machine
from verify.language.state import Number

PERIOD = "clock.period"
"""The unknown of a run that says how long a period of nominal length one tick lasts."""

SLOWEST, FASTEST = Fraction(1), Fraction(-1, 2)
"""Rate errors looked at: from half as long to twice as long as they should be."""


@dataclass(frozen=True)
class Clock:
    """``rate``: least and most relative error of the transmitter's clock, constant for one run:
    n periods of nominal length P last n * P * (1 + error), by the receiver's clock. ``wander``:
    ticks by which each period (each bit, gap, slot) may differ either way, anew each time.
    ``anew``: the error may be another one in each period too; includes all that a constant one
    allows, and can be searched in parts of a tick.
    """

    rate: tuple[Fraction, Fraction] = (Fraction(0), Fraction(0))
    wander: int = 0
    anew: bool = False

    @property
    def rated(self) -> bool:
        """Time is dense: the period is any number of its range, and presses may come any time."""
        return any(self.rate) and not self.anew

    @property
    def steady(self) -> bool:
        """Every period lasts as long as it should."""
        return not any(self.rate) and not self.wander

    @property
    def resolution(self) -> int:
        """The least parts of a tick in which both ends of the range of periods are whole."""
        return lcm(*(e.denominator for e in self.rate))

    def period(self, resolution: int) -> Number | None:
        """The unknown length of a nominal tick, in parts of a tick; None if it is known."""
        if not self.rated:
            return None
        span = self.span(resolution)
        return Number(PERIOD, *span, span)

    def span(self, resolution: int) -> tuple[int, int]:
        """Least and most length of a nominal tick, in parts of a tick."""
        least, most = ((1 + e) * resolution for e in self.rate)
        span = ceil(least), floor(most)
        if span[0] > span[1]:
            raise ModelError(f"no period of 1/{resolution} ticks lies in the clock's range")
        return span


ON_TIME = Clock()


def paced(
    machines: Iterable[Machine],
    times: frozenset[Key],
    clock: Clock,
    resolution: int,
    step: int | None = None,
) -> tuple[Machine, ...]:
    """The machines, which are given in whole ticks, running on the clock.

    Times become parts of a tick, of which ``resolution`` make one. ``step``: ticks of which
    every length is a whole multiple, so many periods; None: each length is one period. Raises
    ModelError for machines that do with times what a clock of unknown rate does not allow.
    """
    counted, times = as_counts(machines, times)
    return remeasured(counted, times, _measure(clock, resolution, step))


def _measure(clock: Clock, resolution: int, step: int | None) -> Measure:
    period = clock.period(resolution)
    least, most = clock.span(resolution)

    def wander(ticks: Any) -> int:
        periods = 1 if step is None else max(1, ticks // step)
        return int(clock.wander * resolution * periods) if ticks else 0

    def constant(e: ex.Constant | ex.Lookup) -> ex.Int:
        if period is not None:
            return ex.Times(e, period)
        if isinstance(e, ex.Constant):
            return ex.Constant(e.value * resolution)
        return ex.Lookup(tuple(v * resolution for v in e.table), e.index)

    def pick(e: ex.Pick) -> ex.Int:
        if period is not None:
            raise ModelError(f"{e.name!r}: a length picked anew on a clock of unknown rate")
        return ex.Pick(e.name, e.least * resolution, e.most * resolution)

    def windows(found: tuple[tuple[int, int], ...]) -> tuple[tuple[int, int], ...]:
        if period is not None:
            raise ModelError("times told apart by a clock of unknown rate")
        return tuple((a * resolution, b * resolution) for a, b in found)

    def length(name: str, old: ex.Int, new: ex.Int) -> ex.Int:
        # What goes on from another timer's rest is not a period of its own.
        if is_rest(old):
            return new
        if isinstance(old, ex.Constant):
            ticks, reach = old.value, wander(old.value)
            if clock.anew:
                shortest, longest = int(ticks * least) - reach, int(ticks * most) + reach
                return ex.Pick(f"clock.{name}", shortest, longest)
        elif clock.anew or step is not None:
            raise ModelError(f"{name!r}: lengths from a table, which may be of several periods")
        else:
            reach = wander(1)
        return ex.Plus(new, ex.Pick(f"clock.{name}", -reach, reach)) if reach else new

    def begin(ticks: int) -> tuple[int, int]:
        # Counted from power-up, one tick before the first: that tick is no period of the clock.
        periods = ticks - 1
        return (
            periods * least - wander(periods) + resolution,
            periods * most + wander(periods) + resolution,
        )

    return Measure(
        constant,
        pick,
        lambda value: value * least,
        lambda value: value * most + wander(value),
        windows,
        length,
        begin=begin,
    )
