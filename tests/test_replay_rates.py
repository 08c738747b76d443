"""Recordings of links that rest, on a clock that is off: no rate that there was is ever denied.

The other route knows nothing of how recordings are compared: the simulator runs the link at a
rate, in fine parts of a tick, and whoever records looks at it in whole ticks.
"""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction
from math import floor

import pytest
from hypothesis import HealthCheck, assume, event, given, settings
from hypothesis import strategies as st

from tests.links import framed_serials, make_link, owns, pulse_gaps
from tests.test_replay import held, ran, recorded
from verify.engines.answer import Budget
from verify.engines.trace import Press, Script, Trace
from verify.parts.clock import PERIOD, Clock
from verify.parts.link import Link
from verify.parts.scheme import Scheme
from verify.questions.disturbed import Within, _Seeker, _seeker
from verify.recordings.recording import Row, rows_of

HALF = Fraction(1, 2)


def seen(link: Link, error: Fraction, presses: tuple[Press, ...]) -> tuple[list[str], list[Row]]:
    """What is recorded in whole ticks of a link whose clock is off."""
    off = replace(link, clock=Clock((error, error)))
    parts = off.clock.resolution
    period = ((PERIOD, int(parts * (1 + error))),)
    made = tuple(Press(press.tick * parts, press.input) for press in presses)
    script = Script(made, off.delay[0] * parts, constants=period, resolution=parts)
    run = ran(off, script)
    told = tuple(replace(e, tick=floor(Fraction(e.tick, parts) + HALF)) for e in run.events)
    shown, rows = rows_of(Trace(Script(()), told, None), link)
    return list(shown), list(rows)


resting: st.SearchStrategy[Scheme] = st.one_of(
    pulse_gaps(), framed_serials(plain_receiver=True), owns()
)
errors = st.builds(
    lambda over, under, sign: sign * Fraction(over, under),
    st.integers(1, 4),
    st.integers(9, 12),
    st.sampled_from([-1, 1]),
)


@st.composite
def presses_of(draw: st.DrawFn, link: Link, most: int) -> tuple[Press, ...]:
    """A few presses, a tick apart or more."""
    distances = draw(st.lists(st.integers(1, 20), min_size=1, max_size=most))
    inputs = st.integers(0, link.inputs - 1)
    return tuple(Press(sum(distances[:k]), draw(inputs)) for k in range(len(distances)))


PLACES = [("line", "out"), ("in", "line"), ("in", "out"), ("in", "line", "out")]


@settings(max_examples=150, suppress_health_check=list(HealthCheck), deadline=None)
@given(st.data())
def test_the_rate_that_there_was_is_never_denied(data: st.DataObject) -> None:
    link = make_link(data.draw(resting))
    error = data.draw(errors)
    shown, rows = seen(link, error, data.draw(presses_of(link, 5)))
    places = data.draw(st.sampled_from(PLACES))
    kept = [name for name in shown if name.partition(".")[0] in places and ".far" not in name]

    found = held(link, recorded(kept, rows), Within("clock.rate", HALF))

    event(found.verdict)
    assert found.verdict in ("agrees", "parts", "decoded")
    for explained, everywhere in found.explained:
        event(explained.verdict)
        if "in" not in places:
            assert explained.verdict == "undecided"
            assert "no input was recorded" in explained.why
            continue
        assert explained.verdict == "explains"
        assert explained.amount is not None
        assert abs(Fraction(explained.amount)) <= abs(error)
        assert everywhere is not None
        assert everywhere.verdict == "explains"
        assert abs(Fraction(everywhere.amount or 0)) <= abs(error)


@pytest.mark.slow
@settings(max_examples=20, suppress_health_check=list(HealthCheck), deadline=None)
@given(st.data())
def test_the_solver_finds_the_same_rate(data: st.DataObject) -> None:
    link = make_link(data.draw(st.one_of(pulse_gaps(), framed_serials(plain_receiver=True))))
    error = data.draw(errors)
    shown, rows = seen(link, error, data.draw(presses_of(link, 2)))
    places = data.draw(st.sampled_from(PLACES[1:]))
    kept = [name for name in shown if name.partition(".")[0] in places and ".far" not in name]
    found = held(link, recorded(kept, rows))
    parting = found.held.parting
    assume(parting is not None)
    assert parting is not None
    asked = Within("clock.rate", data.draw(st.sampled_from([abs(error), abs(error) / 2])))

    followed, solved = (
        way(_seeker(link, asked, found.held, Budget(20)))
        for way in (_Seeker.by_rates, _Seeker.by_solver)
    )

    event(followed.verdict)
    assert followed.verdict == solved.verdict
    if "no smaller error" in followed.why:
        assert followed.amount == solved.amount
