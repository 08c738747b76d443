"""Three independent routes to the same answer: simulator, explorer, solver.

A disagreement found here is a bug in fewwire; the link that shows it stays below as an example.
"""

from __future__ import annotations

from itertools import product

import pytest
from hypothesis import event, example, given
from hypothesis import strategies as st

from models.framed_serial import FramedSerial
from models.parallel_code import ParallelCode
from models.pulse_gap import PulseGap
from models.wire_per_input import WirePerInput
from tests.links import (
    even_gaps,
    framed_serials,
    links,
    make_link,
    owns,
    parallel_codes,
    pulse_gaps,
    scripts,
    scripts_keeping,
)
from tests.nightly import examples
from verify.engines.answer import Budget, Progress, Verdict
from verify.engines.simulator import NotAllowedError, Simulator
from verify.engines.solver import Search
from verify.engines.symbolic import SymState
from verify.engines.trace import Press, Script
from verify.parts.line import Faults
from verify.parts.link import Link, factored
from verify.parts.operator import Operator
from verify.questions.engine_choice import EngineName
from verify.questions.judging import Judgement, Subject, judge
from verify.questions.latency import latencies
from verify.questions.pairs import least_pairs
from verify.questions.spacing import least_spacing

UNDECIDED = Verdict.UNDECIDED

# The solver decides these in seconds. It may leave undecided: queues, lines with faults, and
# frames or codes that overlap, where the order of many events is open.
WITHOUT_QUEUE = st.one_of(pulse_gaps(busy="overlay"), pulse_gaps(busy="ignore"))
OTHERS = st.one_of(parallel_codes(), framed_serials(busy="overlay"), framed_serials(busy="ignore"))

# Found by hypothesis: the world chose at other ticks on the whole link than without its delay.
JITTER_BEHIND_A_DELAY = make_link(
    FramedSerial((0,), 1, 1, 1, stop=0), branches=(1,), faults=Faults(jitter=1)
)
# Found by hypothesis: the solver also told the choices of rules that did not act.
HOLDS_AND_JITTER = make_link(
    ParallelCode((1, 3), 2),
    Operator(spacing=4, repeat=2, hold=(1, 2), overlap=1),
    delay=(0, 1),
    branches=(1, 2),
    faults=Faults(jitter=1, skew=1, shortest=1),
)
# Fails only if the second press comes in the very tick in which the second pulse of the first
# ends: its rise melts into that pulse.
ONE_DISTANCE = make_link(PulseGap((4,), 2, (0,)), Operator(spacing=6, hold=(1, 1)))


def verdict_of(link: Link, engine: EngineName, seconds: float = 4) -> Judgement:
    return judge(Subject(link), engine, Progress(), budget=Budget(seconds))


def moments(simulator: Simulator, script: Script, by_tick: bool) -> list[object] | str:
    try:
        return list(simulator.run(script, by_tick=by_tick))
    except NotAllowedError:
        return "not allowed"


@given(st.data())
def test_the_simulator_gives_the_same_by_tick_and_by_event(data: st.DataObject) -> None:
    link = data.draw(links())
    script = data.draw(scripts(link))
    subject = Subject(link)
    simulator = Simulator(link, script.delay, subject.windows)

    by_event = moments(simulator, script, by_tick=False)
    by_tick = moments(simulator, script, by_tick=True)

    assert by_event == by_tick


@given(links(lenient=True))
@example(JITTER_BEHIND_A_DELAY)
@example(HOLDS_AND_JITTER)
@example(ONE_DISTANCE)
@examples(60)
def test_explorer_solver_and_simulator_agree_on_the_verdict(link: Link) -> None:
    explored = verdict_of(link, "explorer")
    solved = verdict_of(link, "solver", seconds=2)
    event(f"explorer {explored.verdict.value}, solver {solved.verdict.value}")

    if UNDECIDED not in (explored.verdict, solved.verdict):
        assert explored.verdict is solved.verdict
    if explored.verdict is Verdict.HOLDS:
        hammered = verdict_of(link, "simulator", seconds=0.1)
        assert hammered.verdict is UNDECIDED


