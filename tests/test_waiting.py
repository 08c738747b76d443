"""Presses that wait in a queue: proved by what is sent in turn, and never against the explorer."""

from __future__ import annotations

from dataclasses import replace
from functools import partial
from itertools import product

import pytest
from hypothesis import assume, event, given, settings
from hypothesis import strategies as st

from models.pulse_gap import PulseGap
from tests.links import framed_serials, make_link, pulse_gaps
from verify.engines.answer import Budget, Progress, Verdict
from verify.engines.explorer import explore
from verify.engines.lone import factored_windows
from verify.parts.line import Faults
from verify.parts.link import Link
from verify.parts.operator import Operator
from verify.questions.judging import Subject, judge
from verify.questions.waiting import by_waiting, most_at_once


@st.composite
def queued_links(draw: st.DrawFn) -> Link:
    """Some whose queue always has a place, some whose queue has not."""
    kind = draw(st.sampled_from([pulse_gaps, framed_serials]))
    scheme = draw(kind(busy="queue"))
    assert scheme.queue is not None
    work = sum(scheme.queue.sends)
    operator = Operator(
        spacing=draw(st.integers(0, 4)),
        repeat=draw(st.integers(work - 1, 2 * work)),
    )
    return make_link(scheme, operator, faults=Faults(jitter=draw(st.integers(0, 1))))


def proof(link: Link) -> Verdict | None:
    subject = Subject(link)
    assume(subject.lone.rests)
    ask = partial(explore, budget=Budget(2), progress=Progress())
    (windows,) = factored_windows(link, subject.lone)
    answer = by_waiting(link, windows, ask)
    return None if answer is None else answer.verdict


@given(queued_links())
@settings(max_examples=30)
def test_what_is_proved_of_sends_in_turn_the_explorer_finds_too(link: Link) -> None:
    found = proof(link)
    event(f"{found}")
    if found is not None:
        exact = judge(Subject(link), "explorer", Progress(), budget=Budget(2))
        assert exact.verdict in (Verdict.HOLDS, Verdict.UNDECIDED)


def most_by_playing(sends: tuple[int, ...], apart: tuple[int, ...], spacing: int) -> int:
    """Every way to press, on a queue kept as a list; stops when it holds more than six."""
    most = 0
    seen: set[tuple[tuple[int, ...], tuple[int, ...], int]] = set()
    coming: list[tuple[tuple[int, ...], tuple[int, ...], int]] = [((), (0,) * len(apart), 0)]
    while coming:
        work, left, wait = state = coming.pop()
        if state in seen:
            continue
        seen.add(state)
        for chosen in product((0, 1), repeat=len(sends)):
            if any(on and left[i] for i, on in enumerate(chosen)):
                continue
            if spacing and (sum(chosen) > 1 or (sum(chosen) and wait)):
                continue
            queue = [*work, *(sends[i] for i, on in enumerate(chosen) if on)]
            most = max(most, len(queue))
            if len(queue) > 6:
                return most
            if queue:
                queue[0] -= 1
                queue = queue if queue[0] else queue[1:]
            now = [apart[i] if on else left[i] for i, on in enumerate(chosen)]
            coming.append(
                (
                    tuple(queue),
                    tuple(max(0, t - 1) for t in now),
                    max(0, (spacing if sum(chosen) else wait) - 1),
                )
            )
    return most


@given(st.data())
@settings(max_examples=40)
def test_no_play_fills_the_queue_further_than_said(data: st.DataObject) -> None:
    n = data.draw(st.integers(1, 3))
    sends = tuple(data.draw(st.lists(st.integers(1, 4), min_size=n, max_size=n)))
    apart = tuple(data.draw(st.lists(st.integers(2, 9), min_size=n, max_size=n)))
    spacing = data.draw(st.integers(0, 3))

    said = most_at_once(sends, apart, spacing)

    played = most_by_playing(sends, apart, spacing)
    event("no end" if said is None else "exact" if said == played else "above")
    assert said is None or played <= said


@pytest.mark.parametrize(
    ("sends", "apart", "spacing", "most"),
    [
        # All at once, and nothing more before all is sent.
        ((3, 4, 5), (12, 12, 12), 0, 3),
        # One tick less, and more comes than is done.
        ((3, 4, 5), (11, 11, 11), 0, None),
        # One in each tick, so the first is under way or over when the last comes.
        ((2, 2, 2), (6, 6, 6), 1, 2),
        # Never two in one tick, and each is over when the next comes.
        ((3, 3), (2, 2), 3, 1),
    ],
)
def test_presses_that_are_there_at_once(
    sends: tuple[int, ...], apart: tuple[int, ...], spacing: int, most: int | None
) -> None:
    assert most_at_once(sends, apart, spacing) == most


def test_many_inputs_wait_for_one_another() -> None:
    gaps = tuple(range(2, 14))
    sends = sum(gap + 2 for gap in gaps)
    scheme = PulseGap(gaps, 1, (0,) * 12, busy="queue", depth=11)
    link = make_link(scheme, Operator(repeat=sends))

    held = judge(Subject(link), "auto", Progress(), budget=Budget(60))
    fewer = make_link(replace(scheme, depth=10), Operator(repeat=sends))
    lost = judge(Subject(fewer), "auto", Progress(), budget=Budget(60))

    assert held.verdict is Verdict.HOLDS
    assert held.covered.startswith("at most 11 presses wait")
    assert lost.trace is not None
    assert lost.trace.failure is not None
    assert lost.trace.failure.kind == "lost"
