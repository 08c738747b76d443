"""The naive checker against the engines. It shares no code with them; see ``naive.py``."""

from __future__ import annotations

from dataclasses import replace

import pytest
from hypothesis import event, given
from hypothesis import strategies as st

from models.pulse_gap import PulseGap
from models.wire_per_input import WirePerInput
from tests import naive
from tests.links import links, make_link, pulse_gaps, scripts
from tests.nightly import examples
from verify.engines.answer import Budget, Progress, Verdict
from verify.engines.explorer import explore
from verify.engines.lone import factored_windows
from verify.engines.simulator import NotAllowedError, Simulator
from verify.engines.trace import Press, Script, Trace
from verify.parts.link import Link, factored
from verify.questions.engine_choice import EngineName
from verify.questions.judging import Judgement, Subject, judge, on_whole


@st.composite
def plain_links(draw: st.DrawFn, most_inputs: int = 3) -> Link:
    """What the naive checker knows: no line faults, own outputs, no operator matrix."""
    wires = st.builds(WirePerInput, st.integers(1, most_inputs))
    link = draw(links(st.one_of(pulse_gaps(most_inputs), wires), faulty=False, lenient=True))
    return replace(link.with_operator(pairs=None), order=None)


def in_plain_numbers(link: Link) -> naive.Build:
    scheme, operator = link.scheme, link.operator
    build = naive.Build(
        link.inputs,
        spacing=operator.spacing,
        repeat=operator.repeat,
        hold=operator.hold[0],
        overlap=operator.overlap,
        together=operator.together,
        may_miss=link.may_miss,
        delay=link.delay,
        branches=link.branches,
        within=link.within,
    )
    if isinstance(scheme, WirePerInput):
        return build
    assert isinstance(scheme, PulseGap)
    return replace(
        build,
        gaps=scheme.gaps,
        pulse=scheme.pulse,
        window=scheme.window,
        busy=scheme.busy,
        depth=scheme.depth,
        receiver=scheme.receiver_kind,
        on_miss=scheme.on_miss,
    )


def presses_of(script: Script) -> naive.Presses:
    return tuple(sorted((p.tick, p.input) for p in script.presses))


def verdict_of(link: Link, engine: EngineName = "explorer", seconds: float = 4) -> Judgement:
    return judge(Subject(link), engine, Progress(), budget=Budget(seconds))


def soonest(link: Link, presses: int) -> int:
    """When the explorer's failures of so many presses come, before they are shrunk."""
    subject = Subject(link)
    ticks = []
    for part in subject.parts:
        for windows in factored_windows(part.link, subject.lone_for(part)):
            answer = explore(factored(part.link, windows), Budget(), Progress())
            if answer.script is not None and len(answer.script.presses) == presses:
                failure = subject.replay(on_whole(subject, answer.script, part, 0)).failure
                assert failure is not None
                ticks.append(failure.tick)
    return min(ticks)


def longest_memory(build: naive.Build) -> int:
    """Ticks after a press in which one more may be disturbed by it, or forbidden."""
    if build.gaps is None:
        return max(build.hold, build.repeat) + 1
    return max(build.gaps) + build.pulse + build.longest_wait + 2


def assert_naive_sees_the_same_failure(build: naive.Build, trace: Trace) -> None:
    assert trace.failure is not None
    presses = presses_of(trace.script)
    assert naive.allowed(build, presses)
    seen = naive.failure(build, presses, trace.script.delay)
    assert seen is not None
    if build.busy == "queue":
        return  # until the press that is lost is the one that found no place: see below
    assert seen.tick == trace.failure.tick
    # A late strike is lost first; that it comes later is told from looking on.
    assert trace.failure.kind.replace("late", "lost") in seen.kinds


@given(st.data())
@examples(200)
def test_one_script_gives_the_same_edges_and_strikes(data: st.DataObject) -> None:
    link = data.draw(plain_links())
    script = data.draw(scripts(link))
    build, presses = in_plain_numbers(link), presses_of(script)
    try:
        moments = list(Simulator(link, script.delay, None).run(script))
    except NotAllowedError:
        assert not naive.allowed(build, presses)
        return
    assert naive.allowed(build, presses)

    near, outputs = naive.run(build, presses, script.delay)

    lines = range(link.scheme.lines)
    expected = [(t, f"line{k}.rise", ()) for k in lines for t in naive.rises(near[k])]
    expected += [
        (t, f"strike{branch}", (output,))
        for branch, waves in enumerate(outputs)
        for output, wave in enumerate(waves)
        for t, on in enumerate(wave)
        if on
    ]
    names = {f"line{k}.rise" for k in lines} | {f"strike{b}" for b in range(len(link.branches))}
    happened = [
        (moment.tick, signal.name, values)
        for moment in moments
        for signal, values in moment.occurrences
        if signal.name in names
    ]
    assert sorted(happened) == sorted(expected)


