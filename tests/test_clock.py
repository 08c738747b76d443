"""The transmitter's clock: off by a constant of the run, or with periods that wander."""

from __future__ import annotations

import json
from dataclasses import replace
from fractions import Fraction
from math import lcm
from pathlib import Path

import pytest
import z3
from click.testing import CliRunner
from hypothesis import event, example, given, settings
from hypothesis import strategies as st

from models.framed_serial import FramedSerial
from models.parallel_code import ParallelCode
from models.pulse_gap import PulseGap
from models.wire_per_input import WirePerInput
from tests.links import framed_serials, make_link, pulse_gaps
from verify.cli import main
from verify.engines.answer import Budget, Progress, Verdict
from verify.engines.concrete import Compiled
from verify.engines.explorer import explore
from verify.engines.linear import (
    Bounds,
    Interval,
    is_equal,
    is_less,
    minus,
    plus,
    real,
    term,
    times,
)
from verify.engines.lone import factored_windows
from verify.engines.symbolic import Symbolic
from verify.errors import LinkFileError, ModelError, UsageError
from verify.language import expressions as ex
from verify.language.durations import finer, remeasured, times_of
from verify.language.machine import Each, Machine, Offer, Rule, System
from verify.language.state import Number, Signal, Timer, number
from verify.linkfile import parse
from verify.parts.clock import Clock, paced
from verify.parts.link import Link, factored
from verify.parts.operator import Operator
from verify.parts.scheme import Scheme
from verify.questions.engine_choice import EngineName
from verify.questions.judging import Judgement, Subject, judge
from verify.questions.latency import latencies
from verify.questions.margin import margin
from verify.questions.rate_margin import RateSide, rate_margin

ZERO = Fraction(0)
APART = Operator(spacing=400)


def off_by(link: Link, least: Fraction, most: Fraction) -> Link:
    return replace(link, clock=replace(link.clock, rate=(least, most)))


def verdict_of(link: Link, engine: EngineName = "solver", seconds: float = 10) -> Judgement:
    return judge(Subject(link), engine, Progress(), budget=Budget(seconds))


# -- what is a time, and what a clock makes of it -------------------------------


def test_times_are_found_by_what_is_done_with_them() -> None:
    link = make_link(PulseGap((4, 8), 1, (0, 0)))
    system = factored(link, Subject(link).windows[0])
    due = next(item for item in system.memory if item.name == "monitor0.due")

    times = times_of(system.machines)

    found = [t for t in times if isinstance(t, tuple) and t[0] == due]
    fields = {due.fields[k] for _, k in found}  # type: ignore[union-attr]
    assert fields == {"total", "width"}
    assert not any(getattr(t, "name", "").startswith("receiver0.mode") for t in times)


GO = Signal("go", ("input",))
PRESSED = GO.occurrence("g")["input"]


def small(*do: object) -> Machine:
    timer = Timer("t", 9)
    count = number("count", 0, 9)
    body = Each(GO, "g", tuple(do))  # type: ignore[arg-type]
    return Machine("m", (timer, count), (Rule("end", timer.expires(), (count.set(3),)), body))


def test_lengths_become_periods_of_the_clock() -> None:
    timer, count = Timer("t", 9), number("count", 0, 9)
    tall = ex.Lookup((4, 0, 9), PRESSED)
    machine = small(timer.start(5), timer.start(tall), timer.stop(), count.set(5))
    clock = Clock((Fraction(-1, 10), Fraction(1, 5)), wander=2)

    (made,) = paced((machine,), times_of((machine,)), clock, 10)

    period = clock.period(10)
    assert period is not None
    assert (period.least, period.most) == (9, 12)
    wanders = ex.Pick("clock.t", -20, 20)
    do = made.body[1].do  # type: ignore[union-attr]
    assert [s.length for s in do[:3]] == [  # type: ignore[union-attr]
        ex.Plus(ex.Times(ex.Constant(5), period), wanders),
        ex.Plus(ex.Times(tall, period), wanders),
        ex.Constant(0),  # switches off, as before
    ]
    assert do[3] == count.set(5)  # a count is no time
    assert made.memory[0] == Timer("t", 9 * 12 + 20)


def test_a_finer_tick_makes_every_time_longer_and_nothing_else() -> None:
    timer, count = Timer("t", 9), number("count", 0, 9)
    window = ex.Find(((1, 2), (4, 6)), timer.left)
    machine = small(timer.start(5), Rule("in", window.eq(1), (count.set(count.read() + 1),)))

    (made,) = remeasured((machine,), times_of((machine,)), finer(7))

    longer = Timer("t", 63)
    start, rule = made.body[1].do  # type: ignore[union-attr]
    assert start == longer.start(35)
    assert rule.when == ex.Find(((7, 14), (28, 42)), longer.left).eq(1)  # type: ignore[union-attr]
    assert rule.do == (count.set(count.read() + 1),)  # type: ignore[union-attr]


