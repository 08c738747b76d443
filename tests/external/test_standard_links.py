"""Link files of standards, each held against the tolerance that is published for it.

Sources, with the marks of our collection of check values (S: read in the source, S2: in a
secondary one, MEM: from memory, C: recomputed or derived):

* a2: 16 samples to a bit, one in the middle, the start edge up to a clock late: bits from 15.3 to
  16.889 clocks, -4.375 % to +5.556 %; by the last data bit alone -4.861 % to +6.25 % (C).
* a3: onlinedocs.microchip.com, "Asynchronous Operational Range": 16 samples to a bit, majority of
  three, 8 data bits: 95.36 % to 104.58 % of the receiver's rate (S), exactly 144/151 and 160/153
  (MEM for the formula's form, C); recommended 2 % either way (S).
* c4: infrared pulse distance: bit periods 1 to 2 apart below 33.3 % (C); 20 % recommended in a
  forum, picbasic.co.uk (S2).
* c5-c7: NMRA S-9.1 (2006), as quoted by scribd.com 444794184 and g-zi.de: a "1" is sent as 55-61
  us and accepted as 52-64, a "0" sent as 95-9900 and accepted as 90-10000 (S); scale 90/95 to
  10000/9900, the "1" alone 52/55 to 64/61 (C).
* c9: Morse, ITU-R M.1677-1, as cited by tpals.org and a wiki (S2): 1, 3 and 7 units. That these
  stay apart below 40 % is (7 - 3)/(7 + 3) (C).
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from fractions import Fraction
from pathlib import Path

import pytest

import models
from models.framed_serial import FramedSerial
from verify.engines.answer import Budget, Progress, Verdict
from verify.language.machine import Machine
from verify.linkfile import load, parse, toml_of
from verify.parts.link import Link
from verify.parts.operator import Operator
from verify.questions.engine_choice import EngineName
from verify.questions.judging import Subject, judge
from verify.questions.rate_margin import RateSide, rate_margin
from verify.questions.word_table import judge_words
from verify.wordfile import parse_words

LINKS = Path(models.__file__).parent / "links"
START_STOP = LINKS / "start_stop.toml"
JUST = Fraction(1, 10_000)


def verdict(link: Link, engine: EngineName = "auto") -> Verdict:
    return judge(Subject(link), engine, Progress(), budget=Budget(60)).verdict


def off_by(link: Link, least: Fraction, most: Fraction) -> Link:
    return replace(link, clock=replace(link.clock, rate=(least, most)))


def bounds(link: Link) -> tuple[tuple[Fraction | None, bool], tuple[Fraction | None, bool]]:
    """The largest error on the fast side and on the slow side, and whether it still holds there."""

    def side(found: RateSide) -> tuple[Fraction | None, bool]:
        assert found.verdict is Verdict.HOLDS
        assert found.trace_beyond is not None
        assert found.trace_beyond.failure is not None
        return found.amount, found.holds

    margin = rate_margin(link, "auto", Progress(), Budget(120))
    return side(margin.least), side(margin.most)


# -- start-stop character ------------------------------------------------------------


def test_the_start_stop_character_holds_in_its_published_range() -> None:
    """a3: the file has 153/160 to 151/144 as its rate."""
    link = load(START_STOP)

    assert link.clock.rate == (Fraction(153, 160) - 1, Fraction(151, 144) - 1)
    assert [round(100 / (1 + float(e)), 2) for e in reversed(link.clock.rate)] == [95.36, 104.58]
    assert verdict(link) is Verdict.HOLDS


def test_just_past_the_slow_end_it_fails() -> None:
    """a3: 151/144."""
    link = load(START_STOP)
    least, most = link.clock.rate

    assert verdict(off_by(link, least, most + JUST)) is Verdict.FAILS


@pytest.mark.slow
def test_the_margin_of_characters_that_come_apart() -> None:
    """a3 on the slow side; the fast side is that of the last data bit (C): 137 clocks in 9 bits.

    Its majority falls with the second of three samples, 8 bits, 8 clocks and 1 after the edge.
    """
    assert bounds(load(START_STOP)) == (
        (1 - Fraction(137, 9 * 16), False),
        (Fraction(151, 144) - 1, True),
    )


def test_one_sample_and_an_edge_seen_late() -> None:
    """a2: 5.556 % by the stop bit, 4.861 % by the last data bit (characters come apart)."""
    text = START_STOP.read_text(encoding="utf-8")
    text = text.replace("edge = [-1, 1] ", "edge = [0, 1] ").replace("votes = 3", "votes = 1")

    assert bounds(parse(text, "a2")) == ((Fraction(7, 144), False), (Fraction(1, 18), True))


@dataclass(frozen=True)
class TwoClocks(FramedSerial):
    """A sender whose bits last ``sent`` ticks, and a receiver that takes them to last ``bit``."""

    sent: int = 1

    def transmitter(self) -> tuple[Machine, ...]:
        own = {name: getattr(self, name) for name in FramedSerial.__dataclass_fields__}
        return FramedSerial(**{**own, "bit": self.sent}).transmitter()


def back_to_back(sent: int, clock: int, votes: int = 3, early: int = 1) -> Link:
    """Characters without a pause, on clocks that are off by a known amount: whole ticks will do.

    ``sent``: ticks of a bit as sent; ``clock``: ticks of a clock of the receiver. The start edge
    is seen up to a clock late, or ``early`` clocks early. A character may follow at once.
    """
    found = load(START_STOP)
    scheme = found.scheme
    assert isinstance(scheme, FramedSerial)
    made = TwoClocks(
        scheme.codes,
        scheme.width,
        bit=16 * clock,
        sample=24 * clock,
        edge=(-early * clock, clock),
        votes=votes,  # type: ignore[arg-type]
        clock=clock,
        framing=True,
        sent=sent,
    )
    still = replace(found, scheme=made, operator=Operator(spacing=10 * sent))
    return off_by(still, Fraction(0), Fraction(0))


@pytest.mark.parametrize(
    ("sent", "clock", "votes", "early", "expected"),
    [
        # a3: more than 153/160, of 16 clocks of 20 ticks: 306 ticks are just that.
        (306, 20, 3, 1, "framing"),
        # Then the stop bit is right. But the third sample comes when the next start bit has begun,
        # and a receiver that waits for edges only after it has missed that one: up to 154/160 (C).
        (307, 20, 3, 1, "lost"),
        (308, 20, 3, 1, "lost"),
        (309, 20, 3, 1, None),
        # a3: no more than 151/144, of 16 clocks of 18 ticks.
        (302, 18, 3, 1, None),
        (303, 18, 3, 1, "framing"),
        # a2: more than 153/160, no more than 152/144.
        (306, 20, 1, 0, "framing"),
        (307, 20, 1, 0, None),
        (304, 18, 1, 0, None),
        (305, 18, 1, 0, "framing"),
    ],
)
def test_characters_without_a_pause(
    sent: int, clock: int, votes: int, early: int, expected: str | None
) -> None:
    """``expected``: how it fails, None where it is proved to hold."""
    link = back_to_back(sent, clock, votes, early)
    judged = judge(Subject(link), "explorer", Progress(), budget=Budget(60))

    assert judged.verdict is (Verdict.HOLDS if expected is None else Verdict.FAILS)
    failure = judged.trace and judged.trace.failure
    assert (failure and failure.kind) == expected


# -- infrared pulse distance -----------------------------------------------------------


def test_infrared_bits_hold_up_to_the_recommended_deviation() -> None:
    """c4: 20 % (S2), which the file's windows are made for; below 33.3 % (C)."""
    link = load(LINKS / "infrared_bits.toml")
    fifth = Fraction(1, 5)
    wide = replace(link, operator=replace(link.operator, spacing=10_000))  # slower bits fit too

    assert verdict(off_by(wide, -fifth, fifth)) is Verdict.HOLDS
    assert bounds(wide) == ((fifth, True), (fifth, True))
    assert fifth < Fraction(2 - 1, 2 + 1)


