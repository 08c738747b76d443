import os
from dataclasses import replace
from fractions import Fraction
from importlib import resources
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from models.framed_serial import FramedSerial
from models.parallel_code import ParallelCode
from models.pulse_gap import PulseGap
from models.wire_per_input import WirePerInput
from verify.engines.answer import Progress, Verdict
from verify.errors import LinkFileError
from verify.linkfile import MOST_INPUTS, load, parse
from verify.parts.line import Faults
from verify.parts.link import Link
from verify.parts.operator import Operator
from verify.questions.engine_choice import EngineName
from verify.questions.judging import Subject, judge

TIME = (
    'a whole number of ticks, at least {}, or a quoted duration like "1.2 s" (ns, us, ms, s, min)'
)
TIME0, TIME1 = TIME.format(0), TIME.format(1)
TICK = 'a quoted duration above 0, like "50 ms" (ns, us, ms, s, min)'
PULSE_GAP_KEYS = "scheme, gaps, pulse, window, busy, depth, receiver, on_miss"
SCHEME_NAMES = (
    '"pulse-gap", "wire-per-input", "parallel-code", "framed-serial", "free-scan", '
    '"synced-scan" or "own"'
)
TOP_KEYS = (
    "name, tick, inputs, outputs, link, transmitter, receiver, line, clock, pause, start, "
    "operator, parts"
)
GAPS = f"a list with one time per input, each {TIME1}"

CODE = 'a whole number, at least 0, or digits 0 and 1 in quotes, like "0101"'
CODES = f"a list with one code per input, each {CODE}"
WIDTH = "a whole number from 1 to 24"
OUTPUT = "the name of an output, or its number from 1"
ORDER = f"a list that gives, for each input in turn, {OUTPUT}"

TOP = 'tick = "50 ms"\n'
LINK = TOP + '[link]\nscheme = "pulse-gap"\n'
THREE = LINK + "gaps = [2, 4, 6]\n"
PARALLEL = TOP + 'link.scheme = "parallel-code"\n'
SERIAL = TOP + 'inputs.count = 2\n[link]\nscheme = "framed-serial"\n'
EDGE = (
    "a number of receiver clocks, at least 0, which means [0, it], or [least, most] of them, "
    "below 0 for a start edge taken to be earlier than it was"
)
FRAMED = TOP + 'link.scheme = "framed-serial"\nlink.bit = 4\n'


def wrong(text: str) -> str:
    with pytest.raises(LinkFileError) as error:
        parse(text, "bells.toml")
    message = str(error.value)
    assert error.value.exit_code == 2
    assert error.value.path == "bells.toml"
    assert message.isprintable()  # one line, among other things
    return message.removeprefix("bells.toml: ")


# -- good files ---------------------------------------------------------------


def test_the_least_pulse_gap_file() -> None:
    assert parse(THREE, "bells.toml") == Link(
        name="link",
        tick=Fraction(1, 20),
        names=("1", "2", "3"),
        scheme_name="pulse-gap",
        scheme=PulseGap(gaps=(2, 4, 6), pulse=1, window=(0, 0, 0)),
        operator=Operator(),
    )


def test_the_least_wire_per_input_file() -> None:
    text = 'tick = "0.5 us"\ninputs.count = 2\nlink.scheme = "wire-per-input"\n'
    assert parse(text, "bells.toml", "two") == Link(
        name="two",
        tick=Fraction(1, 2_000_000),
        names=("1", "2"),
        scheme_name="wire-per-input",
        scheme=WirePerInput(2),
        operator=Operator(),
    )


def test_every_key_arrives() -> None:
    text = """
        name = "tower"
        tick = "50 ms"
        [inputs]
        names = ["c", "d"]
        kind = "press"
        [link]
        scheme = "pulse-gap"
        gaps = ["0.5 s", 20]
        pulse = "100 ms"
        window = [1, "100 ms"]
        busy = "queue"
        depth = 3
        receiver = "timer"
        on_miss = "rearm"
        [outputs]
        order = ["d", 1]
        [line]
        delay = ["150 ms", 4]
        branches = [0, "1 s"]
        jitter = "50 ms"
        skew = 0
        shortest = "150 ms"
        [clock]
        [operator]
        spacing = "1 s"
        repeat = 30
        hold = ["50 ms", 4]
        overlap = 2
        within = [0, "2 min"]
    """
    assert parse(text, "bells.toml") == Link(
        name="tower",
        tick=Fraction(1, 20),
        names=("c", "d"),
        scheme_name="pulse-gap",
        scheme=PulseGap(
            gaps=(10, 20),
            pulse=2,
            window=(1, 2),
            busy="queue",
            depth=3,
            receiver_kind="timer",
            on_miss="rearm",
        ),
        operator=Operator(spacing=20, repeat=30, hold=(1, 4), overlap=2),
        delay=(3, 4),
        branches=(0, 20),
        within=(0, 2400),
        faults=Faults(jitter=1, skew=0, shortest=3),
        order=(1, 0),
    )


def test_every_key_of_parallel_code_arrives() -> None:
    text = """
        lines = 4
        codes = [0b1000, "0011", 5]
        settle = "100 ms"
        [line]
        skew = "50 ms"
    """
    link = parse(TOP + '[link]\nscheme = "parallel-code"\n' + text, "bells.toml")
    assert link.scheme == ParallelCode((8, 3, 5), 4, 2)
    assert link.faults == Faults(skew=1)
    assert link.names == ("1", "2", "3")


def test_every_key_of_framed_serial_arrives() -> None:
    text = """
        codes = ["0000", "1000", 3]
        width = 4
        bit = "200 ms"
        sample = "250 ms"
        stop = 0
        busy = "queue"
        depth = 2
    """
    link = parse(TOP + '[link]\nscheme = "framed-serial"\n' + text, "bells.toml")
    assert link.scheme == FramedSerial((0, 8, 3), 4, 4, 5, 0, "queue", 2)


def test_codes_are_counted_up_by_default_and_lines_no_more_than_they_need() -> None:
    link = parse(PARALLEL + "inputs.count = 4\n", "x")
    assert link.scheme == ParallelCode((1, 2, 3, 4), 3)
    link = parse(FRAMED + "inputs.count = 5\n", "x")
    assert link.scheme == FramedSerial((0, 1, 2, 3, 4), 3, 4, 6)
    assert parse(FRAMED + "inputs.count = 1\n", "x").scheme == FramedSerial((0,), 1, 4, 6)
    # 7 inputs on 3 lines: common practice, no source.
    assert parse(PARALLEL + "inputs.count = 7\nlink.lines = 3\n", "x").scheme.lines == 3


@pytest.mark.parametrize(
    ("codes", "words", "width"),
    [
        ("[6]", (6,), 3),
        ("[1, 4, 2]", (1, 4, 2), 3),
        ('["0011", "0101"]', (3, 5), 4),  # a digit that is never 1 is a line all the same
        ('["01", 2]', (1, 2), 2),
        ("[0xffffff]", (2**24 - 1,), 24),
    ],
)
def test_codes_need_as_many_lines_or_bits(codes: str, words: tuple[int, ...], width: int) -> None:
    scheme = parse(PARALLEL + f"link.codes = {codes}\n", "x").scheme
    assert scheme == ParallelCode(words, width)
    scheme = parse(FRAMED + f"link.codes = {codes}\n", "x").scheme
    assert scheme == FramedSerial(words, width, 4, 6)


