"""Sums of unknown times, kept in one normal form: most comparisons are settled without a solver.

A solver's term hides that two times differ by a constant, or that one is surely the larger;
here both show at once. An *atom* is any term of the solver: an unknown, or a choice that
is still open. ``Bounds`` holds what is known of the atoms, and may get tighter in a run.
"""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction
from typing import Any, TypeAlias

import z3

from verify.units import whole

Known = (int, Fraction)
Exact: TypeAlias = int | Fraction


@dataclass(frozen=True)
class Interval:
    """From ``least`` to ``most``, None: without end; an open end does not belong to it."""

    least: Exact | None = None
    most: Exact | None = None
    least_open: bool = False
    most_open: bool = False


ANYTHING = Interval()


class Bounds:
    """What is known of each atom, by the name of its term."""

    def __init__(self) -> None:
        self.known: dict[int, Interval] = {}
        self._kept: list[Any] = []  # an identity must not be used again for another term

    def atom(self, term: Any, interval: Interval = ANYTHING) -> Linear:
        """An unknown, of which this much is known."""
        name = term.get_id()
        if name not in self.known:
            self.known[name] = interval
            self._kept.append(term)
        return Linear(self, {name: (term, 1)}, 0)

    def tighten(self, atom: Linear, interval: Interval) -> None:
        """From now on the atom lies in this interval."""
        (name,) = atom.terms
        self.known[name] = interval


class Linear:
    """``constant`` plus atoms, each so many times."""

    __slots__ = ("_term", "bounds", "constant", "terms")

    def __init__(self, bounds: Bounds, terms: dict[int, tuple[Any, Exact]], constant: Exact):
        self.bounds, self.terms, self.constant = bounds, terms, constant
        self._term: Any = None

    @property
    def term(self) -> Any:
        """The same for the solver."""
        if self._term is None:
            parts = [t if k == 1 else real(k) * t for t, k in self.terms.values()]
            if self.constant:
                parts.append(real(self.constant))
            self._term = z3.Sum(parts) if len(parts) > 1 else parts[0]
        return self._term

    def interval(self) -> Interval:
        """Every value lies in it."""
        least: Exact | None = self.constant
        most: Exact | None = self.constant
        least_open = most_open = False
        for name, (_, k) in self.terms.items():
            b = self.bounds.known[name]
            low, low_open, high, high_open = b.least, b.least_open, b.most, b.most_open
            if k < 0:
                low, low_open, high, high_open = high, high_open, low, low_open
            least = None if least is None or low is None else least + k * low
            most = None if most is None or high is None else most + k * high
            least_open, most_open = least_open or low_open, most_open or high_open
        return Interval(least, most, least_open, most_open)


Number: TypeAlias = Any  # int, Fraction, Linear, or a term of the solver


def term(value: Number) -> Any:
    """As the solver takes it; ints as they are."""
    if isinstance(value, Linear):
        return value.term
    return real(value) if isinstance(value, Fraction) else value


def real(value: Any) -> Any:
    """A term of the solver's reals."""
    if isinstance(value, Linear):
        return value.term
    if isinstance(value, Known):
        return z3.RealVal(str(Fraction(value)))
    if value.is_real():
        return value
    if z3.is_int_value(value):
        return z3.RealVal(value.as_long())
    if z3.is_app_of(value, z3.Z3_OP_ITE):
        c, a, b = value.children()
        return z3.If(c, real(a), real(b))
    return z3.ToReal(value)


def _normal(bounds: Bounds, terms: dict[int, tuple[Any, Exact]], constant: Exact) -> Number:
    terms = {name: entry for name, entry in terms.items() if entry[1] != 0}
    return Linear(bounds, terms, constant) if terms else whole(constant)


def plus(a: Number, b: Number, sign: int = 1) -> Number:
    """``a + sign * b``."""
    if isinstance(a, Known) and isinstance(b, Known):
        return a + sign * b
    if isinstance(b, Known) and b == 0:
        return a
    if isinstance(a, Known) and a == 0 and sign == 1:
        return b
    if not isinstance(a, Linear) and not isinstance(b, Linear):
        return a + b if sign == 1 else a - b
    bounds = a.bounds if isinstance(a, Linear) else b.bounds
    left, right = _linear(a, bounds), _linear(b, bounds)
    terms = dict(left.terms)
    for name, (t, k) in right.terms.items():
        before = terms[name][1] if name in terms else 0
        terms[name] = (t, before + sign * k)
    return _normal(bounds, terms, left.constant + sign * right.constant)


def minus(a: Number, b: Number) -> Number:
    """``a - b``."""
    return plus(a, b, -1)


def times(factor: Number, unit: Linear) -> Number:
    """A known number of units, or one that is the outcome of choices among known numbers."""
    if isinstance(factor, Known):
        return _normal(unit.bounds, {n: (t, k * factor) for n, (t, k) in unit.terms.items()}, 0)
    if z3.is_int_value(factor):
        return times(factor.as_long(), unit)
    if z3.is_rational_value(factor):
        return times(factor.as_fraction(), unit)
    c, a, b = factor.children()
    return if_else(c, times(a, unit), times(b, unit), unit.bounds)


def if_else(c: Any, a: Number, b: Number, bounds: Bounds) -> Linear:
    """A choice that is open, as an atom; it lies where its outcomes do."""
    x, y = (_linear(v, bounds).interval() for v in (a, b))
    least, least_open = _outer(x.least, x.least_open, y.least, y.least_open, lowest=True)
    most, most_open = _outer(x.most, x.most_open, y.most, y.most_open, lowest=False)
    hull = Interval(least, most, least_open, most_open)
    return bounds.atom(z3.If(c, real(a), real(b)), hull)


def _outer(
    x: Exact | None, x_open: bool, y: Exact | None, y_open: bool, *, lowest: bool
) -> tuple[Exact | None, bool]:
    if x is None or y is None:
        return None, False
    if x == y:
        return x, x_open and y_open
    return (x, x_open) if (x < y) == lowest else (y, y_open)


def _linear(value: Number, bounds: Bounds) -> Linear:
    if isinstance(value, Linear):
        return value
    if isinstance(value, Known):
        return Linear(bounds, {}, value)
    return bounds.atom(real(value))


def same(a: Number, b: Number) -> bool:
    """Surely the same number, by its form alone."""
    if isinstance(a, Linear) or isinstance(b, Linear):
        return isinstance(minus(a, b), Known) and minus(a, b) == 0
    if isinstance(a, Known) or isinstance(b, Known):
        return isinstance(a, Known) and isinstance(b, Known) and a == b
    return bool(a.eq(b))


def is_less(a: Number, b: Number) -> Any:
    """``a < b``, settled where the bounds settle it."""
    difference = minus(a, b)
    if isinstance(difference, Known):
        return difference < 0
    i = difference.interval()
    if i.most is not None and (i.most < 0 or (i.most == 0 and i.most_open)):
        return True
    if i.least is not None and i.least >= 0:
        return False
    return difference.term < 0


def is_equal(a: Number, b: Number) -> Any:
    """``a == b``, settled where the bounds settle it."""
    difference = minus(a, b)
    if isinstance(difference, Known):
        return difference == 0
    i = difference.interval()
    if i.most is not None and (i.most < 0 or (i.most == 0 and i.most_open)):
        return False
    if i.least is not None and (i.least > 0 or (i.least == 0 and i.least_open)):
        return False
    return difference.term == 0
