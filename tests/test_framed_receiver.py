"""The receiver of framed-serial: votes, uncertain start edges, stop bits; against plain lists."""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise

import pytest
from hypothesis import event, given
from hypothesis import strategies as st

from models.framed_serial import FramedSerial
from tests.external.players import FALL, RISE, Player
from tests.links import framed_serials, make_link
from verify.engines.answer import Progress, Verdict
from verify.engines.simulator import Simulator
from verify.engines.trace import Chosen, Press, Script, Trace
from verify.parts.link import Link
from verify.parts.operator import Operator
from verify.parts.signals import misframed, strike
from verify.questions.engine_choice import EngineName
from verify.questions.judging import Subject, judge
from verify.questions.latency import latencies
from verify.questions.spacing import least_spacing
from verify.reports.words import failure_sentence

both_engines = pytest.mark.parametrize("engine", ["explorer", "solver"])

Heard = list[tuple[int, int | None]]
"""Tick and output of every strike; None for a frame dropped for its stop bit."""


def by_list(scheme: FramedSerial, line: list[int], late: list[int]) -> Heard:
    """What a receiver makes of a line given tick by tick, idle at its end.

    ``late[t]``: what it takes a start edge at tick t to be later than it was.
    """
    heard: Heard = []
    now = 0
    while now < len(line):
        if not line[now] or (now and line[now - 1]):
            now += 1
            continue
        middle = now + scheme.sample + late[now]
        bits = []
        for _ in range(scheme.width + scheme.framing):
            reach = scheme.clock if scheme.votes == 3 else 0
            votes = [line[t] for t in {middle - reach, middle, middle + reach} if t < len(line)]
            bits.append(int(sum(votes) > scheme.votes // 2))
            now = middle + reach + 1
            middle += scheme.bit
        code = sum(b << k for k, b in enumerate(bits[: scheme.width]))
        if sum(bits[scheme.width :]):
            heard.append((now - 1, None))
        elif code in scheme.codes:
            heard.append((now - 1, scheme.codes.index(code)))
    return heard


def by_machine(scheme: FramedSerial, line: list[int], late: list[int]) -> Heard:
    """The same by the simulator."""
    link = make_link(Player(scheme), Operator(hold=(0, 0)))  # type: ignore[arg-type]
    steps = enumerate(pairwise([0, *line]))
    edges = [Press(t, RISE if b else FALL) for t, (a, b) in steps if a != b]
    picks = tuple(Chosen(t, "receiver0.edge", value) for t, value in enumerate(late))
    heard: Heard = []
    for moment in Simulator(link, 0, None).run(Script(tuple(edges), picks=picks)):
        for signal, values in moment.occurrences:
            if signal in (strike(0), misframed(0)):
                heard.append((moment.tick, values[0] if values else None))
    return heard


@given(framed_serials(most_width=3, most_inputs=8), st.data())
def test_any_line_is_read_as_a_list_would_be(scheme: FramedSerial, data: st.DataObject) -> None:
    stretches = data.draw(st.lists(st.integers(1, 3 * scheme.bit), max_size=12))
    line = [k % 2 for k, length in enumerate(stretches) for _ in range(length)]
    line += [0] * (10 * scheme.bit)
    late = [data.draw(st.integers(*scheme.edge)) for _ in line]

    heard = by_machine(scheme, line, late)

    event(f"{scheme.votes} votes, framing {scheme.framing}, strikes {bool(heard)}")
    assert heard == by_list(scheme, line, late)


# A bit of 8 ticks; its middle is 4 ticks into it.
EIGHT = FramedSerial((0, 1, 2, 3), 2, 8, 12)


def heard_of(scheme: FramedSerial, *highs: tuple[int, int]) -> Heard:
    """Of a line that is high from the first to before the second tick of each pair."""
    line = [int(any(a <= t < b for a, b in highs)) for t in range(80)]
    return by_machine(scheme, line, [0] * len(line))


def test_one_of_three_votes_may_be_wrong() -> None:
    voting = replace(EIGHT, votes=3)
    # Votes on the bits at 11, 12, 13 and 19, 20, 21; the pulse in the first bit ends at 12.
    for scheme, read in ((EIGHT, 0), (voting, 0), (replace(EIGHT, sample=11), 1)):
        last = scheme.sample + 8 + (scheme.votes - 1) // 2
        assert heard_of(scheme, (0, 12)) == [(last, read)]
    assert heard_of(EIGHT, (0, 8), (12, 13)) == [(20, 1)]  # a spike is taken for a one
    assert heard_of(voting, (0, 8), (12, 13)) == [(21, 0)]  # and outvoted
    assert heard_of(replace(voting, clock=2), (0, 8), (10, 13)) == [(22, 1)]  # 10, 12, 14


def test_a_receiver_reads_until_its_last_vote() -> None:
    voting = replace(EIGHT, votes=3)
    # A start edge at 21 falls on the last vote of the first frame and is not seen.
    assert heard_of(voting, (0, 8), (21, 29)) == [(21, 0)]
    assert heard_of(voting, (0, 8), (22, 30)) == [(21, 0), (43, 0)]


def test_a_frame_without_a_stop_bit_is_dropped_and_the_next_start_is_after_idle_line() -> None:
    framing = replace(EIGHT, framing=True)
    # The stop bit is sampled at 28. Two ones, and the line stays high: nothing starts before
    # it has been low. A frame of its own follows from 40 on.
    assert heard_of(framing, (0, 24)) == [(28, 3)]
    assert heard_of(framing, (0, 36), (40, 48)) == [(28, None), (68, 0)]
    assert heard_of(EIGHT, (0, 36), (40, 48)) == [(20, 3), (60, 0)]


@both_engines
def test_an_uncertain_start_edge_spreads_latency(engine: EngineName) -> None:
    scheme = replace(EIGHT, edge=(-2, 3))
    link = make_link(scheme, Operator(spacing=40))

    found = latencies(Subject(link), engine, Progress())

    assert (found.verdict, found.exact) == (Verdict.HOLDS, True)
    assert [(i.best, i.worst) for i in found.inputs] == [(18, 23)] * 4


@both_engines
@pytest.mark.parametrize(("edge", "holds"), [((-4, 3), True), ((-5, 0), False), ((0, 4), False)])
def test_samples_must_stay_inside_their_bits(
    edge: tuple[int, int], holds: bool, engine: EngineName
) -> None:
    """A bit is its 8 ticks, the first included: an edge in the tick of a sample counts."""
    link = make_link(replace(EIGHT, edge=edge), Operator(spacing=60))

    judged = judge(Subject(link), engine, Progress())

    assert judged.verdict is (Verdict.HOLDS if holds else Verdict.FAILS)


@both_engines
def test_overlaid_frames_with_framing_need_room_for_the_stop_bit(engine: EngineName) -> None:
    # The stop bit is sampled at 28: the next start edge may come at 29.
    link = make_link(replace(EIGHT, framing=True))

    found = least_spacing(Subject(link), engine, Progress())

    assert (found.verdict, found.ticks) == (Verdict.HOLDS, 29)
    assert found.trace_below is not None
    assert found.trace_below.failure is not None
    assert found.trace_below.failure.kind == "framing"


# -- what is said --------------------------------------------------------------


def replayed(link: Link, *presses: tuple[int, int]) -> Trace:
    return Subject(link).replay(Script(tuple(Press(*p) for p in presses)))


def test_a_press_whose_frame_is_dropped_fails_by_framing() -> None:
    link = make_link(replace(EIGHT, framing=True))

    trace = replayed(link, (0, 0), (26, 0))

    assert trace.failure is not None
    assert (trace.failure.kind, trace.failure.output, trace.failure.tick) == ("framing", "k1", 28)
    assert trace.failure.got == "no strike: a frame dropped at tick 28, its stop bit not idle"
    told = failure_sentence(trace, link, Subject(link).windows)
    assert "for the press of 'k1' at tick 26: it became waiting (rule 'no stop bit'); " in told
    assert told.endswith(
        "so 'k1' did not strike, though its press at tick 0 was due at tick 28: "
        "a frame was dropped at tick 28, for the line was not idle in the stop bit"
    )


def test_a_press_that_is_lost_long_after_a_frame_was_dropped_is_lost() -> None:
    """Only a frame dropped since the press counts, and only on the branch that is looked at."""
    dropping = replace(EIGHT, framing=True, codes=(0, 1))
    link = make_link(dropping, branches=(0, 50))
    trace = replayed(link, (0, 0), (26, 0))
    assert trace.failure is not None
    assert (trace.failure.kind, trace.failure.branch) == ("framing", 0)

    deaf = make_link(replace(dropping, busy="ignore"), Operator())
    trace = replayed(deaf, (0, 0), (26, 0))
    assert trace.failure is not None
    assert (trace.failure.kind, trace.failure.tick) == ("lost", 54)


def test_a_lone_press_may_fail_by_framing() -> None:
    # Bits are sampled too soon: the last bit of code 2 is still on the line for the stop bit.
    early = FramedSerial((2,), 2, 8, 12, leader=20, framing=True)
    judged = judge(Subject(make_link(early)), "explorer", Progress())

    assert judged.verdict is Verdict.FAILS
    assert judged.trace is not None
    assert judged.trace.failure is not None
    assert judged.trace.failure.kind == "framing"


def test_settings_name_what_is_not_the_default() -> None:
    plain = {"bit", "sample", "frame", "code", "busy"}
    assert set(EIGHT.settings()) == plain
    full = replace(EIGHT, leader=9, edge=(-1, 2), votes=3, clock=2, framing=True)
    shown = full.settings()
    assert set(shown) == plain | {"leader", "edge", "votes", "oversample", "framing"}
    assert (shown["oversample"], shown["edge"]) == ("4", "-1 to 2 ticks late")
    assert full.frame == 9 + 2 * 8 + 8
