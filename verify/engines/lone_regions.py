"""What does one press do, all alone, whatever the rate of the clock: by regions, if they reach.

The same as ``lone_rate``, which asks the solver.
"""

from __future__ import annotations

from fractions import Fraction
from math import ceil, floor
from typing import TypeAlias

from verify.engines.answer import Budget, OutOfTimeError
from verify.engines.press_regions import OutOfRegionsError, PressRegions
from verify.language.machine import System
from verify.parts.signals import strike
from verify.units import Ticks, whole

Row: TypeAlias = tuple[Ticks | None, Ticks | None, int, int | None]


class LoneRegions:
    """One branch of a link without monitors. Raises OutOfRegionsError if too much is unknown."""

    def __init__(self, system: System, budget: Budget) -> None:
        self.budget, self.system = budget, system
        self.presses = PressRegions(system, self._look)

    def _look(self) -> None:
        if self.budget.spent(0):
            raise OutOfTimeError

    def row(self, index: int, output: int) -> Row:
        """Earliest and latest strike after a press of one input, and when all is at rest, in ticks.

        Earliest is None if it never strikes, latest if it may not. Last, ticks after which
        another press finds all as at power-up; None if this press may strike what it should not,
        or not once, or leave something behind. Raises OutOfRegionsError.
        """
        plane, resolution = self.presses.plane, self.system.resolution
        firsts: list[Fraction] = []
        settled = Fraction(0)
        always = clean = True
        for ended in self.presses.follow(index):
            if ended.why != "rest":
                raise OutOfRegionsError
            strikes = [
                (when, values == (output,))
                for when, (signal, values) in ended.told
                if signal == strike(0)
            ]
            first = next((when for when, right in strikes if right), None)
            if first is None:
                always = False
            else:
                firsts += plane.between(ended.region, first)
            clean = clean and ended.clean and [right for _, right in strikes] == [True]
            settled = max(settled, plane.between(ended.region, ended.now)[1])
        settled /= resolution
        return (
            whole(min(firsts) / resolution) if firsts else None,
            whole(max(firsts) / resolution) if firsts and always else None,
            ceil(settled),
            floor(settled) + 1 if clean else None,
        )


__all__ = ["LoneRegions", "OutOfRegionsError"]
