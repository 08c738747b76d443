"""Published tolerances and timings of codes outside the built-in families, against link files.

Every figure is a margin or a latency of a model that stands in ``models/links`` as machines of
its own; none comes of a formula. Clocks: the sender's lasts 1 + e times as long as the
receiver's, and the margin is the range of e. Sources, with the marks of our collection of check
values (S: read in the source; S2: in a secondary source; C: recomputed; MEM: from memory), stand
beside each test.
"""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction
from pathlib import Path

import pytest

import models
from verify.engines.answer import Progress, Verdict
from verify.engines.simulator import replay
from verify.engines.trace import Press, Script
from verify.linkfile import parse
from verify.parts.clock import PERIOD, Clock
from verify.parts.line import Faults
from verify.parts.link import Link
from verify.questions.judging import Subject, judge
from verify.questions.latency import latencies
from verify.questions.rate_margin import rate_side

MILLIONTH = Fraction(1, 10**6)
LINKS = Path(models.__file__).with_name("links")


def link_of(name: str, **changes: object) -> Link:
    """A link file with some of its lines ``KEY = ...`` written anew."""
    text = (LINKS / f"{name}.toml").read_text(encoding="utf-8")
    lines = text.splitlines()
    for key, value in changes.items():
        (at,) = (k for k, line in enumerate(lines) if line.startswith(f"{key} = "))
        lines[at] = f"{key} = {value}"
    return parse("\n".join(lines), name)


def margin(link: Link) -> tuple[Fraction, bool, Fraction, bool]:
    """The least and most error of the sender's clock, each with whether it holds just there."""
    fast, slow = (rate_side(link, sign, Progress()) for sign in (-1, 1))
    for side in (fast, slow):
        assert side.verdict is Verdict.HOLDS
    assert fast.amount is not None
    assert slow.amount is not None
    return -fast.amount, fast.holds, slow.amount, slow.holds


def drops_a_frame(link: Link, error: Fraction) -> bool:
    """One press by a sender whose clock is off by this much, the start edge noticed at once."""
    parts = error.denominator
    clocked = replace(link, clock=Clock(rate=(Fraction(0), error)))
    period = (PERIOD, int(parts * (1 + error)))
    script = Script((Press(0, 0),), 0, (), (period,), parts)
    failure = replay(clocked, Subject(link).windows, script).failure
    # Windows are those of a clock that is right: a strike may be late, with no frame dropped.
    return failure is not None and failure.kind == "framing"


def verdict_at(link: Link, *errors: Fraction) -> Verdict:
    clocked = replace(link, clock=Clock(rate=(min(errors), max(errors))))
    return judge(Subject(clocked), "auto", Progress()).verdict


@pytest.mark.parametrize(
    ("cell", "mark", "sample", "published"),
    [
        # a9: cells of 32 cycles, clocks within 3 % (S); 16 + 16, sampled at 23 (MEM).
        (32, 16, 23, Fraction(3, 100)),
        # a10: cells of 18 cycles, clocks within 5 % (S); 5 + 13, sampled at 10 (MEM).
        (18, 5, 10, Fraction(5, 100)),
    ],
)
def test_biphase_mark_bears_what_is_published_and_more(
    cell: int, mark: int, sample: int, published: Fraction
) -> None:
    """a11 (S): these are sufficient bounds of a proof, so the exact ones may only be wider.

    Moore 1994, Formal Aspects of Computing 6(1):60-91 (abstract).
    """
    # Two messages will do: a one and a zero, first and last.
    link = link_of(f"biphase_mark_{cell}", count=2, bits=2, codes="[1, 2]")
    assert verdict_at(link, -published, published) is Verdict.HOLDS
    if cell == 18:  # a10 (S): a burst rate slightly over 1 Mbit/s at 20 MHz
        assert 1_000_000 < 1 / (cell * link.tick) < 1_120_000
    least, least_holds, most, most_holds = margin(link)

    assert least < -published
    assert most > published
    # The change after the mark part has settled (a cycle) when it is sampled; the sample, which
    # comes up to two cycles late, comes before the next cell.
    assert (least, least_holds) == (Fraction(sample + 2, cell) - 1, False)
    assert (most, most_holds) == (Fraction(sample - 1, mark) - 1, True)


def test_the_published_settings_of_biphase_mark_are_not_the_fastest() -> None:
    """a13 (S, the claim; numbers not found): instances that are correct and faster exist.

    Vaandrager & de Groot 2006, Formal Aspects of Computing 18(4):433-458 (abstract).
    """
    for mark, code, sample in ((3, 5, 5), (2, 5, 4)):
        link = link_of(
            "biphase_mark_18", mark=mark, code=code, sample=sample, count=2, bits=2, codes="[1, 2]"
        )
        assert mark + code < 18
        assert verdict_at(link, -Fraction(5, 100), Fraction(5, 100)) is Verdict.HOLDS
    # So short that there is no room for the receiver's uncertainty at all.
    short = link_of("biphase_mark_18", mark=2, code=2, sample=2)
    assert judge(Subject(short), "auto", Progress()).verdict is Verdict.FAILS


