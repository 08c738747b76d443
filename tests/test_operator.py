"""The operator: bounds that are kept just so, and not a tick more or less."""

from __future__ import annotations

from dataclasses import dataclass

import pytest

from models.parallel_code import ParallelCode
from models.wire_per_input import WirePerInput
from tests.links import even_gaps, make_link
from verify.engines.answer import Budget, Progress, Verdict
from verify.engines.lone import lone_presses
from verify.engines.simulator import NotAllowedError
from verify.engines.trace import Press, Script
from verify.language.machine import Machine, Rule
from verify.parts.line import Faults
from verify.parts.link import Link
from verify.parts.operator import Operator
from verify.parts.scheme import Scheme
from verify.parts.signals import decoded, far_fall, far_rise
from verify.questions.engine_choice import EngineName
from verify.questions.judging import Subject, judge

WIRES = WirePerInput(2)


def may(operator: Operator, *presses: tuple[int, int], scheme: Scheme = WIRES) -> bool:
    subject = Subject(make_link(scheme, operator))
    try:
        subject.replay(Script(tuple(Press(*p) for p in presses)))
    except NotAllowedError:
        return False
    return True


@pytest.mark.parametrize(
    ("operator", "first", "second", "least"),
    [
        (Operator(spacing=5), 0, 1, 5),
        (Operator(repeat=7), 0, 0, 7),
        # Held for 3 ticks, it must be seen to be let go.
        (Operator(hold=(3, 3)), 0, 0, 4),
        (Operator(hold=(3, 3), overlap=1), 0, 1, 3),
        (Operator(pairs=((9, 4), (6, 9))), 0, 1, 4),
        (Operator(pairs=((9, 4), (6, 9))), 1, 0, 6),
    ],
)
def test_a_press_may_come_from_its_bound_on(
    operator: Operator, first: int, second: int, least: int
) -> None:
    assert may(operator, (0, first), (least, second))
    assert not may(operator, (0, first), (least - 1, second))


def test_an_input_is_seen_to_be_let_go_also_where_nothing_looks() -> None:
    operator = Operator(hold=(3, 3))

    assert may(operator, (0, 0), (4, 0), scheme=even_gaps(2))
    assert not may(operator, (0, 0), (3, 0), scheme=even_gaps(2))


@pytest.mark.parametrize("engine", ["explorer", "zones", "solver"])
def test_two_inputs_of_one_tick_are_found_by_every_engine(engine: EngineName) -> None:
    # Held for a tick each, two codes meet only where both are pressed in the same tick.
    link = make_link(ParallelCode((1, 2, 3), 2), Operator())
    judged = judge(Subject(link), engine, Progress(), budget=Budget(30))

    assert judged.verdict is Verdict.FAILS
    assert judged.trace is not None
    assert len({press.tick for press in judged.trace.script.presses}) == 1
    apart = judge(Subject(link.with_operator(spacing=1)), engine, Progress(), budget=Budget(30))
    assert apart.verdict is Verdict.HOLDS


def test_a_press_that_may_get_lost_alone_has_no_latest_strike() -> None:
    # The two lines of code 3 may be three ticks apart, longer than it is held.
    link = make_link(
        ParallelCode((1, 3), 2), Operator(hold=(2, 2)), delay=(0, 0), faults=Faults(skew=3)
    )
    lone = lone_presses(link)

    assert lone.latest[0] is not None
    assert lone.earliest[1] is not None
    assert lone.latest[1] is None


@dataclass(frozen=True)
class Stutter(WirePerInput):
    """Strikes when the line rises, and once more when it falls."""

    def receiver(self, branch: int, delay: int = 0) -> tuple[Machine, ...]:
        edge = far_rise(0, branch).happens() | far_fall(0, branch).happens()
        rule = Rule("edge", edge, (decoded(branch).emit(0),))
        return (Machine(f"receiver{branch}", (), (rule,)),)

    def split(self) -> tuple[tuple[WirePerInput, tuple[int, ...]], ...]:
        return ((self, (0,)),)


def test_a_press_is_struck_once() -> None:
    link: Link = make_link(Stutter(1), Operator(hold=(3, 3)), within=(0, 5))
    trace = Subject(link).replay(Script((Press(0, 0),)))

    assert trace.failure is not None
    assert (trace.failure.tick, trace.failure.kind) == (3, "ghost")
