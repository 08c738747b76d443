"""A recording against the model: our own runs agree, changed ones part, disturbances explain."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace
from fractions import Fraction
from itertools import count
from math import lcm

import pytest
from hypothesis import HealthCheck, Phase, assume, event, given, settings
from hypothesis import strategies as st

from models.pulse_gap import PulseGap
from models.scan import Scan
from models.wire_per_input import WirePerInput
from tests.links import framed_serials, links, make_link, parallel_codes, pulse_gaps, scripts
from verify.engines.answer import Budget, Progress
from verify.engines.conform import in_one_tick
from verify.engines.regions import Plane, Region
from verify.engines.simulator import NotAllowedError, Simulator, _Namer
from verify.engines.trace import Chosen, Press, Script, Trace
from verify.language.expressions import Pick
from verify.parts.clock import PERIOD, Clock
from verify.parts.line import Faults
from verify.parts.link import Link
from verify.parts.operator import Operator
from verify.parts.stretch import Stretch
from verify.questions.all_rates import RatesStage
from verify.questions.disturbed import Within, _Seeker, disturbed, explain
from verify.questions.holding import Stage, Warnings, stretches
from verify.questions.judging import Subject
from verify.questions.replay import Replay, replay
from verify.recordings.moments import Moments
from verify.recordings.recording import Recording, Row, Warn, rows_of, signals_of


def recorded(signals: Sequence[str], rows: Sequence[Row]) -> Recording:
    """A recording of some signals, in memory."""
    some = frozenset(signals)

    def again(warn: Warn) -> Iterator[Row]:
        yield from (row for row in rows if row.signal in some)

    return Recording("memory", some, again)


def held(link: Link, recording: Recording, *within: Within, tolerance: int | None = None) -> Replay:
    return replay(
        Subject(link),
        recording,
        within,
        Warnings(),
        Progress(),
        Budget(30),
        tolerance=tolerance,
    )


@settings(max_examples=40)
@given(st.data())
def test_what_the_simulator_does_agrees_whatever_part_of_it_was_recorded(
    data: st.DataObject,
) -> None:
    link = data.draw(links())
    subject = Subject(link)
    script = data.draw(scripts(link))
    assume(script.presses)
    try:
        trace = subject.replay(script)
    except NotAllowedError:
        assume(False)
    shown, rows = rows_of(trace, link)
    places = [name.partition(".")[0] for name in shown]
    kept = data.draw(st.sets(st.sampled_from(sorted({*places})), min_size=2))
    some = [name for name, place in zip(shown, places, strict=True) if place in kept]

    found = held(link, recorded(some, rows))

    assert found.verdict in ("agrees", "decoded"), found.held.parting


settled = st.one_of(
    pulse_gaps(),
    st.builds(WirePerInput, st.integers(1, 3)),
    parallel_codes(),
    framed_serials(plain_receiver=True),
)
"""Schemes of which no part is free to choose."""


def clean(link: Link) -> Link:
    """Nothing about the link is open: it can do one thing only."""
    return replace(link, faults=Faults(), delay=(link.delay[0], link.delay[0]), within=None)


def run_rows(
    link: Link, data: st.DataObject, free: Operator | None = None, longest: int = 6
) -> tuple[tuple[str, ...], list[Row]]:
    """A run without monitors, so that it goes on when something is wrong, with picks drawn."""
    link = replace(link, operator=free or link.operator)
    script = data.draw(scripts(link))
    assume(script.presses)
    script = replace(script, presses=script.presses[:longest])
    simulator = Simulator(link, script.delay, None)
    met: list[tuple[int, Pick]] = []
    try:
        for _ in simulator.run(script, met=met):
            pass
        drawn = tuple(
            Chosen(tick, pick.name, data.draw(st.integers(pick.least, pick.most)))
            for tick, pick in met
        )
        script = replace(script, picks=drawn)
        namer = _Namer(link, script.delay)
        events = [
            event
            for moment in simulator.run(script)
            for signal, values in moment.occurrences
            if (event := namer.event(moment.tick, signal.name, values))
        ]
    except NotAllowedError:
        assume(False)
    return rows_of(Trace(script, tuple(events), None), link)


@settings(max_examples=30, suppress_health_check=[HealthCheck.filter_too_much])
@given(st.data())
def test_a_row_that_is_taken_out_is_where_they_part(data: st.DataObject) -> None:
    link = clean(data.draw(links(settled, faulty=False)))
    shown, rows = run_rows(link, data)
    sent = [k for k, row in enumerate(rows) if not row.signal.startswith("in.")]
    assume(sent)
    gone = data.draw(st.sampled_from(sent))
    rest = rows[:gone] + rows[gone + 1 :]
    assume(any(row.at >= rows[gone].at for row in rest))

    found = held(link, recorded(shown, rest))

    parting = found.held.parting
    assert found.verdict == "parts"
    assert parting is not None
    assert parting.change.signal == rows[gone].signal
    assert parting.change.tick == rows[gone].at
    assert parting.side == "model"
    place = rows[gone].signal
    parts = ("receiver",) if place.startswith("out") else ("line",)
    assert parting.stretch.parts[-1:] == (
        parts if ("." in place and "far" in place) or place.startswith("out") else ("transmitter",)
    )


KINDS = ["line.jitter", "line.swallowed", "line.delay", "line.skew"]


def with_disturbance(
    data: st.DataObject, kind: str, most: int, longest: int
) -> tuple[Link, Recording]:
    """A link, and a recording of some of its places while it was disturbed by up to ``most``."""
    link = clean(data.draw(links(settled, faulty=False)))
    assume(link.scheme.lines > 1 or kind != "line.skew")
    shown, rows = run_rows(disturbed(link, kind, most), data, Operator(), longest)
    some = data.draw(st.sampled_from([("in", "line"), ("in", "out"), ("line", "out")]))
    kept = [name for name in shown if name.split(".")[0] in some]
    if data.draw(st.booleans(), "without far"):
        kept = [name for name in kept if ".far" not in name]
    return link, recorded(kept, rows)


@settings(
    max_examples=30, suppress_health_check=[HealthCheck.filter_too_much, HealthCheck.too_slow]
)
@given(st.data(), st.sampled_from(KINDS), st.integers(1, 2))
def test_what_was_done_to_a_link_is_found_and_no_more(
    data: st.DataObject, kind: str, most: int
) -> None:
    link, recording = with_disturbance(data, kind, most, 6)

    found = held(link, recording, Within(kind, most))

    parting = found.held.parting
    if parting is None:
        assert found.verdict == "agrees"
        return
    explained, everywhere = found.explained[0]
    if "line" in parting.stretch.parts:
        assert explained.verdict == "explains"
        assert explained.amount is not None
        assert abs(explained.amount) <= most
        assert everywhere is not None
        assert everywhere.verdict == "explains"
    else:
        assert explained.verdict == "none"


@pytest.mark.slow
@settings(
    max_examples=12,
    suppress_health_check=[HealthCheck.filter_too_much, HealthCheck.too_slow],
    phases=[Phase.explicit, Phase.reuse, Phase.generate],
)
@given(st.data(), st.sampled_from(KINDS), st.integers(1, 2), st.integers(1, 2))
def test_solver_and_explorer_find_the_same_least_disturbance(
    data: st.DataObject, kind: str, done: int, most: int
) -> None:
    link, recording = with_disturbance(data, kind, done, 1)
    found = held(link, recording)
    parting = found.held.parting
    assume(parting is not None and "line" in parting.stretch.parts)
    assert parting is not None
    seeker = _Seeker(link, Within(kind, most), found.held, parting.stretch, Budget(60))

    followed, solved = seeker.by_following(), seeker.by_solver()

    assert (followed.verdict, followed.amount) == (solved.verdict, solved.amount)


@settings(
    max_examples=20, suppress_health_check=[HealthCheck.filter_too_much, HealthCheck.too_slow]
)
@given(st.data(), st.sampled_from(["pause.transmitter", "pause.receiver"]), st.integers(1, 3))
def test_a_pause_is_found_and_none_that_is_longer(
    data: st.DataObject, kind: str, ticks: int
) -> None:
    link = clean(data.draw(links(st.one_of(pulse_gaps(), framed_serials()), faulty=False)))
    paused = disturbed(link, kind, ticks)
    assume(paused.unstoppable is None)
    script = data.draw(scripts(link))
    assume(script.presses)
    pause = Chosen(data.draw(st.integers(0, 30)), kind, ticks - 1)
    shown, rows = rows_of(ran(paused, replace(script, picks=(*script.picks, pause))), link)
    kept = [name for name in shown if ".far" not in name]

    found = held(link, recorded(kept, rows), Within(kind, 3))

    parting = found.held.parting
    if parting is None or kind.removeprefix("pause.") not in parting.stretch.parts:
        return
    explained, everywhere = found.explained[0]
    event(f"{kind} {explained.verdict}")
    assert explained.verdict == "explains"
    assert explained.amount is not None
    assert explained.amount <= ticks
    assert everywhere is not None
    assert everywhere.verdict == "explains"
    # Another receiver, which stops too, may ask for more.
    assert everywhere.amount is not None
    assert explained.amount <= everywhere.amount <= ticks
    assert held(paused, recorded(kept, rows)).verdict == "agrees"


MOVES = (Press(40, 0), Press(55, 1), Press(73, 0), Press(88, 1), Press(120, 0))


@pytest.mark.parametrize("end", ["transmitter", "receiver"])
@pytest.mark.parametrize("places", [("in", "line"), ("in", "out"), ("line", "out")])
def test_a_pause_of_a_scan_is_found(end: str, places: tuple[str, str]) -> None:
    kind = f"pause.{end}"
    link = make_link(Scan(2, 3, 1), kind="level")
    paused = disturbed(link, kind, 2)
    script = Script(MOVES, picks=(Chosen(60, kind, 1),))
    shown, rows = rows_of(ran(paused, script, until=150), link)
    recording = recorded([s for s in shown if s.partition(".")[0] in places], rows)

    found = held(link, recording, Within(kind, 3))

    parting = found.held.parting
    if parting is None or end not in parting.stretch.parts:
        # It happened to the end that was not recorded on both sides.
        assert places != ("in", "out")
        return
    explained, everywhere = found.explained[0]
    assert (explained.verdict, explained.amount) == ("explains", 2)
    assert everywhere is not None
    assert (everywhere.verdict, everywhere.amount) == ("explains", 2)
    assert held(paused, recording).verdict == "agrees"


def off_by(
    link: Link, error: Fraction, moves: Sequence[Press], late: int = 0, until: int = 150
) -> tuple[list[str], list[Row]]:
    """A run on a clock that is off, in whole ticks; moves are ``late`` twelfths of a tick after a
    tick of the link."""
    off = replace(link, clock=Clock((error, error)))
    parts = lcm(off.clock.resolution, 12)
    moved = tuple(Press(p.tick * parts + late * parts // 12, p.input) for p in moves)
    constants = ((PERIOD, int(parts * (1 + error))),)
    script = Script(moved, off.delay[0] * parts, constants=constants, resolution=parts)
    run = ran(off, script, until=until * parts)
    first = moved[0].tick
    told = tuple(
        replace(e, tick=moves[0].tick + round(Fraction(e.tick - first, parts))) for e in run.events
    )
    shown, rows = rows_of(Trace(Script(()), told, None), link)
    return list(shown), list(rows)


@pytest.mark.parametrize("error", [Fraction(-1, 25), Fraction(1, 25)])
def test_the_least_rate_at_which_a_scan_gives_a_recording_is_found(error: Fraction) -> None:
    link = make_link(Scan(2, 6, 3, synced=True), kind="level")
    shown, rows = off_by(link, error, MOVES)
    recording = recorded([s for s in shown if s.partition(".")[0] in ("in", "line")], rows)

    found = held(link, recording, Within("clock.rate", Fraction(2, 25)))
    rated = replace(link, clock=Clock((-Fraction(2, 25), Fraction(2, 25))))

    explained, everywhere = found.explained[0]
    assert explained.verdict == "explains"
    assert everywhere is not None
    assert everywhere.verdict == "explains"
    assert everywhere.amount is not None
    assert "no smaller error does" in everywhere.why
    # What is in whole ticks tells no more.
    assert abs(Fraction(everywhere.amount) - error) <= Fraction(1, 100)
    assert abs(Fraction(everywhere.amount)) <= abs(error)
    allowed = held(rated, recording)
    assert (allowed.verdict, allowed.rate) == ("agrees", everywhere.amount)


def test_that_no_rate_of_a_scan_gives_a_recording_is_proved() -> None:
    link = make_link(Scan(2, 6, 3, synced=True), kind="level")
    shown, rows = off_by(link, Fraction(1, 25), MOVES)
    recording = recorded([s for s in shown if s.partition(".")[0] in ("in", "line")], rows)
    few = held(link, recording, Within("clock.rate", Fraction(1, 100)))
    explained, everywhere = few.explained[0]
    assert explained.verdict == "none" or (everywhere and everywhere.verdict == "none")


def test_a_pulse_within_a_tick_need_not_be_recorded() -> None:
    """Slot 0 begins 0.3 ticks before its lever goes down: a whole tick shows no pulse."""
    link = make_link(Scan(2, 2, 1, synced=True), kind="level")
    moves = [Press(8, 0), Press(16, 1), Press(27, 1), Press(34, 0)]
    shown, rows = off_by(link, Fraction(1, 22), moves, late=9, until=60)
    recording = recorded([s for s in shown if s.partition(".")[0] in ("in", "line")], rows)
    (stretch,) = stretches(link, recording.signals)
    errors = [Fraction(1, 22)]
    stage = RatesStage(link, stretch, recording.signals, errors, lambda: None)
    assert stage.read(recording, None)


@pytest.mark.parametrize(
    ("one", "other", "inside"),
    [
        (57, 63, True),
        (55, 65, True),  # half a tick either way
        (55, 66, False),
        (51, 61, False),  # a tick wide, and seen in two
        (60, 60, True),
        (62, 67, False),
    ],
)
def test_what_lies_within_one_tick_of_a_recording(one: int, other: int, inside: bool) -> None:
    assert in_one_tick(one, other, 5, 10) == inside


@pytest.mark.parametrize(
    ("one", "other", "found"),
    [
        (57, 63, [True]),
        (55, 65, [False]),
        (54, 64, [False, False, True]),  # a tick wide: just where it lies half a tick either way
    ],
)
def test_what_lies_within_one_tick_where_nobody_knows_when(
    one: int, other: int, found: list[bool]
) -> None:
    """Both later by some of two parts of a tick."""
    plane, triangle = Plane(), Region(((0, 0, 1), (2, 0, 1), (0, 2, 1)))

    def inside() -> bool:
        return in_one_tick(plane.number(one, 1, 0), plane.number(other, 1, 0), 5, 10)

    parts = dict(plane.each(triangle, inside))
    assert sorted(parts.values()) == found
    xs = [region.xs for region, value in parts.items() if value]
    assert found != [False, False, True] or xs == [(1, 1)]


@settings(max_examples=20, suppress_health_check=list(HealthCheck))
@given(st.data())
def test_a_rate_of_a_scan_is_the_least_of_all(data: st.DataObject) -> None:
    """The true rate is never left out; rates below the least, and moments of the period between
    ticks, do not give the recording when they are followed one by one."""
    slots, slot = data.draw(st.integers(2, 3)), data.draw(st.integers(2, 5))
    scheme = Scan(slots, slot, data.draw(st.integers(0, slot - 1)), synced=data.draw(st.booleans()))
    link = make_link(scheme, kind="level")
    gaps = data.draw(st.lists(st.integers(1, 3 * slot * slots), min_size=2, max_size=6))
    begin = scheme.warm_up + slot * slots + data.draw(st.integers(0, slot))
    ticks = [begin + sum(gaps[:k]) for k in range(len(gaps))]
    moves = [Press(t, data.draw(st.integers(0, slots - 1))) for t in ticks]
    error = data.draw(st.sampled_from([-1, 1])) * Fraction(1, data.draw(st.integers(8, 40)))
    late = data.draw(st.integers(0, 11))
    shown, rows = off_by(link, error, moves, late, until=ticks[-1] + 3 * slot * slots)
    # How far a free one has drifted when the recording begins is not known.
    outputs = [("in", "out"), ("in", "line", "out")] if scheme.synced else []
    kinds = data.draw(st.sampled_from([("in", "line"), *outputs]))
    recording = recorded([s for s in shown if s.partition(".")[0] in kinds], rows)

    (stretch,) = stretches(link, recording.signals)
    most = Fraction(1, 8)
    stage = RatesStage(link, stretch, recording.signals, [most, -most], lambda: None)
    assert stage.read(recording, None)
    found = stage.least()
    event(f"{'synced' if scheme.synced else 'free'}: bound {found.bound > 0 or found.bound < 0}")
    assert abs(found.bound) <= abs(error)
    assert gives(link, stretch, recording, found.error, found.lead)
    for k in range(1, 4):
        for sign in (1, -1):
            smaller = sign * abs(found.bound) * Fraction(k, 4)
            for twelfth in range(0, 12 * (slot + 1), 5):
                lead = stage.least_lead + Fraction(twelfth, 12)
                assert not smaller or not gives(link, stretch, recording, smaller, lead)


def gives(
    link: Link, stretch: Stretch, recording: Recording, error: Fraction, lead: Fraction
) -> bool:
    """The link at one rate, switched on at one moment, gives the recording."""
    off = replace(link, clock=Clock((error, error)))
    stage = Stage(off, stretch, recording.signals, None, lead=lead)
    moments = Moments(recording, signals_of(link).momentary, Warnings())
    begun = False
    for moment in moments:
        if not begun:
            begun = True
            stage.begin(moments.high_before)
        if not stage.advance(moment, 0):
            return False
    return True


def ran(link: Link, script: Script, until: int | None = None) -> Trace:
    """A run without monitors, so that it goes on when something is wrong."""
    free = replace(link, operator=Operator())
    namer = _Namer(free, script.delay)
    try:
        events = [
            came
            for moment in Simulator(free, script.delay, None, script.resolution).run(
                script, until=until
            )
            for signal, values in moment.occurrences
            if (came := namer.event(moment.tick, signal.name, values))
        ]
    except NotAllowedError:
        assume(False)
    return Trace(script, tuple(events), None)


def test_what_is_followed_stops_when_the_time_is_up() -> None:
    """A clock that is a second on whenever somebody looks at it: soon, not at the next amount."""
    link = make_link(PulseGap((8, 16), 2, (2, 2)), faults=Faults(jitter=1))
    presses = tuple(Press(40 * k, k % 2) for k in range(6))
    shown, rows = rows_of(ran(link, Script(presses)), link)
    strikes = [k for k, row in enumerate(rows) if row.signal.startswith("out")]
    del rows[strikes[-2]]
    found = held(link, recorded(shown, rows)).held
    looks = count()
    explained = explain(
        link, Within("line.swallowed", 3), found, Budget(3.5, clock=lambda: float(next(looks)))
    )
    assert (explained.verdict, explained.why) == ("undecided", "the time was up at 1")
    assert next(looks) == 5
