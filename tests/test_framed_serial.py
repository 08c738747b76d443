"""framed-serial: frames on the line, what their overlap does, and the transmitter's choices."""

from __future__ import annotations

from dataclasses import replace

import pytest
from hypothesis import given

from models.framed_serial import LINE, FramedSerial
from tests.links import framed_serials, make_link
from verify.engines.answer import Progress, Verdict
from verify.engines.simulator import Simulator
from verify.engines.trace import Press, Script, Trace
from verify.parts.link import Link
from verify.parts.operator import Operator
from verify.parts.signals import line_fall, line_rise, strike
from verify.questions.engine_choice import EngineName
from verify.questions.judging import Subject, judge
from verify.questions.latency import latencies
from verify.questions.spacing import least_spacing

both_engines = pytest.mark.parametrize("engine", ["explorer", "solver"])

# Bits of two ticks, sampled in their second tick: at 3 and 5. Frames end at 6.
FOUR = FramedSerial((0, 1, 2, 3), 2, 2, 3, stop=0)


def seen(link: Link, *presses: tuple[int, int]) -> tuple[list[tuple[int, int]], list[int]]:
    """Strikes, as tick and output, and the ticks at which the line changed."""
    strikes, edges = [], []
    for moment in Simulator(link, 0, None).run(Script(tuple(Press(*p) for p in presses))):
        for signal, values in moment.occurrences:
            if signal == strike(0):
                strikes.append((moment.tick, values[0]))
            elif signal in (line_rise(LINE), line_fall(LINE)):
                edges.append(moment.tick)
    return strikes, edges


def replayed(scheme: FramedSerial, *presses: tuple[int, int]) -> Trace:
    return Subject(make_link(scheme)).replay(Script(tuple(Press(*p) for p in presses)))


@pytest.mark.parametrize(
    ("index", "edges"),
    # Start pulse, then the least bit first.
    [(0, [0, 2]), (1, [0, 4]), (2, [0, 2, 4, 6]), (3, [0, 6])],
)
def test_a_frame_is_a_start_pulse_and_the_bits_of_the_code(index: int, edges: list[int]) -> None:
    assert seen(make_link(FOUR), (0, index)) == ([(5, index)], edges)


@pytest.mark.parametrize("busy", ["overlay", "ignore"])
def test_a_leader_may_be_longer_than_a_bit(busy: str) -> None:
    scheme = replace(FOUR, leader=5, sample=6, busy=busy)  # type: ignore[arg-type]

    # The start pulse, then two bits of two ticks.
    assert seen(make_link(scheme), (0, 2))[1] == [0, 5, 7, 9]


@given(framed_serials(most_width=3, most_inputs=8, plain_receiver=True))
def test_a_press_alone_strikes_when_its_last_bit_is_sampled(scheme: FramedSerial) -> None:
    link = make_link(scheme)

    for index in range(scheme.inputs):
        strikes, _ = seen(link, (4, index))
        assert strikes == [(4 + scheme.sample + (scheme.width - 1) * scheme.bit, index)]


@both_engines
def test_latency_is_the_same_for_every_input(engine: EngineName) -> None:
    scheme = FramedSerial((6, 0, 3, 7, 1), 3, 2, 2)
    link = make_link(scheme, Operator(spacing=scheme.frame), delay=(3, 3))

    found = latencies(Subject(link), engine, Progress())

    assert (found.verdict, found.exact) == (Verdict.HOLDS, True)
    assert [(i.best, i.worst) for i in found.inputs] == [(3 + 2 + 2 * 2,) * 2] * 5


def test_frames_that_overlap_are_or_ed() -> None:
    # 0 from 0: high 0-1. 1 from 2: high 2-5. Together high 0-5, which is 3.
    assert seen(make_link(FOUR), (0, 0), (2, 1)) == ([(5, 3)], [0, 6])
    failure = replayed(FOUR, (0, 0), (2, 1)).failure
    assert failure is not None
    assert (failure.kind, failure.output, failure.tick) == ("wrong-output", "k4", 5)


