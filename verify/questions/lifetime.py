"""How long after power-up is a link sure to stay right?

Only where the two ends drift apart without end (a free scan, clocks that differ) is there a
time in between: as long as ``check`` proves nothing wrong, and no longer than its soonest
failure. All other links are right for ever, or not sure to be right at all.
"""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction

from verify.engines.answer import Budget, Progress, Verdict
from verify.engines.trace import Trace
from verify.errors import UsageError
from verify.parts.clock import PERIOD
from verify.questions.engine_choice import EngineName
from verify.questions.judging import DEFAULT_SECONDS, Subject, judge
from verify.units import Ticks, whole


@dataclass(frozen=True)
class Lifetime:
    """``verdict``: of the link, as ``check`` has it. ``ticks``: from power-up, which is one tick
    before tick 0, to the soonest failure of all runs; None: it never fails, or, if undecided,
    nobody knows. ``trace``: of that failure; ``error``: of the clock in it, None if it has none
    that is constant.
    """

    verdict: Verdict
    ticks: Ticks | None
    engine: str
    covered: str
    trace: Trace | None
    error: Fraction | None

    @property
    def forever(self) -> bool:
        """It never fails."""
        return self.verdict is Verdict.HOLDS


def lifetime(
    subject: Subject, engine: EngineName, progress: Progress, budget: Budget | None = None
) -> Lifetime:
    """Exact, or undecided. Raises UsageError for engines that do not find the soonest failure,
    and where pauses come on top of clocks that drift.
    """
    link = subject.link
    drifts = link.drifts_away
    if drifts and engine not in ("auto", "zones"):
        raise UsageError(f"lifetime: found engine {engine}; allowed: auto or zones")
    if drifts and (link.pause.most or link.any_start):
        found = "pauses" if link.pause.most else 'start = "any"'
        raise UsageError(
            f"lifetime: found {found} with clocks that drift apart; allowed: one of the two"
        )
    budget = budget if budget is not None else Budget(DEFAULT_SECONDS)
    judged = judge(subject, engine, progress, budget=budget)
    trace, verdict = judged.trace, judged.verdict
    ticks: Ticks | None = None
    error = None
    if trace is not None and trace.failure is not None:
        period = dict(trace.script.constants).get(PERIOD)
        error = None if period is None else Fraction(period, trace.script.resolution) - 1
        ticks = 0
        if drifts:
            ticks = whole(Fraction(trace.failure.tick + 1, trace.script.resolution))
            if not judged.complete:
                verdict, ticks = Verdict.UNDECIDED, None
    return Lifetime(verdict, ticks, judged.engine, judged.covered, trace, error)