BUDGETS = {  # a7 (MEM, C): AN2141, Maxim, June 2003, for a clock of 16 per bit
    2: Fraction(5, 152),  # "normal": the middle 75 % of a bit is usable
    4: Fraction(3, 152),  # "nasty": the middle 50 %
}


@pytest.mark.parametrize("settle", [1, 2, 4])
def test_budgets_of_an_application_note_are_too_generous_once_edges_settle(settle: int) -> None:
    """a12 (S, the claim; numbers not found): Brown & Pike 2006, LNCS 3920, on a7's range.

    The note takes the time in which an edge settles off either end of a bit, and a clock of
    uncertainty for the start edge. But the start edge settles too: it may be noticed as much
    later. With the settling times that the note itself assumes, its budgets do not hold.
    """
    # One byte will do: its last bit differs from the stop bit.
    link = link_of("settling_edges", settle=settle, names='["tenor"]', bytes="[0xAA]")

    # The stop bit is sampled at 152: after its first edge has settled, at 9 bits of 16; and,
    # noticed late by settling and a clock, before the start bit that follows, at 10.
    fast = rate_side(link, -1, Progress())
    assert fast.amount is not None
    assert (-fast.amount, fast.holds) == (Fraction(152 + settle + 1, 10 * 16) - 1, False)
    most = Fraction(152 - settle, 9 * 16) - 1
    assert verdict_at(link, Fraction(0), most - MILLIONTH) is Verdict.HOLDS
    assert drops_a_frame(link, most)
    assert not drops_a_frame(link, most - MILLIONTH)
    if settle in BUDGETS:
        assert fast.amount < BUDGETS[settle]


def test_edges_that_settle_at_once_give_the_window_without_settling() -> None:
    """a2 (C): the stop bit, 16 per bit, one clock of uncertainty: -4.375 % to +5.556 %.

    S2: the +5.56 % side is a measured value of an open UART design (drewbabel/tinytapeout-uart).
    """
    link = link_of("settling_edges", settle=0, names='["tenor"]', bytes="[0xAA]")
    least, most = Fraction(153, 160) - 1, Fraction(152, 144) - 1

    assert [round(float(x) * 100, 3) for x in (least, most)] == [-4.375, 5.556]
    fast = rate_side(link, -1, Progress())
    assert (fast.amount, fast.holds, fast.verdict) == (-least, False, Verdict.HOLDS)
    assert verdict_at(link, Fraction(0), most - MILLIONTH) is Verdict.HOLDS
    assert not drops_a_frame(link, most)
    assert drops_a_frame(link, most + MILLIONTH)


def test_second_marks_bear_a_third_either_way() -> None:
    """c13 (S2): DCF77, marks of 100 ms and 200 ms (3wd.de), so a scale margin of 33.3 %.

    1:2 bears errors below (2 - 1) / (2 + 1); here the boundary stands on whole milliseconds.
    """
    least, _, most, _ = margin(link_of("second_marks"))

    third = Fraction(1, 3)
    assert third - Fraction(1, 100) < most < third
    assert third - Fraction(1, 100) < -least < third
    # In steps of a third of a millisecond the boundary is just where it should be.
    finer = link_of("second_marks", mark="[300, 600]", window="[[60, 399], [400, 1200]]")
    assert verdict_at(finer, Fraction(-1, 3), Fraction(32, 100)) is Verdict.HOLDS
    assert verdict_at(finer, Fraction(-34, 100), Fraction(0)) is Verdict.FAILS


def test_a_message_on_two_lines_takes_what_its_timing_says() -> None:
    """c10 (S2, C): 26 bits, pulses of 20 to 100 us, 200 us to 20 ms between them.

    26 * 20 + 25 * 200 us = 5.52 ms at least, 26 * 100 us + 25 * 20 ms = 502.6 ms at most; SIA
    26-bit interface, from manuals of ZKTeco, TDSi, Promag.
    """
    for pulse, between, total in (
        ('"20 us"', '"200 us"', "5.52"),
        ('"100 us"', '"20 ms"', "502.6"),
    ):
        link = link_of("card_reader", pulse=pulse, between=between, spacing='"2 s"')
        times = latencies(Subject(link), "explorer", Progress())
        assert times.verdict is Verdict.HOLDS
        seconds = {times.best, times.worst}
        assert seconds == {Fraction(total) / 1000 / link.tick}


def test_a_self_clocked_code_bears_any_clock_and_skew_below_its_pulses() -> None:
    """The receiver has no clock, so none can be off; common practice, no source.

    c10 (S2): the lines never carry pulses at once. Skew may bring them together, but not past
    each other: up to the time from fall to rise, 200 us, every bit keeps its place.
    """
    # Six bits are as good as 26 here, and sooner explored.
    link = link_of("card_reader", bits=6, codes="[0b100001, 0b010110, 0b001011]")
    assert verdict_at(link, Fraction(-1, 2), Fraction(1)) is Verdict.HOLDS
    between = Fraction(200, 10**6) / link.tick
    for skew, verdict in ((int(between), Verdict.HOLDS), (int(between) + 1, Verdict.FAILS)):
        skewed = replace(link, faults=Faults(skew=skew))
        assert judge(Subject(skewed), "explorer", Progress()).verdict is verdict
