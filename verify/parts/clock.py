"""The transmitter's clock: a rate that is off by a constant, and periods that wander.

A transformation of machines, the same for every scheme: whoever runs on the clock has its
lengths given in the clock's own periods, which last as long as the clock makes them.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from fractions import Fraction
from math import ceil, floor, lcm

from verify.errors import ModelError
from verify.language import expressions as ex
from verify.language.durations import Key, Measure, remeasured
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
    """

    rate: tuple[Fraction, Fraction] = (Fraction(0), Fraction(0))
    wander: int = 0

    @property
    def rated(self) -> bool:
        """Time is dense: the period is any number of its range, and presses may come any time."""
        return any(self.rate)

    @property
    def resolution(self) -> int:
        """The least parts of a tick in which both ends of the range of periods are whole."""
        return lcm(*(e.denominator for e in self.rate))

    def period(self, resolution: int) -> Number | None:
        """The unknown length of a nominal tick, in parts of a tick; None if it is known."""
        if not self.rated:
            return None
        least, most = ((1 + e) * resolution for e in self.rate)
        span = ceil(least), floor(most)
        if span[0] > span[1]:
            raise ModelError(f"no period of 1/{resolution} ticks lies in the clock's range")
        return Number(PERIOD, *span, span)


def paced(
    machines: Iterable[Machine], times: frozenset[Key], clock: Clock, resolution: int
) -> tuple[Machine, ...]:
    """The machines, which are given in whole ticks, running on the clock.

    Times become parts of a tick, of which ``resolution`` make one. Raises ModelError for
    machines that do with times what a clock of unknown rate does not allow.
    """
    return remeasured(machines, times, _measure(clock, resolution))


def _measure(clock: Clock, resolution: int) -> Measure:
    period = clock.period(resolution)
    if period is None:
        least = most = resolution
    else:
        least, most = period.least, period.most
    wander = clock.wander * resolution

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
        if not wander or not isinstance(old, ex.Constant | ex.Lookup):
            return new
        return ex.Plus(new, ex.Pick(f"clock.{name}", -wander, wander))

    return Measure(
        constant,
        pick,
        lambda value: value * least,
        lambda value: value * most + (wander if value else 0),
        windows,
        length,
    )