@given(
    words=st.lists(st.integers(1, 63), min_size=1, max_size=9, unique=True),
    spare=st.integers(0, 18),
    strings=st.data(),
)
def test_codes_read_alike_as_numbers_and_as_digits(
    words: list[int], spare: int, strings: st.DataObject
) -> None:
    width = max(words).bit_length() + spare
    written = [f'"{w:0{width}b}"' if strings.draw(st.booleans()) else str(w) for w in words]
    codes = f"link.codes = [{', '.join(written)}]\n"
    parallel = parse(PARALLEL + codes + f"link.lines = {width}\n", "x").scheme
    framed = parse(FRAMED + codes + f"link.width = {width}\n", "x").scheme
    assert parallel == ParallelCode(tuple(words), width)
    assert framed == FramedSerial(tuple(words), width, 4, 6)
    if spare == 0 and width > 1:
        wrong(PARALLEL + codes + f"link.lines = {width - 1}\n")
        wrong(FRAMED + codes + f"link.width = {width - 1}\n")


@given(inputs=st.integers(2, 300))
def test_the_lines_or_bits_called_enough_are_the_fewest(inputs: int) -> None:
    for text, key in ((PARALLEL, "lines"), (FRAMED, "width")):
        text += f"inputs.count = {inputs}\n"
        message = wrong(text + f"link.{key} = 1\n") if inputs > 2 or key == "lines" else None
        least = int(message.split("at least ")[1].split()[0]) if message else 1
        parse(text + f"link.{key} = {least}\n", "x")
        if least > 1:
            wrong(text + f"link.{key} = {least - 1}\n")


def test_the_receiver_of_frames_counts_in_its_own_clocks() -> None:
    plain = FramedSerial((0, 1), 1, 16, 24)
    for text, scheme in (
        ("", plain),
        ("oversample = 16", plain),
        ("oversample = 8", replace(plain, clock=2)),
        ("oversample = 8\nedge = 1", replace(plain, clock=2, edge=(0, 2))),
        ("oversample = 8\nedge = [-0.5, 0.5]", replace(plain, clock=2, edge=(-1, 1))),
        ("edge = [-2, 3]\nvotes = 3", replace(plain, edge=(-2, 3), votes=3)),
        ("leader = '950 ms'", replace(plain, leader=19, sample=19 + 8)),
        ("framing = true\nstop = 2", replace(plain, framing=True, stop=2)),
    ):
        assert parse(SERIAL + "bit = 16\n" + text, "bells.toml").scheme == scheme


@given(bit=st.integers(1, 40), sample=st.integers(1, 100))
def test_samples_fall_inside_their_bits(bit: int, sample: int) -> None:
    text = TOP + f'inputs.count = 2\nlink.scheme = "framed-serial"\nlink.bit = {bit}\n'
    assert bit <= parse(text, "x").scheme.sample < 2 * bit  # type: ignore[attr-defined]
    text += f"link.sample = {sample}\n"
    if bit <= sample < 2 * bit:
        assert parse(text, "x").scheme == FramedSerial((0, 1), 1, bit, sample)
    else:
        assert wrong(text).startswith(f"link.sample: found {sample}; allowed: {bit}")


@given(order=st.permutations(range(5)), named=st.lists(st.booleans(), min_size=5, max_size=5))
def test_any_order_of_the_outputs_by_name_or_number(order: list[int], named: list[bool]) -> None:
    names = "cdefg"
    entries = [f'"{names[k]}"' if n else str(k + 1) for k, n in zip(order, named, strict=True)]
    text = TOP + f'inputs.names = {list(names)}\nlink.scheme = "wire-per-input"\n'
    link = parse(text + f"outputs.order = [{', '.join(entries)}]", "x")
    assert link.outputs == tuple(order)
    assert (link.order is None) == (order == sorted(order))


def test_a_name_that_looks_like_a_number_is_a_name() -> None:
    text = THREE + 'inputs.names = ["3", "2", "1"]\noutputs.order = ["1", 1, "2"]\n'
    text = TOP + text.removeprefix(LINK).replace("gaps", "link.gaps")
    text += 'link.scheme = "pulse-gap"'
    assert parse(text, "x").order == (2, 0, 1)


def test_a_line_may_be_just_long_enough_for_the_shortest_pulse() -> None:
    text = THREE + "[line]\ndelay = [2, 9]\nbranches = [3, 1]\nshortest = 3\n"
    assert parse(text, "x").faults == Faults(shortest=3)
    assert parse(THREE + "[line]\nshortest = 1\n", "x").faults == Faults(shortest=1)


def test_lines_that_are_two_may_be_skewed() -> None:
    for text in (
        PARALLEL + "inputs.count = 2\n",
        TOP + 'inputs.count = 2\nlink.scheme = "wire-per-input"\n',
    ):
        assert parse(text + "line.skew = 3", "x").faults == Faults(skew=3)


def test_single_times_stand_for_both_ends_of_a_range() -> None:
    link = parse(THREE + "[line]\ndelay = 3\n[operator]\nhold = 2\n", "bells.toml")
    assert (link.delay, link.operator.hold) == ((3, 3), (2, 2))


def test_one_window_is_for_all_gaps() -> None:
    link = parse(LINK + 'gaps = [4, 8]\nwindow = "50 ms"\nreceiver = "taps"\n', "bells.toml")
    assert link.scheme == PulseGap((4, 8), 1, (1, 1), receiver_kind="taps")


def test_integers_may_be_written_in_every_way_of_toml() -> None:
    # TOML v1.0.0, "Integer": underscores, and hexadecimal, octal and binary numbers.
    link = parse(LINK + "gaps = [1_000, 0xff, 0o17, 0b11]\n", "bells.toml")
    assert link.scheme == PulseGap((1000, 255, 15, 3), 1, (0,) * 4)


def test_windows_may_have_two_sides() -> None:
    link = parse(LINK + 'gaps = [58, 100]\nwindow = [["300 ms", 6], [10, 9900]]\n', "bells.toml")
    assert link.scheme == PulseGap((58, 100), 1, ((6, 6), (10, 9900)))
    assert link.scheme.windows == ((52, 64), (90, 10000))

    # One pair in a list stands for all gaps.
    link = parse(LINK + "gaps = [58, 100, 200]\nwindow = [[10, 31]]\n", "bells.toml")
    assert link.scheme == PulseGap((58, 100, 200), 1, ((10, 31),) * 3)


def test_windows_may_just_not_meet() -> None:
    link = parse(LINK + "gaps = [9, 2, 5]\nwindow = [2, 1, 1]\n", "bells.toml")
    assert link.scheme == PulseGap((9, 2, 5), 1, (2, 1, 1))


def test_strikes_may_be_due_no_later_than_the_line_is_long() -> None:
    text = THREE + "[line]\ndelay = [1, 2]\nbranches = [4, 0]\n[operator]\nwithin = [0, 6]\n"
    assert parse(text, "bells.toml").within == (0, 6)


times = st.integers(1, 10**6)


@given(
    gaps=st.lists(st.integers(2, 10**12), min_size=1, max_size=9, unique=True),
    hold=st.tuples(times, times).map(sorted),
    delay=st.tuples(times, times).map(sorted),
    branches=st.lists(st.integers(0, 10**6), min_size=1),
    spacing=st.integers(0, 10**12),
    quoted=st.booleans(),
)
def test_a_link_written_down_reads_back(
    gaps: list[int],
    hold: list[int],
    delay: list[int],
    branches: list[int],
    spacing: int,
    quoted: bool,
) -> None:
    def written(value: Any) -> str:
        if isinstance(value, list):
            return f"[{', '.join(map(written, value))}]"
        return f'"{125 * value} us"' if quoted else str(value)

    text = f"""
        tick = "0.125 ms"
        [operator]
        spacing = {written(spacing)}
        hold = {written(hold)}
        [link]
        gaps = {written(gaps)}
        scheme = "pulse-gap"
        [line]
        delay = {written(delay)}
        branches = {written(branches)}
    """
    link = parse(text, "bells.toml")
    assert link.scheme == PulseGap(tuple(gaps), 1, (0,) * len(gaps))
    assert link.operator == Operator(spacing=spacing, hold=(hold[0], hold[1]))
    assert (link.delay, link.branches) == (tuple(delay), tuple(branches))


