"""An infrared remote's pulse-distance frame, as a pulse-gap link in ticks of 0.5 us.

Sources, with the marks of our collection of check values:

* Frame, c1 and c2: opencores.org nec_ir_decoder, Altium TechDocs text (S); lengths
  recomputed (C). Unit u = 562.5 us; leader 16u mark and 8u space; bit u mark and u (zero) or 3u
  (one) space; 8 bits each of address, its inverse, command, its inverse; a last mark of u.
* Repeat, c3: wiki of github.com/etfovac/rpi_ir (S2): 9 ms mark, 2.25 ms space, every ~108 ms,
  about 40 ms after a frame.
* Decision margins, c4: derived (C): nominal times a < b with x either side stay apart if and
  only if a(1+x) < b(1-x), that is x < (b-a)/(b+a).

What of it can honestly be modelled: all our times run from rise to rise, and all pulses of a
link are of one width. So a bit is 2u or 4u; a leader's mark of 16u can be had in a link of
leaders, not in one of bits. In a frame the second pulse of a bit is the first of the next.
Bits pressed one bit apart with ``busy = "overlay"`` make just that: two pulses in one tick are
one pulse on the line. The receivers are another matter: see ``test_recorded_trains``.
"""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction
from itertools import pairwise
from math import gcd
from pathlib import Path

import pytest
from hypothesis import event, given
from hypothesis import strategies as st

import models
from models.pulse_gap import PulseGap
from tests.external.players import edges_of, strikes_of
from tests.links import make_link
from verify.engines.answer import Progress, Verdict
from verify.engines.trace import Press, Script
from verify.errors import LinkFileError
from verify.linkfile import load, parse
from verify.parts.link import Link
from verify.questions.engine_choice import EngineName
from verify.questions.judging import Subject, judge
from verify.questions.latency import latencies
from verify.questions.spacing import least_spacing

MS = Fraction(1, 1000)
US = MS / 1000
UNIT = Fraction("562.5") * US

LINKS = Path(models.__file__).parent / "links"
BITS = load(LINKS / "infrared_bits.toml")
LEADERS = load(LINKS / "infrared_leaders.toml")


def pulse_gap(link: Link) -> PulseGap:
    assert isinstance(link.scheme, PulseGap)
    return link.scheme


def inverted(byte: int) -> list[int]:
    """Bits of a byte, least significant first, and of its inverse."""
    bits = [byte >> k & 1 for k in range(8)]
    return bits + [1 - bit for bit in bits]


# -- one input at a time -------------------------------------------------------


@pytest.mark.parametrize("engine", ["explorer", "solver"])
@pytest.mark.parametrize(
    ("link", "expected"),
    [
        (BITS, {"0": Fraction("1.125") * MS, "1": Fraction("2.25") * MS}),
        (LEADERS, {"frame": Fraction("13.5") * MS, "repeat": Fraction("11.25") * MS}),
    ],
    ids=["bits", "leaders"],
)
def test_latency_is_the_published_time(
    link: Link, expected: dict[str, Fraction], engine: EngineName
) -> None:
    found = latencies(Subject(link), engine, Progress())

    assert (found.verdict, found.exact) == (Verdict.HOLDS, True)
    assert {i.name: (i.best or 0) * link.tick for i in found.inputs} == expected
    assert {i.name: (i.worst or 0) * link.tick for i in found.inputs} == expected


@pytest.mark.parametrize("engine", ["explorer", "solver"])
def test_the_period_of_repeats_is_a_safe_spacing_of_leaders(engine: EngineName) -> None:
    assert judge(Subject(LEADERS), engine, Progress()).verdict is Verdict.HOLDS
    assert LEADERS.operator.spacing * LEADERS.tick == 108 * MS

    found = least_spacing(Subject(LEADERS), engine, Progress())

    assert found.verdict is Verdict.HOLDS
    assert found.ticks is not None
    # The longer leader has to be over: 13.5 ms and a mark of 9 ms. Even the pause that
    # remains between a frame and its repeat is longer.
    assert Fraction("22.5") * MS < found.ticks * LEADERS.tick < 40 * MS
    assert found.trace_below is not None
    assert found.trace_below.failure is not None


# -- frames --------------------------------------------------------------------


