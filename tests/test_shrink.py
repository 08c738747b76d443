"""Counterexamples are minimal: no press can be dropped and no gap shortened, or nothing fails."""

from __future__ import annotations

import json
from collections.abc import Callable, Iterator
from dataclasses import replace
from fractions import Fraction
from itertools import combinations, pairwise
from pathlib import Path

import pytest
from click.testing import CliRunner
from hypothesis import HealthCheck, assume, event, given, settings
from hypothesis import strategies as st

from models.framed_serial import FramedSerial
from models.pulse_gap import PulseGap
from models.scan import Scan
from tests.links import links, make_link, parallel_codes, pulse_gaps, scripts
from verify.cli import main
from verify.engines.answer import Budget, Progress
from verify.engines.shrink import shrink
from verify.engines.simulator import NotAllowedError, replay
from verify.engines.trace import Chosen, Press, Script
from verify.linkfile import load
from verify.parts.clock import Clock
from verify.parts.link import Link
from verify.parts.operator import Operator
from verify.parts.pause import End, Pause
from verify.questions import judging
from verify.questions.engine_choice import EngineName
from verify.questions.judging import Subject, apart_in, judge
from verify.questions.margin import margin
from verify.questions.rate_margin import RateSide, rate_margin
from verify.questions.spacing import least_spacing


def without_a_press(script: Script) -> Iterator[Script]:
    """Every script with one press fewer, the others where they are."""
    for k in range(len(script.presses)):
        yield replace(script, presses=script.presses[:k] + script.presses[k + 1 :])


def with_a_shorter_gap(script: Script) -> Iterator[Script]:
    """Every script with one gap shorter, what was picked after it sooner as well. Of gaps in
    small parts of a tick, those shorter by few parts and by whole ticks."""
    parts = script.resolution
    for k in range(1, len(script.presses)):
        since = script.presses[k].tick
        gap = since - script.presses[k - 1].tick
        for cut in {*range(1, min(gap, 10) + 1), *range(parts, gap + 1, parts)}:
            yield replace(
                script,
                presses=tuple(
                    replace(p, tick=p.tick - cut * (n >= k)) for n, p in enumerate(script.presses)
                ),
                picks=tuple(
                    replace(c, tick=c.tick - cut * (c.tick >= since)) for c in script.picks
                ),
            )


def smaller_that_fail(
    subject: Subject, script: Script, fails: Callable[[Script], bool] | None = None
) -> list[Script]:
    """Of all these, the ones that the operator allows and that still fail."""
    tried = [*without_a_press(script), *with_a_shorter_gap(script)]
    return [candidate for candidate in tried if (fails or subject.fails)(candidate)]


@given(st.data())
@settings(max_examples=100)
def test_of_a_shrunk_run_nothing_can_be_left_out(data: st.DataObject) -> None:
    link = data.draw(links()).with_operator(spacing=0, repeat=0, overlap=None)
    script = data.draw(scripts(link))
    subject = Subject(link)
    if not subject.fails(script):
        return
    small = shrink(script, subject.fails, apart_in(link, script)).script
    assert subject.fails(small)
    assert not smaller_that_fail(subject, small)


@pytest.mark.parametrize("engine", ["explorer", "zones", "solver", "simulator"])
@given(links=links())
@settings(max_examples=8)
def test_of_a_run_that_is_shown_nothing_can_be_left_out(engine: str, links: Link) -> None:
    subject = Subject(links.with_operator(spacing=0))
    judged = judge(subject, engine, Progress(), budget=Budget(0.3))  # type: ignore[arg-type]
    if judged.trace is not None:
        assert not smaller_that_fail(subject, judged.trace.script)


@st.composite
def disturbed(draw: st.DrawFn) -> Link:
    """Levers and presses, with pauses, clocks that are off, starts in any state."""
    slot = draw(st.integers(2, 4))
    sample, offset = draw(st.integers(0, slot - 1)), (0, draw(st.integers(0, slot)))
    synced = draw(st.booleans())
    schemes = [
        Scan(2, slot, sample, synced=synced, offset=(0, 0) if synced else offset),
        draw(parallel_codes(2, 2)),
        draw(pulse_gaps(2)),
    ]
    scheme = draw(st.sampled_from(schemes))
    levers = not isinstance(scheme, PulseGap)
    link = make_link(scheme, Operator(spacing=draw(st.integers(0, 12)) * (not levers)))
    if levers:
        link = replace(link, kind="level")
    ends = st.builds(Pause, st.integers(1, 3), st.integers(1, 2), st.sampled_from(End))
    rate = Fraction(1, draw(st.sampled_from([10, 20, 50])))
    clocks = st.builds(Clock, st.sampled_from([(-rate, rate), (-rate, 0 * rate)]))
    match draw(st.sampled_from(["pause", "clock", "start", "none"])):
        case "pause":
            link = replace(link, pause=draw(ends))
            assume(link.unstoppable is None)
        case "clock":
            assume(not link.clockless)
            link = replace(link, clock=draw(clocks))
            assume(link.unsteady is None and not link.drifts_away)
        case "start":
            link = replace(link, any_start=True)
    return link


