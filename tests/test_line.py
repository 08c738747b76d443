"""What the faults of a line do to its edges, and what that means for the link."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st

from models.framed_serial import FramedSerial
from models.parallel_code import ParallelCode
from models.pulse_gap import PulseGap
from models.wire_per_input import WirePerInput
from tests.links import make_link
from verify.engines.answer import Progress, Verdict
from verify.engines.simulator import Simulator
from verify.engines.trace import Chosen, Press, Script
from verify.errors import ModelError
from verify.parts.line import Faults
from verify.parts.link import Link
from verify.parts.operator import Operator
from verify.parts.scheme import Scheme
from verify.parts.signals import far_fall, far_rise, line_fall, line_rise
from verify.questions.engine_choice import EngineName
from verify.questions.judging import Subject, judge
from verify.questions.latency import latencies

both_engines = pytest.mark.parametrize("engine", ["explorer", "solver"])


@dataclass(frozen=True)
class Edges:
    """Ticks of the rises and falls of one line, at both ends, in order."""

    near: list[int]
    far: list[int]
    far_kinds: list[str]


def edges(link: Link, script: Script, line: int = 0) -> Edges:
    near, far, kinds = [], [], []
    for moment in Simulator(link, script.delay, None).run(script):
        for signal, _ in moment.occurrences:
            if signal in (line_rise(line), line_fall(line)):
                near.append(moment.tick)
            elif signal in (far_rise(line, 0), far_fall(line, 0)):
                far.append(moment.tick)
                kinds.append("rise" if signal == far_rise(line, 0) else "fall")
    return Edges(near, far, kinds)


def wire(hold: int, delay: int = 0, **faults: int) -> Link:
    return make_link(
        WirePerInput(1),
        Operator(hold=(hold, hold)),
        delay=(delay, delay),
        faults=Faults(**faults),
    )


def judged_kind(link: Link, engine: EngineName) -> str | None:
    """None if it holds, or the kind of its shortest failure."""
    judged = judge(Subject(link), engine, Progress())
    assert judged.verdict is not Verdict.UNDECIDED
    if judged.trace is None:
        return None
    assert judged.trace.failure is not None
    return judged.trace.failure.kind


# -- shortest ------------------------------------------------------------------


@given(st.integers(1, 6), st.integers(0, 6), st.integers(0, 3))
def test_a_pulse_arrives_iff_it_is_not_shorter_than_the_shortest(
    pulse: int, shortest: int, spare: int
) -> None:
    delay = shortest + spare
    link = wire(pulse, delay, shortest=shortest)

    found = edges(link, Script((Press(2, 0),), delay))

    assert found.near == [2, 2 + pulse]
    # Both ends of it as late as the line is long: telling long from short adds nothing.
    assert found.far == ([2 + delay, 2 + pulse + delay] if pulse >= shortest else [])


@given(st.lists(st.tuples(st.integers(1, 5), st.integers(1, 5)), max_size=6), st.integers(0, 5))
def test_a_short_pulse_takes_no_other_with_it(train: list[tuple[int, int]], shortest: int) -> None:
    """Marks and spaces of any lengths: the marks long enough arrive, whole, and no others."""
    presses, expected, now = [], [], 0
    for mark, space in train:
        presses.append((now, mark))
        if mark >= shortest:
            expected += [now + 7, now + mark + 7]
        now += mark + space
    # One wire with a hold of its own for each mark: holds are picks of the operator.
    link = make_link(
        WirePerInput(1), Operator(hold=(1, 5)), delay=(7, 7), faults=Faults(shortest=shortest)
    )
    script = Script(
        tuple(Press(t, 0) for t, _ in presses), 7, tuple(Chosen(t, "hold", m) for t, m in presses)
    )

    assert edges(link, script).far == expected


@both_engines
def test_pulses_of_exactly_the_shortest_are_as_good_as_longer_ones(engine: EngineName) -> None:
    def link(pulse: int, shortest: int) -> Link:
        scheme = PulseGap((5,), pulse, (0,))
        return make_link(
            scheme, Operator(spacing=12), delay=(3, 3), faults=Faults(shortest=shortest)
        )

    assert judged_kind(link(3, 3), engine) is None
    assert judged_kind(link(2, 2), engine) is None
    assert judged_kind(link(2, 3), engine) == "lost"
    found = latencies(Subject(link(3, 3)), engine, Progress())
    assert [(i.best, i.worst) for i in found.inputs] == [(3 + 5, 3 + 5)]


@both_engines
def test_a_frame_loses_the_bits_that_are_too_short(engine: EngineName) -> None:
    """Start pulse and bits last two ticks each: 3 goes through, since its bits join the start."""

    def link(*codes: int) -> Link:
        scheme = FramedSerial(codes, 2, 2, 3)
        return make_link(scheme, Operator(spacing=9), delay=(3, 3), faults=Faults(shortest=3))

    assert judged_kind(link(1, 3), engine) is None  # high for four ticks, and for six
    assert judged_kind(link(0, 3), engine) == "lost"  # a start pulse alone is too short
    assert judged_kind(link(2, 3), engine) == "lost"


def test_a_line_that_swallows_cannot_be_shorter_than_what_it_swallows() -> None:
    with pytest.raises(ModelError, match="at least as much, found 2"):
        wire(3, 2, shortest=3)


# -- jitter --------------------------------------------------------------------

# Names of the picks: the world chooses when an edge enters a branch without its delay.
RISE_LATE, FALL_LATE = "line0.branch0.jitter.rise", "line0.branch0.jitter.fall"


def test_an_edge_is_late_by_what_was_picked_for_it() -> None:
    link = wire(3, 2, jitter=2)

    def far(rise: int, fall: int) -> list[int]:
        picks = (Chosen(0, RISE_LATE, rise), Chosen(3, FALL_LATE, fall))
        return edges(link, Script((Press(0, 0),), 2, picks)).far

    assert far(0, 0) == [2, 5]
    assert far(2, 0) == [4, 5]
    assert far(0, 2) == [2, 7]
    assert far(1, 1) == [3, 6]


def test_edges_never_swap() -> None:
    # A pulse of one tick, its rise late by two: the fall can come only after it.
    link = wire(1, 0, jitter=2)

    picks = (Chosen(0, RISE_LATE, 2), Chosen(1, FALL_LATE, 0))
    found = edges(link, Script((Press(0, 0),), 0, picks))

    assert (found.far, found.far_kinds) == ([2, 3], ["rise", "fall"])


@given(
    st.lists(st.tuples(st.integers(1, 4), st.integers(1, 4)), min_size=1, max_size=6),
    st.integers(1, 3),
    st.data(),
)
def test_each_edge_is_late_by_its_own_pick_unless_the_one_before_is_in_its_way(
    train: list[tuple[int, int]], jitter: int, data: st.DataObject
) -> None:
    presses, near, now = [], [], 0
    for mark, space in train:
        presses.append((now, mark))
        near += [now, now + mark]
        now += mark + space
    late = [data.draw(st.integers(0, jitter), f"late {t}") for t in near]
    link = make_link(WirePerInput(1), Operator(hold=(1, 4)), faults=Faults(jitter=jitter))
    picks = [Chosen(t, "hold", m) for t, m in presses]
    picks += [Chosen(t, FALL_LATE if k % 2 else RISE_LATE, late[k]) for k, t in enumerate(near)]

    found = edges(link, Script(tuple(Press(t, 0) for t, _ in presses), 0, tuple(sorted(picks))))

    expected: list[int] = []
    for tick, extra in zip(near, late, strict=True):
        expected.append(max([tick + extra, *(last + 1 for last in expected[-1:])]))
    assert found.near == near
    assert found.far == expected
    assert found.far_kinds == ["rise", "fall"] * len(train)
    assert all(a < b for a, b in pairwise(found.far))
    assert all(0 <= b - a <= jitter for a, b in zip(near, found.far, strict=True))


STRIKES_AT_ONE_EDGE = [
    pytest.param(WirePerInput(1), 0, id="wire-per-input"),
    # The start edge moves, and the sample with it. In bits of 5 ticks, at 7, it stays 2 away
    # from where its bit begins and 2 before the last tick of it.
    pytest.param(FramedSerial((0, 1), 1, 5, 7), 7, id="framed-serial"),
    # Only codes of one line each, so that no word is a transient of another.
    pytest.param(ParallelCode((1, 2), 2), 0, id="parallel-code"),
]


@both_engines
@pytest.mark.parametrize("jitter", [0, 1, 2])
@pytest.mark.parametrize(("scheme", "alone"), STRIKES_AT_ONE_EDGE)
def test_jitter_widens_latency_by_exactly_its_ticks(
    scheme: Scheme, alone: int, jitter: int, engine: EngineName
) -> None:
    operator = Operator(spacing=20, hold=(4, 4))
    link = make_link(scheme, operator, delay=(1, 1), faults=Faults(jitter=jitter))

    found = latencies(Subject(link), engine, Progress())

    assert (found.verdict, found.exact) == (Verdict.HOLDS, True)
    assert {(i.best, i.worst) for i in found.inputs} == {(1 + alone, 1 + alone + jitter)}


@pytest.mark.parametrize(
    ("gaps", "jitter", "engine"),
    # The solver follows every choice at every edge: one gap is enough for it.
    [((6, 12), 1, "explorer"), ((6, 12), 2, "explorer"), ((4,), 1, "solver")],
)
def test_a_gap_bears_as_much_jitter_as_its_window(
    gaps: tuple[int, ...], jitter: int, engine: EngineName
) -> None:
    """Each of its two rises may be late: the gap is off by up to the jitter, either way."""

    def link(window: int) -> Link:
        scheme = PulseGap(gaps, 2, (window,) * len(gaps))
        return make_link(scheme, Operator(spacing=20), faults=Faults(jitter=jitter))

    # A rise outside the window is no match: that press is lost.
    assert judged_kind(link(jitter - 1), engine) == "lost"
    assert judged_kind(link(jitter), engine) is None
    found = latencies(Subject(link(jitter)), engine, Progress())
    assert [(i.best, i.worst) for i in found.inputs] == [(g, g + jitter) for g in gaps]


# -- skew ----------------------------------------------------------------------


@given(st.integers(0, 3), st.data())
def test_each_line_is_late_by_a_constant_of_its_own(skew: int, data: st.DataObject) -> None:
    late = [data.draw(st.integers(0, skew), f"line {k}") for k in range(3)]
    constants = tuple((f"line{k}.late", ticks) for k, ticks in enumerate(late)) if skew else ()
    link = make_link(
        ParallelCode((7,), 3), Operator(hold=(2, 2)), delay=(1, 1), faults=Faults(skew=skew)
    )
    script = Script((Press(0, 0), Press(5, 0)), 1, constants=constants)

    for k in range(3):
        found = edges(link, script, k)
        assert found.near == [0, 2, 5, 7]
        assert found.far == [t + 1 + late[k] for t in found.near]


@both_engines
def test_skew_spreads_the_latency_of_wires_that_do_not_meet(engine: EngineName) -> None:
    operator = Operator(spacing=8, hold=(2, 2))
    link = make_link(WirePerInput(3), operator, delay=(1, 2), faults=Faults(skew=2))

    found = latencies(Subject(link), engine, Progress())

    assert (found.verdict, found.exact) == (Verdict.HOLDS, True)
    assert [i.worst for i in found.inputs] == [2 + 2] * 3
    assert [i.best for i in found.inputs] == [1] * 3


@both_engines
def test_skew_between_wires_that_do_not_meet_breaks_nothing(engine: EngineName) -> None:
    link = make_link(WirePerInput(2), Operator(hold=(1, 2)), faults=Faults(skew=2))

    assert judged_kind(link, engine) is None
