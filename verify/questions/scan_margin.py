"""How far may the clocks of a scan differ? Exact, on either side.

Of a free scan of two slots or more no error holds: any drift brings a sample to another slot
in the end.

A synced scan begins anew at each frame mark, so what decides is where, n ticks of the
transmitter's clock after a mark, an edge lies against a whole number m of the receiver's:
n * (1 + error) against m. Nothing looks further back than a frame and the slot after it, so
the verdict changes only at fractions whose denominator is at most the ticks of a frame and a
slot. Between two such that have none in between one error stands for all.
"""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction
from typing import Literal

from verify.engines.answer import Budget, Progress, Verdict
from verify.engines.trace import Trace
from verify.errors import UsageError
from verify.parts.clock import FASTEST, SLOWEST
from verify.parts.link import Link
from verify.questions.judging import EngineName, Judgement, Subject, judge, shrunk
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
    fast, slow = (_Side(on_time, sign, engine, progress, budget).answer() for sign in (-1, 1))
    return RateMargin("clock.rate", fast, slow)


def _off_by(link: Link, error: Fraction) -> Link:
    """The clock may be off by none to ``error``."""
    ends = sorted((ZERO, error))
    return replace(link, clock=replace(link.clock, rate=(ends[0], ends[1])))


class _Side:
    """One side: ``sign`` 1 for clocks that are slow, their periods too long, -1 for fast ones."""

    def __init__(
        self,
        on_time: Link,
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

    def answer(self) -> RateSide:
        """Between an error that holds and one that does not, until none is left between."""
        if self._judge(ZERO) is not Verdict.HOLDS:
            return self._side(None)
        if self._drifts_away():
            self._judge(SMALL)
            return self._side(ZERO, holds=True)
        cap = abs(SLOWEST if self.sign > 0 else FASTEST)
        verdict = self._judge(cap)
        while self.good is not None and self.bad is not None and verdict is not Verdict.UNDECIDED:
            low, high = self.good[0], self.bad[0]
            middle = ((low + high) / 2).limit_denominator(self.finest)
            if not low < middle < high:
                return self._last(low, high)
            verdict = self._judge(middle)
        if verdict is Verdict.UNDECIDED:
            return self._side(None)
        return self._side(cap, holds=True)

    def _last(self, low: Fraction, high: Fraction) -> RateSide:
        """Nothing changes between the two: an error between them says which is the margin."""
        between = Fraction(low.numerator + high.numerator, low.denominator + high.denominator)
        verdict = self._judge(between)
        if verdict is Verdict.UNDECIDED:
            return self._side(None)
        if verdict is Verdict.HOLDS:
            return self._side(high, holds=False)
        return self._side(low, holds=True)

    def _drifts_away(self) -> bool:
        return _off_by(self.on_time, SMALL).drifts_away

    def _judge(self, amount: Fraction) -> Verdict:
        subject = Subject(_off_by(self.on_time, self.sign * amount))
        brief = not subject.link.drifts_away
        judged = judge(subject, self.engine, self.progress, budget=self.budget, brief=brief)
        if judged.verdict is Verdict.HOLDS:
            self.good = amount, judged
        elif judged.verdict is Verdict.FAILS:
            self.bad = amount, judged
        else:
            self.stuck = judged
        return judged.verdict

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
