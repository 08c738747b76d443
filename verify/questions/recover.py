"""How long until a link is right again, after a disturbance or from a start in any state?"""

from __future__ import annotations

from dataclasses import dataclass, replace
from itertools import count

from verify.engines.answer import Budget, OutOfTimeError, Progress, Verdict
from verify.engines.lasso import Lasso, lasso
from verify.engines.simulator import Simulator
from verify.engines.trace import Trace
from verify.parts.link import Link
from verify.parts.pause import Pause, told
from verify.questions.engine_choice import EngineName
from verify.questions.judging import DEFAULT_SECONDS, Judgement, Subject, judge, shrunk
from verify.questions.one_move import Held

# Times this many times longer than the slowest lone press are looked at.
FAR = 4
# Seconds in which a link that is never right again mostly shows it.
QUICK = 2.0
# Where failures are found at once, so many are found before it is asked whether it is never right.
NEAR = 2


@dataclass(frozen=True)
class Recovery:
    """``ticks``: from the end of the disturbance until outputs are right and stay right; None:
    never, or not found.

    ``after``: what is recovered from, in words. ``trace``: wrong one tick before ``ticks``, or,
    where it never recovers, wrong after the circle of ``lasso``, which may be run through any
    number of times before.
    """

    link: Link
    ticks: int | None
    verdict: Verdict
    engine: str
    covered: str
    trace: Trace | None
    lasso: Lasso | None = None


def recover(
    link: Link,
    engine: EngineName,
    progress: Progress,
    budget: Budget | None = None,
    *,
    proved: bool = False,
) -> Recovery:
    """The longest time to recovery over all runs: after the last pause of the file; in a file
    without one, or with ``start = "any"``, from power-up in any state.

    What goes wrong before is left out of account; what goes wrong later counts. The least
    such time is searched for, proved right, and shown wrong one tick before. ``proved``:
    without any disturbance the link is known to be right.
    """
    budget = budget if budget is not None else Budget(DEFAULT_SECONDS)
    if not link.pause.most:
        link = replace(link, any_start=True)
    try:
        return _Search(link, engine, progress, budget).answer(proved)
    except OutOfTimeError as ended:
        return Recovery(link, None, Verdict.UNDECIDED, engine, ended.covered, None)


class _Search:
    def __init__(self, link: Link, engine: EngineName, progress: Progress, budget: Budget) -> None:
        self.link, self.engine, self.progress, self.budget = link, engine, progress, budget
        self.lones = Subject(replace(link, spared=0), budget=budget).lones
        self.held: Held = {}
        self.good: tuple[int, Judgement] | None = None
        self.bad: tuple[int, Judgement] | None = None

    def answer(self, proved: bool) -> Recovery:
        undisturbed = Subject(replace(self.link, pause=Pause(), any_start=False), self.lones)
        if not proved:
            judged = judge(undisturbed, self.engine, self.progress, budget=self.budget)
            if judged.verdict is not Verdict.HOLDS:
                return self._stuck(judged, "without any disturbance")
        settled = max(undisturbed.lone.settled)
        most = FAR * (settled + 1) + self.link.pause.reach
        # Asked about first, and not for long: what is never right fails soon, while proofs of
        # what is right in the end take longer the longer nothing counts. Where one move decides,
        # failures are found at once, one after another.
        at_once = bool(self.link.one_move())
        amount = min(most, 2 * settled) if at_once else most
        seconds: float | None = None if at_once else QUICK
        for asked in count(1):
            judged = self._judge(amount, seconds)
            if judged.verdict is Verdict.UNDECIDED and seconds is None:
                return self._stuck(judged, f"{amount} ticks after it")
            if self.bad is not None and self.bad[0] == most:
                return self._never()
            seconds = None
            low = self.bad[0] if self.bad else -1
            if self.good is not None and self.good[0] - low <= 1:
                break
            never = at_once and asked == NEAR and self.good is None
            amount = most if never else self._next(low, most, 2 * settled)
        assert self.good is not None
        ticks, good = self.good
        trace = self.bad[1].trace if self.bad else None
        if self.bad is not None and trace is not None:
            trace = shrunk(self._subject(self.bad[0]), trace, self.budget)
        return Recovery(self.link, ticks, Verdict.HOLDS, good.engine, good.covered, trace)

    def _next(self, low: int, most: int, guess: int) -> int:
        """A time to ask about: from the guess upwards, by ever more, since failures are found
        sooner than proofs; else halfway."""
        high = most if self.good is None else self.good[0]
        if low < guess < high:
            return guess
        further = low + max(1, low - guess + 1)
        if low >= guess and further < high:
            return further
        return most if self.good is None else (low + high) // 2

    def _judge(self, spared: int, seconds: float | None) -> Judgement:
        """``seconds``: at most so many of what is left."""
        subject, budget = self._subject(spared), self.budget
        if seconds is not None:
            left = budget.left()
            seconds = seconds if left is None else min(seconds, left)
            budget = replace(budget, seconds=seconds, started=None)
        judged = judge(subject, self.engine, self.progress, budget=budget, brief=True)
        if judged.verdict is Verdict.HOLDS:
            self.good = spared, judged
        elif judged.verdict is Verdict.FAILS:
            self.bad = spared, judged
        return judged

    def _subject(self, spared: int) -> Subject:
        return Subject(replace(self.link, spared=spared), self.lones, held=self.held)

    def _never(self) -> Recovery:
        """Even after the longest time looked at; a circle shows that no time is long enough."""
        if self.bad is None:
            raise AssertionError("nothing was found wrong")
        spared, judged = self.bad
        trace = judged.trace
        if trace is None or trace.failure is None:
            raise AssertionError("a failure without a trace")
        subject = self._subject(spared)
        trace = shrunk(
            subject,
            trace,
            self.budget,
            lambda s: _circle(subject, subject.replay(s)) is not None,
        )
        found = _circle(subject, trace)
        if found is None:
            covered = f"wrong still {spared} ticks after it, and no circle was found"
            return Recovery(self.link, None, Verdict.UNDECIDED, judged.engine, covered, trace)
        covered = "a circle from which it goes wrong"
        return Recovery(self.link, None, Verdict.FAILS, judged.engine, covered, trace, found)

    def _stuck(self, judged: Judgement, where: str) -> Recovery:
        covered = f"{where}: {judged.covered}"
        return Recovery(self.link, None, judged.verdict, judged.engine, covered, judged.trace)


def _circle(subject: Subject, trace: Trace) -> Lasso | None:
    """A circle in a run, after its last pause and before it is wrong."""
    if trace.failure is None:
        return None
    script = trace.script
    simulator = Simulator(subject.link, script.delay, subject.windows, script.resolution)
    ends = [c.tick + stop[1] for c in script.picks if (stop := told(c)) is not None]
    return lasso(simulator, script, max(ends, default=-1), trace.failure.tick)
