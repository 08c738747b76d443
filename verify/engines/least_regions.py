"""The least error of the transmitter's clock at which some run fails: by regions, where each
press finds the link at rest, or nearly.

The same as ``least_rate``, which asks the solver. Every press is followed to rest or to its
failure at all errors at once. Another may come before all is at rest: then both are followed,
until what is to come is what would come of the second by itself. If no third may come before
that, any press of a sequence finds the link as one before it left it by itself: by induction no
sequence of any length fails at an error below those at which one press fails, or two.
"""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction
from math import lcm
from typing import Any, Literal

from verify.engines.answer import Answer, Budget, LeastRate, OutOfTimeError, Progress, Verdict
from verify.engines.press_regions import Ended, Opening, OutOfRegionsError, PressRegions, merged
from verify.engines.regions import Linear, Region, lies_in
from verify.engines.trace import Chosen, Press, Script
from verify.language.machine import System
from verify.parts.clock import PERIOD

ENGINE = "regions"
COVERED = "induction on presses, each at all errors at once"
# Of more ways in which presses may meet the solver is asked.
MOST_MEETINGS = 10_000
# A failing run just past a bound is shown at an error of few digits, if one is near enough.
STEPS = tuple(Fraction(1, 10**digits) for digits in range(4, 8))


@dataclass(frozen=True)
class _Failing:
    """``error``: the least in its region, or near which it comes; ``when`` the ``second`` input
    was pressed."""

    index: int
    ended: Ended
    error: Fraction
    reached: bool
    second: int | None = None
    when: Any = None


def least_alone(
    system: System,
    sign: Literal[1, -1],
    most: Fraction,
    budget: Budget,
    progress: Progress,
    *,
    below: bool = False,
) -> LeastRate:
    """Look at clocks that are slow (sign 1: periods too long) or fast (sign -1) by none to
    ``most``, or by less than that if ``below``. The clock of ``system`` must have that range.
    No answer if below the error found a press may come before all is as if the one before it had
    not been, or more is unknown than regions follow. Raises OutOfRegionsError where regions say
    nothing, OutOfTimeError when the budget is spent.
    """
    return _Least(system, sign, most, below, budget, progress).answer()


