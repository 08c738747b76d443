"""Tables of gaps with the windows that a receiver accepts: apart or not, and by how much.

Times in ticks, exact. ``windows[i]`` is the least and the most time from rise to rise that the
receiver takes for output i, both included. A send of gap g may arrive as g(1 + e) - U to
g(1 + e) + U: e is the rate error between the clocks, constant for one run, and ``unrest`` U
the jitter of the line and the wander of the clock together.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction
from itertools import pairwise

Window = tuple[int, int]
Scale = tuple[Fraction, Fraction]
"""Factors by which the transmitter's times may come out, least and most: 1 + e."""

LEAST_TIME = 2
"""Ticks: unrest brings no rises closer; a fall comes between, and edges keep a tick apart."""

ALIKE: Scale = (Fraction(1), Fraction(1))


def window_slack(a: Window, b: Window) -> int:
    """Ticks from the end of one window to the start of the other; above 0 if they are apart.

    0: they touch, and both take the time at which they do. Below 0: they share more.
    """
    return max(a[0], b[0]) - min(a[1], b[1])


def apart(a: Window, b: Window) -> bool:
    """No time is in both windows."""
    return window_slack(a, b) > 0


def are_disjoint(windows: Sequence[Window]) -> bool:
    """No time is in two of the windows."""
    return all(low > high for (_, high), (low, _) in pairwise(sorted(windows)))


def arrival_slack(shorter: int, longer: int, unrest: int, scale: Scale = ALIKE) -> Fraction:
    """Ticks between the latest that the shorter gap and the earliest that the longer can be.

    Above 0 if some windows tell the two apart.
    """
    return longer * scale[0] - shorter * scale[1] - 2 * unrest


def room_in(
    gap: int, window: Window, unrest: int, scale: Scale = ALIKE
) -> tuple[Fraction, Fraction]:
    """Ticks left before the earliest and after the latest arrival, inside the window.

    Below 0 if a send may miss its own window on that side.
    """
    earliest = max(gap * scale[0] - unrest, min(gap * scale[0], Fraction(LEAST_TIME)))
    return earliest - window[0], window[1] - gap * scale[1] - unrest


def rate_apart(shorter: int, longer: int, unrest: int = 0) -> Fraction:
    """Rate error either way below which some windows tell two gaps apart; none do if not above 0.

    shorter (1 + x) + U < longer (1 - x) - U, solved for x.
    """
    return Fraction(longer - shorter - 2 * unrest, longer + shorter)


def rate_within(gap: int, window: Window, unrest: int = 0) -> tuple[Fraction, Fraction]:
    """Rate errors, least and most, with which a send is still inside its own window.

    The least is above the most if none will do.
    """
    least, most = Fraction(window[0] + unrest, gap), Fraction(window[1] - unrest, gap)
    if window[0] <= LEAST_TIME:
        least = min(least, Fraction(LEAST_TIME, gap))
    return least - 1, most - 1


@dataclass(frozen=True)
class Overlap:
    """Two outputs whose windows share times: ``low`` to ``high`` ticks, both included."""

    shorter: int
    longer: int
    low: int
    high: int


def overlaps(windows: Sequence[Window]) -> list[Overlap]:
    """Every two windows that share a time, by a sweep."""
    found = []
    order = sorted(range(len(windows)), key=lambda i: (windows[i], i))
    open_: list[int] = []
    for j in order:
        low, high = windows[j]
        open_ = [i for i in open_ if windows[i][1] >= low]
        found += [Overlap(i, j, low, min(high, windows[i][1])) for i in open_]
        open_.append(j)
    return found
