"""What builders of such links report of them. Common practice, no source, throughout."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction
from typing import Literal

import pytest
from hypothesis import assume, event, given
from hypothesis import strategies as st

from models.framed_serial import FramedSerial
from models.parallel_code import ParallelCode
from models.pulse_gap import PulseGap
from models.scan import Scan
from models.wire_per_input import WirePerInput
from tests.links import even_gaps, make_link, pulse_gaps
from verify.engines.answer import Budget, Progress, Verdict
from verify.engines.simulator import NotAllowedError
from verify.engines.trace import Press, Script, Trace
from verify.errors import LinkFileError
from verify.linkfile import parse
from verify.parts.clock import Clock
from verify.parts.line import Faults
from verify.parts.link import Link
from verify.parts.operator import Operator
from verify.parts.scheme import Scheme
from verify.questions.engine_choice import EngineName
from verify.questions.judging import Subject, judge
from verify.questions.latency import latencies
from verify.questions.lifetime import lifetime
from verify.questions.rate_margin import rate_margin
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


# -- codes on parallel lines -------------------------------------------------------

EXCLUSIVE = Operator(hold=(1, 2), overlap=1)


def counting(lines: int) -> ParallelCode:
    """Every word but idle."""
    return ParallelCode(tuple(range(1, 2**lines)), lines)


@pytest.mark.parametrize("engine", ["explorer", "solver"])
@pytest.mark.parametrize(("lines", "inputs"), [(1, 1), (2, 3), (3, 7), (4, 15)])
def test_k_lines_with_idle_reserved_carry_two_to_the_k_less_one(
    lines: int, inputs: int, engine: EngineName
) -> None:
    """Common practice, no source: three lines carry seven."""
    link = make_link(counting(lines), EXCLUSIVE)

    assert link.inputs == inputs
    assert judge(Subject(link), engine, Progress()).verdict is Verdict.HOLDS


@pytest.mark.parametrize("lines", [1, 2, 3, 4])
def test_k_lines_carry_no_input_more(lines: int) -> None:
    """Common practice, no source.

    One more has only the word of idle left, or that of another input; either fails at once.
    """
    text = 'tick = "50 ms"\n[inputs]\ncount = {}\n[link]\nscheme = "parallel-code"\nlines = {}\n'
    most = 2**lines - 1

    assert parse(text.format(most, lines), "lines.toml").scheme == counting(lines)
    with pytest.raises(LinkFileError) as refused:
        parse(text.format(most + 1, lines), "lines.toml")
    assert refused.value.key == "link.lines"

    for word in range(2**lines):
        more = ParallelCode((*counting(lines).codes, word), lines)
        judged = judge(Subject(make_link(more, EXCLUSIVE)), "explorer", Progress())
        assert judged.verdict is Verdict.FAILS
        assert judged.trace is not None
        assert len(judged.trace.script.presses) == 1


def fixed_latency(scheme: Scheme, operator: Operator, engine: EngineName) -> set[int]:
    """Ticks from press to strike: best and worst of all inputs, on a line of 3 ticks."""
    link = make_link(scheme, operator, delay=(3, 3))
    found = latencies(Subject(link), engine, Progress())
    assert (found.verdict, found.exact) == (Verdict.HOLDS, True)
    assert all(i.best is not None and i.worst is not None for i in found.inputs)
    return {ticks for i in found.inputs for ticks in (i.best, i.worst) if ticks is not None}


@pytest.mark.parametrize("engine", ["explorer", "solver"])
def test_parallel_codes_take_the_same_time_whatever_the_number_of_inputs(
    engine: EngineName,
) -> None:
    """Common practice, no source: as fast as one wire each."""
    wires = fixed_latency(WirePerInput(3), EXCLUSIVE, engine)

    assert wires == {3}
    for lines in (1, 2, 3):
        assert fixed_latency(counting(lines), EXCLUSIVE, engine) == wires


# -- framed serial -------------------------------------------------------------------


def least_frame(inputs: int, bit: int) -> FramedSerial:
    """The fastest frame for so many inputs: as few bits as tell them apart, sampled at once."""
    width = max(1, (inputs - 1).bit_length())
    return FramedSerial(tuple(range(inputs)), width, bit, sample=bit, stop=0)


def densest_table(inputs: int, pulse: int) -> PulseGap:
    """The fastest table for so many inputs: gaps a tick apart, from the least that shows."""
    gaps = tuple(range(pulse + 1, pulse + 1 + inputs))
    return PulseGap(gaps, pulse, (0,) * inputs)


@pytest.mark.parametrize("engine", ["explorer", "solver"])
def test_framed_serial_has_the_same_latency_on_all_outputs(engine: EngineName) -> None:
    """Common practice, no source."""
    for inputs in (1, 2, 3, 5, 8):
        scheme = least_frame(inputs, 2)
        found = fixed_latency(scheme, Operator(spacing=scheme.frame), engine)
        assert len(found) == 1


def slowest(scheme: Scheme) -> int:
    """Worst latency of any input, all alone."""
    latest = [ticks for ticks in Subject(make_link(scheme)).lone.latest if ticks is not None]
    assert len(latest) == scheme.inputs
    return max(latest)


def ahead_from(pulse: int, most: int = 40) -> int:
    """Least number of inputs from which on, up to ``most``, the frame beats the table."""
    behind = [
        n
        for n in range(1, most + 1)
        if slowest(least_frame(n, pulse)) >= slowest(densest_table(n, pulse))
    ]
    return max(behind, default=0) + 1


@pytest.mark.parametrize(
    ("pulse", "inputs"),
    # A frame takes a pulse for each bit, a table a tick for each input.
    [(1, 1), (2, 1), (3, 10), (4, 13), (5, 21), (6, 25)],
)
def test_framed_serial_is_ahead_of_pulse_gap_for_more_than_a_few_inputs(
    pulse: int, inputs: int
) -> None:
    """Common practice, no source. Both with the same shortest pulse, and as dense as they go.

    From how many inputs on is measured here: it grows with the length of a pulse in ticks.
    """
    assert ahead_from(pulse) == inputs


@pytest.mark.parametrize(
    ("engine", "faults"),
    # A line that swallows anything shorter than the pulses of either takes the solver minutes.
    [("explorer", Faults(shortest=2)), ("solver", Faults())],
)
def test_seven_inputs_are_served_sooner_by_a_frame(engine: EngineName, faults: Faults) -> None:
    """Common practice, no source: pulses of two ticks, each at its own least safe spacing."""
    found = []
    for scheme in (least_frame(7, 2), densest_table(7, 2)):
        link = make_link(scheme, delay=(2, 2), faults=faults)
        safe = least_spacing(Subject(link), engine, Progress())
        assert safe.ticks is not None
        slow = latencies(Subject(link.with_operator(spacing=safe.ticks)), engine, Progress())
        assert (slow.verdict, slow.exact) == (Verdict.HOLDS, True)
        assert slow.worst is not None
        found.append((slow.worst - 2, safe.ticks))

    # Three bits of two ticks after the start pulse began; gaps 3 to 9. Then the line must be
    # low for a tick: after the last bit, and after the second pulse.
    assert found == [(6, 9), (9, 12)]


# -- scans whose clocks differ -----------------------------------------------------


def scanning(slots: int, *, synced: bool, error: Fraction | None = None) -> Link:
    """Slots of 4 ticks, sampled in the middle; the clock may be off by ``error`` either way."""
    clock = Clock() if error is None else Clock(rate=(-error, error))
    return make_link(Scan(slots, 4, 2, synced=synced), kind="level", clock=clock)


@pytest.mark.parametrize("error", [Fraction(1, 10), Fraction(1, 1000), Fraction(1, 10**6)])
def test_a_free_scan_fails_in_the_end_whatever_the_error_of_its_clock(error: Fraction) -> None:
    """Common practice, no source. A synced one survives the smaller of these for ever."""
    free = lifetime(Subject(scanning(3, synced=False, error=error)), "auto", Progress())
    synced = lifetime(Subject(scanning(3, synced=True, error=error)), "auto", Progress())

    assert free.ticks is not None
    # Half a slot must be lost or won, and the clocks part by so much of the time that passes.
    assert 2 / error - 4 * 4 <= free.ticks <= 2 / error + 4 * 4
    assert synced.forever


@pytest.mark.parametrize(
    "slots", [2, 3, *(pytest.param(n, marks=pytest.mark.slow) for n in (4, 5, 6, 7))]
)
def test_the_longer_the_frame_the_smaller_the_error_that_a_synced_scan_survives(
    slots: int,
) -> None:
    """Common practice, no source: the way from the sample to the slot's edge, by the frame."""
    found = rate_margin(scanning(slots, synced=True), "auto", Progress(), Budget(60))

    assert (found.least.verdict, found.most.verdict) == (Verdict.HOLDS, Verdict.HOLDS)
    assert found.least.amount == found.most.amount == Fraction(2, 4 * slots)
