"""Scans on clocks that are off: how long they stay right, how far off they may be."""

from __future__ import annotations

import json
from dataclasses import replace
from fractions import Fraction
from itertools import count
from pathlib import Path

import pytest
from click.testing import CliRunner
from hypothesis import assume, example, given, settings
from hypothesis import strategies as st

from models.scan import Scan
from tests.links import make_link
from verify.cli import main
from verify.engines import simulator as simulating
from verify.engines.answer import Budget, Progress, Verdict
from verify.engines.concrete import Compiled
from verify.engines.idle import Idle
from verify.engines.simulator import Simulator
from verify.engines.trace import Press, Script
from verify.errors import UsageError
from verify.parts.clock import PERIOD, Clock
from verify.parts.line import Faults
from verify.parts.link import Link, whole
from verify.parts.operator import Operator
from verify.parts.pause import Pause
from verify.questions.engine_choice import EngineName
from verify.questions.judging import Judgement, Subject, judge
from verify.questions.latency import latencies
from verify.questions.lifetime import Lifetime, lifetime
from verify.questions.margin import margin
from verify.questions.rate_margin import rate_margin
from verify.reports.lifetimes import sure_text

ZERO = Fraction(0)


def scan(scheme: Scan, low: object = 0, high: object = 0, wander: int = 0, **rest: object) -> Link:
    clock = Clock((Fraction(str(low)), Fraction(str(high))), wander)
    return make_link(scheme, kind="level", clock=clock, **rest)


def asked(link: Link, engine: EngineName = "auto", seconds: float = 60) -> Judgement:
    return judge(Subject(link), engine, Progress(), budget=Budget(seconds))


def lives(link: Link) -> Lifetime:
    return lifetime(Subject(link), "auto", Progress())


