"""In which form the fields of bank entries are kept in packed states.

A field that only ever comes from tables is kept as the rank of its value among all that it may
have: four windows of millions of ticks take two bits. One that is always so many times a constant
of the run, the period of a clock that is off, is kept without that. Either form is ordered as the
values are.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from verify.language import expressions as ex
from verify.language.machine import System, walk
from verify.language.ranges import range_of
from verify.language.state import Bank, Number, Put, Set


@dataclass(frozen=True)
class Form:
    """``unit``: what the field is a multiple of. ``values``: all that it, or how many times the
    unit it is, may be, in order; None: many, and it is kept as it is."""

    unit: Number | None = None
    values: tuple[int, ...] | None = None

    def kept(self, value: ex.Int) -> ex.Int:
        """What is kept of a value that is put into an entry."""
        if self.unit is not None:
            found = _multiple(value)
            assert found is not None
            value = found[0]
        if self.values is None:
            return value
        rank = {v: k for k, v in enumerate(self.values)}
        if isinstance(value, ex.Lookup):
            return ex.Lookup(tuple(rank[int(v)] for v in value.table), value.index)
        assert isinstance(value, ex.Constant)
        return ex.Constant(rank[int(value.value)])


def forms(system: System) -> dict[tuple[Bank, int], Form]:
    """By bank and number of the field, of those that are put anywhere."""
    bodies = [*(offer.do for offer in system.offers), *(m.body for m in system.machines)]
    statements = [statement for body in bodies for statement in walk(body)]
    changed = {s.number for s in statements if isinstance(s, Set)}
    there = {item for machine in system.machines for item in machine.memory}
    puts: dict[tuple[Bank, int], list[ex.Int]] = {}
    for put in (statement for statement in statements if isinstance(statement, Put)):
        for k, value in enumerate(put.values):
            puts.setdefault((put.bank, k), []).append(value)
    found = {}
    for place, values in puts.items():
        unit = _unit(values)
        if unit is not None and (unit.least < 1 or unit in changed or unit not in there):
            unit = None
        plain = Form(unit)
        found[place] = Form(unit, _few(plain.kept(value) for value in values))
    return found


def _unit(values: Iterable[ex.Int]) -> Number | None:
    """The number that all are multiples of."""
    units = set()
    for value in values:
        found = _multiple(value)
        if found is None:
            return None
        units.add(found[1])
    several = units - {None}
    return several.pop() if len(several) == 1 else None


def _multiple(e: ex.Int) -> tuple[ex.Int, Number | None] | None:
    """How many times which number (None: nothing of any); None if it is not of that form."""
    if range_of(e, {}) == (0, 0):
        return ex.Constant(0), None
    match e:
        case ex.Times(many, unit):
            return many, unit
        case ex.Plus(a, b):
            x, y = _multiple(a), _multiple(b)
            if x is not None and y is not None and None in (x[1], y[1]):
                return x if y[1] is None else y
    return None


def _few(values: Iterable[ex.Int]) -> tuple[int, ...] | None:
    """All that these may be, in order, if ranks take fewer bits."""
    every: set[int] = set()
    for value in values:
        match value:
            case ex.Constant(one):
                table = (one,)
            case ex.Lookup(table, _):
                pass
            case _:
                return None
        if any(v != int(v) for v in table):
            return None
        every.update(int(v) for v in table)
    ranked = tuple(sorted(every))
    fewer = (len(ranked) - 1).bit_length() < (ranked[-1] - ranked[0]).bit_length()
    return ranked if fewer else None


__all__ = ["Form", "forms"]
