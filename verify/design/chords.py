"""Gaps for presses that may come together: any inputs in the same tick, then none until the
link is at rest.

A chord of inputs sends one common first pulse and a second pulse per input. What taps make of it:
the times between two second pulses may look like gaps. So a table carries chords if and only if

* second pulses are a pulse and a low tick apart, else two melt into one, and one is lost; and
* no difference of two gaps, give or take the jitter, lies in the window of a gap, else the chord
  of these two strikes that output too.

Two inputs show every fault there is: chords of more inputs have no other pairs of pulses.

A timer carries no chord: of two inputs together it gets three rises at most, and every strike
takes two rises that no other strike can use. Nor does any table carry presses at any distance on
a line that a busy transmitter overlays. With gap a and pulse p, a press a - 1 ticks after
another melts its first pulse into the other's second, which is then early by one; between a
and a + p ticks a timer gets three rises again, and taps the wrong time or, where the window
forgives it, a ghost at a later distance: any two gaps a, c strike c when a press comes
a + c ticks after that of a, for its first pulse is c after the second of a.
"""

from __future__ import annotations

from dataclasses import dataclass

from verify.design.gaps import GapDemand, GapTable
from verify.design.proof import Effort, OutOfTimeError, Proof


@dataclass(frozen=True)
class Rules:
    """What a demand means for chords, ticks. ``sides``: how far a difference of gaps must stay
    below and above a gap. ``apart``: least difference of two gaps.
    """

    demand: GapDemand

    @property
    def sides(self) -> tuple[int, int]:
        """A difference d arrives as d - J to d + J and must miss the window."""
        jitter = self.demand.jitter
        before, after = self.demand.window or (jitter, jitter)
        return before + jitter + 1, after + jitter + 1

    @property
    def apart(self) -> int:
        """No merging, and windows disjoint."""
        jitter = self.demand.jitter
        before, after = self.demand.window or (jitter, jitter)
        return self.demand.up(max(self.demand.pulse + 1, before + after + 1))

    def near(self, gap: int) -> int:
        """Differences, a bit each, that could be taken for the gap."""
        below, above = self.sides
        return ((1 << (below + above - 1)) - 1) << gap >> (below - 1)

    def carries_chords(self, gaps: tuple[int, ...]) -> bool:
        """The condition above, for any gaps that are disjoint by themselves."""
        near = 0
        for gap in gaps:
            near |= self.near(gap)
        differences = [abs(a - b) for i, a in enumerate(gaps) for b in gaps[:i]]
        return all(d > self.demand.pulse and not near >> d & 1 for d in differences)

    @property
    def bound(self) -> int:
        """No table has a shorter longest gap.

        Let G be it. The other N - 1 gaps s have differences G - s, which no gap may be near: all
        2N - 1 numbers differ, by at least the least of what two gaps, or a gap and a difference,
        must be apart. The least of them is a gap or a difference of gaps.
        """
        step = min(self.apart, *self.sides)
        first = min(self.demand.shortest, self.apart)
        plain = self.demand.shortest + (self.demand.inputs - 1) * self.apart
        return self.demand.up(max(plain, first + (2 * self.demand.inputs - 2) * step))


def best_chords(demand: GapDemand, effort: Effort) -> tuple[GapTable | None, Proof]:
    """The table of least longest gap that carries chords; then of least sum."""
    rules = Rules(demand)
    if demand.receiver == "timer":
        return None, Proof("longest gap", None, None, (_TIMER,))
    made = _pattern(rules)
    longest = rules.bound
    reasons = [f"the differences to the longest gap need room too, so it is at least {longest}"]
    settled, searching = True, True
    limit = made[-1] if demand.longest is None else min(made[-1], demand.longest)
    found: tuple[int, ...] | None = None
    try:
        while longest <= limit:
            fill = _Fill(rules, longest, effort)
            try:
                found = effort.search(f"tables whose longest gap is {longest}", fill.best)
            except OutOfTimeError:
                found = fill.found
                settled = False
                raise
            if found is not None:
                break
            reasons.append(
                f"no table with longest gap {longest}: all were searched, "
                f"{effort.progress.states} choices"
            )
            longest += demand.grid
        searching = False
    except OutOfTimeError:
        reasons.append(
            f"stopped while searching among tables with longest gap {longest}"
            + (" for one of less sum" if found else "")
        )
    if found is None and made[-1] <= limit and searching:
        found = made
    if found is None:
        bound = longest if searching else None
        if bound is None:
            reasons.append(f"so none has gaps of up to {limit} ticks")
        return None, Proof("longest gap", None, bound, tuple(reasons))
    proof = Proof("longest gap", found[-1], longest, tuple(reasons), settled=settled)
    return GapTable(demand, found), proof


