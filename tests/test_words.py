"""What is said of a trace: exact sentences for real runs of every kind of failure."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction

import pytest
from hypothesis import given, reject
from hypothesis import strategies as st

from models.pulse_gap import PulseGap
from models.wire_per_input import WirePerInput
from tests.links import links, scripts
from verify.engines.simulator import NotAllowedError
from verify.engines.trace import Failure, Press, Script, Trace
from verify.parts.link import Link
from verify.parts.operator import Operator
from verify.parts.scheme import Scheme
from verify.parts.signals import MISSED
from verify.questions.judging import Subject
from verify.reports.words import (
    due_strikes,
    expected_output,
    failure_sentence,
    late_strike,
    printable,
    script_lines,
)

EVEN = (2, 4, 6, 8, 10, 12, 14)


def carillon(scheme: Scheme | None = None, **rest: object) -> Subject:
    scheme = scheme or PulseGap(EVEN, 1, (0,) * 7)
    rest = {"operator": Operator(), "tick": Fraction(1, 20), **rest}
    names = tuple("cdefgab")[: scheme.inputs]
    return Subject(
        Link(name="carillon", names=names, scheme_name="", scheme=scheme, **rest)  # type: ignore[arg-type]
    )


def run(subject: Subject, *presses: tuple[int, str], delay: int = 0) -> Trace:
    names = subject.link.names
    return subject.replay(Script(tuple(Press(t, names.index(n)) for t, n in presses), delay))


def sentence(subject: Subject, *presses: tuple[int, str], delay: int = 0) -> str:
    trace = run(subject, *presses, delay=delay)
    return failure_sentence(trace, subject.link, subject.windows)


@st.composite
def runs(draw: st.DrawFn) -> tuple[Subject, Trace]:
    """Links of every scheme, their operators set free so that much goes wrong, and a run."""
    link = draw(links()).with_operator(spacing=0, repeat=0, overlap=None)
    subject = Subject(link)
    try:
        return subject, subject.replay(draw(scripts(link)))
    except NotAllowedError:
        reject()


def test_lost_because_a_pulse_melts_into_the_one_before() -> None:
    assert sentence(carillon(), (0, "b"), (15, "c")) == (
        "tick 17 (850 ms): 'c' did not strike, though its press at tick 15 was due at tick 17; "
        "it was pressed 15 ticks after 'b'; when it was pressed, the line had been high since "
        "tick 14; from its press on, the line rose only at tick 17"
    )


def test_lost_because_another_press_comes_between() -> None:
    assert sentence(carillon(), (0, "b"), (13, "c")) == (
        "tick 14 (700 ms): 'b' did not strike, though its press at tick 0 was due at tick 14; "
        "'c' was pressed 13 ticks after it; from its press on, the line rose at ticks 0 and 13"
    )


def test_lost_because_the_transmitter_is_busy() -> None:
    ignoring = carillon(PulseGap(EVEN, 1, (0,) * 7, busy="ignore"))
    assert sentence(ignoring, (0, "f"), (5, "c")) == (
        "tick 7 (350 ms): 'c' did not strike, though its press at tick 5 was due at tick 7; "
        "it was pressed 5 ticks after 'f'; from its press on, the line did not rise"
    )


def test_lost_among_many_rises_names_the_last() -> None:
    told = sentence(carillon(), (0, "c"), (0, "e"), (4, "c"))
    assert told == (
        "tick 6 (300 ms): 'e' did not strike, though its press at tick 0 was due at tick 6; "
        "it was pressed in the same tick as 'c'; 'c' was pressed 4 ticks after it; "
        "from its press on, the line rose 4 times, last at ticks 2, 4 and 6"
    )


def test_in_a_full_queue_the_press_that_found_no_place_is_named() -> None:
    queue = carillon(PulseGap(EVEN, 1, (0,) * 7, busy="queue"))
    presses = (0, "a"), (5, "c"), (10, "c")
    assert sentence(queue, *presses).startswith(
        "tick 12 (600 ms): 'c' did not strike, though its press at tick 10 was due at tick 12; "
    )
    dues = due_strikes(run(queue, *presses), queue.link, queue.windows[0], 0)
    # The send of 'a' takes 14 ticks; then 'c' needs 2 more. The third press is not kept.
    assert [(d.earliest, d.latest, d.delivered) for d in dues] == [
        (12, 12, True),
        (7, 16, False),
        (12, 12, False),
    ]


def test_ghost_of_an_input_that_is_due_only_later() -> None:
    subject = carillon()
    assert sentence(subject, (0, "d"), (2, "c")) == (
        "tick 2 (100 ms): 'c' struck, though its press at tick 2 is due only at tick 4; "
        "the line rose in that tick and 2 ticks before, "
        "after the presses of 'd' at tick 0 and 'c' at tick 2"
    )
    trace = run(subject, (0, "d"), (2, "c"))
    assert failure_sentence(trace, subject.link).startswith(
        "tick 2 (100 ms): 'c' struck, though no press of it was due; "
    )


def test_ghost_of_an_input_that_was_not_pressed() -> None:
    taps = carillon(PulseGap((2, 4, 6), 1, (0,) * 3, receiver_kind="taps"))
    assert sentence(taps, (0, "c"), (2, "c")) == (
        "tick 4 (200 ms): 'd' struck, though it was not pressed; "
        "the line rose in that tick and 2 and 4 ticks before, "
        "after the presses of 'c' at tick 0 and 'c' at tick 2"
    )


def test_ghost_of_an_input_that_has_struck_already() -> None:
    assert sentence(carillon(), (0, "c"), (4, "d"), (6, "d")) == (
        "tick 6 (300 ms): 'c' struck, though its press at tick 0 had brought its strike at "
        "tick 2 already; the line rose in that tick and 2, 4 and 6 ticks before, "
        "after the presses of 'c' at tick 0, 'd' at tick 4 and 'd' at tick 6"
    )


def test_ghost_on_a_branch_is_told_from_its_own_end_of_the_line() -> None:
    subject = carillon(branches=(0, 3), delay=(2, 4))
    assert sentence(subject, (0, "a"), (10, "c"), delay=2) == (
        "tick 12 (600 ms): 'g' struck on branch 1, though it was not pressed; "
        "the far end of the line rose in that tick and 10 ticks before, "
        "after the presses of 'a' at tick 0 and 'c' at tick 10"
    )


def test_what_was_on_its_way_already_is_not_put_down_to_a_later_press() -> None:
    subject = carillon(PulseGap((4, 16), 2, (1, 1), busy="ignore"), branches=(0, 8), delay=(1, 3))
    assert sentence(subject, (0, "d"), (18, "c"), delay=3) == (
        "tick 25 (1.25 s): 'c' did not strike on branch 1, though its press at tick 18 was due "
        "from tick 23 to tick 25; it was pressed 18 ticks after 'd'; from tick 21 on, when its "
        "press could get there, the far end of the line did not rise"
    )


def test_wrong_output() -> None:
    assert sentence(carillon(), (0, "c"), (2, "d"), (4, "d")) == (
        "tick 6 (300 ms): 'c' struck, where 'd', pressed at tick 2, was due; "
        "the line rose in that tick and 2, 4 and 6 ticks before, "
        "after the presses of 'c' at tick 0, 'd' at tick 2 and 'd' at tick 4"
    )


def test_late_against_a_window_of_the_file() -> None:
    subject = carillon(within=(0, 13))
    assert sentence(subject, (0, "b")) == (
        "tick 13 (650 ms): 'b' did not strike in time, though its press at tick 0 was due "
        "from tick 0 to tick 13; it struck at tick 14, 1 tick (50 ms) too late; "
        "nothing else was pressed; from its press on, the line rose only at tick 0"
    )


def test_of_many_presses_only_the_last_are_told() -> None:
    told = sentence(carillon(), (0, "c"), (10, "c"), (20, "c"), (30, "d"), (32, "c"))
    assert told.endswith(
        "after 5 presses, the last ones of 'c' at tick 20, 'd' at tick 30 and 'c' at tick 32"
    )


def test_several_lines_are_named() -> None:
    subject = carillon(WirePerInput(2), within=(3, 3))
    assert sentence(subject, (0, "d")) == (
        "tick 0 (0 s): 'd' struck, though its press at tick 0 is due only at tick 3; "
        "line.2 rose in that tick, after the press of 'd' at tick 0"
    )


def test_a_kind_without_words_of_its_own_says_what_the_trace_says() -> None:
    subject = carillon()
    trace = replace(
        run(subject, (0, "c")), failure=Failure(2, "out-of-order", "c", "'d' first", "'c' first")
    )
    assert failure_sentence(trace, subject.link, subject.windows) == (
        "tick 2 (100 ms): out-of-order at output 'c': expected 'd' first, got 'c' first; "
        "the line rose in that tick and 2 ticks before, after the press of 'c' at tick 0"
    )


@pytest.mark.parametrize(
    ("presses", "told"),
    [
        ((), "nothing went wrong: no strike was missed and none came"),
        (((0, "c"),), "nothing went wrong: 'c' struck 2 ticks (100 ms) after its press at tick 0"),
        (
            ((0, "c"), (20, "c")),
            "nothing went wrong: 'c' struck 2 ticks (100 ms) after its press at tick 20, "
            "and so did the others",
        ),
        (
            ((0, "c"), (20, "b")),
            "nothing went wrong: soonest 'c' struck 2 ticks (100 ms) after its press at tick 0, "
            "latest 'b' struck 14 ticks (700 ms) after its press at tick 20",
        ),
    ],
)
def test_without_failure_the_latencies(presses: tuple[tuple[int, str], ...], told: str) -> None:
    assert sentence(carillon(), *presses) == told


def test_script_lines_have_delay_presses_and_releases() -> None:
    subject = carillon(WirePerInput(2), operator=Operator(hold=(2, 2)), delay=(1, 3))
    trace = run(subject, (0, "d"), (2, "c"), delay=3)
    assert script_lines(trace, subject.link) == [
        "line delay in this run: 3 ticks (150 ms)",
        "tick 0 (0 s): 'd' pressed",
        "tick 2 (100 ms): 'd' let go",
        "tick 2 (100 ms): 'c' pressed",
        "tick 4 (200 ms): 'c' let go",
    ]


def test_seconds_are_exact_for_ticks_of_any_length() -> None:
    subject = carillon()
    link = replace(subject.link, tick=Fraction(1, 3))
    trace = run(subject, (0, "c"), (30, "c"))
    assert script_lines(trace, link)[-1] == "tick 30 (10 s): 'c' pressed"


@given(st.text(), st.text())
def test_printable_texts_stay_different_and_on_one_line(one: str, other: str) -> None:
    assert (printable(one) == printable(other)) == (one == other)
    assert printable(one).isprintable()


def test_a_late_strike_is_read_from_its_failure() -> None:
    late = Failure(4, "late", "at tick 9", "a strike", "a strike at tick 12")
    assert late_strike(late) == 12
    assert late_strike(replace(late, kind="lost")) is None


def test_expected_output_tells_names_apart_that_end_alike() -> None:
    link = replace(carillon().link, names=("of b", "b", "c", "d", "e", "f", "g"))
    failure = Failure(4, "wrong-output", "c", "a strike of of b", "a strike of c")
    assert expected_output(failure, link) == 0
    assert expected_output(replace(failure, expected="a strike of b"), link) == 1


@given(runs())
def test_due_strikes_are_those_of_the_monitor(drawn: tuple[Subject, Trace]) -> None:
    """Strikes come within the windows, and a lost one is found lost as its window ends."""
    subject, trace = drawn
    failure = trace.failure
    for branch, windows in enumerate(subject.windows):
        dues = due_strikes(trace, subject.link, windows, branch)
        assert [d.press for d in dues] == sorted(trace.script.presses)
        came = {(d.input, d.tick - d.ticks): d.tick for d in trace.latencies if d.branch == branch}
        for due in dues:
            struck = came.get((due.press.input, due.press.tick))
            assert due.delivered == (struck is not None)
            assert struck is None or due.earliest <= struck <= due.latest
        if failure and failure.branch == branch and failure.kind in MISSED:
            assert any(
                subject.link.names[subject.link.outputs[d.press.input]] == failure.output
                and d.latest == failure.tick
                and not d.delivered
                for d in dues
            )


@given(runs())
def test_every_failure_has_a_sentence_that_names_tick_and_output(
    drawn: tuple[Subject, Trace],
) -> None:
    subject, trace = drawn
    for windows in (None, subject.windows):
        told = failure_sentence(trace, subject.link, windows)
        assert told.isprintable()
        if trace.failure is None:
            assert told.startswith("nothing went wrong: ")
        else:
            assert told.startswith(f"tick {trace.failure.tick} (")
            assert f"'{trace.failure.output}'" in told