def test_a_time_that_is_no_whole_number_of_parts_is_refused() -> None:
    machine = small(Timer("t", 9).start(ex.Constant(Fraction(5, 3))))

    with pytest.raises(ModelError, match="5/3 ticks are no whole number of ticks of 1/2"):
        remeasured((machine,), times_of((machine,)), finer(2))


tables = st.lists(st.integers(0, 9), min_size=3, max_size=3).map(tuple)


@given(tables, st.integers(0, 2), st.integers(3, 6), st.integers(0, 9))
def test_multiples_of_an_unknown_mean_the_same_to_both_readings(
    table: tuple[int, ...], index: int, unit: int, more: int
) -> None:
    """An unknown input and an unknown unit, then the solver is told both: the same timer."""
    of = Number("unit", 3, 6, (3, 6))
    timer = Timer("t", 109)
    length = ex.Times(ex.Lookup(table, PRESSED), of) + ex.Times(ex.Constant(more), of) + 1
    machine = Machine("m", (timer,), (Each(GO, "g", (timer.start(length),)),))
    offer = Offer(GO, 3, "offered", ex.Truth(True), ())
    made = System((Machine("units", (of,), (), offer), machine), dense=True)
    compiled, symbolic = Compiled(made), Symbolic(made)

    result = compiled.step(compiled.start_with({"unit": unit}), 1, (index,))
    state, _ = symbolic.start()
    choice = z3.Int("i")
    _, outcome = symbolic.step(state, 1, (choice,), lambda pick: pick.least)

    assert result is not None
    told = [(choice, z3.IntVal(index)), (state[0].term, z3.RealVal(unit))]
    meant = z3.simplify(z3.substitute(real(outcome.state[1]), *told))
    assert meant.as_fraction() == result[0][1] == (table[index] + more) * unit + 1


# -- sums of unknown times --------------------------------------------------------

coefficients = st.tuples(*[st.integers(-3, 3)] * 4)


@given(coefficients, coefficients, st.fractions(0, 4, max_denominator=6))
def test_comparisons_of_sums_mean_what_the_solver_means(
    a: tuple[int, ...], b: tuple[int, ...], most: Fraction
) -> None:
    bounds = Bounds()
    x = bounds.atom(z3.Real("x"), Interval(0, most))
    y = bounds.atom(z3.Real("y"), Interval(1, None, True))
    w = bounds.atom(z3.Real("w"))

    def total(k: tuple[int, ...]) -> object:
        return plus(plus(plus(times(k[0], x), times(k[1], y)), times(k[2], w)), k[3])

    left, right = total(a), total(b)
    exact = [k * v for k, v in zip(a, (x.term, y.term, w.term, 1), strict=True)]
    other = [k * v for k, v in zip(b, (x.term, y.term, w.term, 1), strict=True)]
    known = [x.term >= 0, x.term <= z3.RealVal(str(most)), y.term > 1]
    for found, meant in (
        (is_less(left, right), sum(exact) < sum(other)),
        (is_equal(left, right), sum(exact) == sum(other)),
    ):
        solver = z3.Solver()
        solver.add(*known, found != meant)
        assert solver.check() == z3.unsat
    assert minus(left, left) == 0
    assert term(minus(plus(left, right), right)) is not None


# -- link files ---------------------------------------------------------------------

BELLS = """
tick = "1 ms"
inputs.count = 2
link.scheme = "pulse-gap"
link.gaps = [10, 20]
link.pulse = 3
link.window = 1
"""


@pytest.mark.parametrize(
    ("written", "rate"),
    [
        ("0.02", ("-1/50", "1/50")),
        ("[-0.02, 0.03]", ("-1/50", "3/100")),
        ('"2 %"', ("-1/50", "1/50")),
        ('"1/160"', ("-1/160", "1/160")),
        ('["-4.375 %", "1/18"]', ("-7/160", "1/18")),
        ("[0, 1]", ("0", "1")),
        ("[-0.5, 0]", ("-1/2", "0")),
        ("1e-3", ("-1/1000", "1/1000")),
        ("0.1", ("-1/10", "1/10")),
        ("0", ("0", "0")),
        ('["-0.1", 1_0.0e-1_0]', ("-1/10", "1/1000000000")),
    ],
)
def test_rates_are_read_exactly_as_they_are_written(written: str, rate: tuple[str, str]) -> None:
    link = parse(f"{BELLS}clock.rate = {written}", "bells.toml")
    assert link.clock.rate == tuple(Fraction(end) for end in rate)


