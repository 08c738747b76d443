"""Numbers that depend on two unknowns, and the regions of the plane in which a run goes one way.

A step of a machine asks of two numbers only which is the larger. Where these are linear in two
unknowns (an error of a clock, and where in its period it is at first) the plane falls into
convex regions in each of which all such questions have one answer: a step is taken once per
region. Exact: corners are fractions, and edges and corners of regions are regions themselves.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from fractions import Fraction
from math import gcd
from typing import Any, TypeAlias, TypeVar

Corner: TypeAlias = tuple[int, int, int]
"""A point of the plane: x and y times a weight above 0, and the weight."""

T = TypeVar("T")


@dataclass(frozen=True)
class Region:
    """The inside of a convex polygon, corners in order; of a segment; or a point: three or more
    corners, two, or one."""

    corners: tuple[Corner, ...]

    def signs(self, form: tuple[int, int, int]) -> tuple[bool, bool]:
        """Whether ``c + a*x + b*y``, given as (c, a, b), is below and above 0 at some corner."""
        c, a, b = form
        below = above = False
        for x, y, weight in self.corners:
            value = c * weight + a * x + b * y
            below, above = below or value < 0, above or value > 0
        return below, above

    def cut(self, form: tuple[int, int, int]) -> tuple[Region, Region, Region]:
        """The parts below, at and above 0 of a form that has both signs here."""
        c, a, b = form
        values = [c * weight + a * x + b * y for x, y, weight in self.corners]
        below: list[Corner] = []
        at: list[Corner] = []
        above: list[Corner] = []
        count = len(values)
        for k, (here, value) in enumerate(zip(self.corners, values, strict=True)):
            if value <= 0:
                below.append(here)
            if value >= 0:
                above.append(here)
            if value == 0:
                at.append(here)
            n = (k + 1) % count
            if value * values[n] < 0 and (count > 2 or k == 0):
                between = _between(here, abs(values[n]), self.corners[n], abs(value))
                for part in (below, at, above):
                    part.append(between)
        return Region(tuple(below)), Region(tuple(at)), Region(tuple(above))

    @property
    def xs(self) -> tuple[Fraction, Fraction]:
        """Between which x it lies; at just these only if it is a point, or upright."""
        xs = [Fraction(x, weight) for x, _, weight in self.corners]
        return min(xs), max(xs)

    def at(self, x: Fraction) -> Fraction:
        """Some y of it at an x that it has."""
        form = (-x.numerator, x.denominator, 0)
        here = self
        if True in self.signs(form):
            here = self.cut(form)[1]
        ys = [Fraction(y, weight) for _, y, weight in here.corners]
        return (min(ys) + max(ys)) / 2


def _between(one: Corner, much: int, other: Corner, more: int) -> Corner:
    x, y, weight = (a * much + b * more for a, b in zip(one, other, strict=True))
    common = gcd(x, y, weight)
    return x // common, y // common, weight // common


class Plane:
    """Where a step is just taken. Questions that the region has two answers to split it."""

    def __init__(self) -> None:
        self.region = Region(())
        self.others: list[Region] = []

    def number(self, c: int, a: int, b: int) -> Any:
        """``c + a*x + b*y``; a plain number where it is one."""
        return Linear(self, c, a, b) if a or b else c

    def sign(self, form: tuple[int, int, int]) -> int:
        """Of a form in the region: -1, 0 or 1. If it has several, the region becomes smaller."""
        below, above = self.region.signs(form)
        if below and above:
            self.region, *rest = self.region.cut(form)
            self.others += rest
            return -1
        return above - below

    def between(self, region: Region, value: Any) -> tuple[Fraction, Fraction]:
        """Between which numbers one lies in a region; it need not come to them."""
        self.region = region
        return value.bounds() if isinstance(value, Linear) else (Fraction(value), Fraction(value))

    def each(self, region: Region, step: Callable[[], T]) -> Iterator[tuple[Region, T]]:
        """A step in all of a region: what comes of it, part by part."""
        waiting = [region]
        while waiting:
            self.region, self.others = waiting.pop(), []
            done = step()
            waiting += self.others
            yield self.region, done


class Linear:
    """``c + a*x + b*y``, for arithmetic and comparison with whole numbers and others of it."""

    __slots__ = ("form", "plane")

    def __init__(self, plane: Plane, c: int, a: int, b: int) -> None:
        self.plane, self.form = plane, (c, a, b)

    def __repr__(self) -> str:
        c, a, b = self.form
        return f"({c}{a:+}x{b:+}y)"

    def _with(self, other: Any, factor: int) -> tuple[int, int, int]:
        c, a, b = self.form
        if isinstance(other, Linear):
            d, e, f = other.form
            return c + factor * d, a + factor * e, b + factor * f
        return c + factor * other, a, b

    def __add__(self, other: Any) -> Any:
        return self.plane.number(*self._with(other, 1))

    __radd__ = __add__

    def __sub__(self, other: Any) -> Any:
        return self.plane.number(*self._with(other, -1))

    def __neg__(self) -> Any:
        return self * -1

    def __rsub__(self, other: Any) -> Any:
        return -(self - other)

    def __mul__(self, factor: int) -> Any:
        c, a, b = self.form
        return self.plane.number(factor * c, factor * a, factor * b)

    __rmul__ = __mul__

    def _against(self, other: Any) -> int:
        c, a, b = self._with(other, -1)
        return self.plane.sign((c, a, b)) if a or b else (c > 0) - (c < 0)

    def bounds(self) -> tuple[Fraction, Fraction]:
        """Between which numbers it lies in the region."""
        c, a, b = self.form
        corners = self.plane.region.corners
        values = [c + Fraction(a * x + b * y, weight) for x, y, weight in corners]
        return min(values), max(values)

    def __lt__(self, other: Any) -> bool:
        return self._against(other) < 0

    def __le__(self, other: Any) -> bool:
        return self._against(other) <= 0

    def __gt__(self, other: Any) -> bool:
        return self._against(other) > 0

    def __ge__(self, other: Any) -> bool:
        return self._against(other) >= 0

    def __eq__(self, other: object) -> bool:
        return isinstance(other, int | Linear) and self._against(other) == 0

    def __bool__(self) -> bool:
        return self._against(0) != 0

    def __hash__(self) -> int:
        return hash(self.form)


def lies_in(span: tuple[Fraction, Fraction], x: Fraction) -> bool:
    """Of the ``xs`` of a region: between two, these left out; or the single one."""
    return span[0] < x < span[1] or span[0] == x == span[1]


def written(value: Any) -> Any:
    """A state or part of one with forms in place of numbers, to be told from others as it is
    written and not by what it comes to."""
    if isinstance(value, Linear):
        return ("linear", *value.form)
    if isinstance(value, tuple):
        return tuple(map(written, value))
    return value


def inside(left: int, right: int, height: int) -> list[Region]:
    """All with x beyond ``left`` up to ``right``, and y from 0 on to below ``height``, or 0."""
    low, high = (left, 0, 1), (left, height, 1)
    end, top = (right, 0, 1), (right, height, 1)
    if not height:
        return [Region((low, end)), Region((end,))]
    return [
        Region((low, end, top, high)),
        Region((low, end)),
        Region((end, top)),
        Region((end,)),
    ]


def box(xs: tuple[int, int], ys: tuple[int, int]) -> list[Region]:
    """All with x and y in these ranges, ends included."""
    found = [Region(tuple((x, y, 1) for x, y in corners)) for corners in _box(xs, ys)]
    return list(dict.fromkeys(found))


def _box(xs: tuple[int, int], ys: tuple[int, int]) -> Iterator[list[tuple[int, int]]]:
    (left, right), (low, high) = xs, ys
    around = [(left, low), (right, low), (right, high), (left, high)]
    yield list(dict.fromkeys(around))
    for one, other in zip(around, [*around[1:], around[0]], strict=True):
        yield sorted({one, other})
        yield [one]


__all__ = ["Corner", "Linear", "Plane", "Region", "box", "inside", "lies_in", "written"]
