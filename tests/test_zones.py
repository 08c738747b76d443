"""Zones: what is known of unknown times, and the explorer that goes by it."""

from __future__ import annotations

from dataclasses import replace
from itertools import product

import pytest
from hypothesis import event, given
from hypothesis import strategies as st

from models.scan import Scan
from tests.links import even_gaps, framed_serials, links, make_link, parallel_codes, pulse_gaps
from tests.nightly import examples
from verify.engines.answer import Budget, Progress, Verdict
from verify.engines.bounds import Bounds, Decisions, TimesError, World
from verify.engines.explorer import explore
from verify.engines.lone import factored_windows
from verify.engines.zones import Stepper, Zone, _Seen, explore_zones
from verify.language.machine import System
from verify.parts.line import Faults
from verify.parts.link import Link, factored
from verify.parts.operator import Operator
from verify.parts.pause import End, Pause, told
from verify.parts.script import Script
from verify.questions.judging import Subject, judge

UNDECIDED = Verdict.UNDECIDED
SMALL = range(4)


@st.composite
def constraints(draw: st.DrawFn) -> list[tuple[int, int, int]]:
    times = st.integers(0, 3)
    made = st.tuples(times, times, st.integers(-3, 3))
    return [c for c in draw(st.lists(made, max_size=6)) if c[0] != c[1]]


@given(constraints())
def test_bounds_are_those_of_all_the_times_that_fit(found: list[tuple[int, int, int]]) -> None:
    bounds = Bounds([[0, 0, 0, 0], [3, 0, 3, 3], [3, 3, 0, 3], [3, 3, 3, 0]])
    possible = all(bounds.tighten(*constraint) for constraint in found)
    fits = [
        (0, *times)
        for times in product(SMALL, repeat=3)
        if all((0, *times)[i] - (0, *times)[j] <= most for i, j, most in found)
    ]

    assert possible == bool(fits)
    if fits:
        for i, j in product(range(4), repeat=2):
            assert bounds.rows[i][j] == max(times[i] - times[j] for times in fits)


def test_a_comparison_that_is_open_is_decided_once() -> None:
    bounds = Bounds()
    first, second = bounds.add(0, 1, 5), bounds.add(0, 3, 9)
    world = World(bounds, Decisions([False]))

    assert not world.span(first) < world.span(second)
    assert world.span(first) >= world.span(second)
    assert world.span(second).bounds() == (3, 5)
    assert world.decisions.made == [False]


def test_every_way_is_gone_once() -> None:
    ways = []
    plan: list[bool] | None = []
    while plan is not None:
        bounds = Bounds()
        first, second = bounds.add(0, 1, 5), bounds.add(0, 3, 9)
        world = World(bounds, Decisions(plan))
        sooner = world.span(first) < world.span(second)
        ways.append((sooner, world.span(first) <= 2))
        plan = world.decisions.others()

    assert sorted(ways) == [(False, False), (True, False), (True, True)]


def test_a_sum_of_two_unknown_times_is_given_up_on() -> None:
    world = World(Bounds(), Decisions([]))
    first, second = world.pick(1, 2), world.pick(1, 2)

    with pytest.raises(TimesError):
        first + second


def parts(link: Link) -> list[System]:
    subject = Subject(link)
    return [
        factored(alike[0].link, windows)
        for alike in subject.distinct_parts()
        for windows in factored_windows(alike[0].link, subject.lone_of(alike[0].link))
    ]


def done(script: Script) -> int:
    """How often the world did something: presses and pauses cost the same."""
    return len(script.presses) + sum(told(pick) is not None for pick in script.picks)


def held_together(system: System) -> None:
    explored = explore(system, Budget(3, 6_000), Progress())
    zoned = explore_zones(system, Budget(6, 20_000), Progress())
    event(f"explorer {explored.verdict.value}, zones {zoned.verdict.value}")
    if UNDECIDED in (explored.verdict, zoned.verdict):
        return
    assert explored.verdict is zoned.verdict
    if explored.script is not None and zoned.script is not None:
        assert done(explored.script) == done(zoned.script)
        return
    explored = explore(system, Budget(3, 6_000), Progress(), latencies=True)
    zoned = explore_zones(system, Budget(6, 20_000), Progress(), latencies=True)
    if explored.complete and zoned.complete:
        for one, other in ((explored.best, zoned.best), (explored.worst, zoned.worst)):
            assert {i: d.ticks for i, d in one.items()} == {i: d.ticks for i, d in other.items()}