@pytest.mark.parametrize(
    "written",
    [
        "0.6",
        "-0.1",
        "[0.1, 0.2]",
        "[-0.2, -0.1]",
        "[-0.6, 0]",
        "[0, 1.5]",
        "[0.1]",
        "true",
        "nan",
        "inf",
        "1e400",
        "1e-400",
        "[]",
        '"2 pct"',
        '"1/0"',
        '"%"',
        "{}",
    ],
)
def test_what_is_no_rate_is_refused(written: str) -> None:
    with pytest.raises(LinkFileError, match=r"clock\.rate: found .*; allowed: a relative error x"):
        parse(f"{BELLS}clock.rate = {written}", "bells.toml")


WIRES = 'tick = "1 ms"\ninputs.count = 2\nlink.scheme = "wire-per-input"\n'


@pytest.mark.parametrize(
    ("text", "message"),
    [
        (
            WIRES + "clock.rate = 0.1",
            "clock.rate: found 0.1; allowed: no key: a scheme whose transmitter has a clock: "
            "all but wire-per-input, parallel-code, and machines of one's own without timers there",
        ),
        (
            WIRES + "clock.wander = 1",
            "clock.wander: found 1; allowed: no key: a scheme whose transmitter has a clock: "
            "all but wire-per-input, parallel-code, and machines of one's own without timers there",
        ),
        (
            BELLS + "clock.wander = 3",
            "clock.wander: found 3; allowed: less than 3 ticks, the shortest period of the clock "
            "(shaper.high)",
        ),
        (
            BELLS + 'link.busy = "queue"\nclock.wander = 1',
            'clock.wander: found 1; allowed: no key with busy = "queue": when a send ends could '
            "not be told from presses",
        ),
        (
            BELLS + "clock.rates = 0.1",
            "clock.rates: found an unknown key; allowed: offset, rate, wander; "
            "did you mean 'rate'?",
        ),
    ],
)
def test_refusals_say_why(text: str, message: str) -> None:
    with pytest.raises(LinkFileError) as refused:
        parse(text, "bells.toml")
    assert str(refused.value) == f"bells.toml: {message}"


# -- margins that can be worked out by hand --------------------------------------------


def known(side: RateSide) -> tuple[Fraction | None, bool]:
    assert side.verdict is Verdict.HOLDS, side.covered
    return side.amount, side.holds


@pytest.mark.parametrize("receiver", ["timer", "taps"])
@pytest.mark.parametrize(("gaps", "window"), [((8, 16), 1), ((10, 24, 60), 3), ((5, 9), 0)])
def test_a_window_is_a_margin_of_its_part_of_the_gap(
    gaps: tuple[int, ...], window: int, receiver: str
) -> None:
    # A gap g lasts g * (1 + e); it is accepted from g - window to g + window, ends included.
    scheme = PulseGap(gaps, 3, (window,) * len(gaps), receiver_kind=receiver)  # type: ignore[arg-type]
    found = rate_margin(make_link(scheme, APART), "solver", Progress())

    assert known(found.most) == (Fraction(window, max(gaps)), True)
    assert known(found.least) == (Fraction(window, max(gaps)), True)


@pytest.mark.parametrize(
    ("width", "bit", "sample"), [(1, 4, 6), (2, 8, 12), (2, 8, 8), (3, 10, 19), (3, 7, 9)]
)
def test_every_sample_falls_within_its_bit_of_the_sender(width: int, bit: int, sample: int) -> None:
    # With all codes there is an edge on either side of every bit in some frame. Bit k lasts, on
    # the sender's clock, from k + 1 bits after the start to k + 2; an edge in the tick of a
    # sample is seen.
    scheme = FramedSerial(tuple(range(2**width)), width, bit, sample)
    samples = [sample + k * bit for k in range(width)]
    slow = min(Fraction(at, (k + 1) * bit) for k, at in enumerate(samples)) - 1
    fast = max(Fraction(at, (k + 2) * bit) for k, at in enumerate(samples)) - 1

    found = rate_margin(make_link(scheme, APART), "solver", Progress())

    if slow == 0:
        assert known(found.most) == (0, True)
    else:
        assert known(found.most) == (slow, True)
    assert known(found.least) == (-fast, False)


