"""Split a delay into delay elements of given sizes: fewest elements, exact."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import count
from math import gcd

MOST_STEPS = 4_000_000
"""Of the making of the table: its length times the number of sizes."""

Split = tuple[tuple[int, int], ...]
"""``(size in ticks, how many)``, largest size first; none for no delay."""


class TooLongError(ValueError):
    """Sizes too far from their common divisor for delays so long."""


class Splitter:
    """Splits delays of up to ``longest`` ticks into elements of ``sizes`` ticks.

    ``least[t]`` is one more than the least ``least[t - size]``; the largest size that gives
    it is taken, so that of all splits with the fewest elements the one with the largest comes
    out. Everything is divided by the common divisor of the sizes first, and of long delays the
    largest element is taken off down to the square of its size: among ``size`` other elements
    some add up to a multiple of ``size`` (two of their partial sums leave the same remainder),
    and elements of the largest size, no more in number, can take their place.

    Raises TooLongError where the table would take more than MOST_STEPS.
    """

    def __init__(self, sizes: Sequence[int], longest: int) -> None:
        self.unit = gcd(*sizes)
        self.sizes = sorted((size // self.unit for size in sizes), reverse=True)
        self.largest = self.sizes[0]
        # Above what is asked, the nearest that can be made may lie a smallest element higher.
        self.end = min(longest // self.unit, self.largest**2) + self.largest + self.sizes[-1]
        if self.end * len(self.sizes) > MOST_STEPS:
            raise TooLongError
        self.least = self._table()

    def _table(self) -> list[int | None]:
        least: list[int | None] = [0]
        for t in range(1, self.end + 1):
            before = [
                found for size in self.sizes if size <= t and (found := least[t - size]) is not None
            ]
            least.append(min(before) + 1 if before else None)
        return least

    def split(self, ticks: int) -> Split | None:
        """The elements of a delay; None if it cannot be made."""
        units, rest = divmod(ticks, self.unit)
        taken_off = max(0, units - self.largest**2) // self.largest
        left = units - taken_off * self.largest
        if rest or self.least[left] is None:
            return None
        found = dict.fromkeys(self.sizes, 0)
        found[self.largest] = taken_off
        while left:
            fewest = (self.least[left] or 0) - 1
            size = next(s for s in self.sizes if s <= left and self.least[left - s] == fewest)
            found[size] += 1
            left -= size
        return tuple((size * self.unit, many) for size, many in found.items() if many)

    def nearest(self, ticks: int) -> tuple[int | None, int]:
        """The longest delay below, None for none at all, and the shortest above that can be made.

        The multiples of the smallest size can always be made, so neither is far.
        """
        first = (ticks - 1) // self.unit * self.unit
        down = range(first, 0, -self.unit)
        below = next((t for t in down if self.split(t) is not None), None)
        above = next(t for t in count(first + self.unit, self.unit) if self.makes(t, ticks))
        return below, above

    def makes(self, ticks: int, beyond: int) -> bool:
        """A delay longer than another one can be made."""
        return ticks > beyond and self.split(ticks) is not None