@given(gaps=st.lists(st.integers(2, 60), min_size=2, max_size=6, unique=True), data=st.data())
def test_windows_are_refused_exactly_if_some_time_could_mean_two_gaps(
    gaps: list[int], data: st.DataObject
) -> None:
    one = st.integers(0, 6)
    entry = st.one_of(one, st.tuples(one, one))
    windows = data.draw(st.lists(entry, min_size=len(gaps), max_size=len(gaps)))
    sides = [(w, w) if isinstance(w, int) else w for w in windows]
    taken = [t for g, (a, b) in zip(gaps, sides, strict=True) for t in range(g - a, g + b + 1)]
    proper = len(set(taken)) == len(taken) and min(taken) >= 1
    written = [w if isinstance(w, int) else [*w] for w in windows]
    text = LINK + f"gaps = {gaps}\nwindow = {written}\n"
    if proper:
        assert parse(text, "x").scheme == PulseGap(tuple(gaps), 1, tuple(windows))
    else:
        assert wrong(text).startswith("link.window[")


@given(gaps=st.lists(st.integers(2, 60), min_size=1, max_size=6, unique=True))
def test_the_window_called_small_enough_is_the_largest(gaps: list[int]) -> None:
    message = wrong(LINK + f"gaps = {gaps}\nwindow = 100\n")
    assert message.startswith("link.window: found 100; allowed: at most ")
    most = int(message.split("at most ")[1].split(":")[0])
    parse(LINK + f"gaps = {gaps}\nwindow = {most}\n", "x")
    wrong(LINK + f"gaps = {gaps}\nwindow = {most + 1}\n")


# -- wrong values -------------------------------------------------------------


