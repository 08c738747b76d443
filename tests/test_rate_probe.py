"""Margins of rate: the first guess that a lone press gives, and what it is good for."""

from __future__ import annotations

from fractions import Fraction

from hypothesis import given
from hypothesis import strategies as st

from models.framed_serial import FramedSerial
from tests.links import make_link
from verify.engines.answer import Progress, Verdict
from verify.parts.operator import Operator
from verify.questions.rate_margin import rate_margin, simplest

amounts = st.fractions(min_value=0, max_value=2, max_denominator=60)


@given(amounts, amounts)
def test_the_simplest_fraction_has_the_least_denominator(a: Fraction, b: Fraction) -> None:
    least, most = sorted((a, b))

    found = simplest(least, most)

    assert least <= found <= most
    for denominator in range(1, found.denominator):
        first = -(-least * denominator // 1)  # the numerator of the first fraction not below
        assert Fraction(first, denominator) > most


def test_the_worst_of_an_uncertain_start_edge_is_found_on_either_side() -> None:
    """Bits of 8 ticks, sampled 4 ticks into them: bit 3 at 28, or 27 to 31 after its start edge.

    A slow clock fails where 3 bits are longer than 27 ticks, a fast one where 4 are no longer
    than 31.
    """
    scheme = FramedSerial((0, 5, 7), 3, 8, 12, edge=(-1, 3))

    found = rate_margin(make_link(scheme, Operator(spacing=100)), "auto", Progress())

    assert found.most.verdict is found.least.verdict is Verdict.HOLDS
    assert (found.most.amount, found.most.holds) == (Fraction(27, 24) - 1, True)
    assert (found.least.amount, found.least.holds) == (1 - Fraction(31, 32), False)