_TIMER = (
    "a timer carries no two presses in one tick, whatever the table: the line rises three times "
    "at most, and every strike takes two rises that no other strike can use"
)


def _pattern(rules: Rules) -> tuple[int, ...]:
    """Steps of m from a first gap that lies between the multiples of m, which the differences are;
    or gaps in the upper half, above all their differences. The shorter of the two."""
    demand, (below, above) = rules.demand, rules.sides
    step = demand.up(max(rules.apart, below + above))
    places = range(demand.shortest, demand.shortest + 2 * step * demand.grid, demand.grid)
    between = (g for g in places if g % step >= above and step - g % step >= below)
    first = next(between, None)
    halves = demand.up(max(demand.shortest, (demand.inputs - 1) * rules.apart + below))
    upper = tuple(halves + k * rules.apart for k in range(demand.inputs))
    if first is None:
        return upper
    return min(tuple(first + k * step for k in range(demand.inputs)), upper, key=max)


class _Fill:
    """All tables of one longest gap, the other gaps ascending; keeps the one of least sum."""

    def __init__(self, rules: Rules, longest: int, effort: Effort) -> None:
        self.rules, self.longest, self.effort = rules, longest, effort
        self.found: tuple[int, ...] | None = None

    def best(self) -> tuple[int, ...] | None:
        """Raises OutOfTimeError; ``found`` is then the best so far."""
        demand = self.rules.demand
        if demand.inputs == 1:
            return (self.longest,)
        self.found = self.effort.trail.best
        last = self.longest - self.rules.apart
        places = range(demand.shortest, last + 1, demand.grid)
        near = self.rules.near(self.longest)
        self._extend(
            (self.longest,), near, 0, [g for g in places if self._fits(g, (self.longest,), near, 0)]
        )
        return self.found

    def _extend(
        self, gaps: tuple[int, ...], near: int, differences: int, places: list[int]
    ) -> None:
        need = self.rules.demand.inputs - len(gaps)
        if need == 0:
            self.found = self.effort.trail.best = tuple(sorted(gaps))
            return
        depth, trail = len(gaps) - 1, self.effort.trail
        first = trail.first(depth)
        for at, gap in enumerate(places[first:], first):
            rest = places[at:]
            # On the way to where it was cut a search was not yet stopped by what it found later.
            if not trail.retraced:
                least = self._least_sum(rest, need)
                if least is None or (self.found and sum(gaps) + least >= sum(self.found)):
                    return
            trail.at(depth, at)
            self.effort.choice()
            now, wide = (*gaps, gap), near | self.rules.near(gap)
            apart = differences
            for other in gaps:
                apart |= 1 << abs(gap - other)
            self._extend(now, wide, apart, [g for g in rest[1:] if self._fits(g, now, wide, apart)])

    def _fits(self, gap: int, gaps: tuple[int, ...], near: int, differences: int) -> bool:
        own = self.rules.near(gap)
        if differences & own:
            return False
        taken, apart = near | own, self.rules.apart
        return all((d := abs(gap - g)) >= apart and not taken >> d & 1 for g in gaps)

    def _least_sum(self, places: list[int], need: int) -> int | None:
        """Of so many places far enough apart; None if there are not so many."""
        total, next_ = 0, 0
        for place in places:
            if place >= next_:
                total, need, next_ = total + place, need - 1, place + self.rules.apart
                if need == 0:
                    return total
        return None