def test_ten_bits_sampled_in_the_middle() -> None:
    # Start, eight bits, stop: the last bit of the code is sampled 8.5 bits after the start.
    codes = (0x55, 0xAA, 0x0F, 0xF0, 0x01, 0x80, 0xFF)
    link = make_link(FramedSerial(codes, 8, 104, 156), Operator(spacing=2080))

    found = rate_margin(link, "auto", Progress())

    assert known(found.most) == (Fraction(1, 16), True)
    assert known(found.least) == (Fraction(1, 18), False)


def test_a_link_that_fails_anyway_has_no_margin_of_rate() -> None:
    found = rate_margin(make_link(PulseGap((2, 4), 1, (0, 0))), "solver", Progress())

    assert found.most.amount is None
    assert found.most.verdict is Verdict.FAILS
    assert found.most.error_beyond == 0


def test_a_single_press_of_a_single_input_may_be_as_slow_as_it_likes() -> None:
    # Any later rise is looked at as a gap that no window fits, but code 0 has one pulse only.
    found = rate_margin(make_link(FramedSerial((0,), 1, 4, 7), APART), "solver", Progress())

    assert found.most.trace_beyond is not None
    assert known(found.most) == (Fraction(3, 4), True)
    assert found.least.trace_beyond is None
    assert "errors beyond -1/2 not looked at" in found.least.covered


@pytest.mark.parametrize("scheme", [WirePerInput(2), ParallelCode((1, 2), 2)])
def test_links_without_such_a_clock_are_refused(scheme: Scheme) -> None:
    link = make_link(scheme)
    with pytest.raises(UsageError, match=r"clock\.rate: allowed: a scheme"):
        rate_margin(link, "auto", Progress())
    with pytest.raises(UsageError, match=r"clock\.wander: allowed: a scheme"):
        margin(link, "clock.wander", "auto", Progress())


@pytest.mark.parametrize("engine", ["explorer", "simulator"])
def test_only_the_solver_knows_margins_of_rate(engine: EngineName) -> None:
    with pytest.raises(UsageError, match="allowed: auto or solver"):
        rate_margin(make_link(PulseGap((4,), 1, (1,))), engine, Progress())


# -- wander -------------------------------------------------------------------------


@pytest.mark.parametrize("engine", ["explorer", "solver"])
@pytest.mark.parametrize("window", [0, 1, 2])
def test_a_window_is_a_margin_of_wander(window: int, engine: EngineName) -> None:
    link = make_link(PulseGap((8, 16), 3, (window, window)), Operator(spacing=40))
    found = margin(link, "clock.wander", engine, Progress())

    assert found.most.amount == window
    assert found.most.verdict is Verdict.HOLDS


def test_wander_adds_up_over_the_bits_of_a_frame() -> None:
    # The last of two bits begins after two periods and ends after three: 2 w <= 4 and 3 w < 4.
    link = make_link(FramedSerial((0, 1, 2, 3), 2, 8, 12), APART)

    assert margin(link, "clock.wander", "explorer", Progress()).most.amount == 1


def test_wander_and_rate_together_eat_the_same_window() -> None:
    link = make_link(PulseGap((10, 20), 3, (3, 3)), APART)
    wandering = replace(link, clock=Clock(wander=2))

    assert known(rate_margin(wandering, "solver", Progress()).most) == (Fraction(1, 20), True)


# -- margins and verdicts, solver and explorer, agree ------------------------------------

rates = st.fractions(0, Fraction(1, 4), max_denominator=8)
overlapping = st.integers(0, 30).map(lambda spacing: Operator(spacing=spacing))
some_schemes = st.one_of(
    pulse_gaps(most_inputs=2, busy="overlay"),
    pulse_gaps(most_inputs=2, busy="ignore"),
    framed_serials(busy="overlay"),
    framed_serials(busy="ignore"),
)


@pytest.mark.slow
@given(some_schemes, st.integers(40, 80), st.integers(0, 3))
@settings(max_examples=12)
def test_a_margin_is_where_the_verdict_changes(scheme: Scheme, spacing: int, delay: int) -> None:
    link = make_link(scheme, Operator(spacing=spacing), delay=(delay, delay + 1))
    found = rate_margin(link, "solver", Progress(), Budget(4))
    for sign, side in ((-1, found.least), (1, found.most)):
        event(f"{side.verdict.value}, holds {side.holds}, 0 {side.amount == 0}")
        if side.amount is not None and (side.holds or side.amount > 0):
            last = side.amount if side.holds else side.amount * Fraction(99, 100)
            assert at_error(link, sign * last).verdict is not Verdict.FAILS
        if side.error_beyond is not None:
            assert side.trace_beyond is not None
            assert side.trace_beyond.failure is not None
            assert at_error(link, sign * side.error_beyond).verdict is Verdict.FAILS


