"""Pictures of traces: exact texts for a few, and what must be true of all of them."""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass, replace
from fractions import Fraction
from textwrap import dedent

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from rich.cells import cell_len

from models.pulse_gap import PulseGap
from models.wire_per_input import WirePerInput
from tests.test_words import EVEN, carillon, run, runs
from verify.engines.trace import Event, Press, Script, Trace
from verify.parts.link import Link
from verify.parts.operator import Operator
from verify.questions.judging import Subject
from verify.reports.due import due_strikes
from verify.reports.picture import ASCII, LEAST_WIDTH, UNICODE, Marks, picture, row_labels


def shown(
    subject: Subject,
    presses: tuple[tuple[int, str], ...],
    *,
    delay: int = 0,
    width: int = 80,
    ascii_only: bool = False,
    windows: object = "of the link",
) -> str:
    """The picture of a run, with the windows of its link unless ``windows=None``."""
    trace = run(subject, *presses, delay=delay)
    due = None if windows is None else subject.windows
    return picture(trace, subject.link, width, windows=due, ascii_only=ascii_only)


def named(*names: str) -> Subject:
    gaps = tuple(2 * i + 2 for i in range(len(names)))
    scheme = PulseGap(gaps, 1, (0,) * len(names))
    return Subject(Link("tower", Fraction(1, 20), names, "pulse-gap", scheme, Operator()))


def exactly(indented: str) -> str:
    """The text as it stands here, without indent and the line breaks around it."""
    return dedent(indented).strip("\n")


# -- exact texts ---------------------------------------------------------------


def test_what_levers_show_lasts_though_nothing_goes_down() -> None:
    levers = carillon(WirePerInput(2), operator=Operator(spacing=4), kind="level")
    picture = shown(levers, ((0, "c"), (4, "d")))
    assert [line for line in picture.splitlines() if line.startswith(("in", "out"))] == [
        "in.c   ▼════",
        "in.d       ▼",
        "out.c  ◆════",
        "out.d      ◆",
    ]


def test_a_press_lost_in_the_pulse_before() -> None:
    subject = carillon()
    assert shown(subject, ((0, "b"), (15, "c"))) == exactly(
        """
        tick  0    5    10  14 17
              ╵    ╵    ╵   ╵  ╵
        in.b  ▼                ┊
        in.c                 ▼ ┊
        line  ▟▁▁▁▁▁▁▁▁▁▁▁▁▁▟█▁▟
        out.b               ◆  ┊
        due c                  ◇
        out.c                  ┊
                               ▲ lost

        tick 17 (850 ms): the line had been high since tick 14 for the press of 'b' at
        tick 0 and could not rise at tick 15 for the press of 'c' at tick 15: the
        transmitter's rule 'pulse joins pulse' acted in place of 'rise'; so 'c' did not
        strike, though its press at tick 15 was due at tick 17.
          tick 0 (0 s): 'b' pressed
          tick 15 (750 ms): 'c' pressed

        ▼ pressed   ▟ line rises   ◆ strikes   ◇ strike due
        one column is 1 tick of 50 ms
        """
    )


def test_a_ghost_without_windows_in_ascii() -> None:
    subject = carillon()
    assert shown(subject, ((0, "d"), (2, "c")), ascii_only=True, windows=None) == exactly(
        """
        tick  0 2
              ' '
        in.d  v :
        in.c    v
        line  /_/
        out.c   X
                ! ghost

        tick 2 (100 ms): the press of 'c' at tick 2 raised the line while the receiver
        was still armed by the press of 'd' at tick 0, 2 ticks after it: read as 'c', so
        it struck, though no press of it was due.
          tick 0 (0 s): 'd' pressed
          tick 2 (100 ms): 'c' pressed

        v pressed   / line rises   X strikes, but was not due
        one column is 1 tick of 50 ms
        """
    )


