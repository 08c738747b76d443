"""Windows on lengths: published limits of two standards against exact margins of clock.rate.

The times of a link run from rise to rise, those of the standards from edge to edge; only their
lengths count here. A window holds both of its ends. Every figure is a margin of a model.
Marks of our collection of check values: S (read in the source), C (recomputed, derived).
"""

from __future__ import annotations

from fractions import Fraction

import pytest

from models.pulse_gap import PulseGap
from verify.engines.answer import Progress, Verdict
from verify.errors import LinkFileError
from verify.linkfile import parse
from verify.parts.link import Link
from verify.questions.rate_margin import rate_margin

Scale = tuple[Fraction, Fraction]
"""The sender's least and most scale: both hold, anything outside fails."""


def link_of(gaps: list[int], window: list[list[int]], receiver: str = "timer") -> Link:
    """Gaps in ticks, each accepted from so much before to so much after; presses far apart."""
    return parse(
        f'tick = "1 us"\n[link]\nscheme = "pulse-gap"\ngaps = {gaps}\nwindow = {window}\n'
        f'receiver = "{receiver}"\n[operator]\nspacing = 1000000\n',
        "windows.toml",
    )


def scale_of(link: Link) -> Scale:
    found = rate_margin(link, "auto", Progress())
    for side in (found.least, found.most):
        assert (side.verdict, side.holds) == (Verdict.HOLDS, True)
        assert side.trace_beyond is not None
        assert side.trace_beyond.failure is not None
    assert found.least.amount is not None
    assert found.most.amount is not None
    return 1 - found.least.amount, 1 + found.most.amount


def together(*scales: Scale) -> Scale:
    """What all of them bear."""
    return max(least for least, _ in scales), min(most for _, most in scales)


# -- LIN: break or data ----------------------------------------------------------

BIT = 1000  # ticks


def test_a_lin_break_of_thirteen_bits_is_one_up_to_two_thirteenths_short() -> None:
    """b10: a break is low for 13 bits, data for 9 at most; the receiver, on a clock of its own,
    takes 11 bits and more for a break (STMicroelectronics RM0016 p. 344, ST72361; S).

    13(1-x) >= 11 gives x <= 2/13, 15.38 % (C, derived). Windows share no tick, so data end a
    tick before 11 bits here.
    """
    link = link_of([9 * BIT, 13 * BIT], [[4 * BIT, 2 * BIT - 1], [2 * BIT, 4 * BIT]])

    least, most = scale_of(link)

    assert 1 - least == Fraction(2, 13)
    # Data bear a tick of 9 bits less than 2/9: what is 11 bits long is a break already.
    assert most - 1 == Fraction(2 * BIT - 1, 9 * BIT)


def test_lin_data_of_nine_bits_are_below_the_threshold_up_to_two_ninths_long() -> None:
    """b10, data alone: 9(1+x) < 11 gives x < 2/9, 22.2 % (C, derived).

    Strictly: at 2/9 they are 11 bits long. The window here is closed, so the margin, the bound
    of the errors that hold, is 2/9 itself.
    """
    assert scale_of(link_of([9 * BIT], [[BIT, 2 * BIT]]))[1] - 1 == Fraction(2, 9)


def test_lin_before_synchronisation_is_inside_both() -> None:
    """b10: 14 % off, 11.18 bits and 10.26 bits; at 15 %, 11.05 and 10.35 (RM0016; S)."""
    scale = scale_of(link_of([9 * BIT, 13 * BIT], [[4 * BIT, 2 * BIT - 1], [2 * BIT, 4 * BIT]]))

    for percent in (14, 15):
        assert scale[0] <= 1 - Fraction(percent, 100)
        assert scale[1] >= 1 + Fraction(percent, 100)
    assert 13 * Fraction(86, 100) == Fraction("11.18")
    assert 9 * Fraction(114, 100) == Fraction("10.26")


# -- DCC: half-bits of ones and zeros ----------------------------------------------

# NMRA S-9.1 (2006): a "1" is sent 55 to 61 us long and accepted from 52 to 64; a "0" 95 to
# 9900 us long and accepted from 90 to 10000 (scribd 444794184, g-zi.de; S).
ONE, ZERO = (52, 64), (90, 10_000)


def around(gap: int, accepted: tuple[int, int]) -> list[int]:
    """A window as deviations before and after a gap."""
    return [gap - accepted[0], accepted[1] - gap]


def half_bits(one: int, zero: int, receiver: str = "timer") -> Link:
    return link_of([one, zero], [around(one, ONE), around(zero, ZERO)], receiver)


@pytest.mark.parametrize("receiver", ["timer", "taps"])
def test_the_scale_that_dcc_half_bits_bear(receiver: str) -> None:
    """c7: 90/95 to 10000/9900; both limits come from the "0" (C, derived)."""
    shortest, longest = half_bits(55, 95, receiver), half_bits(61, 9900, receiver)
    for link in (shortest, longest):
        assert isinstance(link.scheme, PulseGap)
        assert link.scheme.windows == (ONE, ZERO)

    assert together(scale_of(shortest), scale_of(longest)) == (
        Fraction(90, 95),
        Fraction(10_000, 9900),
    )


def test_the_scale_that_a_dcc_one_bears_alone() -> None:
    """c7: 52/55 to 64/61, 0.9455 to 1.0492 (C, derived)."""
    least, most = together(*(scale_of(link_of([one], [around(one, ONE)])) for one in (55, 61)))

    assert (least, most) == (Fraction(52, 55), Fraction(64, 61))
    assert (f"{float(least):.4f}", f"{float(most):.4f}") == ("0.9455", "1.0492")


def test_dcc_windows_share_no_time_and_would_be_refused_if_they_did() -> None:
    """c7: 64 to 90 us is a guard of 26 us (C). Windows that touch leave none."""
    scheme = half_bits(58, 100).scheme
    assert isinstance(scheme, PulseGap)
    (_, end), (begin, _) = scheme.windows
    assert begin - end == 26

    with pytest.raises(LinkFileError) as refused:
        link_of([58, 100], [around(58, (52, 90)), around(100, ZERO)])
    assert refused.value.key == "link.window[1]"
    assert refused.value.allowed.endswith("and both take 90")
