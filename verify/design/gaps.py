"""Gaps for a pulse-gap link: the least worst latency, then the least spacing, then the least sum.

What a table needs, with times in ticks: the second pulse of a send begins after a low tick, so a
gap is longer than a pulse. Jitter J and a transmitter's clock off by up to r let a gap g arrive as
g(1 - r) - J to g(1 + r) + J; the receiver must take all of these for output i, and for no other,
since a lone press can bring any of them. So the windows are disjoint. That is all while no two
sends overlap: see ``least_spacing``.

The best table is built, not searched. Call ``low(g)`` and ``high(g)`` the first and the last time
that the window of g must take; neither falls as g grows. Take, each time, the least gap with
low above the high of the gap before. By induction the k-th gap of any table is at least the
k-th of this one: the first is the least that any table has, and if g(k) is at least ours, so is
high(g(k)), and g(k + 1) has low above that, of which ours is the least. So the longest gap, the
spacing (which grows with it) and the sum are all least at once.
"""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction
from math import ceil, floor
from typing import Literal

from verify.design.proof import Proof
from verify.errors import UsageError
from verify.tables.gaps import Window

Receiver = Literal["timer", "taps"]


@dataclass(frozen=True)
class GapDemand:
    """Ticks. ``window``: accepted before and after each gap; None: as little as will do.

    ``rate``: relative error of the transmitter's clock, either way. ``grid``: gaps are
    multiples of it. ``longest``: no gap is longer; None: any.
    """

    inputs: int
    pulse: int = 1
    jitter: int = 0
    rate: Fraction = Fraction(0)
    window: tuple[int, int] | None = None
    receiver: Receiver = "timer"
    grid: int = 1
    longest: int | None = None

    @property
    def shortest(self) -> int:
        """The least gap: a pulse and a low tick, and a window that does not begin before 1."""
        before = 0 if self.window is None else self.window[0]
        # Without a rate error, edges keep two whole ticks from rise to rise; see ``arrival``.
        late = ceil((1 + self.jitter) / (1 - self.rate)) if self.rate else 0
        return self.up(max(self.pulse + 1, before + 1, late))

    def up(self, ticks: int) -> int:
        """The next multiple of the grid."""
        return -(-ticks // self.grid) * self.grid

    def arrival(self, gap: int) -> tuple[Fraction, Fraction]:
        """Earliest and latest time from rise to rise. Edges keep their order, a tick apart.

        Where a clock's rate is off, times are no whole ticks and edges may come closer.
        """
        least = gap * (1 - self.rate) - self.jitter
        if not self.rate:
            least = max(least, Fraction(min(2, gap)))
        return least, gap * (1 + self.rate) + self.jitter

    def accepted(self, gap: int) -> Window:
        """Whole ticks that the receiver takes for the gap: as given, or just what arrives."""
        if self.window is not None:
            return gap - self.window[0], gap + self.window[1]
        low, high = self.arrival(gap)
        return max(1, floor(low)), ceil(high)

    def covers(self, gap: int) -> bool:
        """The window takes whatever arrives."""
        (low, high), (first, last) = self.arrival(gap), self.accepted(gap)
        return first <= low and high <= last


@dataclass(frozen=True)
class GapTable:
    """Ticks, ascending. ``windows``: first and last time accepted, per gap."""

    demand: GapDemand
    gaps: tuple[int, ...]

    @property
    def windows(self) -> tuple[Window, ...]:
        """Per gap."""
        return tuple(self.demand.accepted(gap) for gap in self.gaps)

    @property
    def least_spacing(self) -> int:
        """Ticks from press to press at which all sequences come out right, and one tick less not.

        A timer strikes at the end of two rises and then starts anew, so sends that overlap,
        or touch, lose one: the next may begin a tick after the longest send has ended. Taps
        hear every two rises: the first pulse of the next send comes d - g after the second of
        the last, which must be later than every window, for d as late as wanted.
        """
        demand, longest = self.demand, self.gaps[-1]
        after_send = floor((longest + demand.pulse) * (1 + demand.rate)) + 1
        if demand.receiver == "timer":
            return after_send
        last = self.windows[-1][1] + demand.jitter
        return max(after_send, floor(longest * (1 + demand.rate)) + last + 1)


def best_gaps(demand: GapDemand) -> tuple[GapTable | None, Proof]:
    """The best table where no two sends overlap; None if there is none.

    Raises UsageError for a window that not even one gap can have.
    """
    _check_window(demand)
    gaps: list[int] = []
    gap = demand.shortest
    while len(gaps) < demand.inputs:
        if gaps:
            gap = _next(demand, gaps[-1])
        if demand.longest is not None and gap > demand.longest:
            return None, _none(demand, gaps, f"the next could be no shorter than {gap} ticks")
        if not demand.covers(gap):
            why = f"from {gap} ticks on, arrivals leave the window that was given"
            return None, _none(demand, gaps, why)
        gaps.append(gap)
    reasons = (
        "each gap is the least whose arrivals begin after the window of the one before, and the "
        "k-th gap of any table is at least the k-th of this one (by induction), so the longest "
        "gap, the spacing and the sum are least all at once",
    )
    return GapTable(demand, tuple(gaps)), Proof("longest gap", gaps[-1], gaps[-1], reasons)


def _next(demand: GapDemand, gap: int) -> int:
    """The least gap whose window begins after that of ``gap``."""
    last = demand.accepted(gap)[1]
    if demand.window is not None:
        return demand.up(max(last + 1 + demand.window[0], gap + 1))
    least = ceil((last + 1 + demand.jitter) / (1 - demand.rate))
    return demand.up(max(least, gap + 1))


def _none(demand: GapDemand, gaps: list[int], why: str) -> Proof:
    reason = (
        f"no table has {demand.inputs} gaps: built up from the shortest, each the least that goes "
        f"with the one before, {len(gaps)} are all there are; {why}"
    )
    return Proof("longest gap", None, None, (reason,))


def _check_window(demand: GapDemand) -> None:
    if demand.window is None:
        return
    gap = demand.shortest
    low, high = demand.arrival(gap)
    before, after = gap - floor(low), ceil(high) - gap
    if not demand.covers(gap):
        raise UsageError(
            f"--window: found {demand.window[0]} before and {demand.window[1]} after; allowed: at "
            f"least {before} and {after} ticks: jitter and rate move the second rise that far"
        )
