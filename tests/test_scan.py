"""Scans and levers: what a receiver takes from the line, and how far off it may be."""

from __future__ import annotations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from models.parallel_code import ParallelCode
from models.scan import Scan
from models.wire_per_input import WirePerInput
from tests.links import make_link
from verify.engines import lone_level
from verify.engines.answer import Budget, Progress, Verdict
from verify.engines.lone import lone_presses
from verify.engines.simulator import Simulator
from verify.engines.trace import Press, Script
from verify.errors import ModelError
from verify.parts.line import Faults
from verify.parts.link import Link
from verify.parts.operator import Operator
from verify.parts.scheme import Scheme
from verify.questions.judging import Judgement, Subject, judge
from verify.questions.latency import latencies
from verify.questions.spacing import least_spacing


def levers(scheme: Scheme, operator: Operator | None = None, **rest: object) -> Link:
    return make_link(scheme, operator, kind="level", **rest)


def verdict(link: Link, engine: str = "explorer") -> Judgement:
    return judge(Subject(link), engine, Progress(), budget=Budget(60))  # type: ignore[arg-type]


@pytest.mark.parametrize("synced", [False, True])
def test_latency_lies_between_the_line_delay_and_one_frame_more(synced: bool) -> None:
    # Common practice, no source: scanning latency varies with phase.
    link = levers(Scan(3, 2, 1, synced=synced), delay=(4, 4))

    found = latencies(Subject(link), "explorer", Progress())

    assert found.verdict is Verdict.HOLDS
    assert (found.best, found.worst) == (4, 4 + 3 * 2 - 1)


def test_latency_and_its_spread_grow_with_the_number_of_inputs() -> None:
    # Common practice, no source.
    worst = [
        latencies(Subject(levers(Scan(n, 2, 1))), "explorer", Progress()).worst for n in (1, 2, 3)
    ]

    assert worst == sorted(set(worst))


@pytest.mark.parametrize(("slot", "sample"), [(2, 1), (3, 1), (4, 2), (5, 1), (5, 4)])
def test_the_tolerated_offset_is_the_distance_from_the_sample_to_the_slots_edges(
    slot: int, sample: int
) -> None:
    early, late = -sample, slot - 1 - sample

    def tolerates(offset: int) -> bool:
        link = levers(Scan(2, slot, sample, offset=(offset, offset)))
        return verdict(link).verdict is Verdict.HOLDS

    assert tolerates(early)
    assert tolerates(late)
    assert not tolerates(early - 1)
    assert not tolerates(late + 1)


@pytest.mark.parametrize("offset", [(0, 0), (2, 2)])
def test_the_solver_which_argues_from_rest_says_nothing_of_a_scan(offset: tuple[int, int]) -> None:
    link = levers(Scan(2, 4, 2, offset=offset))

    assert verdict(link, "solver").verdict is Verdict.UNDECIDED


def test_a_sample_in_another_slot_shows_another_lever() -> None:
    judged = verdict(levers(Scan(3, 4, 2, offset=(2, 2))))

    assert judged.trace is not None
    assert judged.trace.failure is not None
    assert judged.trace.failure.kind == "ghost"
    assert len(judged.trace.script.presses) == 1
    moved = judged.trace.script.presses[0].input
    assert judged.trace.failure.output == f"k{(moved - 1) % 3 + 1}"


def test_branches_of_any_delay_are_followed() -> None:
    assert verdict(levers(Scan(2, 3, 1), delay=(2, 2), branches=(0, 5))).verdict is Verdict.HOLDS


def test_a_receiver_that_is_aligned_too_late_fails() -> None:
    assert verdict(levers(Scan(2, 4, 2, late=1))).verdict is Verdict.HOLDS
    assert verdict(levers(Scan(2, 4, 2, late=2))).verdict is Verdict.FAILS


def test_levers_on_wires_of_their_own_always_hold() -> None:
    link = levers(WirePerInput(9), delay=(1, 3))

    assert verdict(link).verdict is Verdict.HOLDS
    assert verdict(link, "solver").verdict is Verdict.HOLDS
    assert least_spacing(Subject(link), "auto", Progress()).ticks == 0


def test_codes_of_levers_that_are_up_together_are_ored() -> None:
    judged = verdict(levers(ParallelCode((0b01, 0b10, 0b11), 2)))

    assert judged.verdict is Verdict.FAILS
    assert judged.trace is not None
    assert len(judged.trace.script.presses) == 2


def test_a_lever_moved_back_before_it_was_seen_is_no_failure() -> None:
    link = levers(Scan(2, 4, 2))
    subject = Subject(link)

    trace = subject.replay(Script((Press(11, 0), Press(12, 0))))

    assert trace.failure is None
    assert not [e for e in trace.events if e.signal.startswith("out.")]