@pytest.mark.parametrize(
    ("text", "message"),
    [
        # top
        (
            LINK.removeprefix(TOP) + "gaps = [2]",
            f"tick: found nothing; allowed: {TICK}",
        ),
        ("tick = 50\n" + THREE.removeprefix(TOP), f"tick: found 50; allowed: {TICK}"),
        ('tick = "0 s"\n' + THREE.removeprefix(TOP), f'tick: found "0 s"; allowed: {TICK}'),
        ('tick = "50"\n' + THREE.removeprefix(TOP), f'tick: found "50"; allowed: {TICK}'),
        ("tick = true\n" + THREE.removeprefix(TOP), f"tick: found true; allowed: {TICK}"),
        (
            "tick = 1979-05-27\n" + THREE.removeprefix(TOP),
            f"tick: found 1979-05-27; allowed: {TICK}",
        ),
        (
            "tock = 1\n" + THREE,
            f"tock: found an unknown key; allowed: {TOP_KEYS}; did you mean 'tick'?",
        ),
        ("colour = 1\n" + THREE, f"colour: found an unknown key; allowed: {TOP_KEYS}"),
        (
            "spacing = 1\n" + THREE,
            f"spacing: found an unknown key; allowed: {TOP_KEYS}; 'spacing' belongs in [operator]",
        ),
        (
            "gaps = 1\n" + THREE,
            f"gaps: found an unknown key; allowed: {TOP_KEYS}; 'gaps' belongs in [link]",
        ),
        (
            '"a\\nb c" = 1\n' + THREE,
            f'"a\\nb c": found an unknown key; allowed: {TOP_KEYS}',
        ),
        (
            "name = 3\n" + THREE,
            "name: found 3; allowed: printable text in quotes, without spaces at its ends",
        ),
        (
            'name = ""\n' + THREE,
            'name: found ""; allowed: printable text in quotes, without spaces at its ends',
        ),
        (
            'name = "a\\u2028b"\n' + THREE,
            'name: found "a\\u2028b"; allowed: '
            "printable text in quotes, without spaces at its ends",
        ),
        # inputs
        ("inputs = 3\n" + THREE, "inputs: found 3; allowed: a table [inputs]"),
        (
            THREE + "[[inputs]]\ncount = 3",
            "inputs: found [{count = 3}]; allowed: a table [inputs]",
        ),
        (
            THREE + "[inputs]\ncount = 4",
            "link.gaps: found 3 entries; allowed: 4, one per input",
        ),
        (
            LINK + 'gaps = [2]\n[inputs]\nnames = ["a", "b"]',
            "link.gaps: found 1 entry; allowed: 2, one per input",
        ),
        (
            THREE + "[inputs]\ncount = 0",
            "inputs.count: found 0; allowed: a whole number from 1 to 100000",
        ),
        (
            THREE + "[inputs]\ncount = 100001",
            "inputs.count: found 100001; allowed: a whole number from 1 to 100000",
        ),
        (
            THREE + "[inputs]\ncount = true",
            "inputs.count: found true; allowed: a whole number from 1 to 100000",
        ),
        (
            THREE + "[inputs]\ncount = 3.0",
            "inputs.count: found 3.0; allowed: a whole number from 1 to 100000",
        ),
        (
            THREE + '[inputs]\ncount = "3"',
            'inputs.count: found "3"; allowed: a whole number from 1 to 100000',
        ),
        (
            THREE + "[inputs]\nnames = []",
            "inputs.names: found []; allowed: a list of 1 to 100000 names, each a string",
        ),
        (
            THREE + '[inputs]\nnames = "c"',
            'inputs.names: found "c"; allowed: a list of 1 to 100000 names, each a string',
        ),
        (
            THREE + '[inputs]\nnames = ["c", 2, "e"]',
            "inputs.names[1]: found 2; allowed: "
            "printable text in quotes, without spaces at its ends",
        ),
        (
            THREE + '[inputs]\nnames = ["c", "d", " \\t"]',
            'inputs.names[2]: found " \\t"; allowed: '
            "printable text in quotes, without spaces at its ends",
        ),
        (
            THREE + '[inputs]\nnames = ["c", "d", "c"]',
            'inputs.names[2]: found "c"; allowed: a name of its own; names[0] is the same',
        ),
        (
            THREE + '[inputs]\ncount = 3\nnames = ["c", "d", "e"]',
            "inputs.count: found both count and names; allowed: at most one of the two",
        ),
        (
            THREE + '[inputs]\nkind = "level"',
            'inputs.kind: found "level"; allowed: "press": '
            'scheme "pulse-gap" takes presses, not the positions of levers',
        ),
        (
            TOP + '[inputs]\ncount = 2\nkind = "press"\n[link]\nscheme = "free-scan"\nslot = 4',
            'inputs.kind: found "press"; allowed: "level": '
            'scheme "free-scan" takes the positions of levers; it may miss a press',
        ),
        (
            TOP + '[inputs]\ncount = 2\n[link]\nscheme = "free-scan"\nslot = 1',
            "link.slot: found 1; allowed: a whole number of ticks, at least 2, or a quoted "
            'duration like "1.2 s" (ns, us, ms, s, min)',
        ),
        (
            TOP + '[inputs]\ncount = 2\n[link]\nscheme = "free-scan"\nslot = 4\nsample = 4',
            "link.sample: found 4; allowed: 1 to 3: inside the slot, which is 4",
        ),
        (
            TOP + 'inputs.count = 2\nlink.scheme = "free-scan"\nlink.slot = 4\nline.delay = [1, 2]',
            "line.delay: found [1, 2]; allowed: one delay, not a range: "
            "the receiver's slots follow it",
        ),
        (
            TOP + 'inputs.count = 2\nlink.scheme = "free-scan"\nlink.slot = 4\noperator.hold = 2',
            "operator.hold: found 2; allowed: spacing, repeat and overlap: "
            "levers are moved, hold is for presses",
        ),
        (
            TOP + 'inputs.count = 2\nlink.scheme = "free-scan"\nlink.slot = 4\nclock.offset = 9',
            "clock.offset: found 9; allowed: at most 6, a slot and what comes before a sample",
        ),
        (
            THREE + '[inputs]\nkind = "pres"',
            'inputs.kind: found "pres"; allowed: "press"; did you mean \'press\'?',
        ),
        (THREE + "[inputs]\nkind = 1", 'inputs.kind: found 1; allowed: "press" or "level"'),
        (
            TOP + '[link]\nscheme = "wire-per-input"',
            "inputs.count: found nothing; allowed: "
            "a whole number from 1 to 100000, or names instead",
        ),
        # link
        (TOP, f"link.scheme: found nothing; allowed: {SCHEME_NAMES}"),
        ("link = 3\n" + TOP, "link: found 3; allowed: a table [link]"),
        (TOP + "[link]", f"link.scheme: found nothing; allowed: {SCHEME_NAMES}"),
        (
            TOP + '[link]\nscheme = "pulsegap"',
            f"link.scheme: found \"pulsegap\"; allowed: {SCHEME_NAMES}; did you mean 'pulse-gap'?",
        ),
        (
            TOP + "[link]\nscheme = [1]",
            f"link.scheme: found [1]; allowed: {SCHEME_NAMES}",
        ),
        (LINK, f"link.gaps: found nothing; allowed: {GAPS}"),
        (LINK + "gaps = 3", f"link.gaps: found 3; allowed: {GAPS}"),
        (LINK + "gaps = []", "link.gaps: found []; allowed: at least one gap, one per input"),
        (
            LINK + 'gaps = [2, "125 ms"]',
            'link.gaps[1]: found "125 ms"; allowed: '
            "a whole number of ticks of 50 ms, nearest 100 ms (2) or 150 ms (3)",
        ),
        (
            LINK + 'gaps = ["30 ms"]',
            'link.gaps[0]: found "30 ms"; allowed: '
            "a whole number of ticks of 50 ms, nearest 50 ms (1)",
        ),
        *[
            (LINK + f"gaps = [2, {bad}]", f"link.gaps[1]: found {bad}; allowed: {TIME1}")
            for bad in ("true", "-3", "0", "1.5", "nan", "inf", "[2]", '"2"', '"2 h"', '"-2 s"')
        ],
        (
            LINK + "gaps = [2, 1000000000001]",
            "link.gaps[1]: found 1000000000001; allowed: at most 1000000000000 ticks",
        ),
        (
            LINK + "gaps = [0x" + "f" * 9000 + "]",
            "link.gaps[0]: found a number of very many digits; "
            "allowed: at most 1000000000000 ticks",
        ),
        (
            LINK + "gaps = [2, 4, 2]",
            "link.gaps[2]: found 2; allowed: a gap of its own; gaps[0] is 2 too",
        ),
        (
            LINK + 'gaps = [2, 4, "100 ms"]',
            'link.gaps[2]: found "100 ms"; allowed: a gap of its own; gaps[0] is 2 too',
        ),
        (
            LINK + "gaps = [2, 4]\npulse = 2",
            "link.gaps[0]: found 2; allowed: "
            "more than pulse, which is 2: else the two pulses become one",
        ),
        (THREE + "pulse = 0", f"link.pulse: found 0; allowed: {TIME1}"),
        (THREE + 'pulse = "0 s"', 'link.pulse: found "0 s"; allowed: at least 1 tick (50 ms)'),
        (
            THREE + "window = 1",
            "link.window: found 1; allowed: at most 0: gaps[0] (2) takes 1 to 3 "
            "and gaps[1] (4) takes 3 to 5, and both take 3",
        ),
        (
            LINK + 'gaps = [20, 30, 10]\nwindow = "300 ms"',
            'link.window: found "300 ms"; allowed: at most 4: gaps[2] (10) takes 4 to 16 '
            "and gaps[0] (20) takes 14 to 26, and both take 14 to 16",
        ),
        (
            LINK + "gaps = [3, 90]\nwindow = 3",
            "link.window: found 3; allowed: at most 2: "
            "gaps[0] (3) minus its window must be at least 1, and is 0",
        ),
        (
            LINK + "gaps = [90, 3]\nwindow = [0, 4]",
            "link.window[1]: found 4; allowed: at most 2: "
            "gaps[1] (3) minus its window must be at least 1, and is -1",
        ),
        (
            THREE + "window = [0, 1, 1]",
            "link.window[2]: found 1; allowed: window[1] and window[2] together at most 1: "
            "gaps[1] (4) takes 3 to 5 and gaps[2] (6) takes 5 to 7, and both take 5",
        ),
        (
            LINK + "gaps = [10, 12, 20]\nwindow = [9, 0, 0]",
            "link.window[1]: found 0; allowed: window[0] and window[1] together at most 1: "
            "gaps[0] (10) takes 1 to 19 and gaps[1] (12) takes 12 to 12, and both take 12",
        ),
        (THREE + "window = [0]", "link.window: found 1 entry; allowed: 3, one per gap"),
        (
            SERIAL + "bit = 104\noversample = 16",
            "link.oversample: found 16; allowed: a number that divides bit, which is 104 ticks: "
            "nearest 13 or 26",
        ),
        (
            SERIAL + "bit = 104\noversample = 200",
            "link.oversample: found 200; allowed: a number that divides bit, which is 104 ticks: "
            "nearest 104",
        ),
        (
            SERIAL + "bit = 16\noversample = 0",
            "link.oversample: found 0; allowed: a whole number, at least 1",
        ),
        (SERIAL + "bit = 16\nvotes = 2", "link.votes: found 2; allowed: 1 or 3"),
        (SERIAL + "bit = 16\nvotes = true", "link.votes: found true; allowed: 1 or 3"),
        (
            SERIAL + "bit = 2\nvotes = 3",
            "link.votes: found 3; allowed: 1, or 3 with three receiver clocks to a bit or more; "
            "oversample is as bit, 2",
        ),
        (
            SERIAL + "bit = 16\noversample = 2\nvotes = 3",
            "link.votes: found 3; allowed: 1, or 3 with three receiver clocks to a bit or more; "
            "oversample is 2",
        ),
        (
            SERIAL + "bit = 16\noversample = 8\nedge = [0, 0.25]",
            "link.edge: found [0, 0.25]; allowed: a whole number of ticks; a receiver clock is 2",
        ),
        (
            SERIAL + "bit = 16\nedge = [1, 0]",
            "link.edge: found [1, 0]; allowed: [least, most] with least not above most",
        ),
        (
            SERIAL + "bit = 16\noversample = 8\nedge = [0, 8.5]",
            "link.edge: found [0, 8.5]; allowed: from -8 to 8 receiver clocks: at most a bit, "
            "and the first sample comes after the start edge",
        ),
        (
            SERIAL + "bit = 3\nsample = 3\nvotes = 3\nedge = [-2, 0]",
            "link.edge: found [-2, 0]; allowed: from -1 to 3 receiver clocks: at most a bit, "
            "and the first sample comes after the start edge",
        ),
        (SERIAL + "bit = 16\nedge = -1", f"link.edge: found -1; allowed: {EDGE}"),
        (SERIAL + "bit = 16\nedge = [1, 2, 3]", f"link.edge: found [1, 2, 3]; allowed: {EDGE}"),
        (SERIAL + "bit = 16\nedge = [0, inf]", f"link.edge: found [0, inf]; allowed: {EDGE}"),
        (SERIAL + "bit = 16\nedge = [0, true]", f"link.edge: found [0, true]; allowed: {EDGE}"),
        (SERIAL + "bit = 16\nframing = 1", "link.framing: found 1; allowed: true or false"),
        (
            SERIAL + "bit = 16\nstop = 0\nframing = true",
            "link.stop: found 0; allowed: at least 1: with framing = true the receiver looks at "
            "the first stop bit",
        ),
        (SERIAL + "bit = 16\nleader = 0", f"link.leader: found 0; allowed: {TIME1}"),
        (
            SERIAL + "bit = 16\nleader = 19\nsample = 18",
            "link.sample: found 18; allowed: 19 to 34: inside the first bit of the code, which "
            "follows the start pulse; bit is 16, leader 19",
        ),
        (THREE + "window = []", "link.window: found 0 entries; allowed: 3, one per gap"),
        (
            THREE + "window = -1",
            f"link.window: found -1; allowed: {TIME0}, or a list of these, one per gap; "
            "in a list also pairs [before, after]",
        ),
        (
            THREE + "window = [0, [0, 0, 0], 0]",
            f"link.window[1]: found [0, 0, 0]; allowed: [before, after], each {TIME0}",
        ),
        (THREE + "window = [0, 0, [0, -1]]", f"link.window[2][1]: found -1; allowed: {TIME0}"),
        (THREE + "window = [[0, 0], 0]", "link.window: found 2 entries; allowed: 3, one per gap"),
        (
            LINK + "gaps = [10, 20]\nwindow = [[10, 0], 1]",
            "link.window[0]: found [10, 0]; allowed: at most 9 before: "
            "gaps[0] (10) minus its window must be at least 1, and is 0",
        ),
        (
            LINK + "gaps = [20, 10]\nwindow = [3, [0, 7]]",
            "link.window[1]: found [0, 7]; allowed: window[1] after and window[0] together at "
            "most 9: gaps[1] (10) takes 10 to 17 and gaps[0] (20) takes 17 to 23, and both take 17",
        ),
        (
            LINK + "gaps = [10, 20]\nwindow = [[0, 5], [5, 90]]",
            "link.window[1]: found [5, 90]; allowed: window[0] after and window[1] before "
            "together at most 9: "
            "gaps[0] (10) takes 10 to 15 and gaps[1] (20) takes 15 to 110, and both take 15",
        ),
        (
            LINK + "gaps = [10, 20]\nwindow = [[5, 5]]",
            "link.window: found [[5, 5]]; allowed: before and after together at most 9: "
            "gaps[0] (10) takes 5 to 15 and gaps[1] (20) takes 15 to 25, and both take 15",
        ),
        (
            LINK + "gaps = [20, 10]\nwindow = [[10, 0]]",
            "link.window: found [[10, 0]]; allowed: at most 9 before: "
            "gaps[1] (10) minus its window must be at least 1, and is 0",
        ),
        (THREE + "window = [0, 0, nan]", f"link.window[2]: found nan; allowed: {TIME0}"),
        (
            THREE + 'window = "1 ms"',
            'link.window: found "1 ms"; allowed: '
            "a whole number of ticks of 50 ms, nearest 0 s (0) or 50 ms (1)",
        ),
        (
            THREE + 'busy = "queued"',
            'link.busy: found "queued"; allowed: "overlay", "ignore" or "queue"; '
            "did you mean 'queue'?",
        ),
        (
            THREE + "busy = true",
            'link.busy: found true; allowed: "overlay", "ignore" or "queue"',
        ),
        (
            THREE + "depth = 3",
            'link.depth: found 3; allowed: only with busy = "queue"; busy is "overlay"',
        ),
        *[
            (
                THREE + f'busy = "queue"\ndepth = {bad}',
                f"link.depth: found {bad}; allowed: a whole number from 1 to 64",
            )
            for bad in ("0", "65", "true", "2.0")
        ],
        (
            THREE + 'receiver = "timr"',
            'link.receiver: found "timr"; allowed: "timer" or "taps"; did you mean \'timer\'?',
        ),
        (
            THREE + 'receiver = "taps"\non_miss = "disarm"',
            'link.on_miss: found "disarm"; allowed: only with receiver = "timer"; '
            'receiver is "taps"',
        ),
        (
            THREE + 'on_miss = "rearmed"',
            'link.on_miss: found "rearmed"; allowed: "disarm" or "rearm"; did you mean \'rearm\'?',
        ),
        (
            THREE + "pulses = 1",
            f"link.pulses: found an unknown key; allowed: {PULSE_GAP_KEYS}; did you mean 'pulse'?",
        ),
        (
            THREE + "delay = 1",
            f"link.delay: found an unknown key; allowed: {PULSE_GAP_KEYS}; "
            "'delay' belongs in [line]",
        ),
        (
            TOP + '[inputs]\ncount = 1\n[link]\nscheme = "wire-per-input"\ngaps = [2]',
            "link.gaps: found an unknown key; allowed: scheme; "
            "'gaps' belongs to scheme \"pulse-gap\"",
        ),
        # line
        (THREE + "[line]\ndelay = -1", f"line.delay: found -1; allowed: {TIME0}"),
        (THREE + "[line]\ndelay = [1, true]", f"line.delay[1]: found true; allowed: {TIME0}"),
        (
            THREE + "[line]\ndelay = [1]",
            f"line.delay: found [1]; allowed: [least, most], each {TIME0}",
        ),
        (
            THREE + "[line]\ndelay = [3, 2]",
            "line.delay: found [3, 2]; allowed: [least, most] with least not above most",
        ),
        (
            THREE + "[line]\nbranches = []",
            "line.branches: found []; allowed: "
            f"a list with the extra delay of one branch or more, each {TIME0}",
        ),
        (
            THREE + "[line]\nbranches = 2",
            "line.branches: found 2; allowed: "
            f"a list with the extra delay of one branch or more, each {TIME0}",
        ),
        (THREE + "[line]\nbranches = [0, -1]", f"line.branches[1]: found -1; allowed: {TIME0}"),
        (
            THREE + "[line]\njiter = 1",
            "line.jiter: found an unknown key; allowed: delay, branches, jitter, skew, shortest; "
            "did you mean 'jitter'?",
        ),
        (THREE + "[line]\njitter = -1", f"line.jitter: found -1; allowed: {TIME0}"),
        (
            THREE + '[line]\nskew = "20 ms"',
            'line.skew: found "20 ms"; allowed: '
            "a whole number of ticks of 50 ms, nearest 0 s (0) or 50 ms (1)",
        ),
        (
            THREE + "[line]\nskew = 2",
            'line.skew: found 2; allowed: 0: this link of scheme "pulse-gap" has one line, '
            "and skew is between lines",
        ),
        (
            FRAMED + "inputs.count = 2\nline.skew = 1",
            'line.skew: found 1; allowed: 0: this link of scheme "framed-serial" has one line, '
            "and skew is between lines",
        ),
        (
            PARALLEL + "inputs.count = 1\nline.skew = 1",
            'line.skew: found 1; allowed: 0: this link of scheme "parallel-code" has one line, '
            "and skew is between lines",
        ),
        (
            TOP + 'inputs.count = 1\nlink.scheme = "wire-per-input"\nline.skew = 1',
            'line.skew: found 1; allowed: 0: this link of scheme "wire-per-input" has one line, '
            "and skew is between lines",
        ),
        (THREE + "[line]\nshortest = true", f"line.shortest: found true; allowed: {TIME0}"),
        (
            THREE + "[line]\nshortest = 2",
            "line.shortest: found 2; allowed: at most 1, or a longer line: its least delay "
            "(delay, branches) is 0 ticks (0 s), and it takes shortest to tell a pulse from "
            "a shorter one",
        ),
        (
            THREE + '[line]\ndelay = [1, 9]\nbranches = [2, 1]\nshortest = "150 ms"',
            'line.shortest: found "150 ms"; allowed: at most 2, or a longer line: its least delay '
            "(delay, branches) is 2 ticks (100 ms), and it takes shortest to tell a pulse from "
            "a shorter one",
        ),
        # outputs
        ("outputs = 3\n" + THREE, "outputs: found 3; allowed: a table [outputs]"),
        (
            THREE + "[outputs]\nordr = [1]",
            "outputs.ordr: found an unknown key; allowed: order, may_miss; did you mean 'order'?",
        ),
        (THREE + "[outputs]\norder = 3", f"outputs.order: found 3; allowed: {ORDER}"),
        *[
            (
                THREE + f"[outputs]\norder = [2, 1, {bad}]",
                f"outputs.order[2]: found {bad}; allowed: {OUTPUT}",
            )
            for bad in ("true", "3.0", "[3]", '"x"')
        ],
        *[
            (
                THREE + f"[outputs]\norder = [2, 1, {bad}]",
                f"outputs.order[2]: found {bad}; allowed: {OUTPUT} to 3",
            )
            for bad in ("0", "4", "-1")
        ],
        (
            THREE + '[inputs]\nnames = ["c", "dee", "e"]\n[outputs]\norder = ["c", "de", "e"]',
            f"outputs.order[1]: found \"de\"; allowed: {OUTPUT}; did you mean 'dee'?",
        ),
        (
            THREE + '[inputs]\nnames = ["c", "d", "e"]\n[outputs]\norder = ["e", "d", 3]',
            "outputs.order[2]: found 3; allowed: an output of its own; order[0] is the same; "
            '"c" is left out',
        ),
        (
            THREE + "[outputs]\norder = [3, 1]",
            'outputs.order: found 2 entries; allowed: 3, one per input; "2" is left out',
        ),
        (
            THREE + "[outputs]\norder = []",
            'outputs.order: found 0 entries; allowed: 3, one per input; "1" is left out',
        ),
        (
            THREE + "[outputs]\norder = [3, 1, 2, 1]",
            "outputs.order[3]: found 1; allowed: an output of its own; order[1] is the same",
        ),
        # parallel-code
        (
            PARALLEL,
            "inputs.count: found nothing; allowed: "
            "a whole number from 1 to 100000, or names instead",
        ),
        (PARALLEL + "link.codes = 3", f"link.codes: found 3; allowed: {CODES}"),
        (
            PARALLEL + "link.codes = []",
            "link.codes: found []; allowed: at least one code, one per input",
        ),
        *[
            (
                PARALLEL + f"link.codes = [1, {bad}]",
                f"link.codes[1]: found {bad}; allowed: {CODE}",
            )
            for bad in ("true", "-1", "2.0", '""', '"012"', '" 01"', "[1]", f'"{"0" * 25}"')
        ],
        (
            PARALLEL + "inputs.count = 3\nlink.codes = [1, 2]",
            "link.codes: found 2 entries; allowed: 3, one per input",
        ),
        *[
            (
                PARALLEL + f"link.codes = [1, {idle}]",
                f"link.codes[1]: found {idle}; allowed: "
                "any code but 0: with no line driven the link is idle",
            )
            for idle in ("0", '"0"')
        ],
        (
            PARALLEL + 'link.codes = ["01", 2, 1]',
            "link.codes[2]: found 1; allowed: a code of its own; codes[0] is the same",
        ),
        (
            PARALLEL + "link.lines = 3\nlink.codes = [1, 7, 9]",
            "link.codes[2]: found 9; allowed: at most 7: a code may not be wider than the 3 lines",
        ),
        (
            PARALLEL + "link.lines = 1\nlink.codes = [1, 2]",
            "link.codes[1]: found 2; allowed: at most 1: a code may not be wider than the 1 line",
        ),
        (
            PARALLEL + "link.codes = [1, 0x1000000]",
            "link.codes[1]: found 16777216; allowed: at most 16777215: "
            "a code may not be wider than the 24 lines",
        ),
        (
            PARALLEL + 'link.lines = 3\nlink.codes = ["001", "0010"]',
            'link.codes[1]: found "0010"; allowed: exactly 3 digits, one per line',
        ),
        (
            PARALLEL + 'link.codes = ["001", "10", 4]',
            'link.codes[1]: found "10"; allowed: exactly 3 digits, one per line',
        ),
        (
            PARALLEL + "inputs.count = 7\nlink.lines = 2",
            "link.lines: found 2; allowed: at least 3 for 7 inputs: 2 lines carry 3, "
            "as no line driven is idle",
        ),
        (
            PARALLEL + "inputs.count = 2\nlink.lines = 1",
            "link.lines: found 1; allowed: at least 2 for 2 inputs: 1 line carries 1, "
            "as no line driven is idle",
        ),
        *[
            (
                PARALLEL + f"inputs.count = 1\nlink.lines = {bad}",
                f"link.lines: found {bad}; allowed: {WIDTH}",
            )
            for bad in ("0", "25", "true", '"2"')
        ],
        (
            PARALLEL + "inputs.count = 1\nlink.settle = -1",
            f"link.settle: found -1; allowed: {TIME0}",
        ),
        (
            PARALLEL + "inputs.count = 1\nlink.bit = 1",
            "link.bit: found an unknown key; allowed: scheme, lines, codes, settle, reads, held; "
            "'bit' belongs to scheme \"framed-serial\"",
        ),
        # framed-serial
        (
            TOP + 'inputs.count = 1\nlink.scheme = "framed-serial"',
            f"link.bit: found nothing; allowed: {TIME1}",
        ),
        (
            FRAMED + "inputs.count = 1\nlink.sample = 0",
            f"link.sample: found 0; allowed: {TIME1}",
        ),
        *[
            (
                FRAMED + f"inputs.count = 1\nlink.sample = {bad}",
                f"link.sample: found {bad}; allowed: 4 to 7: inside the first bit of the code, "
                "which follows the start pulse; bit is 4",
            )
            for bad in ("3", "8", '"0.4 s"')
        ],
        (
            TOP + 'inputs.count=1\nlink.scheme = "framed-serial"\nlink.bit = 1\nlink.sample = 2',
            "link.sample: found 2; allowed: 1: inside the first bit of the code, "
            "which follows the start pulse; bit is 1",
        ),
        (
            FRAMED + "inputs.count = 5\nlink.width = 2",
            "link.width: found 2; allowed: at least 3 for 5 inputs: 2 bits tell 4 apart",
        ),
        (
            FRAMED + "inputs.count = 3\nlink.width = 1",
            "link.width: found 1; allowed: at least 2 for 3 inputs: 1 bit tells 2 apart",
        ),
        (
            FRAMED + "link.width = 2\nlink.codes = [0, 4]",
            "link.codes[1]: found 4; allowed: at most 3: a code may not be wider than the 2 bits",
        ),
        (
            FRAMED + 'link.width = 1\nlink.codes = ["0", "10"]',
            'link.codes[1]: found "10"; allowed: 1 digit, one per bit',
        ),
        (
            FRAMED + "link.codes = [0, 3, 0]",
            "link.codes[2]: found 0; allowed: a code of its own; codes[0] is the same",
        ),
        *[
            (
                FRAMED + f"inputs.count = 1\nlink.stop = {bad}",
                f"link.stop: found {bad}; allowed: a whole number from 0 to 8",
            )
            for bad in ("-1", "9", "true", '"1 s"')
        ],
        (
            FRAMED + 'inputs.count = 1\nlink.busy = "ignored"',
            'link.busy: found "ignored"; allowed: "overlay", "ignore" or "queue"; '
            "did you mean 'ignore'?",
        ),
        (
            FRAMED + 'inputs.count = 1\nlink.busy = "ignore"\nlink.depth = 2',
            'link.depth: found 2; allowed: only with busy = "queue"; busy is "ignore"',
        ),
        (
            FRAMED + 'inputs.count = 1\nlink.busy = "queue"\nlink.depth = 65',
            "link.depth: found 65; allowed: a whole number from 1 to 64",
        ),
        # clock
        (
            THREE + "[clock]\noffset = 1",
            "clock.offset: found 1; allowed: "
            "no key: a receiver that starts its clock at an edge of the line cannot start it apart",
        ),
        (
            TOP + '[clock]\noffset = 1\n[inputs]\ncount=1\n[link]\nscheme = "wire-per-input"',
            "clock.offset: found 1; allowed: "
            "no key: there is no clock at the receiver that could start apart",
        ),
        # operator
        (THREE + "[operator]\nspacing = -1", f"operator.spacing: found -1; allowed: {TIME0}"),
        (
            THREE + "[operator]\nspacing = [1, 2]",
            f"operator.spacing: found [1, 2]; allowed: {TIME0}",
        ),
        (
            THREE + '[operator]\nrepeat = "75 ms"',
            'operator.repeat: found "75 ms"; allowed: '
            "a whole number of ticks of 50 ms, nearest 50 ms (1) or 100 ms (2)",
        ),
        (THREE + "[operator]\nhold = 0", f"operator.hold: found 0; allowed: {TIME1}"),
        (THREE + "[operator]\nhold = [0, 2]", f"operator.hold[0]: found 0; allowed: {TIME1}"),
        (
            THREE + "[operator]\noverlap = 0",
            "operator.overlap: found 0; allowed: a whole number from 1 to 100000",
        ),
        (
            THREE + "[operator]\noverlap = true",
            "operator.overlap: found true; allowed: a whole number from 1 to 100000",
        ),
        (
            THREE + "[operator]\nwithin = 3",
            f"operator.within: found 3; allowed: [least, most], each {TIME0}",
        ),
        (
            THREE + "[operator]\nwithin = [3, 2]",
            "operator.within: found [3, 2]; allowed: [least, most] with least not above most",
        ),
        (
            THREE + "[operator]\nwithin = [0, 6]\n[line]\ndelay = [1, 2]\nbranches = [0, 5]",
            "operator.within: found [0, 6]; allowed: [least, most] with most at least "
            "7 ticks (350 ms), the longest delay of the line: else no press could ever be in time",
        ),
        (
            THREE + "[operator]\nspcing = 1",
            "operator.spcing: found an unknown key; allowed: "
            "spacing, repeat, hold, overlap, within, together; did you mean 'spacing'?",
        ),
        (
            THREE + '[operator]\nname = "x"',
            "operator.name: found an unknown key; allowed: "
            "spacing, repeat, hold, overlap, within, together; "
            "'name' belongs at the top of the file, before the first table",
        ),
    ],
)
def test_what_is_wrong_is_said_in_one_line(text: str, message: str) -> None:
    assert wrong(text) == message