def at_error(link: Link, error: Fraction) -> Judgement:
    least, most = sorted((ZERO, error))
    return verdict_of(off_by(link, least, most), seconds=4)


@given(some_schemes, overlapping, rates, rates)
@example(PulseGap((4, 8), 2, (1, 1), busy="queue"), Operator(spacing=12), Fraction(1, 8), ZERO)
@settings(max_examples=25)
def test_explorer_and_solver_agree_where_time_is_dense(
    scheme: Scheme, operator: Operator, below: Fraction, above: Fraction
) -> None:
    """The explorer sees the runs in whole parts of a tick; the solver sees them all."""
    link = off_by(make_link(scheme, operator), -below, above)
    subject = Subject(link)
    solved = judge(subject, "solver", Progress(), budget=Budget(1.5))
    event(f"solver {solved.verdict.value}")
    # Any failure of the solver has been replayed by the simulator in the parts it needs.
    parts = link.clock.resolution
    if solved.trace is not None:
        parts = lcm(parts, solved.trace.script.resolution)
    if parts > 60:
        return
    ((windows, _),) = factored_windows(link, subject.lone).items()
    explored = explore(factored(link, windows, parts), Budget(1.5, 30_000), Progress())
    if Verdict.UNDECIDED not in (solved.verdict, explored.verdict):
        assert explored.verdict is solved.verdict


def test_a_queue_sends_at_the_pace_of_its_clock() -> None:
    scheme = PulseGap((4, 8), 2, (1, 1), busy="queue", depth=1)
    # The longest send takes 11 ticks, or 12 3/8 on the slowest clock.
    for spacing, verdict in ((13, Verdict.UNDECIDED), (12, Verdict.FAILS)):
        link = off_by(make_link(scheme, Operator(spacing=spacing)), ZERO, Fraction(1, 8))
        explored = verdict_of(link, "explorer")
        assert explored.verdict is verdict
        assert "in steps of 1/8 tick" in explored.covered


# -- what is shown ---------------------------------------------------------------------


def test_latencies_at_a_rate_are_exact() -> None:
    even = make_link(PulseGap((8, 16), 3, (2, 2)), APART)
    link = off_by(even, Fraction(-1, 100), Fraction(1, 50))
    found = latencies(Subject(link), "auto", Progress(), traces=True)

    assert [(i.best, i.worst) for i in found.inputs] == [
        (Fraction(792, 100), Fraction(816, 100)),
        (Fraction(1584, 100), Fraction(1632, 100)),
    ]
    shown = found.inputs[0].worst_trace
    assert shown is not None
    assert Fraction(shown.latencies[0].ticks, shown.script.resolution) == Fraction(816, 100)


def write(folder: Path, text: str) -> str:
    file = folder / "bells.toml"
    file.write_text(text, encoding="utf-8")
    return str(file)


def test_the_margin_in_words_and_json(tmp_path: Path) -> None:
    file = write(tmp_path, BELLS + "operator.spacing = 100\n")

    told = CliRunner().invoke(main, ["margin", file, "--of", "clock.rate"])
    assert told.exit_code == 0
    assert "holds for clocks off by -5 % (-1/20) to 5 % (1/20)" in told.stdout
    words = " ".join(told.stdout.split())
    assert "A clock slow by 5 % (1/20) still holds; beyond, the link fails:" in words
    assert "the transmitter's clock is off by 5.01 % (501/10000)" in words

    found = json.loads(
        CliRunner().invoke(main, ["margin", file, "--of", "clock.rate", "--json"]).stdout
    )
    assert (found["least"], found["most"]) == ("-1/20", "1/20")
    assert (found["least_float"], found["most_float"]) == (-0.05, 0.05)
    assert (found["least_holds"], found["most_holds"]) == (True, True)
    trace = found["trace_beyond"]
    assert trace["ticks_per_tick"] == 10_000
    assert trace["failure"]["kind"] == "lost"
    assert (found["error_beyond"], found["error_beyond_least"]) == ("501/10000", "-501/10000")


def test_a_failure_at_a_rate_tells_its_ticks(tmp_path: Path) -> None:
    file = write(tmp_path, BELLS + 'operator.spacing = 100\nclock.rate = "1/10"\n')

    told = CliRunner().invoke(main, ["check", file])
    words = " ".join(told.stdout.split())
    assert told.exit_code == 1
    assert "fails: 1 press breaks" in words
    assert "In this run the transmitter's clock is off by" in words
    assert "parts of the file's tick" in words
    assert "clock rate -10 % (-1/10) to 10 % (1/10)" in words
