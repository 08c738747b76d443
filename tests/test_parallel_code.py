"""parallel-code: what the lines show, what the receiver believes, and what that costs."""

from __future__ import annotations

from itertools import product

import pytest
from hypothesis import given
from hypothesis import strategies as st

from models.parallel_code import ParallelCode
from tests.links import make_link, parallel_codes
from verify.engines.answer import Progress, Verdict
from verify.engines.simulator import Simulator
from verify.engines.trace import Chosen, Press, Script, Trace
from verify.parts.line import Faults
from verify.parts.link import Link
from verify.parts.operator import Operator
from verify.parts.signals import strike
from verify.questions.engine_choice import EngineName
from verify.questions.judging import Subject, judge
from verify.questions.latency import latencies
from verify.questions.spacing import least_spacing

ENGINES: list[EngineName] = ["explorer", "solver"]
both_engines = pytest.mark.parametrize("engine", ENGINES)

# Lines return to idle between presses, also the latest of them.
SLOW = Operator(spacing=8, hold=(3, 3))


def late(*lines: int) -> tuple[tuple[str, int], ...]:
    return tuple((f"line{k}.late", ticks) for k, ticks in enumerate(lines))


def strikes(link: Link, presses: list[tuple[int, int]], *lines: int) -> list[tuple[int, int]]:
    """Tick and output of every strike; ``lines``: by how much each line is late."""
    return run(link, Script(tuple(Press(*p) for p in presses), constants=late(*lines)))


def run(link: Link, script: Script) -> list[tuple[int, int]]:
    return [
        (moment.tick, values[0])
        for moment in Simulator(link, 0, None).run(script)
        for signal, values in moment.occurrences
        if signal == strike(0)
    ]


def replayed(link: Link, presses: list[tuple[int, int]], *lines: int) -> Trace:
    script = Script(tuple(Press(*p) for p in presses), constants=late(*lines))
    return Subject(link).replay(script)


def verdict(link: Link, engine: EngineName) -> Verdict:
    return judge(Subject(link), engine, Progress()).verdict


# -- words ---------------------------------------------------------------------


@given(parallel_codes(most_lines=3, most_inputs=7, exact=True), st.integers(0, 3))
def test_a_press_alone_strikes_its_output_after_settle_ticks(
    scheme: ParallelCode, extra: int
) -> None:
    hold = scheme.settle + 1 + extra
    link = make_link(scheme, Operator(hold=(hold, hold)))

    for index in range(scheme.inputs):
        assert strikes(link, [(5, index)]) == [(5 + scheme.settle, index)]


def test_codes_of_inputs_held_together_are_or_ed() -> None:
    # 001 for three ticks from 0, 010 from 1: the lines show 001, 011, 011, 010, idle.
    link = make_link(ParallelCode((0b001, 0b010, 0b011), 3), Operator(hold=(3, 3)))

    assert strikes(link, [(0, 0), (1, 1)]) == [(0, 0), (1, 2), (3, 1)]


def test_a_line_that_two_inputs_drive_stays_high_until_both_let_go() -> None:
    # 01 from 0 to 3, 11 from 1 to 4: 01, 11, 11, 11, idle. The first line never falls between.
    link = make_link(ParallelCode((0b01, 0b11), 2), Operator(hold=(3, 3)))

    assert strikes(link, [(0, 0), (1, 1)]) == [(0, 0), (1, 1)]
    # 11 first: it hides the 01, which shows only when the 11 is let go, too late.
    assert strikes(link, [(0, 1), (1, 0)]) == [(0, 1), (3, 0)]
    failure = replayed(link, [(0, 1), (1, 0)]).failure
    assert failure is not None
    assert (failure.kind, failure.output, failure.tick) == ("late", "k1", 1)


def test_the_or_of_two_codes_that_is_a_third_strikes_the_third() -> None:
    link = make_link(ParallelCode((1, 2, 3), 2), Operator(hold=(2, 2)))

    failure = replayed(link, [(0, 0), (0, 1)]).failure

    assert failure is not None
    assert (failure.kind, failure.output, failure.tick) == ("wrong-output", "k3", 0)


@both_engines
def test_one_input_held_at_a_time_is_safe_at_any_spacing(engine: EngineName) -> None:
    """Without skew lines change together: even from code to code within a tick."""
    link = make_link(ParallelCode((1, 2, 3), 2), Operator(hold=(1, 3), overlap=1))

    found = least_spacing(Subject(link), engine, Progress())

    assert (found.verdict, found.ticks) == (Verdict.HOLDS, 0)
    assert verdict(link.with_operator(overlap=2), engine) is Verdict.FAILS


# -- transients ----------------------------------------------------------------


def test_what_the_lines_show_on_their_way_are_real_words() -> None:
    # 11 with the second line a tick late: 01 at 0, 11 at 1 and 2, 10 at 3, idle.
    link = make_link(ParallelCode((0b11, 0b01, 0b10), 2), SLOW, faults=Faults(skew=1))

    assert strikes(link, [(0, 0)], 0, 1) == [(0, 1), (1, 0), (3, 2)]
    assert strikes(link, [(0, 0)], 1, 0) == [(0, 2), (1, 0), (3, 1)]
    assert strikes(link, [(0, 0)], 0, 0) == [(0, 0)]
    assert strikes(link, [(0, 0)], 1, 1) == [(1, 0)]
    failure = replayed(link, [(0, 0)], 0, 1).failure
    assert failure is not None
    # The press of k1 is due from 0 to 1, so this is not from nowhere.
    assert (failure.kind, failure.output, failure.tick) == ("wrong-output", "k2", 0)