def first_bad_sample(scheme: Scan, slot: Fraction, delay: int) -> Fraction:
    """Ticks from power-up to the first sample that meets another lever, by arithmetic alone.

    Sample k of the receiver is right in slot k of the transmitter, whose slots last ``slot``
    ticks; both are counted from power-up, whatever the slot was. No lever moves before the
    link is warm.
    """
    soonest = []
    for offset in range(scheme.offset[0], scheme.offset[1] + 1):
        for k in count(1):
            sampled = k * scheme.slot + scheme.sample + scheme.late + Fraction(offset)
            if sampled + 1 < scheme.warm_up + delay:
                continue
            if (sampled // slot - k) % scheme.slots:
                soonest.append(sampled + 1 + delay)
                break
    return min(soonest)


# -- how long a free scan stays right ---------------------------------------------


@st.composite
def drifting(draw: st.DrawFn) -> tuple[Link, Fraction]:
    """A free scan that begins well, on a clock of known error; and what a slot of it lasts."""
    slot = draw(st.integers(2, 6))
    scheme = Scan(draw(st.integers(2, 4)), slot, draw(st.integers(1, slot - 1)))
    error = draw(st.fractions(Fraction(-1, 4), Fraction(1, 3), max_denominator=60))
    assume(error)
    delay = draw(st.integers(0, 3))
    return scan(scheme, error, error, delay=(delay, delay)), slot * (1 + error)


@given(drifting())
@settings(max_examples=25)
@example((scan(Scan(3, 4, 2), "1/100", "1/100"), Fraction(101, 25)))
def test_the_lifetime_is_the_time_of_the_first_bad_sample(case: tuple[Link, Fraction]) -> None:
    link, slot = case
    assert isinstance(link.scheme, Scan)

    found = lives(link)

    assert found.verdict is Verdict.FAILS
    assert found.ticks == first_bad_sample(link.scheme, slot, link.delay[0])
    assert found.error == link.clock.rate[0]


@pytest.mark.parametrize("error", ["1/7", "-1/6", "1/3"])
def test_no_run_fails_before_its_lifetime(error: str) -> None:
    """The simulator, tick by tick: each lever moved at every time, in every slot at power-up."""
    link = scan(Scan(2, 3, 1), error, error)
    subject, life = Subject(link), lives(link).ticks
    assert life is not None
    parts = link.clock.resolution
    end = int(life * parts)
    assert isinstance(link.scheme, Scan)
    warm = link.scheme.warm_up * parts
    period = int(parts * (1 + link.clock.rate[0]))
    simulator = Simulator(link, 0, subject.windows, parts)
    failing = set()
    for slot in range(2):
        turn, clock = 3 * period + parts, 5 * parts
        constants = (
            (PERIOD, period),
            ("sender.slot", slot),
            ("sender.turn", turn),
            ("receiver0.clock", clock),
        )
        for tick in range(warm - 1, end):
            for lever in range(2):
                script = Script((Press(tick, lever),), 0, (), constants, parts)
                for moment in simulator.run(script, by_tick=True, until=end):
                    if any(signal.name == "failure0" for signal, _ in moment.occurrences):
                        failing.add(moment.tick)

    assert min(failing) == end - 1


@pytest.fixture(scope="module")
def whole_range() -> Fraction | None:
    return lives(scan(Scan(3, 4, 1), "-1/40", "1/40")).ticks


@pytest.mark.parametrize("inside", ["-1/50", "-1/100", "-1/1000", "1/1000", "1/90", "1/41"])
def test_a_smaller_error_fails_no_sooner(inside: str, whole_range: Fraction | None) -> None:
    within = lives(scan(Scan(3, 4, 1), inside, inside)).ticks

    assert whole_range is not None
    assert within is not None
    assert within >= whole_range


def test_the_lifetime_of_a_range_is_that_of_its_worse_end() -> None:
    scheme = Scan(3, 4, 1)
    ends = [lives(scan(scheme, e, e)).ticks for e in ("-1/30", "1/50")]
    found = lives(scan(scheme, "-1/30", "1/50"))

    assert found.ticks == min(t for t in ends if t is not None)
    assert found.error in (Fraction(-1, 30), Fraction(1, 50))


@pytest.mark.parametrize(("error", "offset"), [("1/20", (-1, 0)), ("-1/20", (-1, 1))])
def test_any_setting_of_the_receivers_clock_is_looked_at(
    error: str, offset: tuple[int, int]
) -> None:
    scheme = Scan(3, 6, 3, offset=offset)
    # In parts of a tick, of which the resolution makes one, the offset may be between two ticks.
    settings_of_it = [
        lives(scan(replace(scheme, offset=(o, o)), error, error)).ticks
        for o in range(offset[0], offset[1] + 1)
    ]
    found = lives(scan(scheme, error, error)).ticks

    assert found is not None
    assert found <= min(t for t in settings_of_it if t is not None)
    assert found > min(t for t in settings_of_it if t is not None) - 1


@pytest.mark.parametrize(("slot", "sample", "wander"), [(6, 3, 1), (8, 3, 1), (9, 5, 2), (5, 1, 1)])
def test_wander_is_worst_where_all_periods_are_off_alike(
    slot: int, sample: int, wander: int
) -> None:
    scheme = Scan(3, slot, sample)
    found = lives(scan(scheme, wander=wander))

    assert found.ticks == min(
        first_bad_sample(scheme, Fraction(slot + sign * wander), 0) for sign in (-1, 1)
    )
    assert found.error is None


def test_a_tiny_error_takes_no_longer_to_find_than_a_large_one() -> None:
    found, progress = {}, {}
    for error in ("1/100", "1/1000000"):
        progress[error] = Progress()
        link = scan(Scan(4, 20, 10), error, error)
        found[error] = lifetime(Subject(link), "auto", progress[error]).ticks

    assert found == {"1/100": 1031, "1/1000000": 10000031}
    assert progress["1/1000000"].states < 5 * progress["1/100"].states


def test_traces_of_lifetimes_replay_on_the_whole_link() -> None:
    link = scan(Scan(5, 4, 2), "-1/70", "1/90", delay=(2, 2), branches=(0, 3))
    subject = Subject(link)
    found = lifetime(subject, "auto", Progress())

    assert found.trace is not None
    again = subject.replay(found.trace.script)
    assert again.failure == found.trace.failure
    assert again.failure is not None
    assert found.ticks == Fraction(again.failure.tick + 1, again.script.resolution)


def test_a_scan_of_one_slot_has_nowhere_to_drift_to() -> None:
    found = lives(scan(Scan(1, 4, 2), "-1/20", "1/20"))

    assert found.forever
    assert found.ticks is None


def test_links_whose_ends_do_not_drift_live_for_ever_or_not_at_all() -> None:
    assert lives(scan(Scan(3, 4, 2))).forever
    assert lives(scan(Scan(3, 4, 2, synced=True), "-1/20", "1/20")).forever
    broken = lives(scan(Scan(3, 4, 2, offset=(2, 2))))
    assert broken.ticks == 0
    assert broken.trace is not None


def test_lifetimes_are_refused_where_they_would_not_be_the_soonest() -> None:
    link = scan(Scan(2, 4, 2), "1/50", "1/50")
    with pytest.raises(UsageError, match="allowed: auto or zones"):
        lifetime(Subject(link), "explorer", Progress())
    with pytest.raises(UsageError, match="pauses with clocks that drift apart"):
        lifetime(Subject(replace(link, pause=Pause(2))), "auto", Progress())
    with pytest.raises(UsageError, match="lifetime"):
        latencies(Subject(link), "auto", Progress())


def test_a_lifetime_without_time_is_undecided() -> None:
    link = scan(Scan(6, 20, 10), "-1/1000", "1/1000")
    found = lifetime(Subject(link), "auto", Progress(), Budget(0.001))

    assert found.verdict is Verdict.UNDECIDED
    assert found.ticks is None


@pytest.mark.parametrize(("error", "ticks"), [("1/40", 8 * 16 + 4 + 1 + 2), ("-1/40", 159)])
def test_jitter_delays_an_edge_and_not_many_in_a_row(error: str, ticks: int) -> None:
    """By hand, on a line of 2 ticks: slow by a fortieth, slot 16 begins 3.2 ticks late, and with
    a tick of jitter more than the 4 before the sample. Fast, jitter does not matter.
    """
    link = scan(Scan(3, 8, 4), error, error, delay=(2, 2), faults=Faults(jitter=1))

    assert lives(link).ticks == ticks


def test_a_synced_scan_on_a_line_with_jitter_holds_where_moves_are_apart() -> None:
    link = scan(
        Scan(2, 12, 6, synced=True),
        "-1/100",
        "1/100",
        faults=Faults(jitter=1),
        operator=Operator(spacing=2),
    )

    assert asked(link).verdict is Verdict.HOLDS


# -- what the search rests on -----------------------------------------------------


@given(drifting(), st.integers(0, 3), st.integers(1, 2000))
@settings(max_examples=30)
def test_a_link_left_alone_is_where_steps_bring_it(
    case: tuple[Link, Fraction], slot: int, passed: int
) -> None:
    link, _ = case
    assert isinstance(link.scheme, Scan)
    compiled = Compiled(whole(link, link.delay[0], None, link.clock.resolution))
    start = compiled.start_with({"sender.slot": slot % link.scheme.slots})
    state, left = start, passed
    while left:
        step = min(left, compiled.next_event(state) or left)
        result = compiled.step(state, step)
        assert result is not None
        state, left = result[0], left - step

    assert Idle(compiled, start).at(passed) == state


@given(drifting(), st.integers(100, 3000), st.integers(0, 1))
@settings(max_examples=20)
def test_long_idle_times_are_jumped_over(
    case: tuple[Link, Fraction], tick: int, lever: int
) -> None:
    link, _ = case
    parts = link.clock.resolution
    script = Script((Press(tick * parts, lever),), link.delay[0] * parts, (), (), parts)
    simulator = Simulator(link, script.delay, None, parts)
    until = (tick + 60) * parts
    slow = list(simulator.run(script, by_tick=False, until=until))
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(simulating, "LONG", 1)
        assert list(simulator.run(script, until=until)) == slow


# -- synced scans -----------------------------------------------------------------


@pytest.mark.parametrize(
    ("slots", "slot", "sample"), [(2, 4, 2), (3, 4, 1), (4, 5, 3), (3, 40, 13)]
)
def test_a_synced_scan_stands_what_brings_no_sample_out_of_its_slot(
    slots: int, slot: int, sample: int
) -> None:
    """By hand: a slow transmitter's next mark must not come after the receiver's own sample of
    slot 0, one frame and ``sample`` after the last; a fast one's must come after the sample
    of the last slot. The first may be just in time, the second may not.
    """
    link = scan(Scan(slots, slot, sample, synced=True))
    found = rate_margin(link, "auto", Progress(), Budget(120))

    assert (found.most.amount, found.most.holds) == (Fraction(sample, slots * slot), True)
    assert (found.least.amount, found.least.holds) == (
        Fraction(slot - sample, slots * slot),
        False,
    )
    for side, sign in ((found.least, -1), (found.most, 1)):
        trace, error = side.trace_beyond, side.error_beyond
        assert side.amount is not None
        assert trace is not None
        assert error is not None
        assert error >= side.amount
        ends = sorted((ZERO, sign * error))
        there = replace(link, clock=Clock((ends[0], ends[1])))
        assert Subject(there).replay(trace.script).failure == trace.failure


@pytest.mark.parametrize(("slots", "slot", "sample"), [(3, 8, 4), (2, 9, 3), (4, 20, 10)])
def test_a_synced_scan_stands_a_wander_that_adds_up_over_a_frame(
    slots: int, slot: int, sample: int
) -> None:
    link = scan(Scan(slots, slot, sample, synced=True))
    found = margin(link, "clock.wander", "auto", Progress())

    # Slow: slots * w <= sample; fast: slots * w < slot - sample.
    assert found.most.amount == min(sample // slots, -(-(slot - sample) // slots) - 1)
    assert found.most.trace_beyond is not None


def test_no_error_holds_for_a_free_scan() -> None:
    found = rate_margin(scan(Scan(2, 4, 2)), "auto", Progress(), Budget(60))

    for side in (found.least, found.most):
        assert (side.amount, side.holds, side.verdict) == (ZERO, True, Verdict.HOLDS)
        assert side.trace_beyond is not None
    assert margin(scan(Scan(2, 4, 2)), "clock.wander", "auto", Progress()).most.amount == 0


def test_a_scan_that_fails_on_time_has_no_margin() -> None:
    found = rate_margin(scan(Scan(2, 4, 2, offset=(2, 2))), "auto", Progress(), Budget(60))

    assert found.least.amount is None
    assert found.most.verdict is Verdict.FAILS


@pytest.mark.parametrize("engine", ["explorer", "solver", "simulator"])
def test_engines_that_find_no_margin_are_refused(engine: EngineName) -> None:
    with pytest.raises(UsageError, match="auto or zones"):
        rate_margin(scan(Scan(2, 4, 2)), engine, Progress(), Budget(5))


@st.composite
def synced(draw: st.DrawFn) -> Link:
    slot = draw(st.integers(2, 4))
    scheme = Scan(draw(st.integers(1, 2)), slot, draw(st.integers(1, slot - 1)), synced=True)
    errors = st.fractions(Fraction(-1, 3), Fraction(1, 3), max_denominator=3)
    ends = sorted((draw(errors), draw(errors)))
    wander, jitter = draw(st.sampled_from([(0, 0), (1, 0), (0, 1)]))
    return make_link(
        scheme,
        Operator(spacing=draw(st.integers(0, 3))),
        kind="level",
        clock=Clock((ends[0], ends[1]), wander),
        faults=Faults(jitter=jitter),
    )


@pytest.mark.slow
@given(synced())
@settings(max_examples=3)
# The parts of an output are due when the whole link has it due.
@example(scan(Scan(3, 2, 1, synced=True), 0, "1/4", faults=Faults(jitter=1)))
def test_zones_and_explorer_agree_on_synced_scans(link: Link) -> None:
    zoned = asked(link, "zones", 8)
    explored = asked(link, "explorer", 8)

    if Verdict.UNDECIDED not in (zoned.verdict, explored.verdict):
        assert zoned.verdict is explored.verdict


def test_what_a_clock_wanders_over_skipped_slots_is_shared_out() -> None:
    # Parts skip the slots of other levers: one length of several periods there.
    link = scan(Scan(6, 6, 3, synced=True), wander=1)
    judged = asked(link)

    assert judged.verdict is Verdict.FAILS
    assert judged.trace is not None
    wandered = [c for c in judged.trace.script.picks if c.name == "clock.sender.turn"]
    assert len(wandered) > 6
    assert all(abs(c.value) <= 1 for c in wandered)


def test_latencies_of_a_synced_scan_reach_over_the_longest_frame() -> None:
    link = scan(Scan(2, 4, 2, synced=True), "-1/20", "1/20", delay=(3, 3))
    found = latencies(Subject(link), "auto", Progress())

    assert found.verdict is Verdict.HOLDS
    assert found.best == 3
    assert found.worst is not None
    # A move comes just after a sample, a part of a tick in which was counted.
    assert 0 < 3 + 8 * Fraction(21, 20) - found.worst < Fraction(1, 100)


# -- the command ------------------------------------------------------------------

TOWER = """
name = "bell tower"
tick = "1 ms"
[inputs]
count = 4
kind = "level"
[link]
scheme = "free-scan"
slot = 20
[clock]
rate = [-0.0001, 0.0001]
"""


def run(tmp_path: Path, text: str, *words: str) -> tuple[int, str]:
    file = tmp_path / "tower.toml"
    file.write_text(text)
    result = CliRunner().invoke(main, [words[0], str(file), *words[1:]])
    return result.exit_code, result.output


def test_lifetime_in_words(tmp_path: Path) -> None:
    status, said = run(tmp_path, TOWER, "lifetime")

    assert status == 0
    said = " ".join(said.split())
    assert "sure to stay right for 1 min 39 s after power-up" in said
    assert "(exactly 99991 ticks (99.991 s))" in said
    assert "-0.01 % (-1/10000)" in said


def test_lifetime_in_json(tmp_path: Path) -> None:
    status, said = run(tmp_path, TOWER, "lifetime", "--json")
    found = json.loads(said)

    assert status == 0
    assert (found["question"], found["verdict"], found["forever"]) == ("lifetime", "fails", False)
    assert (found["lifetime"], found["lifetime_ticks"]) == ("99991", 99991)
    assert found["lifetime_s"] == pytest.approx(99.991)
    assert found["rate_error"] == "-1/10000"
    assert found["trace"]["failure"]["tick"] + 1 == 99991 * found["trace"]["ticks_per_tick"]

    status, said = run(tmp_path, TOWER.replace("free", "synced"), "lifetime", "--json")
    found = json.loads(said)
    assert status == 0
    assert (found["forever"], found["lifetime"], found["trace"]) == (True, None, None)


def test_the_margin_of_a_free_scan_points_to_its_lifetime(tmp_path: Path) -> None:
    status, said = run(tmp_path, TOWER, "margin", "--of", "clock.rate")

    assert status == 0
    assert "any but none fails in the end" in " ".join(said.split())


def test_check_of_a_free_scan_shows_the_soonest_failure(tmp_path: Path) -> None:
    status, said = run(tmp_path, TOWER, "check", "--json")
    found = json.loads(said)

    assert status == 1
    assert found["trace"]["failure"]["tick"] + 1 == 99991 * found["trace"]["ticks_per_tick"]


@pytest.mark.parametrize(
    ("seconds", "text"),
    [
        (Fraction(133), "2 min 13 s"),
        (Fraction(13349, 100), "2 min 13 s"),
        (Fraction(3600), "1 h"),
        (Fraction(90061), "1 d 1 h 1 min 1 s"),
        (Fraction(13387, 1000), "13.3 s"),
        (Fraction(1, 3), "333 ms"),
    ],
)
def test_times_are_told_as_people_tell_them_and_never_too_long(
    seconds: Fraction, text: str
) -> None:
    assert sure_text(seconds) == text