@pytest.mark.parametrize(
    ("text", "message"),
    [
        # The order of the file, not of the tables here.
        (
            TOP + "[operator]\nspacing = -1\n[link]\nscheme = 'pulse-gap'\ngaps = []",
            f"operator.spacing: found -1; allowed: {TIME0} (and 1 more problem)",
        ),
        (
            LINK + "gaps = []\n[operator]\nspacing = -1\nhold = 0",
            "link.gaps: found []; allowed: at least one gap, one per input (and 2 more problems)",
        ),
        (
            LINK + "pulse = true\ngaps = [2, true, -1]",
            f"link.pulse: found true; allowed: {TIME1} (and 2 more problems)",
        ),
        # A missing key is missed where its table ends.
        (
            TOP + "[link]\nscheme = 'pulse-gap'\npulse = 0\n[line]\ndelay = -1",
            f"link.pulse: found 0; allowed: {TIME1} (and 2 more problems)",
        ),
        (
            TOP + "[link]\nscheme = 'pulse-gap'\n[line]\ndelay = -1",
            f"link.gaps: found nothing; allowed: {GAPS} (and 1 more problem)",
        ),
        (
            "[inputs]\ncount = 1\ntick = '50 ms'\n[link]\nscheme = 'pulse-gap'\ngaps = ['1 s']",
            f"tick: found nothing; allowed: {TICK}; 'tick' stands in [inputs], "
            "but belongs before the first table (and 1 more problem)",
        ),
        # What follows from another error is not counted.
        (
            "tick = 'x'\n[link]\nscheme = 'pulse-gap'\ngaps = ['1 s', 2]\nwindow = ['1 s', 0]",
            f'tick: found "x"; allowed: {TICK}',
        ),
        (
            "tick = 'x'\n[link]\nscheme = 'pulse-gap'\ngaps = ['1 s', '2 h']",
            f'tick: found "x"; allowed: {TICK} (and 1 more problem)',
        ),
        (
            THREE + "[inputs]\ncount = 0\n[line]\n" + ".".join("a" * 60) + " = 1",
            "inputs.count: found 0; allowed: a whole number from 1 to 100000 (and 1 more problem)",
        ),
        ("", f"tick: found nothing; allowed: {TICK} (and 1 more problem)"),
    ],
)
def test_of_several_problems_the_first_is_reported(text: str, message: str) -> None:
    assert wrong(text) == message


