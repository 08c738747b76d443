"""Links on a clock of unknown rate that rest between presses: lone presses decide, if they may."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction

import pytest

from models.pulse_gap import PulseGap
from tests.links import make_link
from verify.engines.answer import Budget, Progress, Verdict
from verify.engines.lone import Lone, factored_windows
from verify.parts.clock import Clock
from verify.parts.link import Link
from verify.parts.operator import Operator
from verify.questions.judging import Subject, judge
from verify.questions.resting import by_rest

RATED = Clock(rate=(Fraction(-1, 100), Fraction(1, 100)))
LINK = make_link(PulseGap((3, 8), 1, (1, 1)), Operator(spacing=10), clock=RATED)


def lone_of(link: Link) -> tuple[Subject, Lone]:
    subject = Subject(link, budget=Budget(60))
    return subject, subject.lone_of(link)


def test_it_agrees_with_the_solver_and_says_from_when_on() -> None:
    subject, lone = lone_of(LINK)
    (windows,) = factored_windows(LINK, lone)

    # The last edge comes 9 ticks after the press, 1 % late: 9.09 ticks.
    assert lone.apart == 10
    assert by_rest(LINK, windows, lone) is not None
    assert judge(subject, "solver", Progress(), budget=Budget(60)).verdict is Verdict.HOLDS
    closer = LINK.with_operator(spacing=9)
    assert by_rest(closer, windows, lone) is None


@pytest.mark.parametrize(
    "scheme",
    [
        # The second pulse of the first gap, a little late, is taken for that of the second.
        PulseGap((120, 121), 1, ((1, 0), (0, 1))),
        # Some arrivals are in no window.
        PulseGap((3, 8), 1, (0, 1)),
    ],
)
def test_nothing_is_said_where_a_lone_press_may_go_wrong(scheme: PulseGap) -> None:
    link = replace(LINK, scheme=scheme)
    _, lone = lone_of(link)

    assert lone.apart is None


def test_nothing_is_said_of_windows_that_end_too_soon() -> None:
    subject, lone = lone_of(LINK)
    (windows,) = factored_windows(LINK, lone)
    sooner = replace(windows, latest=tuple(t - Fraction(1, 100) for t in windows.latest))

    assert subject.lone.rests
    assert by_rest(LINK, sooner, lone) is None
