"""Windows and decision margins of published codes of pulses and gaps.

Sources, with the marks of our collection of check values (S: read in the source, S2: in a
secondary one, C: recomputed or derived):

* c4: infrared pulse distance: gaps 1 to 3 stay apart for a scale error below 50 %, bit periods
  1 to 2 and leaders of 4.5 and 2.25 ms below 33.3 %: a(1 + x) < b(1 - x) (C, derived).
* c7: DCC half-bits, NMRA S-9.1 (2006): a "1" is sent as 55-61 us and accepted as 52-64, a "0" sent
  as 95-9900 and accepted as 90-10000 (S); guard 26 us, scale from 90/95 to 10000/9900, the "1"
  alone from 0.9455 to 1.0492 (C, derived).
* c12: WS2812B: high for 0.40 or 0.80 us, each +-150 ns: guard 0.10 us (S2, C).
* c13: DCF77: marks of 100 and 200 ms (S2): 33.3 % (C).
* c15: FS20-type 433 MHz read windows 300-500 and 500-700 us, nominal 400 and 600: they touch
  (source header of github M-o-a-T/moat-old, S).
"""

from __future__ import annotations

from fractions import Fraction
from pathlib import Path

import pytest

import models
from models.parameters import SCHEMES
from models.parameters.judged import JUDGED
from models.pulse_gap import PulseGap
from verify.engines.answer import Verdict
from verify.errors import LinkFileError
from verify.linkfile import load, parse
from verify.parts.link import Link
from verify.questions.gap_table import GapAnswer, judge_gaps
from verify.tables.gaps import rate_within, window_slack

LINKS = Path(models.__file__).parent / "links"

# One press at a time, so that only the windows count.
FILE = """
tick = "{tick}"
[link]
scheme = "pulse-gap"
gaps = {gaps}
window = {window}
[operator]
spacing = "1 s"
"""


def judged(gaps: list[str], window: str, tick: str) -> GapAnswer:
    text = FILE.format(tick=tick, gaps=gaps, window=window)
    return judged_link(parse(text, "gaps.toml", "gaps", {**SCHEMES, **JUDGED}))


def judged_link(link: Link) -> GapAnswer:
    assert isinstance(link.scheme, PulseGap)
    return judge_gaps(link, link.scheme)


@pytest.mark.parametrize(
    ("gaps", "margin"),
    [
        (["562.5 us", "1687.5 us"], Fraction(1, 2)),  # c4: gaps of the bits
        (["1.125 ms", "2.25 ms"], Fraction(1, 3)),  # c4: periods of the bits
        (["2.25 ms", "4.5 ms"], Fraction(1, 3)),  # c4: leaders
        (["100 ms", "200 ms"], Fraction(1, 3)),  # c13
    ],
)
def test_decision_margins(gaps: list[str], margin: Fraction) -> None:
    found = judged(gaps, "0", "0.5 us")

    assert found.tightest_rate is not None
    assert found.tightest_rate.rate_below == margin


def test_the_recommended_window_of_infrared_bits_is_inside_the_margin() -> None:
    """c4: 20 % (S2) of 33.3 % (C)."""
    found = judged_link(load(LINKS / "infrared_bits.toml"))

    assert found.rate == ((Fraction(-1, 5), 1), (Fraction(1, 5), 0))
    assert found.tightest_rate is not None
    assert found.tightest_rate.rate_below == Fraction(1, 3)


def test_windows_that_touch_are_flagged() -> None:
    """c15 (S)."""
    found = judged(["400 us", "600 us"], '"100 us"', "1 us")

    assert found.verdict is Verdict.FAILS
    assert found.tightest_windows is not None
    assert found.tightest_windows.windows == 0
    assert [(o.low, o.high) for o in found.overlaps] == [(500, 500)]
    assert [fault.entries for fault in found.faults] == [(0, 1)]
    assert "both take 500: they touch" in found.faults[0].why
    # A tick less on one side, and they are apart.
    assert judged(["400 us", "600 us"], "[100, 99]", "1 us").verdict is Verdict.HOLDS
    # A link cannot be built with them.
    with pytest.raises(LinkFileError, match="both take 500"):
        parse(FILE.format(tick="1 us", gaps=[400, 600], window="100"), "gaps.toml")


def test_the_guard_between_two_windows() -> None:
    """c12 (S2, C): 0.55 to 0.65 us; c7 (S, C): 64 to 90 us."""
    found = judged(["400 ns", "800 ns"], '"150 ns"', "10 ns")

    assert found.verdict is Verdict.HOLDS
    assert found.tightest_windows is not None
    assert found.tightest_windows.windows * found.link.tick == Fraction(100, 10**9)
    assert window_slack((52, 64), (90, 10_000)) == 26


def test_scale_that_dcc_half_bits_survive() -> None:
    """c7 (S, C): what is sent is a range, so its ends are put to the window one by one."""
    sent = {(52, 64): (55, 61), (90, 10_000): (95, 9900)}
    factors = {
        window: (1 + rate_within(ends[0], window)[0], 1 + rate_within(ends[1], window)[1])
        for window, ends in sent.items()
    }

    assert max(low for low, _ in factors.values()) == Fraction(90, 95)
    assert min(high for _, high in factors.values()) == Fraction(10_000, 9900)
    assert factors[52, 64] == (Fraction(52, 55), Fraction(64, 61))