@given(links(st.one_of(pulse_gaps(), parallel_codes())))
@examples(40)
def test_zones_and_explorer_agree_on_presses(link: Link) -> None:
    for system in parts(link):
        held_together(system)


@st.composite
def scans(draw: st.DrawFn) -> Link:
    """Small scans, late, early, and on lines with jitter."""
    slot = draw(st.integers(2, 4))
    least = draw(st.integers(-2, 2))
    scheme = Scan(
        draw(st.integers(1, 3)),
        slot,
        draw(st.integers(1, slot - 1)),
        draw(st.integers(0, 2)),
        (least, least + draw(st.integers(0, 2))),
        draw(st.booleans()),
    )
    operator = Operator(spacing=draw(st.integers(0, 12)), repeat=draw(st.integers(0, 12)))
    faults = Faults(jitter=draw(st.sampled_from([0, 0, 0, 1])))
    return make_link(scheme, operator, kind="level", faults=faults, delay=(1, 1))


@pytest.mark.slow
@given(scans())
@examples(25)
def test_zones_and_explorer_agree_on_scans(link: Link) -> None:
    for system in parts(link):
        held_together(system)


@st.composite
def pauses(draw: st.DrawFn) -> Pause:
    return Pause(draw(st.integers(1, 2)), draw(st.integers(1, 2)), draw(st.sampled_from(End)))


@pytest.mark.slow
@given(links(st.one_of(pulse_gaps(2), framed_serials(2, 2)), faulty=False), pauses())
@examples(25)
def test_zones_and_explorer_agree_on_pauses(link: Link, pause: Pause) -> None:
    for system in parts(replace(link, pause=pause)):
        held_together(system)


@pytest.mark.slow
@given(
    st.one_of(scans(), links(st.one_of(pulse_gaps(2), framed_serials(1, 2)), faulty=False)),
    st.integers(0, 12),
)
@examples(25)
def test_zones_and_explorer_agree_on_starts_in_any_state(link: Link, spared: int) -> None:
    for system in parts(replace(link, any_start=True, spared=spared)):
        held_together(system)


@pytest.mark.slow
@given(scans())
@examples(25)
def test_outputs_of_a_scan_judged_one_by_one_are_the_scan(link: Link) -> None:
    judged = judge(Subject(link), "auto", Progress(), budget=Budget(6))
    subject = Subject(link)
    hidden = link.hidden_delay(0)
    windows = subject.windows[0]
    without = type(windows)(
        tuple(t - hidden for t in windows.earliest), tuple(t - hidden for t in windows.latest)
    )
    whole = explore(factored(link, without), Budget(4, 20_000), Progress())
    event(f"{judged.verdict.value}, whole {whole.verdict.value}")

    if UNDECIDED not in (judged.verdict, whole.verdict):
        assert judged.verdict is whole.verdict


def test_the_number_of_zones_does_not_depend_on_the_tick() -> None:
    coarse = explore_zones(
        parts(make_link(even_gaps(3), Operator(spacing=8)))[0], Budget(9), Progress()
    )
    gaps = type(even_gaps(3))((2_000, 4_000, 6_000), 1_000, (0, 0, 0))
    fine = explore_zones(parts(make_link(gaps, Operator(spacing=8_000)))[0], Budget(9), Progress())

    assert (coarse.verdict, fine.verdict) == (Verdict.HOLDS, Verdict.HOLDS)
    assert coarse.covered == fine.covered


def test_a_scan_of_any_size_has_as_many_zones() -> None:
    counts = {
        explore_zones(
            parts(make_link(Scan(n, 4, 2), kind="level"))[0], Budget(9), Progress()
        ).covered
        for n in (4, 16, 256)
    }

    assert len(counts) == 1


@pytest.mark.parametrize("spacing", [0, 9])
def test_a_zone_is_left_out_only_within_one_that_was_seen(spacing: int) -> None:
    # With a spacing, the first piece of memory is a restraint, which runs here.
    stepper = Stepper(factored(make_link(even_gaps(2), Operator(spacing=spacing)), None))
    zone, _ = next(stepper.zones())
    names = [item.name for item in stepper.memory]

    def due(least: int, most: int) -> Zone:
        bounds = Bounds()
        shape = list(zone.shape)
        if spacing:
            shape[names.index("operator.spacing")] = bounds.add(0, 9, 9)
        shape[names.index("sender.second")] = ((bounds.add(0, least, most),),)
        return Zone(tuple(shape), bounds.matrix())

    seen = _Seen(stepper)
    assert not seen.covers(due(2, 5))
    assert seen.covers(due(3, 4))
    assert not seen.covers(due(3, 6))
    assert not seen.covers(due(1, 4))