@given(links(owns()), st.data())
@examples(40)
def test_engines_agree_on_machines_of_ones_own(link: Link, data: st.DataObject) -> None:
    if data.draw(st.integers(0, 3)):
        link = link.with_operator(spacing=40, pairs=None)
    subject = Subject(link)
    explored = judge(subject, "explorer", Progress(), budget=Budget(4))
    others = {
        engine: judge(subject, engine, Progress(), budget=Budget(0.5))
        for engine in ("zones", "solver")
    }
    event(f"{explored.verdict.value}")

    for engine, judged in others.items():
        event(f"{engine} {judged.verdict.value}")
        if UNDECIDED not in (explored.verdict, judged.verdict):
            assert explored.verdict is judged.verdict, engine
    script = data.draw(scripts(link))
    simulator = Simulator(link, script.delay, subject.windows)
    assert moments(simulator, script, by_tick=False) == moments(simulator, script, by_tick=True)
    if explored.verdict is Verdict.HOLDS and moments(simulator, script, by_tick=False) != []:
        assert not subject.fails(script)


@given(links(WITHOUT_QUEUE, faulty=False))
@examples(40)
def test_the_solver_decides_whatever_does_not_queue(link: Link) -> None:
    assert verdict_of(link, "solver", seconds=60).verdict is not UNDECIDED


@pytest.mark.slow
@given(links(WITHOUT_QUEUE, faulty=False))
@examples(18)
def test_explorer_and_solver_agree_on_the_least_spacing(link: Link) -> None:
    subject = Subject(link)

    explored = least_spacing(subject, "explorer", Progress(), Budget(60))
    solved = least_spacing(subject, "solver", Progress(), Budget(60))

    assert (explored.ticks, explored.verdict) == (solved.ticks, solved.verdict)


@pytest.mark.slow
@given(links(OTHERS, faulty=False))
@examples(20)
def test_where_both_decide_they_agree_on_the_least_spacing(link: Link) -> None:
    subject = Subject(link)

    explored = least_spacing(subject, "explorer", Progress(), Budget(5))
    solved = least_spacing(subject, "solver", Progress(), Budget(5))
    event(f"solver {solved.verdict.value}")

    if UNDECIDED not in (explored.verdict, solved.verdict):
        assert (explored.ticks, explored.verdict) == (solved.ticks, solved.verdict)


@given(links())
@examples(40)
def test_the_least_spacing_holds_and_the_trace_below_keeps_one_tick_less(link: Link) -> None:
    found = least_spacing(Subject(link), "explorer", Progress(), Budget(4))
    event(f"{found.verdict.value}")
    if found.verdict is not Verdict.HOLDS or found.ticks is None:
        return

    assert verdict_of(link.with_operator(spacing=found.ticks), "auto").verdict is Verdict.HOLDS
    if found.ticks == 0:
        assert found.trace_below is None
    else:
        below = Subject(link.with_operator(spacing=found.ticks - 1))
        assert found.trace_below is not None
        assert below.fails(found.trace_below.script)


@pytest.mark.slow
@given(links(WITHOUT_QUEUE))
@examples(6)
def test_explorer_and_solver_agree_on_latencies(link: Link) -> None:
    explored = latencies(Subject(link), "explorer", Progress(), Budget(5))
    solved = latencies(Subject(link), "solver", Progress(), Budget(5))
    if not (explored.exact and solved.exact and explored.verdict is Verdict.HOLDS):
        return

    assert [(i.best, i.worst) for i in explored.inputs] == [
        (i.best, i.worst) for i in solved.inputs
    ]


# Found by hypothesis: branches were searched in turn, and the first failure was shown.
FAR_BRANCH_FAILS_SOONER = make_link(
    PulseGap((2,), 1, (0,), on_miss="rearm"), branches=(0, 1), within=(0, 2)
)


