"""Tables of gaps with the windows that a receiver accepts: apart or not, and by how much.

Times in ticks, exact. ``windows[i]`` is the least and the most time from rise to rise that the
receiver takes for output i, both included. Jitter of J moves either rise up to J later, so
a gap g arrives as g - J to g + J. A rate error x makes times that were t come out as
t(1 - x) to t(1 + x).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction
from itertools import pairwise

Window = tuple[int, int]


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


def arrival_slack(
    shorter: int, longer: int, jitter: int = 0, rate: Fraction = Fraction(0)
) -> Fraction:
    """Ticks between the latest that the shorter gap and the earliest that the longer can be.

    Above 0 if some windows tell the two apart.
    """
    return (longer - jitter) * (1 - rate) - (shorter + jitter) * (1 + rate)


def separable_below(shorter: int, longer: int, jitter: int = 0) -> Fraction:
    """Rate error below which some windows tell two gaps apart; not above 0 if none do.

    (shorter + J)(1 + x) < (longer - J)(1 - x), solved for x.
    """
    return Fraction(longer - shorter - 2 * jitter, longer + shorter)


def scale_of(gap: int, window: Window, jitter: int = 0) -> tuple[Fraction, Fraction] | None:
    """Factors by which times may be scaled with a send of ``gap`` still inside its window.

    None if there are none.
    """
    if gap - jitter <= 0:
        return None
    least = Fraction(window[0], gap - jitter)
    most = Fraction(window[1], gap + jitter)
    return (least, most) if least <= most else None


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
