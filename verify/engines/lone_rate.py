"""What does one press do, all alone, whatever the rate of the transmitter's clock?

The solver follows one press to rest; earliest and latest are exact, over all rates.
"""

from __future__ import annotations

from fractions import Fraction
from math import ceil, floor

from verify.engines.answer import Budget, Progress
from verify.engines.linear import Exact, term
from verify.engines.optimum import optimum
from verify.engines.solver import MOST_EVENTS, Moment, OutOfReachError, Search
from verify.engines.symbolic import Cond, Num, Outcome, both, either, equal, less, negate
from verify.language.machine import System
from verify.parts.signals import strike
from verify.units import Ticks, whole

Row = tuple[Ticks | None, Ticks | None, int, int | None]


def lone_press(system: System, index: int, output: int, budget: Budget) -> Row:
    """Earliest and latest strike after a press of one input, and when all is at rest, in ticks.

    ``system``: one branch without monitors. Earliest is None if it never strikes, latest if it
    may not. Last, ticks after which another press finds all as at power-up; None if this press
    may strike what it should not, or not once, or leave something behind. Raises
    OutOfReachError if it does not come to rest, or the budget is spent.
    """
    return _Lone(system, output, budget).follow(index)


class _Lone(Search):
    def __init__(self, system: System, output: int, budget: Budget) -> None:
        super().__init__(system, budget, Progress(), latencies=False, most=1)
        self.output = output
        self.earliest: Exact | None = None
        self.latest: Exact | None = None
        self.settled: Exact = 0
        self.unstruck: Cond = True
        # A strike of another output, or of the right one again.
        self.strayed: Cond = False
        self.may_miss = self.may_stray = False

    def follow(self, index: int) -> Row:
        picks: list[tuple[str, Num]] = []
        _, outcome = self.symbolic.step(self.start, 1, (index,), self._picker(picks))
        moment = Moment(outcome.state, [*self.given, *outcome.given], 0, [])
        self._strikes(outcome, moment)
        for _ in range(MOST_EVENTS):
            ends = self.symbolic.ends(moment.state)
            self._rests(moment, [there for there, _ in ends])
            next_outcome = self._pass_time(moment, ends)
            if next_outcome is None:
                latest = None if self.may_miss else self.latest
                return (
                    self._ticks(self.earliest),
                    self._ticks(latest),
                    self._settled(),
                    self._apart(),
                )
            self._strikes(next_outcome, moment)
        raise OutOfReachError(f"{MOST_EVENTS} events after a press without coming to rest")

    def _ticks(self, value: Exact | None) -> Ticks | None:
        return None if value is None else whole(Fraction(value) / self.symbolic.system.resolution)

    def _settled(self) -> int:
        return ceil(Fraction(self.settled) / self.symbolic.system.resolution)

    def _apart(self) -> int | None:
        if self.may_miss or self.may_stray:
            return None
        return floor(Fraction(self.settled) / self.symbolic.system.resolution) + 1

    def _strikes(self, outcome: Outcome, moment: Moment) -> None:
        struck: Cond = False
        for event in outcome.said:
            if event.signal == strike(0):
                right = equal(event.values[0], self.output)
                hit = both(event.when, right)
                again = either(both(event.when, negate(right)), both(hit, struck))
                self.strayed = either(self.strayed, again)
                struck = either(struck, hit)
        self.strayed = either(self.strayed, both(struck, negate(self.unstruck)))
        first = [*moment.given, self.unstruck, struck]
        if struck is False or not self._possible(first):
            return
        self.earliest = self._beyond(first, moment.now, self.earliest, True)
        self.latest = self._beyond(first, moment.now, self.latest, False)
        self.unstruck = both(self.unstruck, negate(struck))

    def _rests(self, moment: Moment, running: list[Cond]) -> None:
        """Note the runs that come to rest here."""
        rest: Cond = True
        for there in running:
            rest = both(rest, negate(there))
        if rest is False or not self._possible([*moment.given, rest]):
            return
        self.settled = self._beyond([*moment.given, rest], moment.now, self.settled, False)
        if self._possible([*moment.given, rest, self.unstruck]):
            self.may_miss = True
        if self.may_miss or self.may_stray:
            return
        # All at once, where a run ends: one question to the solver in place of many.
        stray = either(self.strayed, self._differs(moment.state, self.start))
        self.may_stray = stray is not False and self._possible([*moment.given, rest, stray])

    def _beyond(self, given: list[Cond], value: Num, known: Exact | None, least: bool) -> Exact:
        """The extreme of what is known and of this value; whether it lies beyond what is known is
        the smaller question."""
        if known is not None:
            further = less(value, known) if least else less(known, value)
            if further is False or not self._possible([*given, further]):
                return known
        found = self._extreme_of(given, value, least)
        return found if known is None else (min if least else max)(found, known)

    def _extreme_of(self, given: list[Cond], value: Num, least: bool) -> Exact:
        if isinstance(value, (int, Fraction)):
            return value
        found = optimum(given, term(value), self.budget, least=least)
        if found is None:
            raise OutOfReachError("the solver gave up on a lone press")
        return found.value
