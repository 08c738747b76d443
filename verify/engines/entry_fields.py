"""Bank entries' fields that only ever come from tables: few values, however large.

In packed states they are kept as the rank of their value among all that they may have, which is
ordered as the values are: four windows of millions of ticks take two bits.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from verify.language import expressions as ex
from verify.language.machine import System, walk
from verify.language.state import Bank, Put


def fields_from_tables(system: System) -> dict[tuple[Bank, int], tuple[int, ...]]:
    """By bank and number of the field all values, in order, where ranks take fewer bits."""
    bodies = [*(offer.do for offer in system.offers), *(m.body for m in system.machines)]
    puts: dict[tuple[Bank, int], list[ex.Int]] = {}
    for body in bodies:
        for put in (statement for statement in walk(body) if isinstance(statement, Put)):
            for k, value in enumerate(put.values):
                puts.setdefault((put.bank, k), []).append(value)
    found = ((place, _all_of(values)) for place, values in puts.items())
    return {place: ranked for place, ranked in found if ranked is not None}


def _all_of(values: Iterable[ex.Int]) -> tuple[int, ...] | None:
    every: set[int] = set()
    for value in values:
        match value:
            case ex.Constant(one):
                every.add(int(one))
            case ex.Lookup(table, _):
                every.update(map(int, table))
            case _:
                return None
    ranked = tuple(sorted(every))
    fewer = (len(ranked) - 1).bit_length() < (ranked[-1] - ranked[0]).bit_length()
    return ranked if fewer else None


def rank_of(value: ex.Int, values: Sequence[int]) -> ex.Int:
    """The rank of what is put, among ``values``."""
    rank = {v: k for k, v in enumerate(values)}
    if isinstance(value, ex.Lookup):
        return ex.Lookup(tuple(rank[int(v)] for v in value.table), value.index)
    assert isinstance(value, ex.Constant)
    return ex.Constant(rank[int(value.value)])


__all__ = ["fields_from_tables", "rank_of"]