class _Least:
    def __init__(
        self,
        system: System,
        sign: Literal[1, -1],
        most: Fraction,
        below: bool,
        budget: Budget,
        progress: Progress,
    ) -> None:
        self.resolution, self.sign = system.resolution, sign
        self.error, self.excluded = most, below
        self.budget, self.progress = budget, progress
        self.presses = PressRegions(system, self._look)
        self.failing: list[_Failing] = []
        # Of what was not followed to an end of its own: the least errors, and whether reached.
        self.loose: list[tuple[Fraction, bool]] = []

    def _look(self) -> None:
        self.progress.states += 1
        if self.budget.spent(self.progress.states):
            raise OutOfTimeError

    def answer(self) -> LeastRate:
        inputs = range(self.presses.compiled.inputs)
        openings: dict[int, list[Opening]] = {}
        for index in inputs:
            here = openings.setdefault(index, [])
            for ended in self.presses.follow(index, openings=here, beyond=self._beyond):
                self._note(_Failing(index, ended, *self._least_in(ended.region)))
        self._meet(openings)
        complete = not any(self._asked(*loose) for loose in self.loose)
        complete = complete and not self.presses.several_at_once()
        found = Answer(Verdict.HOLDS, ENGINE, None, COVERED, complete=True) if complete else None
        best = [f for f in self.failing if self._asked(f.error, f.reached, at=True)]
        if not best:
            return LeastRate(self.error, self.excluded, None, Fraction(0), found)
        first = min(best, key=lambda f: (f.error, not f.reached))
        shown, failing = self._shown(first)
        script = self._script(failing, shown)
        return LeastRate(self.error, self.excluded, script, shown, found)

    def _meet(self, openings: dict[int, list[Opening]]) -> None:
        """Where a press may come before another is over: is it soon as if that had not been?"""
        inputs = range(self.presses.compiled.inputs)
        at = [(i, o) for i in inputs for o in merged(openings[i]) if not self._beyond(o.region)]
        if not at:
            return
        if self.presses.other is not None or len(at) * len(inputs) > MOST_MEETINGS:
            self.loose += [self._least_in(opening.region) for _, opening in at]
            return
        at.sort(key=lambda found: self._least_in(found[1].region))
        for first, opening in at:
            for second in inputs:
                for ended, when in self.presses.meet(opening, second, beyond=self._beyond):
                    least = self._least_in(ended.region)
                    self._note(_Failing(first, ended, *least, second, when))

    def _note(self, found: _Failing) -> None:
        """What ended, wrong or not."""
        ended, error, reached = found.ended, found.error, found.reached
        meeting = found.second is not None
        if ended.why == "failure":
            self.failing.append(found)
            if error < self.error or (error == self.error and reached and not self.excluded):
                self.error, self.excluded = error, reached
        elif ended.why == "unknown" or (ended.why == "rest" and not ended.clean):
            self.loose.append((error, reached))
        if meeting and not ended.alone:
            self.loose.append((error, reached))

    def _errors(self, region: Region) -> tuple[Fraction, Fraction]:
        ends = (abs(x / self.resolution - 1) for x in region.xs)
        least, most = sorted(ends)
        return least, most

    def _least_in(self, region: Region) -> tuple[Fraction, bool]:
        """The least error of a region; without its ends, unless it has only the one."""
        least, most = self._errors(region)
        return least, least == most

    def _asked(self, error: Fraction, reached: bool, *, at: bool = False) -> bool:
        """A region with this least error has some that are asked about; ``at``: or has the bound
        itself, from above."""
        if error < self.error:
            return True
        return error == self.error and (at or (reached and not self.excluded))

    def _beyond(self, region: Region) -> bool:
        return not self._asked(*self._least_in(region), at=True)

    def _shown(self, first: _Failing) -> tuple[Fraction, _Failing]:
        """An error of few digits just beyond the bound at which a run fails, if not at it."""
        if first.reached:
            return first.error, first
        for step in STEPS:
            error = (first.error // step + 1) * step
            for failing in self.failing:
                if lies_in(self._errors(failing.ended.region), error):
                    return error, failing
        least, most = self._errors(first.ended.region)
        return (least + most) / 2, first

    def _script(self, failing: _Failing, error: Fraction) -> Script:
        """A run of a region at an error that it has, wherever the other unknown lies there."""
        period = self.resolution * (1 + self.sign * error)
        other = failing.ended.region.at(period)
        second, picked = (
            None if when is None else self._value(when, period, other)
            for when in (failing.when, failing.ended.picked)
        )
        parts = lcm(*(v.denominator for v in (period, other, second or other, picked or other)))
        constants = [(PERIOD, int(period * parts))]
        presses: tuple[Press, ...] = (Press(0, failing.index),)
        picks: tuple[Chosen, ...] = ()
        name = self.presses.other
        if second is not None and failing.second is not None:
            presses = (*presses, Press(int(second * parts), failing.second))
        if name is not None and picked is not None:
            picks = (Chosen(int(picked * parts), name, int(other * parts)),)
        elif name is not None and not self.presses.picks:
            constants.append((name, int(other * parts)))
        names = [item.name for item in self.presses.compiled.memory]
        constants.sort(key=lambda c: names.index(c[0]))
        return Script(presses, 0, picks, tuple(constants), self.resolution * parts)

    @staticmethod
    def _value(when: Any, x: Fraction, y: Fraction) -> Fraction:
        if not isinstance(when, Linear):
            return Fraction(when)
        c, a, b = when.form
        return c + a * x + b * y


__all__ = ["OutOfRegionsError", "least_alone"]
