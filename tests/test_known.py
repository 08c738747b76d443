"""What is known of real numbers, held against a solver that is asked everything anew."""

from __future__ import annotations

from collections.abc import Iterable
from fractions import Fraction
from typing import Any

import z3
from hypothesis import assume, event, given
from hypothesis import strategies as st

from verify.recheck.known import Reals, Stack
from verify.recheck.linear import Claim, Op, Sum, made, opposite

NAMES = ("x", "y", "z")
OPS: tuple[Op, ...] = ("<=", "<", "=")
ops = st.sampled_from(OPS)
constants = st.integers(-6, 6)
factors = st.integers(-2, 2) | st.sampled_from([Fraction(1, 2), Fraction(-3, 2)])
sums = st.builds(
    lambda constant, parts: made(constant, dict(zip(NAMES, parts, strict=True))),
    constants,
    st.tuples(factors, factors, factors).filter(any),
)
claims = st.builds(Claim, ops, sums)


def term(claim: Claim) -> Any:
    total = z3.RealVal(claim.sum.constant)
    for name, factor in claim.sum.parts:
        total += z3.RealVal(factor) * z3.Real(name)
    return {"<=": total <= 0, "<": total < 0, "=": total == 0}[claim.op]


def possible(all_of: Iterable[Claim]) -> bool:
    solver = z3.Solver()
    solver.add(*map(term, all_of))
    return bool(solver.check() == z3.sat)


def alike(total: Sum) -> st.SearchStrategy[list[Claim]]:
    """Many claims on one sum, so that its range is looked for."""

    def claim(op: Op, constant: int, times: int) -> Claim:
        return Claim(op, Sum(constant, tuple((name, f * times) for name, f in total.parts)))

    times = st.sampled_from([1, -1, 2])
    return st.lists(st.builds(claim, ops, constants, times), min_size=4, max_size=10)


@given(st.lists(claims, max_size=5), st.lists(st.booleans(), max_size=10), sums.flatmap(alike))
def test_what_is_told_is_what_a_solver_says(
    begin: list[Claim], taken: list[bool], asked: list[Claim]
) -> None:
    assume(possible(begin))
    known, all_given = Reals(begin), list(begin)
    for claim, take in zip(asked, [*taken, *[False] * len(asked)], strict=False):
        told = known.says(claim)
        event(f"{claim.op}: {told}, {'ranges' if known.ranges else 'no range'}")
        may = possible([*all_given, claim])
        assert may is (told is not False)
        if claim.op != "=":
            assert possible([*all_given, opposite(claim)]) is (told is not True)
        if take and may:
            known = known.given(claim)
            all_given.append(claim)


@given(st.lists(st.lists(claims, max_size=5), max_size=6))
def test_one_solver_asked_in_turn_is_a_new_one_each_time(questions: list[list[Claim]]) -> None:
    stack = Stack()
    for asked in questions:
        point = stack.point(asked)
        assert (point is not None) is possible(asked)
        if point is not None:
            values = [z3.Real(name) == z3.RealVal(value) for name, value in point.items()]
            solver = z3.Solver()
            solver.add(*map(term, asked), *values)
            assert solver.check() == z3.sat
