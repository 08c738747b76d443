"""Recordings of links that rest, on a clock that is off: no rate that there was is ever denied.

The other route knows nothing of how recordings are compared: the simulator runs the link at a
rate, in fine parts of a tick, and whoever records looks at it in whole ticks.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from fractions import Fraction
from math import floor

import pytest
from hypothesis import HealthCheck, assume, event, given, settings
from hypothesis import strategies as st

from models.pulse_gap import PulseGap
from tests.links import framed_serials, make_link, owns, pulse_gaps
from tests.test_replay import held, ran, recorded
from verify.engines.answer import Budget, Progress
from verify.engines.simulator import NotAllowedError, Simulator
from verify.engines.trace import Chosen, Press, Script, Trace
from verify.language.expressions import Pick
from verify.parts.clock import PERIOD, Clock
from verify.parts.line import Faults
from verify.parts.link import Link
from verify.parts.operator import Operator
from verify.parts.scheme import Scheme
from verify.questions.all_rates import in_both, least_of
from verify.questions.disturbed import Explained, Within, _Seeker, _seeker
from verify.questions.holding import Warnings
from verify.questions.judging import Subject
from verify.questions.replay import replay
from verify.recordings.recording import Row, rows_of

HALF = Fraction(1, 2)


def seen(
    link: Link,
    error: Fraction,
    presses: tuple[Press, ...],
    finer: int = 1,
    late: int = 0,
    between: tuple[int, ...] = (),
    data: st.DataObject | None = None,
) -> tuple[list[str], list[Row]]:
    """What is recorded in whole ticks of a link whose clock is off. ``finer``: in how many times
    finer parts it is run; ``late``: parts that its line is late besides; ``between``: by how
    many ``1 / finer`` ticks each press is later. ``data``: what else happens is drawn from it."""
    off = replace(link, clock=Clock((error, error)))
    parts = off.clock.resolution * finer
    period = ((PERIOD, int(parts * (1 + error))),)
    after = between or (0,) * len(presses)
    made = tuple(
        Press((p.tick * finer + n) * off.clock.resolution, p.input)
        for p, n in zip(presses, after, strict=True)
    )
    script = Script(made, off.delay[0] * parts + late, constants=period, resolution=parts)
    if data is not None:
        met: list[tuple[int, Pick]] = []
        free = replace(off, operator=Operator())
        try:
            for _ in Simulator(free, script.delay, None, parts).run(script, met=met):
                pass
        except NotAllowedError:
            assume(False)
        drawn = [data.draw(st.integers(pick.least, pick.most)) for _, pick in met]
        picks = tuple(Chosen(at, pick.name, n) for (at, pick), n in zip(met, drawn, strict=True))
        script = replace(script, picks=picks)
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


@settings(max_examples=80, suppress_health_check=list(HealthCheck), deadline=None)
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
@settings(max_examples=12, suppress_health_check=list(HealthCheck), deadline=None)
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


@pytest.mark.slow
@settings(max_examples=6, suppress_health_check=list(HealthCheck), deadline=None)
@given(st.data())
def test_nor_is_it_where_the_line_is_late_by_nobody_knows_what(data: st.DataObject) -> None:
    """All that is not known is any number of its range, which only the solver knows."""
    jitter = data.draw(st.integers(0, 1))
    link = make_link(
        data.draw(st.one_of(pulse_gaps(2, busy="overlay"), framed_serials(1, 2, "overlay"))),
        faults=Faults(jitter=jitter),
        delay=(1, 1 if jitter else 2),
    )
    error = data.draw(errors)
    late = 0 if jitter else data.draw(st.integers(0, 6))
    presses = data.draw(presses_of(link, 2))
    shown, rows = seen(link, error, presses, 6, late, data=data)
    places = data.draw(st.sampled_from(PLACES[1:]))
    kept = [name for name in shown if name.partition(".")[0] in places]

    asked = Within("clock.rate", HALF)
    recording = recorded(kept, rows)
    found = replay(Subject(link), recording, [asked], Warnings(), Progress(), Budget(4))

    event(found.verdict)
    for explained, everywhere in found.explained:
        event(f"{explained.verdict} {everywhere and everywhere.verdict}")
        assert explained.verdict != "none"
        assert everywhere is None or everywhere.verdict != "none"


def test_a_rate_explains_all_of_a_recording_or_not() -> None:
    """A slow clock, and later a strike that never comes: no rate does that."""
    link = make_link(PulseGap((4, 8), 2, (1, 1)))
    shown, rows = seen(link, Fraction(1, 8), (Press(0, 0), Press(100, 1), Press(200, 0)))
    asked = Within("clock.rate", Fraction(1, 5))
    _, everywhere = held(link, recorded(shown, rows), asked).explained[0]
    assert everywhere is not None
    assert everywhere.verdict == "explains"

    last = max(k for k, row in enumerate(rows) if row.signal.startswith("out"))
    del rows[last]
    explained, everywhere = held(link, recorded(shown, rows), asked).explained[0]
    assert explained.verdict == "explains"
    assert everywhere is not None
    assert everywhere.verdict == "none"


def test_what_is_open_at_both_ends_has_no_single_error() -> None:
    a, b, c = Fraction(1, 10), Fraction(1, 5), Fraction(3, 10)
    assert in_both([(a, c)], [(b, b), (c, c)]) == [(b, b)]
    assert in_both([(a, b)], [(b, c)]) == []
    assert in_both([(a, c)], [(b, c), (a, b)]) == [(b, c), (a, b)]
    assert least_of([(-b, -b), (a, c)]).bound == a
    assert least_of([(-b, -a), (b, b)]).error < -a


@pytest.mark.parametrize("way", [_Seeker.by_rates, _Seeker.by_solver])
def test_a_pulse_shorter_than_a_tick_need_not_be_recorded(
    way: Callable[[_Seeker], Explained],
) -> None:
    """At three fifths of its length the second pulse goes from 1.8 to 2.4: up and down in one
    tick of the recording. Nearest to right is 7/8, from 2 5/8 to 3.5."""
    link = make_link(PulseGap((3,), 1, (0,)))
    _, rows = seen(link, Fraction(-2, 5), (Press(0, 0), Press(40, 0)))
    assert [int(row.at) for row in rows if row.signal == "line"][:4] == [0, 1, 2, 2]
    found = held(link, recorded(["in.k1", "line"], [row for row in rows if row.at != 2]))
    seeker = _seeker(link, Within("clock.rate", HALF), found.held, Budget(20))
    assert isinstance(seeker, _Seeker)
    explained = way(seeker)
    assert (explained.verdict, explained.amount) == ("explains", Fraction(-1, 8))


def test_a_receiver_may_tell_apart_what_was_recorded_in_one_tick() -> None:
    """A gap of 4.25 ticks is recorded as 4, and no strike comes of it. Not of the right one."""
    link = make_link(PulseGap((4,), 2, (0,)))
    shown, rows = seen(link, Fraction(1, 16), (Press(0, 0), Press(40, 0)))
    found = held(link, recorded(shown, rows), Within("clock.rate", HALF))
    assert found.held.parting is not None
    assert found.held.parting.blame == ("line", "receiver")
    explained, everywhere = found.explained[0]
    assert (explained.verdict, explained.why) == ("explains", "any error, however small, does")
    assert everywhere is not None
    assert everywhere.verdict == "explains"

    rated = replace(link, clock=Clock((Fraction(0), Fraction(1, 16))))
    assert held(rated, recorded(shown, rows)).verdict == "agrees"
    unpressed = [name for name in shown if not name.startswith("in")]
    assert held(rated, recorded(unpressed, rows)).verdict == "undecided"


def test_what_the_file_allows_might_have_been_there_too() -> None:
    """A slow clock and an edge that is late by a tick: neither explains it by itself."""
    link = make_link(PulseGap((8,), 2, (3,)), delay=(1, 1))
    _, rows = seen(link, Fraction(1, 4), (Press(0, 0), Press(40, 0)))
    far = [k for k, row in enumerate(rows) if row.signal == "line.far"]
    rows[far[2]] = rows[far[2]]._replace(at=rows[far[2]].at + 1)
    recording = recorded(["in.k1", "line.far"], rows)
    rated = replace(link, clock=Clock((Fraction(0), Fraction(1, 4))))
    for file, verdict in ((link, "none"), (rated, "undecided")):
        found = held(file, recording, Within("line.jitter", 1))
        assert found.verdict == "parts"
        explained, _ = found.explained[0]
        assert explained.verdict == verdict
    assert "together with an error of the clock" in explained.why


@settings(max_examples=40, suppress_health_check=list(HealthCheck), deadline=None)
@given(st.data())
def test_presses_between_ticks_are_within_a_tolerance_of_one(data: st.DataObject) -> None:
    """They are recorded up to half a tick off, and so is what comes of them."""
    serial = framed_serials(plain_receiver=True, busy="overlay")
    link = make_link(data.draw(st.one_of(pulse_gaps(busy="overlay"), serial)))
    error = data.draw(errors)
    presses = data.draw(presses_of(link, 4))
    between = tuple(data.draw(st.integers(0, 5)) for _ in presses)
    shown, rows = seen(link, error, presses, 6, between=between)
    kept = [name for name in shown if name.startswith("in") or name == "line"]

    found = held(link, recorded(kept, rows), Within("clock.rate", HALF), tolerance=1)

    for explained, everywhere in found.explained:
        assert explained.verdict == "explains"
        assert everywhere is not None
        assert everywhere.verdict == "explains"
