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
from verify.reports.due import due_strikes, expected_output, late_strike
from verify.reports.names import printable
from verify.reports.script_words import script_lines
from verify.reports.words import failure_sentence

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


def test_in_a_full_queue_the_press_that_found_no_place_is_named() -> None:
    queue = carillon(PulseGap(EVEN, 1, (0,) * 7, busy="queue"))
    presses = (0, "a"), (5, "c"), (10, "c")
    told = sentence(queue, *presses)
    assert told.startswith("tick 12 (600 ms): the press of 'c' at tick 10 found the transmitter")
    assert told.endswith("though its press at tick 10 was due at tick 12")
    dues = due_strikes(run(queue, *presses), queue.link, queue.windows[0], 0)
    # The send of 'a' takes 14 ticks; then 'c' needs 2 more. The third press is not kept.
    assert [(d.earliest, d.latest, d.delivered) for d in dues] == [
        (12, 12, True),
        (7, 16, False),
        (12, 12, False),
    ]


def test_without_windows_nothing_is_said_of_when_it_was_due() -> None:
    subject = carillon()
    trace = run(subject, (0, "d"), (2, "c"))
    told = failure_sentence(trace, subject.link)
    assert told.endswith("read as 'c', so it struck, though no press of it was due")
    told = failure_sentence(trace, subject.link, subject.windows)
    assert told.endswith("so it struck, though its press at tick 2 is due only at tick 4")


def test_a_kind_without_words_of_its_own_says_what_the_trace_says() -> None:
    subject = carillon()
    trace = replace(
        run(subject, (0, "c")), failure=Failure(2, "out-of-order", "c", "'d' first", "'c' first")
    )
    assert failure_sentence(trace, subject.link, subject.windows) == (
        "tick 2 (100 ms): the press of 'c' at tick 0 went before; "
        "so out-of-order at output 'c': expected 'd' first, got 'c' first"
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


def test_levers_are_moved_and_followed() -> None:
    levers = carillon(WirePerInput(2), operator=Operator(spacing=4), kind="level")
    assert sentence(levers, (0, "c"), (9, "c")) == (
        "nothing went wrong: 'c' followed 0 ticks (0 s) after its move at tick 9, "
        "and so did the others"
    )


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