def test_a_window_that_ends_before_the_line_is_refused() -> None:
    with pytest.raises(ModelError, match="no press could be in time"):
        make_link(WirePerInput(1), delay=(3, 3), within=(0, 2))


@st.composite
def scan_runs(draw: st.DrawFn) -> tuple[Link, Script]:
    slot = draw(st.integers(2, 4))
    scheme = Scan(
        draw(st.integers(1, 3)),
        slot,
        draw(st.integers(1, slot - 1)),
        offset=(-1, 1),
        synced=draw(st.booleans()),
    )
    link = levers(scheme, delay=(draw(st.integers(0, 2)),) * 2)
    now, presses = scheme.warm_up + 3, []
    for _ in range(draw(st.integers(0, 5))):
        now += draw(st.integers(1, 9))
        presses.append(Press(now, draw(st.integers(0, link.inputs - 1))))
    return link, Script(tuple(presses), link.delay[0])


@given(scan_runs())
@settings(max_examples=40)
def test_a_scan_runs_the_same_by_tick_and_by_event(case: tuple[Link, Script]) -> None:
    link, script = case
    simulator = Simulator(link, script.delay, None)
    until = max((p.tick for p in script.presses), default=0) + 40

    by_event = list(simulator.run(script, until=until))
    by_tick = list(simulator.run(script, by_tick=True, until=until))

    assert by_event == by_tick


@given(scan_runs())
@settings(max_examples=20)
def test_outputs_follow_levers_that_are_still_for_a_frame(case: tuple[Link, Script]) -> None:
    """Read off the simulator's events, without any monitor: the reference is plain Python."""
    link, script = case
    scheme = link.scheme
    assert isinstance(scheme, Scan)
    in_slot = -scheme.sample <= -1 and scheme.sample + 1 < scheme.slot
    if not in_slot:
        return  # an offset of one tick leaves the slot
    until = max((p.tick for p in script.presses), default=0) + 2 * scheme.slots * scheme.slot + 20
    shown = dict.fromkeys(range(link.inputs), False)
    for moment in Simulator(link, script.delay, None).run(script, until=until):
        for signal, values in moment.occurrences:
            if signal.name == "strike0":
                shown[values[0]] = True
            elif signal.name == "rest0":
                shown[values[0]] = False

    for i in range(link.inputs):
        moves = sum(1 for press in script.presses if press.input == i)
        assert shown[i] == (moves % 2 == 1)


@pytest.mark.slow
@given(
    st.lists(st.integers(1, 7), min_size=1, max_size=2, unique=True),
    st.integers(0, 2),
    st.integers(0, 6),
)
@settings(max_examples=4)
def test_explorer_and_solver_agree_on_levers(codes: list[int], settle: int, spacing: int) -> None:
    link = levers(ParallelCode(tuple(codes), 3, settle), Operator(spacing=spacing))

    explored, solved = verdict(link), verdict(link, "solver")

    if Verdict.UNDECIDED not in (explored.verdict, solved.verdict):
        assert explored.verdict is solved.verdict


@given(st.data())
@settings(max_examples=30)
def test_moves_at_a_few_ticks_say_what_moves_at_all_ticks_say(data: st.DataObject) -> None:
    slot = data.draw(st.integers(2, 9))
    least = data.draw(st.integers(-3, 3))
    scheme = Scan(
        data.draw(st.integers(1, 4)),
        slot,
        data.draw(st.integers(1, slot - 1)),
        offset=(least, least + 1),
        synced=data.draw(st.booleans()),
    )
    faults = Faults(
        jitter=data.draw(st.integers(0, 1)), shortest=data.draw(st.sampled_from([0, 2]))
    )
    part = levers(scheme, faults=faults, delay=(3, 3)).parts()[0].link

    few = lone_presses(part)
    with pytest.MonkeyPatch.context() as patch:
        every = lambda self, state, event: range(1, event + 1)  # noqa: E731
        patch.setattr(lone_level._Runner, "_ticks", every)
        assert lone_presses(part) == few


def test_a_part_has_every_lever_that_a_sample_may_meet() -> None:
    # Sampled in the middle of four ticks, two late: in the next slot; three early: in the last.
    late, early = Scan(4, 4, 2, offset=(0, 2)), Scan(4, 4, 2, offset=(-3, 0))

    assert {carried for _, carried in late.alone(0)} == {(0, 1)}
    assert {carried for _, carried in early.alone(0)} == {(0, 3)}
