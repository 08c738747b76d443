"""Expressions of the modelling language: whole numbers and truth values.

An expression is a small immutable tree. Engines walk it; nothing here computes.
Comparisons for equality are the methods ``eq`` and ``ne``, so that ``==`` keeps
its Python meaning (two trees of the same shape are equal) and trees can be keys.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from verify.language.state import Bank, Number, Signal, Timer
    from verify.units import Ticks


class Int:
    """A whole-number expression."""

    def __add__(self, other: IntLike) -> Int:
        return Plus(self, integer(other))

    def __sub__(self, other: IntLike) -> Int:
        return Minus(self, integer(other))

    def __lt__(self, other: IntLike) -> Bool:
        return Less(self, integer(other))

    def __le__(self, other: IntLike) -> Bool:
        return Not(Less(integer(other), self))

    def __gt__(self, other: IntLike) -> Bool:
        return Less(integer(other), self)

    def __ge__(self, other: IntLike) -> Bool:
        return Not(Less(self, integer(other)))

    def eq(self, other: IntLike) -> Bool:
        """True when both sides are the same number."""
        return Equal(self, integer(other))

    def ne(self, other: IntLike) -> Bool:
        """True when the sides differ."""
        return Not(Equal(self, integer(other)))


class Bool:
    """A truth-value expression."""

    def __and__(self, other: Bool) -> Bool:
        return And(self, other)

    def __or__(self, other: Bool) -> Bool:
        return Or(self, other)

    def __invert__(self) -> Bool:
        return Not(self)


IntLike = Int | int


def integer(value: IntLike) -> Int:
    """Lift a Python int to an expression; expressions pass through."""
    return Constant(value) if isinstance(value, int) else value


@dataclass(frozen=True)
class Constant(Int):
    """A literal number. Whole in a system; on the way there a time may be part of a tick."""

    value: Ticks


@dataclass(frozen=True)
class Read(Int):
    """The present value of a number, mode or flag (a flag reads 0 or 1)."""

    number: Number


@dataclass(frozen=True)
class Left(Int):
    """Ticks until the timer runs out; 0 when it is off or runs out in this tick."""

    timer: Timer


@dataclass(frozen=True)
class Field(Int):
    """A field of the occurrence or bank entry bound to ``name`` by an enclosing statement."""

    name: str
    index: int


@dataclass(frozen=True)
class EntryLeft(Int):
    """Ticks until the bank entry bound to ``name`` runs out; 0 in the tick in which it does."""

    name: str


@dataclass(frozen=True)
class Plus(Int):
    """Sum."""

    a: Int
    b: Int


@dataclass(frozen=True)
class Minus(Int):
    """Difference."""

    a: Int
    b: Int


@dataclass(frozen=True)
class Times(Int):
    """``a`` times an unknown constant of the run; ``a`` is a literal or a ``Lookup``."""

    a: Int
    unit: Number


@dataclass(frozen=True)
class Lookup(Int):
    """``table[index]``; the index must lie inside the table. Its numbers: as for ``Constant``."""

    table: tuple[Ticks, ...]
    index: Int


@dataclass(frozen=True)
class Find(Int):
    """Number of the window ``(least, most)`` that holds ``value``, or -1.

    Windows are disjoint; both ends belong to the window.
    """

    windows: tuple[tuple[int, int], ...]
    value: Int


@dataclass(frozen=True)
class Size(Int):
    """How many entries of the bank are running (those that run out in this tick do not count)."""

    bank: Bank


@dataclass(frozen=True)
class Pick(Int):
    """A number that the world chooses anew at each use, ``least`` to ``most``."""

    name: str
    least: int
    most: int


@dataclass(frozen=True)
class Truth(Bool):
    """A literal truth value."""

    value: bool


@dataclass(frozen=True)
class Equal(Bool):
    """Both numbers are the same."""

    a: Int
    b: Int


@dataclass(frozen=True)
class Less(Bool):
    """``a < b``."""

    a: Int
    b: Int


@dataclass(frozen=True)
class And(Bool):
    """Both hold."""

    a: Bool
    b: Bool


@dataclass(frozen=True)
class Or(Bool):
    """At least one holds."""

    a: Bool
    b: Bool


@dataclass(frozen=True)
class Not(Bool):
    """The operand does not hold."""

    a: Bool


@dataclass(frozen=True)
class Happens(Bool):
    """The signal occurs in this tick. A trigger: see ``machine``."""

    signal: Signal


@dataclass(frozen=True)
class Expires(Bool):
    """The timer runs out in this tick. A trigger: see ``machine``."""

    timer: Timer


@dataclass(frozen=True)
class Exists(Bool):
    """Some entry of the bank, bound to ``name`` inside ``where``, satisfies it."""

    bank: Bank
    name: str
    where: Bool