def test_a_transient_that_is_no_code_strikes_nothing() -> None:
    link = make_link(ParallelCode((0b11,), 2), SLOW, faults=Faults(skew=1))

    for lines in product((0, 1), repeat=2):
        assert strikes(link, [(0, 0)], *lines) == [(max(lines), 0)]


def test_a_hold_no_longer_than_the_skew_never_shows_the_code() -> None:
    # The first line is high at 0, the second at 1.
    link = make_link(ParallelCode((0b11,), 2), Operator(hold=(1, 1)), faults=Faults(skew=1))

    assert strikes(link, [(0, 0)], 0, 1) == []
    failure = replayed(link, [(0, 0)], 0, 1).failure
    assert failure is not None
    assert failure.kind == "lost"


@both_engines
@pytest.mark.parametrize("skew", [1, 2])
def test_settle_hides_transients_from_as_many_ticks_as_the_skew_on(
    skew: int, engine: EngineName
) -> None:
    """Two lines are at most ``skew`` apart, and settling starts anew with the later one."""
    hold = 2 * skew + 1

    def link(settle: int) -> Link:
        operator = Operator(spacing=2 * hold + skew, hold=(hold, hold))
        return make_link(ParallelCode((1, 2, 3), 2, settle), operator, faults=Faults(skew=skew))

    assert [verdict(link(s), engine) for s in range(skew)] == [Verdict.FAILS] * skew
    assert verdict(link(skew), engine) is Verdict.HOLDS


@both_engines
@pytest.mark.parametrize("settle", [0, 1, 2, 3])
def test_settle_costs_exactly_its_ticks(settle: int, engine: EngineName) -> None:
    codes = (1, 3, 2)
    operator = Operator(spacing=9, hold=(4, 4))
    link = make_link(ParallelCode(codes, 2, settle), operator, delay=(2, 2))

    found = latencies(Subject(link), engine, Progress())

    assert (found.verdict, found.exact) == (Verdict.HOLDS, True)
    assert [(i.best, i.worst) for i in found.inputs] == [(2 + settle, 2 + settle)] * 3


@both_engines
def test_under_skew_a_press_is_as_late_as_the_latest_line_of_its_code(engine: EngineName) -> None:
    operator = Operator(spacing=12, hold=(5, 5))
    link = make_link(ParallelCode((1, 3), 2, 2), operator, faults=Faults(skew=2))

    found = latencies(Subject(link), engine, Progress())

    assert (found.verdict, found.exact) == (Verdict.HOLDS, True)
    assert [(i.best, i.worst) for i in found.inputs] == [(2, 4), (2, 4)]


def test_settling_starts_anew_with_every_edge_even_in_its_last_tick() -> None:
    # The second line moves just as the first has been steady for two ticks.
    operator = Operator(hold=(6, 6))
    link = make_link(ParallelCode((0b11, 0b01), 2, 2), operator, faults=Faults(skew=2))

    assert strikes(link, [(0, 0)], 0, 2) == [(4, 0)]
    assert strikes(link, [(0, 0)], 0, 1) == [(3, 0)]
    assert strikes(link, [(0, 0)], 2, 2) == [(4, 0)]


def test_a_code_that_comes_back_before_another_was_believed_strikes_once() -> None:
    # 01 from 0 to 9, and 10 for a tick at 3: 01, 11, and 01 again, believed at 6 as before.
    link = make_link(ParallelCode((0b01, 0b10, 0b11), 2, 2), Operator(hold=(1, 9)))
    presses = (Press(0, 0), Press(3, 1))

    def struck(blip: int) -> list[tuple[int, int]]:
        script = Script(presses, picks=(Chosen(0, "hold", 9), Chosen(3, "hold", blip)))
        return run(link, script)

    assert struck(1) == [(2, 0)]
    assert struck(2) == [(2, 0)]
    # Steady for longer, the 11 is believed; so is the 01 that follows it.
    assert struck(3) == [(2, 0), (5, 2), (8, 0)]


# -- hold ----------------------------------------------------------------------


@both_engines
@pytest.mark.parametrize("settle", [1, 2, 3])
def test_a_hold_that_does_not_outlast_settle_loses_presses(settle: int, engine: EngineName) -> None:
    def link(hold: int) -> Link:
        return make_link(ParallelCode((1, 2), 2, settle), Operator(spacing=12, hold=(hold, hold)))

    for hold in range(1, settle + 1):
        judged = judge(Subject(link(hold)), engine, Progress())
        assert judged.verdict is Verdict.FAILS
        assert judged.trace is not None
        assert judged.trace.failure is not None
        assert judged.trace.failure.kind == "lost"
        assert len(judged.trace.script.presses) == 1
    assert verdict(link(settle + 1), engine) is Verdict.HOLDS


@both_engines
@pytest.mark.parametrize(("skew", "settle"), [(1, 1), (1, 2), (2, 2)])
def test_skew_takes_its_ticks_off_the_hold(skew: int, settle: int, engine: EngineName) -> None:
    """The lines show the whole code for as long as it is held less the skew."""

    def link(hold: int) -> Link:
        operator = Operator(spacing=12, hold=(hold, hold))
        return make_link(ParallelCode((1, 3), 2, settle), operator, faults=Faults(skew=skew))

    assert verdict(link(skew + settle), engine) is Verdict.FAILS
    assert verdict(link(skew + settle + 1), engine) is Verdict.HOLDS
