"""The cost of an exact margin of the clock's rate: ten-bit frames, seven codes, any tick."""

from __future__ import annotations

from collections.abc import Callable
from fractions import Fraction

import pytest

from models.framed_serial import FramedSerial
from verify.engines.answer import Budget, Progress, Verdict
from verify.parts.link import Link
from verify.parts.operator import Operator
from verify.questions.engine_choice import EngineName
from verify.questions.rate_margin import RateMargin, rate_margin

CODES = (0x55, 0xAA, 0x0F, 0xF0, 0x01, 0x80, 0xFF)
FIRST = tuple(range(7))  # as a link file without codes has them
BIT = 104  # ticks of 1 us: 9,600 bit/s


def whole_search(
    finer: int = 1,
    engine: EngineName = "solver",
    codes: tuple[int, ...] = CODES,
    frames: int = 2,
) -> Callable[[], RateMargin]:
    bit = BIT * finer
    scheme = FramedSerial(codes, 8, bit, bit + bit // 2)
    names = tuple(f"bell {i + 1}" for i in range(len(codes)))
    spacing = Operator(spacing=frames * 10 * bit)
    link = Link("tower", Fraction(1, 10**6 * finer), names, "framed-serial", scheme, spacing)
    return lambda: rate_margin(link, engine, Progress(), Budget(None))


@pytest.mark.slow
@pytest.mark.parametrize("finer", [10, 100])
def test_exact_margin_of_rate_with_a_finer_tick(finer, compare):
    found = compare(
        f"margin of rate, tick {finer} times finer",
        whole_search(finer),
        "margin of rate",
        whole_search(),
        rounds=5,
    )
    assert found.least.verdict is found.most.verdict is Verdict.HOLDS
    assert (found.least.amount, found.most.amount) == (Fraction(1, 18), Fraction(1, 16))


@pytest.mark.parametrize("frames", [1, 2])
def test_exact_margin_of_rate_by_regions(frames, compare):
    """Frames back to back, and with as long a pause between them, beside the solver's answer
    for codes that use all bits."""
    found = compare(
        f"margin of rate by regions, a press every {frames} frames",
        whole_search(engine="auto", codes=FIRST, frames=frames),
        "margin of rate by the solver",
        whole_search(),
        rounds=5,
    )
    assert found.least.verdict is found.most.verdict is Verdict.HOLDS
    assert (found.least.amount, found.most.amount) == (Fraction(1, 8), Fraction(1, 8))
