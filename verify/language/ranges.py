"""Between which numbers an expression lies, and what a guard that holds says about that."""

from __future__ import annotations

from collections.abc import Mapping
from math import inf
from typing import TypeAlias

from verify.language import expressions as ex

Range: TypeAlias = tuple[float, float]
"""Least and most; infinite where there is no bound."""

Ranges: TypeAlias = Mapping[ex.Int, Range]
"""What is known of expressions besides what they are made of."""


def range_of(e: ex.Int, known: Ranges) -> Range:
    """Between which numbers ``e`` lies, bounds of fields and guards being ``known``."""
    least, most = _made_of(e, known)
    if e in known:
        least, most = max(least, known[e][0]), min(most, known[e][1])
    return least, most


def _made_of(e: ex.Int, known: Ranges) -> Range:
    match e:
        case ex.Constant(value):
            return float(value), float(value)
        case ex.Read(number):
            return number.least, number.most
        case ex.Left(timer):
            return 0, timer.most
        case ex.EntryLeft() | ex.Size():
            return 0, inf
        case ex.Plus(a, b):
            (a0, a1), (b0, b1) = range_of(a, known), range_of(b, known)
            return a0 + b0, a1 + b1
        case ex.Minus(a, b):
            (a0, a1), (b0, b1) = range_of(a, known), range_of(b, known)
            return a0 - b1, a1 - b0
        case ex.Times(a, unit):
            (a0, a1), ends = range_of(a, known), (unit.least, unit.most)
            products = [x * y for x in (a0, a1) for y in ends]
            return min(products), max(products)
        case ex.Lookup(table, index):
            low, high = range_of(index, known)
            first = max(0, int(low)) if low > -inf else 0
            last = min(len(table) - 1, int(high)) if high < inf else len(table) - 1
            entries = table[first : last + 1] or table
            return float(min(entries)), float(max(entries))
        case ex.Find(windows, value):
            low, high = range_of(value, known)
            hit = [k for k, (a, b) in enumerate(windows) if a <= high and b >= low]
            return -1, max(hit, default=-1)
        case ex.Pick(_, least, most):
            return least, most
    return -inf, inf


def narrowed(known: Ranges, guard: ex.Bool, holds: bool = True) -> Ranges:
    """What is known where a guard holds, or does not."""
    match guard:
        case ex.And(a, b) if holds:
            return narrowed(narrowed(known, a), b)
        case ex.Or(a, b) if not holds:
            return narrowed(narrowed(known, a, False), b, False)
        case ex.Not(a):
            return narrowed(known, a, not holds)
        case ex.Equal(a, b) if holds:
            return _within(_within(known, a, range_of(b, known)), b, range_of(a, known))
        case ex.Equal(a, b):
            return _without(_without(known, a, range_of(b, known)), b, range_of(a, known))
        case ex.Less(a, b) if holds:
            known = _within(known, a, (-inf, range_of(b, known)[1] - 1))
            return _within(known, b, (range_of(a, known)[0] + 1, inf))
        case ex.Less(a, b):
            known = _within(known, a, (range_of(b, known)[0], inf))
            return _within(known, b, (-inf, range_of(a, known)[1]))
    return known


def _within(known: Ranges, e: ex.Int, bounds: Range) -> Ranges:
    if isinstance(e, ex.Constant):
        return known
    least, most = range_of(e, known)
    return {**known, e: (max(least, bounds[0]), min(most, bounds[1]))}


def _without(known: Ranges, e: ex.Int, other: Range) -> Ranges:
    """``e`` is not the one number ``other``: that matters at an end of its range."""
    least, most = range_of(e, known)
    if other[0] != other[1] or other[0] not in (least, most):
        return known
    return _within(known, e, (least + (other[0] == least), most - (other[0] == most)))
