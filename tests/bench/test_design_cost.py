"""The cost of best tables and of their proofs, against smaller ones."""

from __future__ import annotations

from collections.abc import Callable
from fractions import Fraction

import pytest

from verify.design.designing import Design, design_chords, design_codes, design_gaps
from verify.design.gaps import GapDemand
from verify.design.proof import Effort
from verify.design.words import Demand

TICK = Fraction(1, 20)


def gaps(inputs: int) -> Callable[[], Design]:
    """Jitter of a tick; the file put before the engines."""
    return lambda: design_gaps(GapDemand(inputs, jitter=1), TICK, Effort())


def ruler(marks: int) -> Callable[[], Design]:
    """The shortest there is, with the refutation of all shorter ones."""
    demand = GapDemand(marks - 1, grid=2, receiver="taps")
    return lambda: design_chords(demand, TICK, True, Effort())


def codes(inputs: int) -> Callable[[], Design]:
    """Safe under a skew of a tick; the file put before the engines."""
    return lambda: design_codes(inputs, Demand(skew=True), TICK, 1, None, Effort())


@pytest.mark.parametrize(
    ("kind", "large", "small"),
    [(gaps, 16, 4), (ruler, 8, 7), (codes, 252, 35)],
    ids=["gaps", "ruler", "codes"],
)
def test_a_best_table_and_a_smaller_one(kind, large, small, compare):
    name = kind.__name__
    found = compare(f"{name}, {large}", kind(large), f"{name}, {small}", kind(small), rounds=3)
    assert found.optimal
    assert found.verdict.value == "holds"
