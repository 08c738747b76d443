"""The least error of the transmitter's clock at which some run fails, exact.

The same search for failures, and the same induction, as the solver's. But wherever a failure
is looked for, only runs with a smaller error than the best failing run so far are asked
about, and of those the least error is taken: linear arithmetic over the tight constraints of
the run. What the induction then covers are all runs with an error below the one found.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from fractions import Fraction
from typing import Literal

import z3

from verify.engines.answer import Budget, LeastRate, Progress
from verify.engines.linear import Interval, term
from verify.engines.optimum import optimum
from verify.engines.solver import History, OutOfReachError, Picks, Search, exact
from verify.engines.symbolic import Cond, Said, either, negate
from verify.engines.trace import Script
from verify.language.machine import System
from verify.parts.clock import PERIOD
from verify.parts.signals import failure

# A failing run is shown with an error of so much more at most than the least.
JUST_PAST = Fraction(1, 1000)
# So many digits more are tried before an error of any number of digits.
DIGITS = 4


def least_rate(
    system: System,
    sign: Literal[1, -1],
    most: Fraction,
    budget: Budget,
    progress: Progress,
    *,
    below: bool = False,
    hasty: bool = False,
) -> LeastRate:
    """Look at clocks that are slow (sign 1: periods too long) or fast (sign -1) by none to
    ``most``, or by less than that if ``below``. The clock of ``system`` must have that range.
    ``hasty``: end early once any error at all makes a run fail.
    """
    search = _Least(system, sign, budget, progress, hasty)
    search.only_below(most, excluded=below)
    try:
        answer = search.run()
    except _AnyFailsError:
        answer = None
    return LeastRate(search.bound, search.excluded, search.script, search.shown, answer)


class _AnyFailsError(Exception):
    """However small an error, some run fails; runs without any were not looked at."""


class _Least(Search):
    def __init__(
        self, system: System, sign: Literal[1, -1], budget: Budget, progress: Progress, hasty: bool
    ) -> None:
        self.hasty = hasty
        # Of histories that were followed already: what goes on from them.
        self.ahead: dict[int, tuple[History, list[History]]] = {}
        self.better: list[Cond] = []
        self.script: Script | None = None
        self.shown = self.bound = Fraction(0)
        self.excluded = False
        super().__init__(system, budget, progress, latencies=False, most=5)
        names = [item.name for item in self.symbolic.memory]
        self.sign, self.period = sign, self.start[names.index(PERIOD)]

    def only_below(self, bound: Fraction, *, excluded: bool) -> None:
        """From now on only runs with an error up to ``bound``, or below it if ``excluded``."""
        self.bound, self.excluded = bound, excluded
        low, high = sorted((self._length(Fraction(0)), self._length(bound)))
        period = self.period.term
        self.better = [period >= term(low), period <= term(high)]
        if excluded:
            self.better.append(period != term(self._length(bound)))
        interval = Interval(low, high, excluded and self.sign < 0, excluded and self.sign > 0)
        self.symbolic.bounds.tighten(self.period, interval)

    def _length(self, error: Fraction) -> Fraction:
        """The clock's period at an error, in the system's parts of a tick."""
        return self.symbolic.system.resolution * (1 + self.sign * error)

    def _error(self, length: Fraction) -> Fraction:
        return abs(length / self.symbolic.system.resolution - 1)

    def _extend(self, history: History) -> Iterator[History]:
        """``hasty``: the first presses to go on with are followed at once, not after all others:
        that is where links at their least spacing fail at any error."""
        if not self.hasty:
            yield from super()._extend(history)
            return
        if (ahead := self.ahead.pop(id(history), None)) is not None:
            yield from ahead[1]
            return
        for child in super()._extend(history):
            self.ahead[id(child)] = child, list(super()._extend(child))
            yield child

    def _possible(self, given: Sequence[Cond]) -> bool:
        return super()._possible([*given, *self.better])

    def _judge(
        self, said: Sequence[Said], history: History, given: Sequence[Cond], picks: Picks
    ) -> list[Cond] | None:
        self.progress.states += 1
        wrong: Cond = False
        for event in said:
            if event.signal == failure(0):
                wrong = either(wrong, event.when)
        right = list(given)
        if wrong is False or not self._possible([*given, wrong]):
            return right
        self._improve([*given, *self.better, wrong], history, picks)
        right.append(negate(wrong))
        return right if self._possible(right) else None

    def _improve(self, failing: list[Cond], history: History, picks: Picks) -> None:
        found = optimum(failing, term(self.period), self.budget, least=self.sign > 0)
        if found is None:
            raise OutOfReachError(f"all sequences of fewer than {self.progress.presses} presses")
        self.only_below(self._error(Fraction(found.value)), excluded=found.reached)
        model = self._just_past(failing) or found.model
        self.shown = self._error(Fraction(exact(model, self.period)))
        self.script = self._script(model, history, picks)
        if self.hasty and self.bound == 0 and not self.excluded:
            raise _AnyFailsError

    def _just_past(self, failing: list[Cond]) -> z3.ModelRef | None:
        """A failing run at the bound if there is one, else just beyond it, at an error of few
        digits if one will do."""
        period = self.period.term
        if self.excluded:
            wanted = [period == term(self._length(self.bound))]
        else:
            steps = (JUST_PAST / 10**digits for digits in range(DIGITS))
            nice = [(self.bound // step + 1) * step for step in steps]
            past = term(self._length(nice[0]))
            near = period < past if self.sign > 0 else period > past
            wanted = [*(period == term(self._length(error)) for error in nice), near]
        for condition in wanted:
            if Search._possible(self, [*failing, condition]):
                return self.solver_model
        return None
