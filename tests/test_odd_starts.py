"""A script that begins as no link can be found is refused, by the simulator and the rechecker."""

from __future__ import annotations

import pytest
from hypothesis import event, given, settings
from hypothesis import strategies as st

from models.framed_serial import FramedSerial
from tests.links import even_gaps, framed_serials, make_link, pulse_gaps
from verify.engines.answer import Budget, Progress
from verify.engines.concrete import Compiled, is_unknown
from verify.engines.simulator import NotAllowedError, Simulator
from verify.engines.trace import Script
from verify.language.state import Mode
from verify.parts.line import Faults
from verify.parts.link import whole
from verify.questions.certify import run_file
from verify.questions.judging import Subject, judge
from verify.recheck.certificate import MisfitError, RunFile
from verify.recheck.following import fails


def refused_to_run(simulator: Simulator, constants: tuple[tuple[str, int], ...]) -> bool:
    try:
        next(simulator.run(Script((), constants=constants), until=40), None)
    except NotAllowedError:
        return True
    return False


@given(st.one_of(pulse_gaps(1), framed_serials(1, 1)), st.integers(0, 3), st.data())
@settings(max_examples=40)
def test_only_states_at_power_up_are_run(scheme: object, delay: int, data: st.DataObject) -> None:
    link = make_link(scheme, any_start=True, delay=(delay, delay))  # type: ignore[arg-type]
    simulator = Simulator(link, delay, None)
    compiled = Compiled(whole(link, delay, None))
    unknown = list(filter(is_unknown, compiled.memory))
    ranges = {item.name: compiled.starts_of(item) for item in unknown}
    constants = {}
    for item in unknown:
        values = ranges[item.name]
        some = [*values[:1], *values[:1], *values[:3], values[-1], values[-1] + 1]
        constants[item.name] = data.draw(st.sampled_from(some))
    state = compiled.start_with(constants)
    within = all(value in ranges[name] for name, value in constants.items())
    expected = within and compiled.possible(state)
    event(str(expected))

    assert refused_to_run(simulator, tuple(constants.items())) is not expected
    run = RunFile(presses=[], delay=delay, picks=[], constants=constants, parts=1, fails=0)
    with pytest.raises(MisfitError) as error:
        fails(compiled.system, 1, link.inputs, run)
    assert ("in which nothing fails" in str(error.value)) is expected


def test_a_receiver_that_reads_without_its_clock_is_no_start() -> None:
    link = make_link(FramedSerial((0, 1), 1, 2, 2), any_start=True)
    simulator = Simulator(link, 0, None)
    reading = next(item.name for item in simulator.compiled.memory if isinstance(item, Mode))

    assert not refused_to_run(simulator, ())
    with pytest.raises(NotAllowedError, match=f"no link is found like this .*{reading} 1"):
        next(simulator.run(Script((), constants=((reading, 1),))))


def test_a_line_is_no_later_than_its_faults_say() -> None:
    link = make_link(even_gaps(1), faults=Faults(skew=2), delay=(1, 1))
    simulator = Simulator(link, 1, None)

    assert not refused_to_run(simulator, (("line0.late", 2),))
    assert refused_to_run(simulator, (("line0.late", 3),))
    assert refused_to_run(simulator, (("line0.late", -1),))


@given(
    st.one_of(pulse_gaps(2), framed_serials(2, 2)),
    st.sampled_from([(0, 0), (3, 3), (2, 4), (20, 20)]),
    st.sampled_from([(0,), (0, 5)]),
)
@settings(max_examples=25)
def test_failures_found_at_power_up_are_confirmed_over_any_line(
    scheme: object, delay: tuple[int, int], branches: tuple[int, ...]
) -> None:
    # Where the line is left out, a receiver that is found running is met by the first edge sooner.
    link = make_link(scheme, any_start=True, delay=delay, branches=branches)  # type: ignore[arg-type]
    subject = Subject(link)
    judged = judge(subject, "explorer", Progress(), budget=Budget(20))
    event(judged.verdict.value)
    if judged.trace is None or judged.trace.failure is None:
        return
    run = run_file(judged.trace.script, judged.trace.failure.tick)
    system = whole(link, judged.trace.script.delay, subject.windows)

    fails(system, len(branches), link.inputs, run)


def test_a_receiver_is_not_found_longer_from_its_end_than_the_line_is_late() -> None:
    link = make_link(even_gaps(2), any_start=True, delay=(20, 20))
    simulator = Simulator(link, 20, None)
    longest = link.scheme.receiver(0)[-1].memory[-1].most

    assert not refused_to_run(simulator, (("receiver0.mode", 1), ("receiver0.clock", longest + 20)))
    assert refused_to_run(simulator, (("receiver0.mode", 1), ("receiver0.clock", longest + 21)))