@given(disturbed())
@settings(max_examples=25)
def test_of_levers_pauses_and_clocks_that_are_off_nothing_can_be_left_out(link: Link) -> None:
    subject = Subject(link)
    judged = judge(subject, "auto", Progress(), budget=Budget(1))
    event(f"{link.kind} {link.pause.most} {link.clock.rated} {link.any_start} {judged.verdict}")
    if judged.trace is not None:
        assert not smaller_that_fail(subject, judged.trace.script)


@given(pulse_gaps())
@settings(max_examples=15)
def test_below_a_spacing_nothing_can_be_left_out_that_the_operator_may_leave_out(
    scheme: PulseGap,
) -> None:
    link = make_link(scheme)
    found = least_spacing(Subject(link), "explorer", Progress(), Budget(1))
    if found.ticks is None or found.trace_below is None:
        return
    below = Subject(link.with_operator(spacing=found.ticks - 1))
    assert below.fails(found.trace_below.script)
    assert not smaller_that_fail(below, found.trace_below.script)


@pytest.mark.parametrize("of", ["line.jitter", "line.shortest", "clock.wander", "pause"])
def test_just_past_a_margin_nothing_can_be_left_out(of: str) -> None:
    link = make_link(PulseGap((6, 12), 3, (1, 1)), Operator(spacing=20), delay=(4, 4))
    side = margin(link, of, "auto", Progress(), Budget(5)).most
    assert side.beyond is not None
    assert side.trace_beyond is not None
    subject = Subject(side.beyond)
    assert subject.fails(side.trace_beyond.script)
    assert not smaller_that_fail(subject, side.trace_beyond.script)


def test_just_past_a_margin_of_a_rate_nothing_can_be_left_out() -> None:
    link = make_link(PulseGap((6, 12), 3, (1, 1)), Operator(spacing=14))
    found = rate_margin(link, "auto", Progress(), Budget(10))
    sides = [(-1, found.least), (1, found.most)]
    assert any(side.trace_beyond is not None for _, side in sides)
    for sign, side in sides:
        if side.trace_beyond is None or side.error_beyond is None or side.windows is None:
            continue
        least, most = sorted((Fraction(0), sign * side.error_beyond))
        off = replace(link, clock=Clock((least, most)))

        def fails(script: Script, off: Link = off, side: RateSide = side) -> bool:
            try:
                return replay(off, side.windows or (), script).failure is not None
            except NotAllowedError:
                return False

        assert fails(side.trace_beyond.script)
        assert not smaller_that_fail(Subject(off), side.trace_beyond.script, fails)


def test_a_press_goes_also_where_it_fails_by_what_was_picked_at_another() -> None:
    """An uncertain start edge makes one frame fail by itself: the press before it is idle."""
    scheme = FramedSerial((1, 2), 2, bit=2, sample=3, edge=(0, 2))
    subject = Subject(make_link(scheme, Operator(spacing=20), within=(0, 6)))
    alone = Script((Press(0, 1),), picks=(Chosen(0, "receiver0.edge", 2),))
    assert subject.fails(alone)
    padded = Script((Press(0, 0), Press(20, 1)), picks=(Chosen(20, "receiver0.edge", 2),))
    assert subject.fails(padded)
    assert len(shrink(padded, subject.fails).script.presses) == 1


def test_a_run_begins_at_once() -> None:
    subject = Subject(make_link(PulseGap((4,), 1, (0,), receiver_kind="taps")))
    small = shrink(Script((Press(70, 0), Press(73, 0))), subject.fails).script
    assert small.presses == (Press(0, 0), Press(3, 0))


def test_a_much_shorter_gap_is_found_where_those_between_are_safe() -> None:
    """Taps see a ghost at twice the gap: half of it, and one tick less, come out right."""
    subject = Subject(make_link(PulseGap((4,), 1, (0,), receiver_kind="taps")))
    assert not subject.fails(Script((Press(0, 0), Press(7, 0))))
    small = shrink(Script((Press(0, 0), Press(8, 0))), subject.fails).script
    assert small.presses == (Press(0, 0), Press(3, 0))
    assert not smaller_that_fail(subject, small)