def test_the_press_that_found_no_place_is_the_lost_one() -> None:
    # The second press waits, is sent at tick 8 and strikes at 14; the third finds no place.
    link = make_link(PulseGap((6,), 1, (0,), busy="queue"), within=(2, 12))
    script = Script((Press(0, 0), Press(2, 0), Press(7, 0)))
    build = in_plain_numbers(link)
    seen = naive.failure(build, presses_of(script), 0)
    assert seen == naive.Failed(7 + 12, frozenset({"lost"}))

    trace = Subject(link).replay(script)

    assert trace.failure is not None
    assert [latency.ticks for latency in trace.latencies] == [6, 14 - 2]
    assert trace.failure.tick == seen.tick


@given(plain_links())
@examples(120)
def test_one_and_two_presses_fail_as_the_explorer_says(link: Link) -> None:
    build, judged = in_plain_numbers(link), verdict_of(link)
    found: list[tuple[naive.Presses, int, naive.Failed]] = []
    for presses in (1, 2):
        found = found or list(naive.failing(build, presses, longest_memory(build)))
    event(f"explorer {judged.verdict.value}, naive {'fails' if found else 'found nothing'}")
    if judged.verdict is Verdict.UNDECIDED:
        return

    if judged.trace is not None:
        assert_naive_sees_the_same_failure(build, judged.trace)
        assert bool(found) == (len(judged.trace.script.presses) <= 2)
    if not found:
        return
    assert judged.trace is not None
    assert len(judged.trace.script.presses) == len(found[0][0])
    if build.delay[0] == build.delay[1] and len(build.branches) == 1 and build.busy != "queue":
        # With the delay and the branch given, none fails in an earlier tick than the explorer's
        # own; what is shown may fail later, of presses that are closer together.
        assert soonest(link, len(found[0][0])) == min(failed.tick for _, _, failed in found)


@given(plain_links(most_inputs=2))
@examples(25)
def test_three_presses_fail_only_if_the_explorer_says_so(link: Link) -> None:
    build, judged = in_plain_numbers(link), verdict_of(link)
    if judged.trace is not None and len(judged.trace.script.presses) <= 2:
        return  # nothing that three presses could add

    found = next(naive.failing(build, 3, min(12, longest_memory(build))), None)

    event(f"explorer {judged.verdict.value}, naive {'fails' if found else 'found nothing'}")
    if found is not None:
        assert judged.verdict is not Verdict.HOLDS
        assert judged.trace is None or len(judged.trace.script.presses) == 3


def a_step_smaller(presses: naive.Presses) -> list[naive.Presses]:
    """One press dropped, or one gap shorter and the others kept."""
    made = [presses[:k] + presses[k + 1 :] for k in range(len(presses)) if len(presses) > 1]
    for k in range(1, len(presses)):
        for cut in range(1, presses[k][0] - presses[k - 1][0] + 1):
            made.append(presses[:k] + tuple((tick - cut, i) for tick, i in presses[k:]))
    return [
        tuple(sorted((t - some[0][0], i) for t, i in some))
        for some in made
        if len(set(some)) == len(some)
    ]


@pytest.mark.parametrize(
    ("engine", "seconds"), [("explorer", 1), ("solver", 1), ("simulator", 0.05)]
)
@given(link=plain_links())
@examples(20)
def test_no_step_makes_a_shrunk_counterexample_smaller(
    link: Link, engine: EngineName, seconds: float
) -> None:
    judged = verdict_of(link, engine, seconds)
    event(judged.verdict.value)
    if judged.trace is None:
        return
    build = in_plain_numbers(link)

    assert_naive_sees_the_same_failure(build, judged.trace)
    for smaller in a_step_smaller(presses_of(judged.trace.script)):
        if naive.allowed(build, smaller):
            assert naive.failure(build, smaller, judged.trace.script.delay) is None
