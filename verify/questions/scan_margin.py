"""How far may the clocks of a scan differ? Exact, on either side.

Of a free scan of two slots or more no error holds: any drift brings a sample to another slot
in the end.

A synced scan begins anew at each frame mark, so what decides is where, n ticks of the
transmitter's clock after a mark, an edge lies against a whole number m of the receiver's:
n * (1 + error) against m. Nothing looks further back than a frame and the slot after it, so
the verdict changes only at fractions whose denominator is at most the ticks of a frame and a
slot. Between two such that have none in between one error stands for all.

Where that is, is guessed from two levers, and then asked of all of them.
"""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction
from math import lcm
from typing import Literal

from verify.engines.answer import Answer, Budget, Progress, Verdict
from verify.engines.lone import factored_windows
from verify.engines.paces import at_rate
from verify.engines.trace import Trace
from verify.engines.zones import explore_zones
from verify.errors import UsageError
from verify.language.machine import System
from verify.parts.clock import FASTEST, SLOWEST
from verify.parts.link import Link
from verify.questions.engine_choice import EngineName
from verify.questions.judging import Judgement, Subject, judge, shrunk
from verify.questions.rate_margin import RateMargin, RateSide

ZERO = Fraction(0)
# An error that a free scan is shown to fail at.
SMALL = Fraction(1, 10**6)


def scan_rate_margin(
    link: Link, engine: EngineName, progress: Progress, budget: Budget
) -> RateMargin:
    """The margin of ``clock.rate`` of a scan; what the file says of it is left aside."""
    if engine not in ("auto", "zones"):
        raise UsageError(f"clock.rate: found engine {engine}; allowed for scans: auto or zones")
    on_time = _off_by(link, ZERO)
    judged = judge(Subject(on_time), engine, progress, budget=budget, brief=True)
    fast, slow = (
        _Side(on_time, judged, sign, engine, progress, budget).answer() for sign in (-1, 1)
    )
    return RateMargin("clock.rate", fast, slow)


def _off_by(link: Link, error: Fraction) -> Link:
    """The clock may be off by none to ``error``."""
    ends = sorted((ZERO, error))
    return replace(link, clock=replace(link.clock, rate=(ends[0], ends[1])))


def _between(a: Fraction, b: Fraction) -> Fraction:
    """If none of a size is between these, this is one, and none is simpler."""
    return Fraction(a.numerator + b.numerator, a.denominator + b.denominator)