def test_long_values_are_cut() -> None:
    message = wrong(THREE + f"[operator]\nspacing = {list(range(10**5))}")
    found = message.split("; allowed")[0]
    assert found.startswith("operator.spacing: found [0, 1, 2, 3")
    assert found.endswith("...")
    assert len(found) < 90
    message = wrong(f'name = " {"x" * 10**5}"\n' + THREE)
    assert len(message) < 200


def test_too_many_gaps_are_too_many_inputs() -> None:
    message = wrong(LINK + f"gaps = {list(range(2, MOST_INPUTS + 3))}")
    assert message == "link: found parameters for 100001 inputs; allowed: at most 100000 inputs"


json_like = st.recursive(
    st.none().map(lambda _: "x")
    | st.booleans()
    | st.integers()
    | st.floats()
    | st.sampled_from(["1 s", "50 ms", "press", "queue", "taps", "pulse-gap", "wire-per-input"])
    | st.sampled_from(["parallel-code", "framed-serial", "0101", "10"])
    | st.text(max_size=5),
    lambda inner: st.lists(inner, max_size=3),
    max_leaves=5,
)
some_keys = st.sampled_from(
    [
        "tick",
        "name",
        "scheme",
        "gaps",
        "pulse",
        "window",
        "busy",
        "depth",
        "receiver",
        "on_miss",
        "count",
        "names",
        "kind",
        "delay",
        "branches",
        "spacing",
        "repeat",
        "hold",
        "overlap",
        "within",
        "lines",
        "codes",
        "settle",
        "bit",
        "sample",
        "width",
        "stop",
        "jitter",
        "skew",
        "shortest",
        "order",
        "outputs",
        "rate",
        "é",
        "inputs",
        "link",
        "line",
        "clock",
        "operator",
    ]
)
tables = st.dictionaries(some_keys, json_like | st.dictionaries(some_keys, json_like, max_size=3))