def frame(address: int, command: int) -> tuple[Link, list[Press]]:
    """A link of leader and bits with no bound on spacing, and the presses of one frame.

    The leader takes 24u from rise to rise; the width of its mark is not modelled.
    """
    bits = pulse_gap(BITS)
    gaps = (*bits.gaps, int(24 * UNIT / BITS.tick))
    link = make_link(replace(bits, gaps=gaps, window=(*bits.window, 0)))
    presses, now = [], 0
    for symbol in (2, *inverted(address), *inverted(command)):
        presses.append(Press(now, symbol))
        now += gaps[symbol]
    return link, presses


@given(st.integers(0, 255), st.integers(0, 255))
def test_a_frame_lasts_67_5_ms_to_its_last_bit_whatever_it_says(address: int, command: int) -> None:
    rises, falls = edges_of(*frame(address, command))
    at = [rise * BITS.tick for rise in rises]

    # One pulse per symbol and the last one: what two bits share is one pulse.
    assert len(rises) == len(falls) == 1 + 32 + 1
    assert all(fall - rise == UNIT / BITS.tick for rise, fall in zip(rises, falls, strict=True))
    assert at[1] == Fraction("13.5") * MS
    assert at[17] - at[1] == 27 * MS
    assert at[33] - at[17] == 27 * MS
    assert at[33] == Fraction("67.5") * MS
    assert falls[-1] * BITS.tick == Fraction("68.0625") * MS
    # About 40 ms are left until the repeat, 108 ms after the frame began.
    assert round((108 * MS - at[33]) / MS) == 40


@given(st.integers(0, 255), st.integers(0, 255))
def test_the_spaces_of_a_frame_are_one_or_three_units(address: int, command: int) -> None:
    rises, falls = edges_of(*frame(address, command))
    spaces = [(b - a) * BITS.tick / UNIT for a, b in zip(falls[1:], rises[2:], strict=False)]

    assert spaces == [3 if bit else 1 for bit in inverted(address) + inverted(command)]


@given(st.integers(0, 255), st.integers(0, 255))
def test_the_bit_times_alone_tell_what_a_frame_says(address: int, command: int) -> None:
    """Each bit period by itself, as a pair of rises, is read by the receiver of the file."""
    rises, _ = edges_of(*frame(address, command))
    quiet = 20_000  # longer than any gap: the receiver has given up on what came before
    pairs, now = [], 0
    for a, b in pairwise(rises[1:]):
        pairs += [now, now + b - a]
        now += quiet

    read = [i for _, i in strikes_of(pulse_gap(BITS), pairs)]

    assert read == inverted(address) + inverted(command)


# -- margins -------------------------------------------------------------------


def margin_file(tick: str, gaps: tuple[str, str], window: tuple[int, int]) -> str:
    a, b = gaps
    return (
        f'tick = "{tick}"\n[link]\nscheme = "pulse-gap"\npulse = 1\n'
        f'gaps = ["{a}", "{b}"]\nwindow = [{window[0]}, {window[1]}]\n'
    )


# Spaces of bits, bit periods, spaces of leaders (c4; C, derived). What is timed from the end
# of a mark in truth is a time from rise to rise here; only the ratio counts. Ticks are such
# that the limit itself is a whole number of them.
MARGINS = [
    pytest.param("0.25 us", ("562.5 us", "1687.5 us"), Fraction(1, 2), id="spaces 1 to 3"),
    pytest.param("0.5 us", ("1.125 ms", "2.25 ms"), Fraction(1, 3), id="bit periods 1 to 2"),
    pytest.param("0.5 us", ("2.25 ms", "4.5 ms"), Fraction(1, 3), id="spaces of leaders"),
]


def in_ticks(duration: str, tick: str) -> int:
    def plain(text: str) -> Fraction:
        number, unit = text.split()
        return Fraction(number) * {"us": US, "ms": MS}[unit]

    ticks = plain(duration) / plain(tick)
    assert ticks.denominator == 1
    return int(ticks)


@pytest.mark.parametrize(("tick", "gaps", "limit"), MARGINS)
def test_windows_are_accepted_just_below_the_margin_and_refused_at_it(
    tick: str, gaps: tuple[str, str], limit: Fraction
) -> None:
    a, b = (in_ticks(gap, tick) for gap in gaps)
    at = (int(a * limit), int(b * limit))
    assert (Fraction(at[0], a), Fraction(at[1], b)) == (limit, limit)

    with pytest.raises(LinkFileError) as refused:
        parse(margin_file(tick, gaps, at), "remote.toml")
    assert refused.value.key.startswith("link.window")
    assert f"both take {a + at[0]}" in refused.value.allowed

    # A tick less on either side alone is enough: the two windows touch but share nothing.
    for less in ((at[0] - 1, at[1]), (at[0], at[1] - 1)):
        link = parse(margin_file(tick, gaps, less), "remote.toml")
        (_, high), (low, _) = pulse_gap(link).windows
        assert low - high == 1


