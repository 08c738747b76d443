"""The least or largest value of a term under conditions, exact, and whether it is reached."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction
from typing import Any

import z3

from verify.engines.answer import Budget
from verify.engines.linear import Exact
from verify.units import whole


@dataclass(frozen=True)
class Optimum:
    """``value``: the bound of what the term may be; ``reached``: it may be just that.

    ``model``: one that reaches it, or one near it.
    """

    value: Exact
    reached: bool
    model: z3.ModelRef


def optimum(given: Sequence[Any], wanted: Any, budget: Budget, *, least: bool) -> Optimum | None:
    """None if the conditions cannot hold together, there is no bound, or the solver gives up."""
    search = z3.Optimize()
    search.add(*(c for c in given if c is not True))
    if (seconds := budget.left()) is not None:
        search.set("timeout", int(seconds * 1000) + 1)
    handle = search.minimize(wanted) if least else search.maximize(wanted)
    if search.check() != z3.sat:
        return None
    bound = search.lower_values(handle) if least else search.upper_values(handle)
    endless, value, beyond = (_number(x) for x in bound)
    if endless:
        return None
    return Optimum(whole(value), beyond == 0, search.model())


def _number(term: Any) -> Fraction:
    if z3.is_int_value(term):
        return Fraction(term.as_long())
    return Fraction(term.numerator_as_long(), term.denominator_as_long())