class _Side:
    """One side: ``sign`` 1 for clocks that are slow, their periods too long, -1 for fast ones."""

    def __init__(
        self,
        on_time: Link,
        judged: Judgement,
        sign: Literal[1, -1],
        engine: EngineName,
        progress: Progress,
        budget: Budget,
    ) -> None:
        self.on_time, self.sign, self.engine = on_time, sign, engine
        self.progress, self.budget = progress, budget
        scheme = on_time.scheme
        self.finest = (scheme.step or 1) * (scheme.steps + 1)
        self.good: tuple[Fraction, Judgement] | None = None
        self.bad: tuple[Fraction, Judgement] | None = None
        self.stuck: Judgement | None = None
        self._note(ZERO, judged)

    def answer(self) -> RateSide:
        """Between an error that holds and one that does not, until none is left between."""
        if self.good is None:
            return self._side(None)
        if self._drifts_away():
            self._judge(SMALL)
            return self._side(ZERO, holds=True)
        cap = abs(SLOWEST if self.sign > 0 else FASTEST)
        for guess in self._guesses(cap):
            if self.bad is None:
                self._judge(guess)
        if self.bad is None and self.stuck is None:
            self._judge(cap)
        while self.stuck is None and self.bad is not None:
            low, high = self.good[0], self.bad[0]
            error = self._next(low, high)
            if error is None:
                exact = low.denominator <= self.finest
                return self._side(low if exact else high, holds=exact)
            self._judge(error)
        if self.stuck is not None:
            return self._side(None)
        return self._side(cap, holds=True)

    def _next(self, low: Fraction, high: Fraction) -> Fraction | None:
        """An error to ask about; None where one of the two lies between errors at which the
        verdict may change, and the other is next to it."""
        middle = ((low + high) / 2).limit_denominator(self.finest)
        if low < middle < high:
            return middle
        if max(low.denominator, high.denominator) > self.finest:
            return None
        return _between(low, high)

    def _guesses(self, cap: Fraction) -> tuple[Fraction, ...]:
        """The most that holds, and the least beyond, of two levers, each alone: that which has
        most time to be off by, and that next to the frame mark. None where that is no less work."""
        pairs, steps = self.on_time.one_move(), self.on_time.scheme.steps
        if len(pairs) <= 2 or self.engine != "auto":
            return ()
        alone = [pairs[-1][0].link, pairs[0][0].link]
        low, high = ZERO, cap
        # A sample in the middle of a slot may be off by half a slot in a frame.
        likely = Fraction(1, 2 * steps)
        error: Fraction | None = likely
        while error is not None:
            if all(self._holds(part, error) for part in alone):
                low = error
            else:
                high = error
            beside = error == likely
            error = self._beside(error, low == error) if beside else self._next(low, high)
        return low, high

    def _beside(self, error: Fraction, above: bool) -> Fraction:
        """Between an error of 1/n and the next at which the verdict may change: neighbours a/b and
        c/d among fractions of small denominators have a * d and b * c one apart (G. H. Hardy and
        E. M. Wright, "An Introduction to the Theory of Numbers", 3.1 - from memory)."""
        more = 1 if above else -1
        times = (self.finest + more) // error.denominator
        return _between(error, Fraction(times, times * error.denominator - more))

    def _holds(self, part: Link, amount: Fraction) -> bool:
        """At this very error, if not at all up to it."""
        error = self.sign * amount
        off = _off_by(part, error)
        lone = Subject(off).lone

        def search(system: System) -> Answer:
            return explore_zones(system, self.budget, self.progress)

        return all(
            at_rate(
                off, error, windows, search, lcm(off.clock.resolution, windows.resolution)
            ).verdict
            is Verdict.HOLDS
            for windows in factored_windows(off, lone)
        )

    def _drifts_away(self) -> bool:
        return _off_by(self.on_time, SMALL).drifts_away

    def _judge(self, amount: Fraction) -> None:
        subject = Subject(_off_by(self.on_time, self.sign * amount))
        brief = not subject.link.drifts_away
        judged = judge(subject, self.engine, self.progress, budget=self.budget, brief=brief)
        self._note(amount, judged)

    def _note(self, amount: Fraction, judged: Judgement) -> None:
        if judged.verdict is Verdict.HOLDS:
            self.good = amount, judged
        elif judged.verdict is Verdict.FAILS:
            self.bad = amount, judged
        else:
            self.stuck = judged

    def _side(self, amount: Fraction | None, *, holds: bool = False) -> RateSide:
        good, bad = self.good, self.bad
        trace, error = self._beyond()
        if amount is not None and good is not None:
            engine, covered = good[1].engine, good[1].covered
            if bad is None:
                covered += f"; errors beyond {self.sign * amount} not looked at"
            return RateSide(amount, holds, Verdict.HOLDS, engine, covered, trace, error)
        if good is None and bad is not None:
            told = bad[1]
            return RateSide(None, False, Verdict.FAILS, told.engine, told.covered, trace, error)
        stuck = self.stuck
        if stuck is None:
            raise AssertionError("nothing was judged")
        covered = stuck.covered
        if good is not None:
            covered += f"; holds up to {self.sign * good[0]} at least"
        return RateSide(None, False, Verdict.UNDECIDED, stuck.engine, covered, trace, error)

    def _beyond(self) -> tuple[Trace | None, Fraction | None]:
        """The failing run, as small as can be, and its error."""
        if self.bad is None:
            return None, None
        error, judged = self.bad
        if judged.trace is None:
            return None, error
        subject = Subject(_off_by(self.on_time, self.sign * error))
        return shrunk(subject, judged.trace, self.budget), error