def test_infrared_leaders_bear_what_their_window_does() -> None:
    """Derived: 1 ms either side of 13.5 ms is the tighter."""
    bound = Fraction(1) / Fraction("13.5")
    assert bounds(load(LINKS / "infrared_leaders.toml")) == ((bound, True), (bound, True))


# -- DCC -------------------------------------------------------------------------------


def test_dcc_half_bits_bear_exactly_the_scale_of_their_windows() -> None:
    """c7: from 90/95 to 10000/9900."""
    link = load(LINKS / "dcc_bit.toml")
    fast, slow = 1 - Fraction(90, 95), Fraction(10_000, 9900) - 1

    assert link.clock.rate == (-fast, slow)
    assert verdict(link) is Verdict.HOLDS
    assert bounds(link) == ((fast, True), (slow, True))
    assert verdict(off_by(link, -fast - JUST, slow)) is Verdict.FAILS
    assert verdict(off_by(link, -fast, slow + JUST)) is Verdict.FAILS


def test_the_windows_of_the_dcc_file_are_those_of_the_standard() -> None:
    """c5, c6: the parts of each window together are the window."""
    windows = load(LINKS / "dcc_bit.toml").scheme.windows  # type: ignore[attr-defined]
    assert windows == ((52, 56), (57, 64), (90, 5000), (5001, 10_000))


@pytest.mark.parametrize(
    ("gap", "window", "side", "scale"),
    [(55, [3, 9], 0, Fraction(52, 55)), (61, [9, 3], 1, Fraction(64, 61))],
)
def test_the_one_alone(gap: int, window: list[int], side: int, scale: Fraction) -> None:
    """c7: 0.9455 to 1.0492."""
    text = f"""
        tick = "1 us"
        link = {{ scheme = "pulse-gap", gaps = [{gap}], window = [{window}] }}
        operator.spacing = 1000
    """
    assert bounds(parse(text, "one"))[side] == (abs(scale - 1), True)


# -- Morse -------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("rate", "expected"),
    [
        ("[-0.25, 0.25]", Verdict.HOLDS),
        ("[-0.3999, 0.3999]", Verdict.HOLDS),
        ("[-0.4, 0.4]", Verdict.FAILS),
    ],
)
def test_morse_can_be_read_in_one_way_below_40_per_cent(rate: str, expected: Verdict) -> None:
    """c9."""
    text = (LINKS / "morse.toml").read_text(encoding="utf-8")
    assert "rate = [-0.25, 0.25]" in text
    document = toml_of(text.replace("[-0.25, 0.25]", rate), "morse.toml")

    assert judge_words(parse_words(document, "morse.toml", "morse")).verdict is expected


# -- all of them -------------------------------------------------------------------------


@pytest.mark.parametrize(
    "name", ["start_stop", "infrared_bits", "infrared_leaders", "dcc_bit", "morse"]
)
def test_the_source_stands_in_the_file(name: str) -> None:
    text = (LINKS / f"{name}.toml").read_text(encoding="utf-8")
    comment = "".join(line[1:] for line in text.splitlines() if line.startswith("#"))
    assert "Source" in comment
    assert any(mark in comment for mark in ("(S:", "(S2:"))
