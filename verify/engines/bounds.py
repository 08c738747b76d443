"""Difference bounds: what is known of unknown times, as the most that any two may differ.

A set of whole-number times x_1 ... x_n is kept as a matrix: entry (i, j) is the largest
value that x_i - x_j may have, x_0 being the present (0). Closed under shortest paths, every
entry is the tightest that follows from all. After Dill 1989, "Timing assumptions and
verification of finite-state concurrent systems".
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from math import inf

from verify.errors import FewwireError

# Whole numbers, or inf: nothing is known.
Row = tuple[float, ...]
Matrix = tuple[Row, ...]

PRESENT = 0


class TimesError(FewwireError):
    """An expression of times that differences of two cannot say; the search gives up on it."""


class Bounds:
    """A closed matrix that grows tighter. Never empty: ``tighten`` says so beforehand."""

    def __init__(self, matrix: Iterable[Sequence[float]] = ((0,),)) -> None:
        self.rows: list[list[float]] = [list(row) for row in matrix]

    def matrix(self) -> Matrix:
        """As immutable rows."""
        return tuple(map(tuple, self.rows))

    def tighten(self, i: int, j: int, most: float) -> bool:
        """From now on x_i - x_j is at most ``most``; False if it cannot be."""
        rows = self.rows
        if most >= rows[i][j]:
            return True
        if most + rows[j][i] < 0:
            return False
        from_j = rows[j]
        for row in rows:
            through = row[i] + most
            if through == inf:
                continue
            for b, more in enumerate(from_j):
                if through + more < row[b]:
                    row[b] = through + more
        return True

    def add(self, base: int, least: float, most: float) -> int:
        """A new time, later than x_base by ``least`` to ``most``; its number."""
        rows = self.rows
        to_base, from_base = [row[base] for row in rows], rows[base]
        own = [most + more for more in from_base]
        for row, to in zip(rows, to_base, strict=True):
            row.append(to - least)
        own.append(0)
        rows.append(own)
        return len(rows) - 1

    def select(self, times: Sequence[tuple[int, int]]) -> Matrix:
        """The same for other times, each some x_i plus a constant; the present comes first."""
        chosen = [(PRESENT, 0), *times]
        return tuple(
            tuple(self.rows[i][j] + a - b if p != q else 0 for q, (j, b) in enumerate(chosen))
            for p, (i, a) in enumerate(chosen)
        )


class Decisions:
    """Answers to questions that bounds leave open: planned ones first, then always yes."""

    def __init__(self, planned: Sequence[bool]) -> None:
        self.planned = planned
        self.made: list[bool] = []

    def next(self) -> bool:
        """Yes or no, to the next open question."""
        k = len(self.made)
        answer = self.planned[k] if k < len(self.planned) else True
        self.made.append(answer)
        return answer

    def others(self) -> list[bool] | None:
        """The plan for the next way that was not taken; None when all were."""
        made = self.made
        while made and not made[-1]:
            made.pop()
        if not made:
            return None
        return [*made[:-1], False]


class World:
    """The times of one tick, and the decisions made on them. ``now``: the number of the present."""

    def __init__(self, bounds: Bounds, decisions: Decisions, now: int = PRESENT) -> None:
        self.bounds, self.decisions, self.now = bounds, decisions, now

    def at_most(self, i: int, j: int, most: int) -> bool:
        """x_i - x_j is at most ``most``: known, or decided and known from then on."""
        rows = self.bounds.rows
        if rows[i][j] <= most:
            return True
        if -rows[j][i] > most:
            return False
        if self.decisions.next():
            self.bounds.tighten(i, j, most)
            return True
        self.bounds.tighten(j, i, -most - 1)
        return False

    def span(self, i: int) -> Span:
        """Ticks from now to x_i."""
        return Span(self, i, self.now, 0)

    def pick(self, least: int, most: int) -> Span:
        """A new number that nobody knows."""
        return self.span(self.bounds.add(self.now, least, most))

    def sum(self, a: Span, b: Span) -> Span:
        """Of more than two times. Raises TimesError: no difference of two says what it is."""
        raise TimesError("a sum of several times")


class Span:
    """x_i - x_j + more, in ticks: stands in for a whole number where one is unknown.

    Comparing it decides. Raises TimesError for sums of more than two times.
    """

    __hash__ = None  # type: ignore[assignment]
    __slots__ = ("i", "j", "more", "world")

    def __init__(self, world: World, i: int, j: int, more: int) -> None:
        self.world, self.i, self.j, self.more = world, i, j, more

    def bounds(self) -> tuple[float, float]:
        """Least and most that it can be."""
        rows = self.world.bounds.rows
        return -rows[self.j][self.i] + self.more, rows[self.i][self.j] + self.more

    def after_now(self) -> tuple[int, int]:
        """As one time plus a constant. Raises TimesError if it is not counted from now."""
        if self.j != self.world.now:
            raise TimesError("a length that depends on two times")
        return self.i, self.more

    def _at_most(self, most: int) -> bool:
        return self.world.at_most(self.i, self.j, most - self.more)

    def __neg__(self) -> Span:
        return Span(self.world, self.j, self.i, -self.more)

    def __add__(self, other: Span | int) -> Span | int:
        if isinstance(other, int):
            return Span(self.world, self.i, self.j, self.more + other)
        more = self.more + other.more
        if self.i == other.j:
            return _span(self.world, other.i, self.j, more)
        if self.j == other.i:
            return _span(self.world, self.i, other.j, more)
        now = self.world.now
        for a, b in ((self, other), (other, self)):
            if a.i == now == a.j:
                return _span(self.world, b.i, b.j, more)
        # From now to one, and from the other to now.
        if self.j == now and other.i == now:
            return _span(self.world, self.i, other.j, more)
        if other.j == now and self.i == now:
            return _span(self.world, other.i, self.j, more)
        return self.world.sum(self, other)

    __radd__ = __add__

    def __sub__(self, other: Span | int) -> Span | int:
        return self + (-other)

    def __rsub__(self, other: int) -> Span | int:
        return (-self) + other

    def __lt__(self, other: Span | int) -> bool:
        return _less(self, other)

    def __gt__(self, other: Span | int) -> bool:
        return _less(other, self)

    def __le__(self, other: Span | int) -> bool:
        return not _less(other, self)

    def __ge__(self, other: Span | int) -> bool:
        return not _less(self, other)

    def __eq__(self, other: object) -> bool:
        if not isinstance(other, (Span, int)):
            return NotImplemented
        return not _less(other, self) and not _less(self, other)

    def __index__(self) -> int:
        """Its value, decided number by number. Raises TimesError if nothing bounds it."""
        least, most = self.bounds()
        if most == inf or least == -inf:
            raise TimesError("a time without bounds as a number")
        while not self._at_most(int(least)):
            least += 1
        return int(least)


def _span(world: World, i: int, j: int, more: int) -> Span | int:
    return more if i == j else Span(world, i, j, more)


def _less(a: Span | int, b: Span | int) -> bool:
    difference = a - b
    if isinstance(difference, int):
        return difference < 0
    return difference._at_most(-1)