def test_a_ghost_beside_what_was_due() -> None:
    subject = carillon()
    assert shown(subject, ((0, "d"), (2, "c"))) == exactly(
        """
        tick  0 2 4
              ╵ ╵ ╵
        in.d  ▼ ┊
        in.c    ▼
        line  ▟▁▟
        due d   ┊ ◇
        out.d   ┊
        due c   ┊ ◇
        out.c   ✗
                ▲ ghost

        tick 2 (100 ms): the press of 'c' at tick 2 raised the line while the receiver
        was still armed by the press of 'd' at tick 0, 2 ticks after it: read as 'c', so
        it struck, though its press at tick 2 is due only at tick 4.
          tick 0 (0 s): 'd' pressed
          tick 2 (100 ms): 'c' pressed

        ▼ pressed   ▟ line rises   ✗ strikes, but was not due   ◇ strike due
        one column is 1 tick of 50 ms
        """
    )


def test_a_held_back_press_is_due_later() -> None:
    subject = carillon(PulseGap(EVEN, 1, (0,) * 7, busy="queue"))
    assert shown(subject, ((0, "a"), (5, "c"), (10, "c"))) == exactly(
        """
        tick  0    5 7    12 15
              ╵    ╵ ╵    ╵  ╵
        in.a  ▼           ┊
        in.c       ▼    ▼ ┊
        line  ▟▁▁▁▁▁▁▁▁▁▁▁▟
        out.a             ◆
        due c        [────◇───]
        out.c             ┊
                          ▲ lost

        tick 12 (600 ms): the press of 'c' at tick 10 found the transmitter with its
        timer 'busy', started at tick 0 for the press of 'a' at tick 0, at 4 ticks left:
        its rule 'send' did not act; so 'c' did not strike, though its press at tick 10
        was due at tick 12.
          tick 0 (0 s): 'a' pressed
          tick 5 (250 ms): 'c' pressed
          tick 10 (500 ms): 'c' pressed

        ▼ pressed   ▟ line rises   ◆ strikes   ◇ strike due
        [─] strike due from here to there   one column is 1 tick of 50 ms
        """
    )


def test_branches_and_their_far_ends() -> None:
    subject = carillon(branches=(0, 3), delay=(2, 4))
    assert shown(subject, ((0, "a"), (10, "c")), delay=2) == exactly(
        """
        tick       0 2  5      12 15
                   ╵ ╵  ╵      ╵  ╵
        in.a       ▼           ┊
        in.c                 ▼ ┊
        line       ▟▁▁▁▁▁▁▁▁▁▟▁▟
        line.far.1 ▁▁▟▁▁▁▁▁▁▁▁▁▟
        line.far.2 ▁▁▁▁▁▟▁▁▁▁▁▁▁
        due c.1                ┊ [─]
        out.c.1                ┊
        due a.1                ┊ [─]
        out.a.1                ┊
        out.g.1                ✗
                               ▲ ghost

        tick 12 (600 ms): the far end of the line rose at tick 12 for the press of 'c'
        at tick 10 while the receiver was still armed since tick 2 by the press of 'a'
        at tick 0, 10 ticks earlier: read as 'g', so it struck on branch 1, though it
        was not pressed.
          line delay in this run: 2 ticks (100 ms)
          tick 0 (0 s): 'a' pressed
          tick 10 (500 ms): 'c' pressed

        ▼ pressed   ▟ line rises   ✗ strikes, but was not due
        [─] strike due from here to there   one column is 1 tick of 50 ms
        """
    )


