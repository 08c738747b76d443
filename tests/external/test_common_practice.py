"""What builders of pulse-gap links report of them. Common practice, no source, throughout."""

from __future__ import annotations

from dataclasses import replace
from typing import Literal

import pytest
from hypothesis import assume, event, given
from hypothesis import strategies as st

from models.pulse_gap import PulseGap
from tests.links import even_gaps, make_link, pulse_gaps
from verify.engines.answer import Progress, Verdict
from verify.engines.simulator import NotAllowedError
from verify.engines.trace import Press, Script, Trace
from verify.parts.operator import Operator
from verify.questions.judging import EngineName, Subject, judge
from verify.questions.latency import latencies
from verify.questions.spacing import least_spacing


def two_presses(scheme: PulseGap, first: int, second: int, apart: int) -> Trace | None:
    """The second press ``apart`` ticks after the first; None if the operator may not."""
    try:
        script = Script((Press(0, first), Press(apart, second)))
        return Subject(make_link(scheme)).replay(script)
    except NotAllowedError:
        return None


@given(pulse_gaps(), st.data())
def test_a_second_press_during_the_first_one_misfires(
    scheme: PulseGap, data: st.DataObject
) -> None:
    """Common practice, no source.

    With a timer it always does, whatever the table: before the first one's second pulse the
    line either rises once more, or the second press melts into the first and is gone. (Taps
    can tell two bursts apart; what they do is in ``test_distinct_differences``.)
    """
    first = data.draw(st.integers(0, scheme.inputs - 1), "first")
    second = data.draw(st.integers(0, scheme.inputs - 1), "second")
    apart = data.draw(st.integers(1, scheme.gaps[first] - 1), "apart")
    once = replace(scheme, receiver_kind="timer", depth=1)

    overlaid = two_presses(replace(once, busy="overlay"), first, second, apart)
    assume(overlaid is not None)
    assert overlaid is not None
    assert overlaid.failure is not None
    event(overlaid.failure.kind)

    # A transmitter that is deaf meanwhile loses the press; one that keeps it does neither.
    ignored = two_presses(replace(once, busy="ignore"), first, second, apart)
    assert ignored is not None
    assert ignored.failure is not None
    assert (ignored.failure.kind, ignored.failure.output) == ("lost", f"k{second + 1}")
    queued = two_presses(replace(once, busy="queue"), first, second, apart)
    assert queued is not None
    assert queued.failure is None
    assert [latency.input for latency in queued.latencies] == [first, second]


@pytest.mark.parametrize("receiver", ["timer", "taps"])
@pytest.mark.parametrize("engine", ["explorer", "solver"])
@pytest.mark.parametrize("busy", ["overlay", "ignore"])
def test_latency_differs_between_outputs_and_is_constant_for_each(
    busy: Literal["overlay", "ignore"], engine: EngineName, receiver: Literal["timer", "taps"]
) -> None:
    """Common practice, no source."""
    link = make_link(even_gaps(4, busy=busy, receiver_kind=receiver), delay=(3, 3))
    safe = least_spacing(Subject(link), engine, Progress())
    assert safe.ticks is not None

    found = latencies(Subject(link.with_operator(spacing=safe.ticks)), engine, Progress())

    assert (found.verdict, found.exact) == (Verdict.HOLDS, True)
    assert [i.best for i in found.inputs] == [i.worst for i in found.inputs]
    assert len({i.worst for i in found.inputs}) == 4
    # The receiver can tell only when the second pulse comes: the gap, and the way there.
    assert [i.worst for i in found.inputs] == [3 + gap for gap in (2, 4, 6, 8)]


def test_latency_is_constant_no_more_where_presses_wait_for_each_other() -> None:
    """Common practice, no source: constant only as long as nothing is queued."""
    scheme = even_gaps(2, busy="queue", depth=1)
    link = make_link(scheme, Operator(spacing=5, repeat=12))

    found = latencies(Subject(link), "explorer", Progress())

    # The longer send takes 6 ticks: a press of the other input 5 after it waits for 1 more.
    # The shorter one takes 4, so the longer input never waits.
    assert (found.verdict, found.exact) == (Verdict.HOLDS, True)
    assert [(i.best, i.worst) for i in found.inputs] == [(2, 3), (4, 4)]


@pytest.mark.parametrize("engine", ["explorer", "solver"])
def test_latency_and_spacing_grow_with_the_table(engine: EngineName) -> None:
    """Common practice, no source."""
    worst, spacing = [], []
    for n in range(1, 9):
        link = make_link(even_gaps(n))
        safe = least_spacing(Subject(link), engine, Progress())
        assert safe.ticks is not None
        found = latencies(Subject(link.with_operator(spacing=safe.ticks)), engine, Progress())
        assert found.worst is not None
        spacing.append(safe.ticks)
        worst.append(found.worst)

    assert worst == sorted(set(worst))
    assert spacing == sorted(set(spacing))


@given(pulse_gaps(most_inputs=6))
def test_no_table_of_n_gaps_is_faster_than_n_ticks_past_the_pulse(scheme: PulseGap) -> None:
    """Common practice, no source: one line pays for every further input with time."""
    lone = Subject(make_link(scheme)).lone

    assert all(early == late for early, late in zip(lone.earliest, lone.latest, strict=True))
    slowest = max(late for late in lone.latest if late is not None)
    assert slowest >= scheme.pulse + scheme.inputs


@pytest.mark.parametrize("n", [2, 3, 5])
def test_a_single_press_now_and_then_always_comes_out_right(n: int) -> None:
    """Common practice, no source: every scheme works when one control is moved slowly."""
    link = make_link(even_gaps(n), Operator(spacing=10 * n))

    for engine in ("explorer", "solver"):
        assert judge(Subject(link), engine, Progress()).verdict is Verdict.HOLDS  # type: ignore[arg-type]
