"""Presses at every rate of a clock at once: the same answers as the solver's."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction

import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from models.framed_serial import FramedSerial
from models.pulse_gap import PulseGap
from tests.links import framed_serials, make_link, pulse_gaps
from verify.engines.answer import Budget, Progress, Verdict
from verify.engines.least_regions import ENGINE
from verify.engines.lone_rate import lone_press
from verify.engines.lone_regions import LoneRegions, OutOfRegionsError
from verify.engines.press_regions import Opening, merged
from verify.engines.regions import Region, box
from verify.errors import UsageError
from verify.parts.clock import Clock
from verify.parts.link import Link, factored
from verify.parts.operator import Operator
from verify.questions.rate_margin import RateMargin, rate_margin

rates = st.fractions(Fraction(-1, 3), Fraction(1, 2), max_denominator=12)
schemes = st.one_of(framed_serials(), pulse_gaps())


def margin(link: Link, engine: str, seconds: float = 20) -> RateMargin:
    return rate_margin(link, engine, Progress(), Budget(seconds))  # type: ignore[arg-type]


@given(schemes, rates, rates)
@settings(max_examples=12, deadline=None)
def test_one_press_does_what_the_solver_says(scheme, one: Fraction, other: Fraction) -> None:
    least, most = sorted((one, other))
    assume(least or most)
    clock = Clock((min(least, Fraction(0)), max(most, Fraction(0))))
    link = make_link(scheme, Operator(spacing=100), clock=clock)
    assume(link.clockless is None)
    system = factored(link, None, clock.resolution)
    try:
        regions = LoneRegions(system, Budget(20))
        rows = [regions.row(i, link.outputs[i]) for i in range(link.inputs)]
    except OutOfRegionsError:
        assume(False)

    assert rows == [lone_press(system, i, link.outputs[i], Budget(20)) for i in range(link.inputs)]


def agree(link: Link) -> None:
    """Where the solver decides."""
    assume(link.clockless is None)
    ours, theirs = margin(link, "auto"), margin(link, "solver", 1.5)

    for mine, other in ((ours.least, theirs.least), (ours.most, theirs.most)):
        if Verdict.UNDECIDED not in (mine.verdict, other.verdict):
            assert (mine.verdict, mine.amount, mine.holds) == (
                other.verdict,
                other.amount,
                other.holds,
            )


@given(schemes, st.integers(1, 40))
@settings(max_examples=5, deadline=None)
def test_margins_are_those_of_the_solver(scheme, spacing: int) -> None:
    """Also where presses come before another is over."""
    agree(make_link(scheme, Operator(spacing=spacing)))


@pytest.mark.slow
@given(schemes, st.integers(4, 40))
@settings(max_examples=8, deadline=None)
def test_margins_of_many_are_those_of_the_solver(scheme, spacing: int) -> None:
    agree(make_link(scheme, Operator(spacing=spacing)))


@pytest.mark.parametrize("spacing", [885, 1040, 1054])
def test_frames_may_come_while_the_end_of_another_is_under_way(spacing: int) -> None:
    """Ten bits of 104 us (9,600 bit/s), sampled in the middle; codes 0 to 6 leave the last five
    bits idle, so a frame is read to its end at 884 us, and any later press is safe.

    The last one bit of a code is bit 2, which lasts, on the sender's clock, from 312 to 416 us,
    and is sampled at 364 us, the next at 468: a slow clock fails where it lasts beyond that, a
    fast one where it is over by 364.
    """
    scheme = FramedSerial(tuple(range(7)), 8, 104, 156)
    link = replace(make_link(scheme, Operator(spacing=spacing)), tick=Fraction(1, 10**6))

    found = margin(link, "auto")

    assert found.most.engine == found.least.engine == ENGINE
    assert (found.most.amount, found.most.holds) == (Fraction(468, 416) - 1, True)
    assert (found.least.amount, found.least.holds) == (1 - Fraction(364, 416), False)


def test_what_fails_without_any_error_is_told_without_a_search_of_rates() -> None:
    scheme = FramedSerial(tuple(range(7)), 8, 104, 156)

    found = margin(make_link(scheme, Operator(spacing=0)), "auto")

    assert found.least.verdict is found.most.verdict is Verdict.FAILS
    assert found.least.trace_beyond is not None
    assert found.least.error_beyond == 0
    assert len(found.least.trace_beyond.script.presses) == 2


def test_two_presses_that_meet_bound_the_margin() -> None:
    """Gaps of 4 and 8 ticks, pulses of 1: at a spacing of 9 the end of the longer gap, 8 (1 + e),
    meets the next press where the clock is slow by an eighth and more."""
    link = make_link(PulseGap((4, 8), 1, (1, 1)), Operator(spacing=10))

    ours, theirs = margin(link, "auto"), margin(link, "solver")

    assert (ours.most.verdict, ours.most.amount, ours.most.holds) == (
        theirs.most.verdict,
        theirs.most.amount,
        theirs.most.holds,
    )
    assert ours.most.trace_beyond is not None


def test_neighbouring_regions_in_which_all_is_alike_are_one() -> None:
    def at(low: int, high: int, state: int = 7) -> Opening:
        ends = [(low, 0, 1), (high, 0, 1)]
        return Opening(Region(tuple(dict.fromkeys(ends))), (state,), 3, 5)

    found = merged([at(4, 6), at(1, 4), at(4, 4), at(8, 9), at(6, 6, 2), at(1, 1)])

    assert {(o.region.xs, o.state) for o in found} == {
        ((1, 6), (7,)),
        ((1, 1), (7,)),
        ((8, 9), (7,)),
        ((6, 6), (2,)),
    }


@pytest.mark.parametrize(
    ("xs", "ys", "count"), [((0, 4), (1, 3), 9), ((0, 4), (1, 1), 3), ((2, 2), (1, 1), 1)]
)
def test_a_box_has_its_inside_its_edges_and_its_corners(
    xs: tuple[int, int], ys: tuple[int, int], count: int
) -> None:
    found = box(xs, ys)

    assert len(found) == count
    assert sorted({len(region.corners) for region in found}) in ([1, 2, 4], [1, 2], [1])


def test_engines_that_cannot_answer_are_refused() -> None:
    with pytest.raises(UsageError, match=r"clock\.rate"):
        margin(make_link(PulseGap((4, 8), 1, (0, 0))), "explorer")