def test_leaders_from_rise_to_rise_have_a_margin_of_one_eleventh() -> None:
    """Derived (C) from the published times by the same formula: (13.5 - 11.25)/(13.5 + 11.25)."""
    tick, gaps, limit = "0.5 us", ("11.25 ms", "13.5 ms"), Fraction(1, 11)
    a, b = (in_ticks(gap, tick) for gap in gaps)
    # The limit is no whole number of ticks, but both sides together are.
    below = (int(a * limit), int(b * limit))
    assert sum(below) + 1 == (a + b) * limit

    assert pulse_gap(parse(margin_file(tick, gaps, below), "remote.toml")).window == below
    for at in ((below[0] + 1, below[1]), (below[0], below[1] + 1)):
        with pytest.raises(LinkFileError):
            parse(margin_file(tick, gaps, at), "remote.toml")


@st.composite
def deviations(draw: st.DrawFn) -> tuple[str, tuple[str, str], Fraction, Fraction]:
    """A margin of those above, and a deviation that is a whole number of ticks of both gaps."""
    tick, gaps, limit = draw(st.sampled_from([m.values for m in MARGINS]))
    a, b = (in_ticks(gap, tick) for gap in gaps)
    whole = gcd(a, b)
    return tick, gaps, limit, Fraction(draw(st.integers(0, whole - 1)), whole)


@given(deviations())
def test_a_deviation_is_accepted_iff_it_is_below_the_margin(
    case: tuple[str, tuple[str, str], Fraction, Fraction],
) -> None:
    tick, gaps, limit, x = case
    a, b = (in_ticks(gap, tick) for gap in gaps)
    window = (int(a * x), int(b * x))
    assert (Fraction(window[0], a), Fraction(window[1], b)) == (x, x)
    event(f"below: {x < limit}")

    text = margin_file(tick, gaps, window)
    if x < limit:
        assert pulse_gap(parse(text, "remote.toml")).window == window
    else:
        with pytest.raises(LinkFileError):
            parse(text, "remote.toml")


@pytest.mark.parametrize(("tick", "gaps", "limit"), MARGINS)
@given(st.data())
def test_a_train_at_another_rate_is_read_right_iff_within_its_windows(
    tick: str, gaps: tuple[str, str], limit: Fraction, data: st.DataObject
) -> None:
    """A sender whose every time is scaled by k is read right if and only if |k - 1| <= x."""
    a, b = (in_ticks(gap, tick) for gap in gaps)
    whole = gcd(a, b)  # k and x in parts of this scale both gaps to whole ticks
    most = int(limit * whole) - 1
    x = data.draw(st.one_of(st.just(most), st.integers(1, most)), "x")
    k = data.draw(
        st.one_of(
            st.sampled_from([whole - x - 1, whole - x, whole, whole + x, whole + x + 1]),
            st.integers(whole // 2, 2 * whole),
        ),
        "k",
    )
    window = (a // whole * x, b // whole * x)
    scheme = pulse_gap(parse(margin_file(tick, gaps, window), "remote.toml"))

    sent = (a // whole * k, b // whole * k)
    far = 4 * b
    struck = strikes_of(scheme, [0, sent[0], far, far + sent[1]])

    within = abs(k - whole) <= x
    event(f"within: {within}")
    assert (struck == [(sent[0], 0), (far + sent[1], 1)]) == within


def test_leaders_of_the_file_stay_apart_and_are_read_from_the_line() -> None:
    """A frame and, 108 ms after it, two repeats: by the file's own windows and simulator."""
    every = int(108 * MS / LEADERS.tick)
    script = Script((Press(0, 0), Press(every, 1), Press(2 * every, 1)))

    trace = Subject(LEADERS).replay(script)

    assert trace.failure is None
    struck = [(e.tick * LEADERS.tick / MS, e.signal) for e in trace.events if "out." in e.signal]
    assert struck == [
        (Fraction("13.5"), "out.frame"),
        (108 + Fraction("11.25"), "out.repeat"),
        (216 + Fraction("11.25"), "out.repeat"),
    ]