def test_long_stretches_are_folded() -> None:
    subject = carillon(
        PulseGap(tuple(1000 * g for g in EVEN), 1000, (0,) * 7), tick=Fraction(1, 20000)
    )
    assert shown(subject, ((0, "b"), (13000, "c"))) == exactly(
        """
        tick  0     1000    13000 14000 15000
              ╵~999~╵~11999~╵~999~╵~999~╵
        in.b  ▼                   ┊
        in.c                ▼     ┊
        line  ▟~███~▁~▁▁▁▁▁~▟~███~█
        due c                     ┊     ◇
        out.c                     ┊
        due b                     ◇
        out.b                     ┊
                                  ▲ lost

        tick 14000 (700 ms): the line had been high since tick 13000 for the press of
        'c' at tick 13000 and could not rise at tick 14000 for the press of 'b' at tick
        0: the transmitter's rule 'pulse joins pulse' acted in place of 'rise'; so 'b'
        did not strike, though its press at tick 0 was due at tick 14000.
          tick 0 (0 s): 'b' pressed
          tick 13000 (650 ms): 'c' pressed

        ▼ pressed   ▟ line rises   ◇ strike due   one column is 1 tick of 50 us
        ~999~ 999 ticks without a change, left out
        """
    )


def test_a_late_strike_is_shown_after_the_failing_tick() -> None:
    subject = carillon(within=(0, 13))
    assert shown(subject, ((0, "b"),)) == exactly(
        """
        tick  0    5    10 13
              ╵    ╵    ╵  ╵
        in.b  ▼            ┊
        line  ▟▁▁▁▁▁▁▁▁▁▁▁▁▁
        due b [────────────]
        out.b              ┊◆
                           ▲ late

        tick 13 (650 ms): the press of 'b' at tick 0 does not come through by then by
        itself: the line rose at tick 0 for it and the receiver was armed at tick 13; so
        'b' did not strike in time, though its press at tick 0 was due from tick 0 to
        tick 13; it struck at tick 14, 1 tick (50 ms) too late.
          tick 0 (0 s): 'b' pressed

        ▼ pressed   ▟ line rises   ◆ strikes   [─] strike due from here to there
        one column is 1 tick of 50 ms
        """
    )


def test_held_inputs_are_bars() -> None:
    subject = carillon(WirePerInput(2), operator=Operator(hold=(6, 6)), delay=(2, 2))
    assert shown(subject, ((0, "d"), (3, "c")), delay=2) == exactly(
        """
        tick       0  3 5    10
                   ╵  ╵ ╵    ╵
        in.d       ▼═════▵
        in.c          ▼═════▵
        line.1     ▁▁▁▟█████▁▁▁
        line.1.far ▁▁▁▁▁▟█████▁
        line.2     ▟█████▁▁▁▁▁▁
        line.2.far ▁▁▟█████▁▁▁▁
        out.d        ◆
        out.c           ◆

        nothing went wrong: 'c' struck 2 ticks (100 ms) after its press at tick 3, and
        so did the others.
          line delay in this run: 2 ticks (100 ms)
          tick 0 (0 s): 'd' pressed
          tick 3 (150 ms): 'c' pressed
          tick 6 (300 ms): 'd' let go
          tick 9 (450 ms): 'c' let go

        ▼ pressed   ▵ let go   ▟ line rises   ◆ strikes   one column is 1 tick of 50 ms
        """
    )


