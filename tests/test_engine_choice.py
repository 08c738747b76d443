"""Which engine is asked: what one of them shows for another is what that one would say."""

from __future__ import annotations

from dataclasses import replace

import pytest
from hypothesis import event, example, given
from hypothesis import strategies as st

from models.parallel_code import ParallelCode
from models.pulse_gap import PulseGap
from tests.links import even_gaps, links, make_link
from tests.nightly import examples
from verify.engines.answer import Budget, Progress, Verdict
from verify.engines.explorer import explore
from verify.engines.lone import factored_windows
from verify.linkfile import load
from verify.parts.line import Faults
from verify.parts.link import Link
from verify.parts.operator import Operator
from verify.parts.pause import End, Pause
from verify.questions import engine_choice
from verify.questions.engine_choice import ask
from verify.questions.judging import Subject, _system
from verify.questions.latency import latencies

PAUSES = st.one_of(
    st.just(Pause()), st.builds(Pause, st.integers(1, 4), st.integers(1, 2), st.sampled_from(End))
)
UNDECIDED = Verdict.UNDECIDED
JITTERY = make_link(PulseGap((4, 8), 2, (1, 1)), Operator(40), faults=Faults(jitter=1))


@given(links(), PAUSES, st.sampled_from([0, 30, 60]), st.sampled_from([None, True]))
@example(make_link(ParallelCode((1, 2), 2, 3), Operator(60, hold=(8, 8))), Pause(3, 1), 0, None)
@example(JITTERY, Pause(), 0, None)
@example(make_link(even_gaps(2), Operator(40)), Pause(2, 2, End.RECEIVER), 0, None)
@examples(40)
def test_latencies_by_windows_are_those_of_the_explorer(
    link: Link, pause: Pause, spacing: int, wide: bool | None
) -> None:
    # A delay within a range leaves it open when windows begin: they say nothing of the ends.
    link = replace(link, pause=pause, delay=(link.delay[0],) * 2, within=wide and (0, 80))
    if spacing:
        link = link.with_operator(spacing=spacing, together=False)
    subject = Subject(link)
    part = subject.parts[0]
    for windows in factored_windows(part.link, subject.lone_for(part)):
        system = _system(part.link, windows)
        found = engine_choice._by_windows(system, Budget(3), Progress(), windows)
        event(found.verdict.value)
        if found.verdict is not Verdict.HOLDS:
            continue
        explored = explore(system, Budget(10), Progress(), latencies=True)

        assert explored.verdict is Verdict.HOLDS
        for ours, theirs in ((found.best, explored.best), (found.worst, explored.worst)):
            assert {i: d.ticks for i, d in ours.items()} == {i: d.ticks for i, d in theirs.items()}


@pytest.mark.parametrize(("within", "said"), [(None, Verdict.HOLDS), ((0, 80), UNDECIDED)])
def test_windows_say_nothing_of_latencies_if_no_press_meets_their_ends(
    within: tuple[int, int] | None, said: Verdict
) -> None:
    link = replace(JITTERY, within=within)
    [windows] = factored_windows(link, Subject(link).lone)
    found = engine_choice._by_windows(_system(link, windows), Budget(9), Progress(), windows)

    assert found.verdict is said


def test_latencies_of_a_link_that_may_stand_still_for_long() -> None:
    """A message of 276 ticks, with a pause of 300 in it or not: more than are told apart."""
    link = replace(load("models/links/card_reader.toml"), pause=Pause(300))
    subject = Subject(link)
    found = latencies(subject, "auto", Progress(), Budget(60), traces=True)

    assert (found.best, found.worst, found.exact) == (276, 576, True)
    for row in found.inputs:
        for trace, ticks in ((row.best_trace, 276), (row.worst_trace, 576)):
            assert trace is not None
            assert trace.failure is None
            assert [latency.ticks for latency in trace.latencies] == [ticks]


@pytest.mark.parametrize("most", [2, 300])
def test_what_fails_under_a_pause_is_found_however_long_it_is(most: int) -> None:
    """Presses come as soon as a message is over, which a pause makes longer."""
    link = replace(load("models/links/card_reader.toml"), pause=Pause(most))
    link = link.with_operator(spacing=277)
    subject = Subject(link)
    [windows] = factored_windows(link, subject.lone)
    system = _system(link, windows)

    assert ask(system, True, "auto", Budget(60), Progress()).verdict is Verdict.FAILS