def toml(value: Any) -> str:
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, str):
        escaped = "".join(f"\\U{ord(c):08x}" for c in value if not 0xD800 <= ord(c) < 0xE000)
        return f'"{escaped}"'
    if isinstance(value, list):
        return f"[{', '.join(map(toml, value))}]"
    if isinstance(value, dict):
        return "{" + ", ".join(f'"{k}" = {toml(v)}' for k, v in value.items()) + "}"
    if isinstance(value, float):
        return repr(value) if "e" not in repr(value) else f"{value:f}"
    return str(value)


@given(top=st.dictionaries(some_keys, json_like | tables, max_size=8))
def test_whatever_the_file_says_there_is_a_link_or_one_line(top: dict[str, Any]) -> None:
    text = "".join(f'"{key}" = {toml(value)}\n' for key, value in top.items())
    try:
        link = parse(text, "bells.toml")
    except LinkFileError as error:
        said = str(error)
        assert said.isprintable(), said
        return
    assert link.inputs == link.scheme.inputs


# -- files that cannot be read ------------------------------------------------


@pytest.mark.parametrize(
    ("text", "what"),
    [
        ("tick = ", "Invalid value (at the end, line 1, column 8)"),
        (
            "tick = '1 s'\n[link\n",
            "Expected ']' at the end of a table declaration (at line 2, column 6)",
        ),
        (
            "a = 1 b = 2",
            "Expected newline or end of document after a statement (at line 1, column 7)",
        ),
        ("\ntick = 1\ntick = 2\n", "Cannot overwrite a value (at line 3, column 9)"),
        ("a = " + "1" * 5000, "a number of too many digits"),
        ("a = " + "[" * 100_000, "brackets nested too deeply"),
    ],
)
def test_what_is_not_toml_is_shown_where(text: str, what: str) -> None:
    assert wrong(text) == f"found text that is not TOML: {what}; allowed: TOML"