def test_a_long_run_goes_on_in_the_next_block() -> None:
    subject = carillon()
    assert shown(
        subject, tuple((16 * k * (k + 1) // 2, "cfbeadg"[k % 7]) for k in range(9)), width=60
    ) == exactly(
        """
        tick  0 2     16   24    48    62    96  100     160   172
              ╵ ╵ ~12~╵ ~6~╵ ~22~╵ ~12~╵ ~32~╵   ╵   ~56~╵ ~10~╵
        in.c  ▼
        in.f          ▼
        in.b                     ▼
        in.e                                 ▼
        in.a                                             ▼
        line  ▟▁▟▁~▁▁~▟▁~▁~▟▁~▁▁~▟▁~▁▁~▟▁~▁▁~▟▁▁▁▁▁▟▁~▁▁~▟▁~▁▁~▟▁
        out.c   ◆
        out.f              ◆
        out.b                          ◆
        out.e                                      ◆
        out.a                                                  ◆

        tick      240  245  336  346    448      576  584
              ~66~╵    ╵~90~╵ ~8~╵ ~100~╵   ~124~╵ ~6~╵
        in.c                            ▼
        in.f                                     ▼
        in.d      ▼
        in.g                ▼
        line  ~▁▁~▟▁▁▁▟▁~▁▁~▟▁~▁~▟▁~▁▁▁~▟▁▟▁~▁▁▁~▟▁~▁~▟▁
        out.c                             ◆
        out.f                                         ◆
        out.d         ◆
        out.g                    ◆

        nothing went wrong: soonest 'c' struck 2 ticks (100 ms)
        after its press at tick 0, latest 'b' struck 14 ticks (700
        ms) after its press at tick 48.
          tick 0 (0 s): 'c' pressed
          tick 16 (800 ms): 'f' pressed
          tick 48 (2.4 s): 'b' pressed
          tick 96 (4.8 s): 'e' pressed
          tick 160 (8 s): 'a' pressed
          tick 240 (12 s): 'd' pressed
          tick 336 (16.8 s): 'g' pressed
          tick 448 (22.4 s): 'c' pressed
          tick 576 (28.8 s): 'f' pressed

        ▼ pressed   ▟ line rises   ◆ strikes
        one column is 1 tick of 50 ms
        ~12~ 12 ticks without a change, left out
        """
    )


def test_long_and_wide_names_are_shortened_and_told_in_full() -> None:
    subject = named("grande cloche du beffroi nord", "鐘" * 12)
    assert shown(
        subject, ((0, "grande cloche du beffroi nord"), (3, "鐘" * 12)), width=60
    ) == exactly(
        """
        tick             0  3 5 7
                         ╵  ╵ ╵ ╵
        in.grande … nord ▼      ┊
        in.鐘鐘鐘鐘…鐘鐘    ▼   ┊
        line             ▟▁▟█▁▁▁▟
        out.grande… nord   ◆    ┊
        due 鐘鐘鐘…鐘鐘         ◇
        out.鐘鐘鐘…鐘鐘         ┊
                                ▲ lost

        tick 7 (350 ms): the line had been high since tick 2 for the
        press of 'grande cloche du beffroi nord' at tick 0 and could
        not rise at tick 3 for the press of
        '鐘鐘鐘鐘鐘鐘鐘鐘鐘鐘鐘鐘' at tick 3: the transmitter's rule
        'pulse joins pulse' acted in place of 'rise'; so
        '鐘鐘鐘鐘鐘鐘鐘鐘鐘鐘鐘鐘' did not strike, though its press
        at tick 3 was due at tick 7.
          tick 0 (0 s): 'grande cloche du beffroi nord' pressed
          tick 3 (150 ms): '鐘鐘鐘鐘鐘鐘鐘鐘鐘鐘鐘鐘' pressed

        ▼ pressed   ▟ line rises   ◆ strikes   ◇ strike due
        one column is 1 tick of 50 ms
        in.grande … nord = in.grande cloche du beffroi nord
        in.鐘鐘鐘鐘…鐘鐘 = in.鐘鐘鐘鐘鐘鐘鐘鐘鐘鐘鐘鐘
        out.grande… nord = out.grande cloche du beffroi nord
        due 鐘鐘鐘…鐘鐘 = due 鐘鐘鐘鐘鐘鐘鐘鐘鐘鐘鐘鐘
        out.鐘鐘鐘…鐘鐘 = out.鐘鐘鐘鐘鐘鐘鐘鐘鐘鐘鐘鐘
        """
    )


def test_nothing_at_all() -> None:
    subject = carillon()
    assert shown(subject, ()) == exactly(
        """
        nothing went wrong: no strike was missed and none came.

        one column is 1 tick of 50 ms
        """
    )


# -- properties -----------------------------------------------------------------


@dataclass
class Drawn:
    """A picture read back: per row, the character in each tick; per column, its first tick and
    how many ticks it stands for."""

    rows: dict[str, dict[int, str]]
    columns: list[tuple[int, int]]


def blocks_of(text: str) -> list[list[str]]:
    """The lines of each block, which begins with the scale and ends with an empty line."""
    parts = [part.split("\n") for part in text.split("\n\n")]
    return [part for part in parts if part[0].startswith("tick  ")]


def possible_labels(subject: Subject, trace: Trace) -> set[str]:
    suffixes = [""] if len(subject.windows) == 1 else [".1", ".2"]
    outputs = {f"{name}{suffix}" for name in subject.link.names for suffix in suffixes}
    return {e.signal for e in trace.events} | {f"{k}{o}" for k in ("due ", "out.") for o in outputs}


def read(text: str, labels: set[str], marks: Marks) -> Drawn:
    """Read a picture by its scale alone: numbers, pointers and folds. ``labels``: of its rows."""
    blocks = blocks_of(text)
    used = {n for n in labels if any(line.startswith(n + " ") for b in blocks for line in b)}
    margin = max(len(label) for label in [*used, "tick"]) + 1
    columns: list[tuple[int, int, int]] = []  # block, x, ticks
    anchors: dict[int, int] = {}
    for k, block in enumerate(blocks):
        numbers, points = block[0][margin:], block[1][margin:]
        width = max(len(line) - margin for line in block[1:] if line[:margin].strip() in used)
        for x, ticks in columns_of(points.ljust(width), marks):
            if points[x : x + 1] == marks.here:
                anchors[len(columns)] = int(numbers[x:].split(" ")[0])
            columns.append((k, x, ticks))
    first = min(anchors)
    tick = anchors[first] - sum(ticks for _, _, ticks in columns[:first])
    drawn = Drawn({label: {} for label in used}, [])
    for n, (k, x, ticks) in enumerate(columns):
        assert anchors.get(n, tick) == tick
        drawn.columns.append((tick, ticks))
        for line in blocks[k][2:] if ticks == 1 else ():
            if (label := line[:margin].strip()) in used:
                drawn.rows[label][tick] = line[margin:].ljust(x + 1)[x]
        tick += ticks
    return drawn


def columns_of(points: str, marks: Marks) -> Iterator[tuple[int, int]]:
    """Where each column begins, and how many ticks it stands for."""
    x = 0
    while x < len(points):
        fold = re.compile(f"{marks.fold}(\\d+){marks.fold}").match(points, x)
        yield x, int(fold[1]) if fold else 1
        x = fold.end() if fold else x + 1


def expected_mark(event: Event, marks: Marks) -> set[str]:
    if event.signal.startswith("in."):
        return {marks.press} if event.value else {marks.release}
    if event.signal.startswith("out."):
        return {marks.strike, marks.wrong}
    return {marks.rise} if event.value else {marks.low}


widths = st.one_of(st.just(80), st.integers(LEAST_WIDTH, 120))


@st.composite
def stretched_runs(draw: st.DrawFn) -> tuple[Subject, Trace]:
    """Runs whose times are now and then a large multiple of those of a small link."""
    subject, trace = draw(runs())
    return subject, draw(st.sampled_from([trace, spread(trace, 10), spread(trace, 10**6)]))


def spread(trace: Trace, factor: int) -> Trace:
    """The same events, further apart; for pictures without windows."""
    failure = trace.failure
    return Trace(
        Script(
            tuple(Press(p.tick * factor, p.input) for p in trace.script.presses),
            trace.script.delay,
        ),
        tuple(replace(e, tick=e.tick * factor) for e in trace.events),
        failure and replace(failure, tick=failure.tick * factor, got="no strike"),
        tuple(replace(d, tick=d.tick * factor, ticks=d.ticks * factor) for d in trace.latencies),
    )


@given(stretched_runs(), widths, st.booleans())
@settings(max_examples=200)
def test_every_event_is_seen_in_its_tick_and_nothing_else(
    drawn: tuple[Subject, Trace], width: int, ascii_only: bool
) -> None:
    subject, trace = drawn
    marks = ASCII if ascii_only else UNICODE
    text = picture(trace, subject.link, width, ascii_only=ascii_only)
    if not trace.events:
        return
    seen = read(text, possible_labels(subject, trace), marks)
    for event in trace.events:
        assert seen.rows[event.signal][event.tick] in expected_mark(event, marks)
    telling = {marks.press, marks.release, marks.rise, marks.strike, marks.wrong}
    found = sum(c in telling for row in seen.rows.values() for c in row.values())
    without_mark = sum(e.signal.startswith("line") and not e.value for e in trace.events)
    late = trace.failure is not None and "a strike at tick" in trace.failure.got
    assert found == len(trace.events) - without_mark + late


@given(stretched_runs(), widths)
def test_folds_hide_no_change_and_count_what_they_leave_out(
    drawn: tuple[Subject, Trace], width: int
) -> None:
    subject, trace = drawn
    if not trace.events:
        return
    text = picture(trace, subject.link, width)
    changes = {e.tick for e in trace.events} | ({trace.failure.tick} if trace.failure else set())
    columns = read(text, possible_labels(subject, trace), UNICODE).columns
    assert columns[0][0] == min(changes)
    for first, ticks in columns:
        assert ticks == 1 or not any(first <= t < first + ticks for t in changes)


@given(stretched_runs(), widths, st.booleans())
def test_lines_show_their_level_in_every_tick(
    drawn: tuple[Subject, Trace], width: int, ascii_only: bool
) -> None:
    subject, trace = drawn
    marks = ASCII if ascii_only else UNICODE
    text = picture(trace, subject.link, width, ascii_only=ascii_only)
    if not trace.events:
        return
    seen = read(text, possible_labels(subject, trace), marks)
    end = trace.failure.tick if trace.failure else None
    for signal in {e.signal for e in trace.events if e.signal.startswith("line")}:
        for tick, character in seen.rows[signal].items():
            before = [e.value for e in trace.events if e.signal == signal and e.tick <= tick]
            level = {marks.high, marks.rise} if before and before[-1] else {marks.low}
            assert character in (level if end is None or tick <= end else {" "})


@given(runs(), widths)
def test_what_was_due_is_seen_beside_what_came(drawn: tuple[Subject, Trace], width: int) -> None:
    """Every window of a press that did not strike is shown, from its first tick to its last."""
    subject, trace = drawn
    failure = trace.failure
    if failure is None:
        return
    text = picture(trace, subject.link, width, windows=subject.windows)
    seen = read(text, possible_labels(subject, trace), UNICODE)
    branch = failure.branch
    suffix = f".{branch + 1}" if len(subject.windows) > 1 else ""
    begins = {UNICODE.due, UNICODE.due_from, UNICODE.both}
    ends = {UNICODE.due, UNICODE.due_to, UNICODE.both}
    for due in due_strikes(trace, subject.link, subject.windows[branch], branch):
        if not due.delivered and due.press.tick <= failure.tick:
            name = subject.link.names[subject.link.outputs[due.press.input]]
            row = seen.rows[f"due {name}{suffix}"]
            assert row[due.earliest] in begins
            assert row[due.latest] in ends
            assert f"out.{name}{suffix}" in seen.rows


names = st.lists(
    st.one_of(st.text(min_size=1), st.text("鐘é\u0301ab", min_size=9)),
    min_size=7,
    max_size=7,
    unique=True,
)


@given(
    names,
    st.lists(st.tuples(st.integers(0, 10**6), st.integers(0, 6)), max_size=5),
    st.integers(0, 120),
    st.booleans(),
    st.sampled_from(["overlay", "ignore", "queue"]),
)
def test_no_line_is_wider_than_asked(
    names: list[str],
    pressed: list[tuple[int, int]],
    width: int,
    ascii_only: bool,
    busy: str,
) -> None:
    scheme = PulseGap(tuple(50000 * g for g in EVEN), 50000, (9,) * 7, busy=busy)  # type: ignore[arg-type]
    subject = carillon(scheme, delay=(0, 3), branches=(0, 7))
    apart = {i: (t, i) for t, i in pressed}.values()
    presses = tuple(sorted(Press(t, i) for t, i in apart))
    trace = subject.replay(Script(presses, 1))
    link = replace(subject.link, names=tuple(names))
    renamed = dict(zip("cdefgab", names, strict=True))
    if trace.failure:
        failure = replace(trace.failure, output=renamed[trace.failure.output])
        trace = replace(trace, failure=failure)
    text = picture(trace, link, width, windows=subject.windows, ascii_only=ascii_only)
    assert all(cell_len(line) <= max(width, LEAST_WIDTH) for line in text.split("\n"))
    assert all(line.isprintable() and line == line.rstrip() for line in text.split("\n"))
    assert text.isascii() or not ascii_only


@given(
    st.lists(st.one_of(st.text("ab鐘", max_size=40), st.text(max_size=30)), unique=True),
    st.booleans(),
)
def test_labels_are_short_and_never_alike(names: list[str], ascii_only: bool) -> None:
    labels = row_labels(names, ASCII if ascii_only else UNICODE)
    assert len(set(labels)) == len(names)
    assert all(cell_len(label) <= 16 for label in labels)
    for name, label in zip(names, labels, strict=True):
        assert label == name or cell_len(name) > 16


def test_a_name_like_a_shortened_one_keeps_its_row_apart() -> None:
    long = ["in." + "x" * 20, "in." + "x" * 30]
    first, second = row_labels(long, UNICODE)
    assert first == "in.xxxxxxx…xxxxx"
    assert second == "in.xxxxxx…xxxx#2"
    assert row_labels([first, *long], UNICODE) == [first, second, "in.xxxxxx…xxxx#3"]


@pytest.mark.parametrize("factor", [10**3, 10**6, 10**9])
def test_size_depends_on_events_not_on_ticks(factor: int) -> None:
    subject = carillon()
    trace = spread(run(subject, (0, "b"), (20, "c"), (40, "d"), (53, "c"), (57, "e")), factor)
    text = picture(trace, subject.link, 80)
    # Between two changes stands at most one fold, as wide as its number.
    assert len(text) < len(trace.events) ** 2 * (len(str(60 * factor)) + 3)


def test_marks_are_one_column_wide_and_told_apart() -> None:
    for marks in (UNICODE, ASCII):
        one = [value for name, value in vars(marks).items() if name != "cut"]
        assert all(cell_len(mark) == len(mark) == 1 for mark in one)
        assert len(set(one)) == len(one)
    assert all(value.isascii() for value in vars(ASCII).values())


def test_the_same_call_gives_the_same_text() -> None:
    subject = carillon()
    trace = run(subject, (0, "b"), (15, "c"))
    assert picture(trace, subject.link) == picture(trace, subject.link)


def test_blocks_of_many_rows_leave_out_those_at_rest() -> None:
    """So the size of a long run does not grow with events times inputs."""
    subject = Subject(
        replace(carillon().link, names=tuple(map(str, range(50))), scheme=WirePerInput(50))
    )
    text = picture(run(subject, *((90 * k, str(k)) for k in range(50))), subject.link, 40)
    blocks = blocks_of(text)
    assert len(blocks) > 5
    assert all(len(block) < 2 + 3 * 8 for block in blocks)
    assert {line.split(" ")[0] for block in blocks for line in block} >= {"in.0", "line.50"}
