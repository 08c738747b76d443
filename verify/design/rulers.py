"""Gaps whose pulses, all sent together, are each two a different time apart: rulers.

The first pulse is mark 0 and the gaps are the other marks. No two differences are alike, so none
is taken for a gap (see ``chords``), and two shifted copies of all pulses meet in one at most.
With pulses short against the grid, these are Golomb rulers (Robinson 1979, IEEE Trans. Comput.
C-28:387; OEIS A003022).
"""

from __future__ import annotations

from dataclasses import dataclass, field
from functools import partial

from verify.design.chords import Rules
from verify.design.gaps import GapDemand, GapTable
from verify.design.proof import Effort, OutOfTimeError, Proof


@dataclass(frozen=True)
class Scale:
    """In steps of the grid: the least difference of marks, and of two differences."""

    least: int
    apart: int

    @staticmethod
    def of(demand: GapDemand) -> Scale:
        """Differences arrive with jitter and must stay out of each other's windows."""
        sides = Rules(demand).sides
        apart = demand.up(max(2 * demand.jitter + 1, *sides))
        least = demand.up(max(demand.shortest, apart))
        return Scale(least // demand.grid, apart // demand.grid)


def best_ruler(demand: GapDemand, effort: Effort) -> tuple[GapTable | None, Proof]:
    """The shortest ruler with a mark more than there are inputs; then of least sum of gaps.

    Shorter rulers come first: any marks in a row of a ruler are one, so their lengths bound
    what the rest needs.
    """
    grid, marks = demand.grid, demand.inputs + 1
    scale = Scale.of(demand)
    limit = None if demand.longest is None else demand.longest // grid
    search = _Rulers(scale, effort)
    pairs = marks * (marks - 1) // 2
    counted = scale.least + (pairs - 1) * scale.apart
    reasons = [f"{pairs} differences, all different, reach {counted * grid} at least"]
    settled, out_of_time = True, False
    found: tuple[int, ...] | None = None
    try:
        found = search.shortest(marks, limit)
    except OutOfTimeError:
        out_of_time = True
        reasons.append(f"stopped: {effort.progress.doing}")
    proved = search.refuted.get(marks, -1) + 1
    least = max(counted, proved, search.needs(marks))
    if found is None and not out_of_time:
        reasons.append(f"so none has gaps of up to {demand.longest} ticks")
        return None, Proof("longest gap", None, None, tuple(reasons))
    if found is not None and not out_of_time:
        reasons.append(
            f"no ruler of {marks} marks is shorter than {found[-1] * grid}: all were searched, "
            f"{search.choices} choices; a ruler read backwards is one too, so half were enough"
        )
        try:
            found = effort.search(
                f"rulers of {marks} marks and length {found[-1] * grid}, by their sum",
                partial(search.least_sum, marks, found),
                before=1,
            )
        except OutOfTimeError:
            settled = False
            reasons.append("stopped while searching for a ruler as short with less sum")
    if found is None and limit is None:
        found = search.greedy(marks)
    if found is None:
        return None, Proof("longest gap", None, least * grid, tuple(reasons))
    gaps = tuple(mark * grid for mark in found[1:])
    proof = Proof("longest gap", gaps[-1], least * grid, tuple(reasons), settled=settled)
    return GapTable(demand, gaps), proof


@dataclass
class _Rulers:
    """Marks are put from left to right; ``least[k]``: the length that k + 1 marks need."""

    scale: Scale
    effort: Effort
    least: list[int] = field(default_factory=lambda: [0])
    refuted: dict[int, int] = field(default_factory=dict)
    choices: int = 0

    def needs(self, marks: int) -> int:
        """Length that so many marks need at least, as far as is known."""
        known = len(self.least)
        return self.least[-1] + self.scale.least if known < marks else self.least[marks - 1]

    def shortest(self, marks: int, limit: int | None) -> tuple[int, ...] | None:
        """Raises OutOfTimeError, ``refuted`` then tells how far it got; None: over the limit."""
        found: tuple[int, ...] = (0,)
        while len(self.least) < marks:
            size = len(self.least) + 1
            length = self.least[-1] + self.scale.least
            while True:
                if limit is not None and size == marks and length > limit:
                    return None
                rulers = self.effort.search(
                    f"rulers of {size} marks and length {length}",
                    partial(self._of, size, length, half=True),
                    before=1,
                )
                if rulers is not None:
                    found = rulers
                    break
                self.refuted[size] = length
                length += 1
            self.least.append(length)
            self.choices += self.effort.progress.states
        return found

    def least_sum(self, marks: int, found: tuple[int, ...]) -> tuple[int, ...]:
        """As short as ``found``, with the least sum of marks."""
        self.effort.trail.best = self.effort.trail.best or found
        self._extend(marks, found[-1], (0,), 0, 0, 0, half=False, by_sum=True)
        return self.effort.trail.best

    def greedy(self, marks: int) -> tuple[int, ...]:
        """Every mark as early as it can be; not the best."""
        found = [0]
        differences: set[int] = set()
        at = self.scale.least
        while len(found) < marks:
            new = {at - mark for mark in found}
            near = any(abs(a - b) < self.scale.apart for a in new for b in differences)
            if min(new) >= self.scale.least and not near:
                differences |= new
                found.append(at)
            at += 1
        return tuple(found)

    def _of(self, marks: int, length: int, *, half: bool) -> tuple[int, ...] | None:
        return self._extend(marks, length, (0,), 0, 0, 0, half=half, by_sum=False)

    def _extend(
        self,
        marks: int,
        length: int,
        put: tuple[int, ...],
        near: int,
        differences: int,
        back: int,
        *,
        half: bool,
        by_sum: bool,
    ) -> tuple[int, ...] | None:
        """Numbers as bits: ``differences`` of marks; ``back``: from the last mark back to others;
        ``near``: steps from the last mark to places where a difference would be repeated.

        A repeated difference x - m = a - b is also x - a = m - b: taking the later of a and m,
        the other difference was there when that mark was put. So each mark adds to ``near`` the
        differences of that time.
        """
        if len(put) == marks:
            if by_sum and put[-1] == length:
                trail = self.effort.trail
                trail.best = min(trail.best or put, put, key=sum)
                return None
            return put
        self.effort.choice()
        rest = marks - len(put)
        most = length - put[-1] - self.least[rest - 1]
        middle = (marks - 1) // 2
        if half and len(put) <= middle:
            # Of a ruler and its mirror image, one has the middle mark in the first half.
            most = min(most, length // 2 - put[-1] - self.least[middle - len(put)])
        if most < 0:
            return None
        free = ~near & ((2 << most) - 1) & ~((1 << self.scale.least) - 1)
        if by_sum and rest == 1:
            free &= 1 << most
        depth, trail = len(put) - 1, self.effort.trail
        free &= -1 << trail.first(depth)
        while free:
            bit = free & -free
            free ^= bit
            step = bit.bit_length() - 1
            trail.at(depth, step)
            now = back << step | bit
            known = differences | now
            wide = known
            for k in range(1, self.scale.apart):
                wide |= known << k | known >> k
            found = self._extend(
                marks,
                length,
                (*put, put[-1] + step),
                near >> step | wide,
                known,
                now,
                half=half,
                by_sum=by_sum,
            )
            if found is not None:
                return found
        return None