def every_short_script(link: Link, presses: int, horizon: int) -> list[Script]:
    """All sequences of so many presses from tick 0, at most ``horizon`` apart: the naive search."""
    found = []
    for inputs in product(range(link.inputs), repeat=presses):
        for waits in product(range(horizon + 1), repeat=presses - 1):
            now, made = 0, [Press(0, inputs[0])]
            for wait, index in zip(waits, inputs[1:], strict=True):
                now += wait
                made.append(Press(now, index))
            if len(set(made)) == presses and made == sorted(made):
                found += [
                    Script(tuple(made), delay) for delay in range(link.delay[0], link.delay[1] + 1)
                ]
    return found


@given(
    links(
        st.one_of(
            pulse_gaps(most_inputs=2), parallel_codes(most_inputs=2), framed_serials(most_inputs=2)
        )
    )
)
@example(FAR_BRANCH_FAILS_SOONER)
@examples(25)
def test_no_short_sequence_contradicts_the_explorer(link: Link) -> None:
    subject = Subject(link)
    judged = verdict_of(link, "explorer")
    horizon = min(12, max(subject.lone.settled) + 1)
    shortest = 99
    for count in (1, 2):
        if any(subject.fails(script) for script in every_short_script(link, count, horizon)):
            shortest = count
            break

    if judged.verdict is Verdict.HOLDS:
        assert shortest == 99
    if judged.trace is not None and len(judged.trace.script.presses) <= 2:
        # Breadth first: nothing with fewer presses fails.
        assert shortest >= len(judged.trace.script.presses)


@pytest.mark.parametrize("engine", ["explorer", "solver"])
@pytest.mark.parametrize("n", [1, 2, 7, 16])
def test_least_spacing_of_even_gaps_is_the_longest_send(n: int, engine: EngineName) -> None:
    found = least_spacing(Subject(make_link(even_gaps(n))), engine, Progress())

    assert found.ticks == 2 * n + 2
    assert found.trace_below is not None
    assert found.trace_below.failure is not None


@given(links(pulse_gaps(), faulty=False), st.data())
@examples(30)
def test_sequences_that_keep_a_proved_matrix_come_out_right(
    link: Link, data: st.DataObject
) -> None:
    link = link.with_operator(pairs=None, together=False)
    subject = Subject(link)
    found = least_spacing(subject, "explorer", Progress(), Budget(4))
    if found.ticks is None:
        return
    pairs = least_pairs(subject, "explorer", Progress(), found.ticks, Budget(4))
    event(f"{pairs.verdict.value}")
    if pairs.verdict is not Verdict.HOLDS:
        return

    bounded = subject.respaced(spacing=0, pairs=pairs.ticks)
    for _ in range(5):
        assert not bounded.fails(data.draw(scripts_keeping(pairs.ticks, link)))


def test_holds_is_never_said_by_the_simulator() -> None:
    assert verdict_of(make_link(WirePerInput(2)), "simulator").verdict is UNDECIDED


def test_a_queue_that_overflows_only_under_long_load_is_found_soon() -> None:
    scheme = PulseGap((8, 11, 14), 2, (1, 1, 1), busy="queue", depth=2)

    judged = verdict_of(make_link(scheme, Operator(spacing=13)), "auto", seconds=60)

    assert judged.verdict is Verdict.FAILS
    assert judged.trace is not None
    assert judged.trace.failure is not None
    assert judged.trace.failure.kind == "lost"


def test_the_solver_tells_states_apart_by_what_is_under_way() -> None:
    system = factored(make_link(even_gaps(2), Operator(spacing=9)), None)
    search = Search(system, Budget(30), Progress(), False, 1)

    def after(index: int) -> SymState:
        return search.symbolic.step(search.start, 1, (index,), lambda pick: pick.least)[1].state

    # All that differs is when the second pulse will come, which a bank keeps.
    assert search._differs(after(0), after(0)) is False
    assert search._differs(after(0), after(1)) is not False