QUEUED = """
tick = "10 ms"
name = "a slow clock and a queue"
[inputs]
names = ["a", "b", "c"]
[link]
scheme = "framed-serial"
bit = 4
sample = 6
busy = "queue"
depth = 2
[operator]
spacing = 16
[clock]
rate = [0, "2 %"]
"""


@pytest.mark.slow
def test_of_a_run_of_sustained_load_nothing_can_be_left_out(tmp_path: Path) -> None:
    """More than a hundred presses, each a little too soon for the clock: only all of them fill
    the queue."""
    file = tmp_path / "queued.toml"
    file.write_text(QUEUED)
    link = load(file)
    subject = Subject(link)
    judged = judge(subject, "auto", Progress(), budget=Budget(60))
    assert judged.trace is not None
    script = judged.trace.script
    assert len(script.presses) > 100
    assert not judged.trace.loose
    assert not [fewer for fewer in without_a_press(script) if subject.fails(fewer)]
    # No operator may press sooner, so no gap can be shorter.
    ticks = [press.tick for press in script.presses]
    assert {b - a for a, b in pairwise(ticks)} == {16 * script.resolution}


def test_a_run_too_long_for_the_time_says_that_it_may_be_smaller(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(judging, "LEAST_SHRINKING", 0.0)
    file = tmp_path / "queued.toml"
    file.write_text(QUEUED)
    ran = CliRunner().invoke(main, ["check", str(file), "--time", "1"])
    assert ran.exit_code == 1
    assert "There may be a smaller run that fails" in " ".join(ran.output.split())
    ran = CliRunner().invoke(main, ["check", str(file), "--time", "1", "--json"])
    assert json.loads(ran.stdout)["trace"]["minimal"] is False


def test_idle_presses_of_a_long_run_go_in_few_steps() -> None:
    """Two presses that fail together, amid hundreds that the link is long done with."""
    link = make_link(PulseGap((4, 8), 1, (1, 1)))
    subject = Subject(link)
    idle = [Press(40 * k, k % 2) for k in range(300)]
    at = idle[171].tick
    script = Script((*idle[:172], Press(at + 1, 0), *idle[172:]))
    asked = 0

    def fails(script: Script) -> bool:
        nonlocal asked
        asked += 1
        return subject.fails(script)

    assert subject.fails(script)
    small = shrink(script, fails, apart_in(link, script))
    assert small.minimal
    assert len(small.script.presses) == 2
    assert not smaller_that_fail(subject, small.script)
    assert asked < 150


@given(st.data())
@settings(max_examples=60, suppress_health_check=list(HealthCheck))
def test_no_operator_lets_presses_be_closer_than_the_shrinking_takes_it_to(
    data: st.DataObject,
) -> None:
    link = data.draw(links())
    script = data.draw(scripts(link))
    try:
        trace = Subject(link).replay(script)
    except NotAllowedError:
        return
    # Presses after a failure are not looked at.
    assume(trace.failure is None)
    apart = apart_in(link, script)
    for one, other in combinations(script.presses, 2):
        assert other.tick - one.tick >= apart(one.input, other.input)


@pytest.mark.parametrize("engine", ["auto", "simulator"])
def test_of_ends_that_drift_apart_nothing_can_be_left_out(engine: EngineName) -> None:
    off = Clock((Fraction(-1, 50), Fraction(1, 50)))
    link = make_link(Scan(3, 4, 2, synced=False, offset=(0, 1)), Operator(spacing=40))
    subject = Subject(replace(link, kind="level", clock=off))
    assert subject.link.drifts_away
    judged = judge(subject, engine, Progress(), budget=Budget(5))
    assert judged.trace is not None
    assert len(judged.trace.script.presses) == 1
    assert not judged.trace.loose
    assert not smaller_that_fail(subject, judged.trace.script)


@pytest.mark.parametrize("synced", [pytest.param(False, marks=pytest.mark.slow), True])
def test_just_past_a_margin_of_a_scan_nothing_can_be_left_out(synced: bool) -> None:
    scheme = Scan(2, 4, 2, synced=synced, offset=(0, 0))
    link = replace(make_link(scheme, Operator(spacing=20)), kind="level")
    found = rate_margin(link, "auto", Progress(), Budget(20))
    sides = [(-1, found.least), (1, found.most)]
    assert all(side.trace_beyond is not None for _, side in sides)
    for sign, side in sides:
        assert side.trace_beyond is not None
        assert side.error_beyond is not None
        least, most = sorted((Fraction(0), sign * side.error_beyond))
        subject = Subject(replace(link, clock=Clock((least, most))))
        assert subject.fails(side.trace_beyond.script)
        assert not smaller_that_fail(subject, side.trace_beyond.script)
