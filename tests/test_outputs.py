"""The order of the outputs: proved like everything else, and free."""

from __future__ import annotations

from dataclasses import replace
from itertools import permutations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from models.framed_serial import FramedSerial
from models.parallel_code import ParallelCode
from models.wire_per_input import WirePerInput
from tests.links import even_gaps, links, make_link
from verify.engines.answer import Answer, Budget, Progress, Verdict
from verify.engines.explorer import explore
from verify.engines.lone import factored_windows
from verify.engines.solver import solve
from verify.engines.trace import Press, Script
from verify.language.machine import System
from verify.parts import monitor, outputs
from verify.parts.link import Link, factored
from verify.parts.operator import Operator
from verify.parts.scheme import Scheme
from verify.questions.engine_choice import EngineName
from verify.questions.judging import Subject
from verify.questions.latency import latencies
from verify.questions.spacing import least_spacing

ORDER = (2, 0, 1)
SCHEMES = [
    pytest.param(even_gaps(3), id="pulse-gap"),
    pytest.param(WirePerInput(3), id="wire-per-input"),
    pytest.param(ParallelCode((1, 2, 3), 2), id="parallel-code"),
    pytest.param(FramedSerial((0, 1, 2), 2, 1, 1), id="framed-serial"),
]


@pytest.mark.parametrize("scheme", SCHEMES)
def test_each_input_strikes_the_output_of_the_order(scheme: Scheme) -> None:
    link = make_link(scheme, order=ORDER)

    for index, output in enumerate(ORDER):
        trace = Subject(link).replay(Script((Press(0, index),)))
        assert trace.failure is None
        struck = [e.signal for e in trace.events if e.signal.startswith("out.")]
        assert struck == [f"out.k{output + 1}"]
        # The latency is that of the input.
        assert [x.input for x in trace.latencies] == [index]


@pytest.mark.parametrize("engine", ["explorer", "solver"])
@pytest.mark.parametrize("scheme", SCHEMES)
def test_an_order_costs_nothing(scheme: Scheme, engine: EngineName) -> None:
    operator = Operator(overlap=1) if isinstance(scheme, ParallelCode) else Operator()
    plain = make_link(scheme, operator)
    ordered = replace(plain, order=ORDER)

    spacings = [least_spacing(Subject(link), engine, Progress()) for link in (plain, ordered)]
    assert spacings[0].ticks is not None
    assert spacings[0].verdict is spacings[1].verdict is Verdict.HOLDS
    assert spacings[0].ticks == spacings[1].ticks

    found = [
        latencies(Subject(link.with_operator(spacing=spacings[0].ticks)), engine, Progress())
        for link in (plain, ordered)
    ]
    assert all(each.verdict is Verdict.HOLDS and each.exact for each in found)
    assert found[0].inputs == found[1].inputs


@given(links(), st.data())
@settings(max_examples=30)
def test_no_order_changes_the_verdict(link: Link, data: st.DataObject) -> None:
    order = tuple(data.draw(st.permutations(range(link.inputs))))
    answers = []
    for each in (replace(link, order=None), replace(link, order=order)):
        windows = factored_windows(each, Subject(each).lone)
        answers.append(
            [explore(factored(each, w), Budget(states=4000), Progress()).verdict for w in windows]
        )

    assert answers[0] == answers[1]


# -- a monitor that expects another order ----------------------------------------


def mismatched(link: Link, real: tuple[int, ...], expected: tuple[int, ...]) -> System:
    """The link with its outputs in one order and its monitor told another."""
    ((windows, _),) = factored_windows(link, Subject(link).lone).items()
    bare = factored(link, None).machines[:-1]
    return System((*bare, outputs.build(0, real), *monitor.build(0, windows, expected)))


def asked(system: System, engine: str) -> Answer:
    run = {"explorer": explore, "solver": solve}[engine]
    return run(system, Budget(20), Progress())


@pytest.mark.parametrize("engine", ["explorer", "solver"])
@pytest.mark.parametrize("scheme", SCHEMES)
def test_outputs_in_another_order_than_the_monitor_expects_are_caught(
    scheme: Scheme, engine: str
) -> None:
    link = make_link(scheme, Operator(spacing=12, overlap=1))

    for expected in permutations(range(3)):
        answer = asked(mismatched(link, ORDER, expected), engine)
        if expected == ORDER:
            assert answer.verdict is Verdict.HOLDS
        else:
            assert answer.verdict is Verdict.FAILS
            assert answer.script is not None
            # One press is enough, of the lowest input whose output differs for the explorer.
            pressed = [p.input for p in answer.script.presses]
            wrong = [i for i in range(3) if ORDER[i] != expected[i]]
            assert len(pressed) == 1
            assert pressed[0] in wrong
            if engine == "explorer":
                assert pressed == wrong[:1]


def test_a_lever_lets_go_of_the_output_of_the_order() -> None:
    link = make_link(WirePerInput(3), order=ORDER, kind="level")
    trace = Subject(link).replay(Script((Press(0, 0), Press(5, 0))))

    moves = [(e.tick, e.signal, e.value) for e in trace.events if e.signal.startswith("out.")]
    assert moves == [(0, "out.k3", 1), (5, "out.k3", 0)]