def test_a_frame_that_starts_where_one_ends_has_no_start_edge() -> None:
    # 3 is high to its end at 6; the next from 6 on melts into it. After 0 nothing does.
    assert seen(make_link(FOUR), (0, 3), (6, 0)) == ([(5, 3)], [0, 8])
    assert seen(make_link(FOUR), (0, 3), (7, 0)) == ([(5, 3), (12, 0)], [0, 6, 7, 9])
    assert seen(make_link(FOUR), (0, 0), (6, 3)) == ([(5, 0), (11, 3)], [0, 2, 6, 12])


@both_engines
@pytest.mark.parametrize(
    ("codes", "spacing"),
    # A start edge needs a low tick before it. Some frame with a last bit of 1 is high to its
    # end at 6. Without one, the line is low from 4 on and all is sampled at 5.
    [((0, 1, 2, 3), 7), ((0, 1), 6)],
)
def test_overlaid_frames_need_a_low_tick_between_them(
    codes: tuple[int, ...], spacing: int, engine: EngineName
) -> None:
    found = least_spacing(Subject(make_link(replace(FOUR, codes=codes))), engine, Progress())

    assert (found.verdict, found.ticks) == (Verdict.HOLDS, spacing)


@both_engines
@pytest.mark.parametrize(("stop", "frame"), [(0, 7), (1, 8), (2, 10)])
def test_a_transmitter_that_ignores_is_deaf_for_a_frame_and_its_stop(
    stop: int, frame: int, engine: EngineName
) -> None:
    scheme = replace(FOUR, stop=stop, busy="ignore")

    for apart in range(2, frame):  # the input must be let go before
        trace = replayed(scheme, (0, 1), (apart, 1))
        assert trace.failure is not None
        assert trace.failure.kind == "lost"
        assert seen(make_link(scheme), (0, 1), (apart, 1)) == ([(5, 1)], [0, 4])
    assert replayed(scheme, (0, 1), (frame, 1)).failure is None
    assert least_spacing(Subject(make_link(scheme)), engine, Progress()).ticks == frame


def test_a_queue_sends_later_what_it_held_back() -> None:
    scheme = replace(FOUR, stop=1, busy="queue", depth=1)

    # The frame takes 8 ticks: the second press is sent at 8, not at 3.
    trace = replayed(scheme, (0, 1), (3, 2))
    assert trace.failure is None
    assert [(x.input, x.tick, x.ticks) for x in trace.latencies] == [(1, 5, 5), (2, 13, 10)]
    # A third finds no place.
    failure = replayed(scheme, (0, 1), (3, 2), (4, 0)).failure
    assert failure is not None
    assert (failure.kind, failure.output) == ("lost", "k1")
    assert replayed(replace(scheme, depth=2), (0, 1), (3, 2), (4, 0)).failure is None


def test_a_queue_makes_latency_depend_on_the_frames_ahead() -> None:
    scheme = replace(FOUR, stop=0, busy="queue", depth=1)
    # Frames take 7 ticks. Presses 5 apart, and a pause before an input is used again: the
    # second of two waits 2 ticks, a third would find 4 ticks of work left, and so on.
    link = make_link(replace(scheme, codes=(1, 2)), Operator(spacing=5, repeat=14))

    found = latencies(Subject(link), "explorer", Progress())

    assert (found.verdict, found.exact) == (Verdict.HOLDS, True)
    assert [i.best for i in found.inputs] == [5, 5]
    assert [i.worst for i in found.inputs] == [7, 7]


def test_a_code_that_nobody_has_strikes_nothing() -> None:
    # 1 and 2 overlaid as above make 3, which is not in the table.
    two = replace(FOUR, codes=(0, 1))

    assert seen(make_link(two), (0, 0), (2, 1)) == ([], [0, 6])
    failure = replayed(two, (0, 0), (2, 1)).failure
    assert failure is not None
    assert failure.kind == "lost"


def test_the_receiver_is_ready_for_the_next_frame_after_its_last_sample() -> None:
    # The last bit of 1 is low from 4 on and sampled at 5: a start edge at 6 is seen.
    assert seen(make_link(FOUR), (0, 1), (6, 1)) == ([(5, 1), (11, 1)], [0, 4, 6, 10])
    # At 5 it is still reading, and the line is high when it samples: 3.
    assert seen(make_link(FOUR), (0, 1), (5, 1))[0][0] == (5, 3)
    judged = judge(Subject(make_link(FOUR, Operator(spacing=7))), "explorer", Progress())
    assert judged.verdict is Verdict.HOLDS