def message_of(path: str | os.PathLike[str]) -> str:
    with pytest.raises(LinkFileError) as error:
        load(path)
    assert str(error.value).isprintable()
    return str(error.value)


def test_a_link_is_named_after_its_file(tmp_path: Path) -> None:
    path = tmp_path / "north tower.toml"
    path.write_text(THREE)
    assert load(path).name == load(str(path)).name == "north tower"
    path.write_text('name = "x"\n' + THREE)
    assert load(path).name == "x"


def test_a_byte_order_mark_and_line_ends_of_any_kind_are_no_matter(tmp_path: Path) -> None:
    path = tmp_path / "bells.toml"
    path.write_bytes(b"\xef\xbb\xbf" + THREE.replace("\n", "\r\n").encode())
    assert load(path) == parse(THREE, "x", "bells")


def test_a_file_that_is_missing(tmp_path: Path) -> None:
    path = tmp_path / "none.toml"
    assert message_of(path) == f"{path}: found no such file; allowed: a link file"


def test_a_directory(tmp_path: Path) -> None:
    assert message_of(tmp_path) == f"{tmp_path}: found a directory; allowed: a link file"


def test_a_file_below_a_file(tmp_path: Path) -> None:
    (tmp_path / "a").write_text("")
    path = tmp_path / "a" / "b"
    assert message_of(path) == (
        f"{path}: found that it cannot be read (Not a directory); allowed: a readable file"
    )


def test_a_file_that_may_not_be_read(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = tmp_path / "secret.toml"
    path.write_text(THREE)
    path.chmod(0)
    if os.access(path, os.R_OK):  # the super-user may read everything

        def refuse(self: Path, mode: str) -> bytes:
            raise PermissionError(13, "Permission denied", str(self))

        monkeypatch.setattr(Path, "open", refuse)
    expected = f"{path}: found no permission to read it; allowed: a readable file"
    assert message_of(path) == expected


def test_a_path_that_cannot_be_one() -> None:
    assert message_of("a\0b") == (
        "a\\x00b: found that it cannot be read (embedded null byte); allowed: a readable file"
    )


def test_a_path_of_two_lines_is_shown_on_one() -> None:
    assert message_of("no\nsuch").startswith("no\\nsuch: found no such file")


@pytest.mark.parametrize(
    ("data", "place"),
    [
        ("\ufeffa".encode("utf-16-le"), "byte 0xff at offset 0 (line 1)"),
        (b"tick = '1 s'\n# caf\xe9\n", "byte 0xe9 at offset 18 (line 2)"),
    ],
)
def test_what_is_not_utf_8_is_shown_where(tmp_path: Path, data: bytes, place: str) -> None:
    path = tmp_path / "bells.toml"
    path.write_bytes(data)
    assert message_of(path) == f"{path}: found {place}; allowed: text in UTF-8"


# -- the links that are shipped -----------------------------------------------


def shipped(name: str) -> Link:
    with resources.as_file(resources.files("models") / "links" / f"{name}.toml") as path:
        return load(path)


@pytest.mark.parametrize("engine", ["explorer", "solver"])
@pytest.mark.parametrize("name", ["carillon", "carillon_two_towers"])
def test_the_carillons_hold_and_no_faster(name: str, engine: EngineName) -> None:
    link = shipped(name)
    assert judge(Subject(link), engine, Progress()).verdict is Verdict.HOLDS
    faster = link.with_operator(spacing=link.operator.spacing - 1)
    assert judge(Subject(faster), "auto", Progress()).verdict is Verdict.FAILS


def test_the_carillon_is_the_scenario_of_the_starting_file() -> None:
    link = shipped("carillon")
    assert (link.names, link.operator.spacing) == (tuple("cdefgab"), 16)
    assert link.scheme == PulseGap((2, 4, 6, 8, 10, 12, 14), 1, (0,) * 7)


def test_at_half_its_spacing_the_carillon_loses_a_press() -> None:
    link = shipped("carillon").with_operator(spacing=8)
    trace = judge(Subject(link), "explorer", Progress()).trace
    assert trace is not None
    assert trace.failure is not None
    assert trace.failure.kind == "lost"
    first, second = trace.script.presses
    assert second.tick - first.tick >= 8


@pytest.mark.parametrize("engine", ["explorer", "solver"])
def test_in_the_puppet_theatre_two_strings_light_the_moon(engine: EngineName) -> None:
    link = shipped("puppet_theatre")
    answer = judge(Subject(link), engine, Progress())
    assert answer.verdict is Verdict.FAILS
    assert answer.trace is not None
    assert answer.trace.failure is not None
    assert (answer.trace.failure.kind, answer.trace.failure.output) == ("ghost", "moon")
    pulled = [link.names[press.input] for press in answer.trace.script.presses]
    assert len(pulled) == len(set(pulled)) == 2
    assert "moon" not in pulled


def test_branches_of_the_two_towers_differ_in_nothing_but_time() -> None:
    link = shipped("carillon_two_towers")
    assert link.delay == (1, 3)
    assert link.branches == (0, 8)
    near, far = (replace(link, branches=(extra,)) for extra in link.branches)
    assert Subject(near).lone == Subject(far).lone


@pytest.mark.parametrize("name", ["stage_lamps", "weather_mast"])
def test_the_stage_and_the_mast_hold(name: str) -> None:
    assert judge(Subject(shipped(name)), "explorer", Progress()).verdict is Verdict.HOLDS


def verdict_with(name: str, **changes: Any) -> Verdict:
    link = shipped(name)
    changed = replace(link, scheme=replace(link.scheme, **changes))  # type: ignore[type-var]
    return judge(Subject(changed), "auto", Progress()).verdict


def test_codes_that_are_parts_of_others_would_not_survive_the_skew() -> None:
    # A code is told from its parts only if it has none: common practice, no source.
    assert verdict_with("stage_lamps", codes=(1, 2, 3, 4, 5, 6), width=3) is Verdict.FAILS
    link = shipped("stage_lamps")
    plain = replace(link, faults=Faults(), scheme=ParallelCode((1, 2, 3, 4, 5, 6), 3))
    assert judge(Subject(plain), "auto", Progress()).verdict is Verdict.HOLDS
    free = replace(link, operator=replace(link.operator, overlap=None, spacing=0))
    assert judge(Subject(free), "auto", Progress()).verdict is Verdict.FAILS


@pytest.mark.parametrize(
    ("sample", "verdict"),
    [(4, Verdict.FAILS), (5, Verdict.HOLDS), (6, Verdict.HOLDS), (7, Verdict.FAILS)],
)
def test_jitter_of_one_tick_costs_the_mast_a_tick_at_either_end_of_a_bit(
    sample: int, verdict: Verdict
) -> None:
    assert verdict_with("weather_mast", sample=sample) is verdict


def test_the_mast_holds_no_faster_and_in_any_order() -> None:
    link = shipped("weather_mast")
    assert link.operator.spacing == link.scheme.frame  # type: ignore[attr-defined]
    faster = link.with_operator(spacing=link.operator.spacing - 1)
    assert judge(Subject(faster), "auto", Progress()).verdict is Verdict.FAILS
    assert link.outputs == tuple(reversed(range(10)))
    assert Subject(link).lone == Subject(replace(link, order=None)).lone
