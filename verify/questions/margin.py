"""How much of one disturbance does a link survive? The largest that still holds, on either side."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

from verify.engines.answer import Budget, OutOfTimeError, Progress, Verdict
from verify.engines.lone import Lone
from verify.engines.trace import Trace
from verify.errors import UsageError
from verify.language.durations import lengths
from verify.parts.link import Link
from verify.questions.engine_choice import EngineName
from verify.questions.judging import DEFAULT_SECONDS, Judgement, Subject, judge

# Disturbances this many times larger than the link's slowest input are not looked at.
FAR = 16


@dataclass(frozen=True)
class Side:
    """One side of a margin, ticks: the largest amount that holds, and a trace just past it.

    ``amount`` None: not even none of the disturbance holds, or an engine gave up at the start.
    ``trace_beyond`` None: none of the amounts looked at fails, or an engine gave up. ``beyond``:
    the link that it is a trace of.
    """

    amount: int | None
    verdict: Verdict
    engine: str
    covered: str
    trace_beyond: Trace | None
    beyond: Link | None = None


@dataclass(frozen=True)
class Margin:
    """``least``: the side below zero, None for a disturbance that has none; ``most``: above."""

    of: str
    least: Side | None
    most: Side


def margin(
    link: Link,
    of: str,
    engine: EngineName,
    progress: Progress,
    budget: Budget | None = None,
    *,
    far: int = FAR,
    brief: bool = False,
    proved: Judgement | None = None,
) -> Margin:
    """The margin of a disturbance, by its key in link files; the others stay as in the file.

    More of a disturbance includes less of it, so what holds holds below, and bisection on
    proofs is exact. ``far``: how many times the slowest input's time is looked at. ``brief``:
    the traces may be any that fail, and not the shortest. ``proved``: what is known already of
    the link as it is. Raises UsageError for a disturbance
    that makes no sense for the link.
    """
    budget = budget if budget is not None else Budget(DEFAULT_SECONDS)

    def side(disturbed: Callable[[int], Link], most: int) -> Side:
        return _Side(disturbed, most, asked).answer()

    asked = _Asked(engine, progress, budget, brief)
    if proved is not None:
        asked.judged[link] = proved
    reach_of_line = far * (max(asked.subject(link).lone.settled) + 1)
    if of == "clock.offset":
        reach = getattr(link.scheme, "offset_reach", None)
        if reach is None:
            raise UsageError(
                f'clock.offset: found scheme "{link.scheme_name}"; allowed: a scheme whose '
                "receiver has a clock of its own: free-scan, synced-scan"
            )
        up = side(lambda x: _offset(link, (0, x)), reach)
        down = side(lambda x: _offset(link, (-x, 0)), reach)
        return Margin(of, down, up)
    if of == "clock.wander":
        reason = link.clockless or replace(link, clock=replace(link.clock, wander=1)).unsteady
        if reason is not None:
            raise UsageError(f"clock.wander: allowed: {reason}")
        most = min(ticks for _, ticks in lengths(link.scheme.transmitter())) - 1
        wandering = side(lambda x: replace(link, clock=replace(link.clock, wander=x)), most)
        return Margin(of, None, wandering)
    if of == "pause":
        stopping = replace(link, pause=replace(link.pause, most=1))
        if (reason := stopping.unstoppable) is not None:
            raise UsageError(f"pause: allowed: {reason}")
        paused = side(lambda x: replace(link, pause=replace(link.pause, most=x)), reach_of_line)
        return Margin(of, None, paused)
    if of not in ("line.jitter", "line.skew", "line.shortest"):
        raise UsageError(
            f"{of}: allowed: clock.offset, clock.wander, line.jitter, line.skew, line.shortest "
            "or pause"
        )
    if of == "line.skew" and link.scheme.lines == 1:
        raise UsageError("line.skew: found a link of one line; allowed: one of several lines")
    key = of.removeprefix("line.")
    if key == "shortest":
        # A line needs as long to tell a pulse from a shorter one.
        reach_of_line = link.delay[0] + min(link.branches)
    disturbed = side(
        lambda x: replace(link, faults=replace(link.faults, **{key: x})), reach_of_line
    )
    return Margin(of, None, disturbed)


def _offset(link: Link, offset: tuple[int, int]) -> Link:
    return replace(link, scheme=replace(link.scheme, offset=offset))  # type: ignore[type-var]


class _Asked:
    """Judgements of links; both sides of a margin begin with the same one."""

    def __init__(self, engine: EngineName, progress: Progress, budget: Budget, brief: bool) -> None:
        self.engine, self.progress, self.budget = engine, progress, budget
        self.brief = brief
        self.lones: dict[Link, Lone] = {}
        self.judged: dict[Link, Judgement] = {}

    def subject(self, link: Link) -> Subject:
        """What lone presses do is worked out once for all that are alike."""
        return Subject(link, self.lones, self.budget)

    def judge(self, link: Link, *, last: bool) -> Judgement:
        """Each link once, but for one that was left with time: that is asked again as the last.

        ``last``: nothing easier could be asked instead, so it may take all the time there is.
        Others may take half, so that amounts closer to what holds can be tried if it is cut.
        """
        found = self.judged.get(link)
        if found is None or (last and found.verdict is Verdict.UNDECIDED):
            found = self.judged[link] = self._judged(link, self._share(last))
        return found

    def _share(self, last: bool) -> Budget:
        return self.budget if last or self.brief else self.budget.half()

    def _judged(self, link: Link, budget: Budget) -> Judgement:
        try:
            subject = Subject(link, self.lones, budget)
        except OutOfTimeError as error:
            return Judgement(Verdict.UNDECIDED, self.engine, error.covered)
        return judge(subject, self.engine, self.progress, budget=budget, brief=self.brief)


class _Side:
    """Doubling, then halving, between an amount that holds and one that does not, or of which
    nothing could be said: less may fail, too, where fewer ways have to be looked at."""

    def __init__(self, disturbed: Callable[[int], Link], most: int, asked: _Asked) -> None:
        self.disturbed, self.most, self.asked = disturbed, most, asked
        self.good: tuple[int, Judgement] | None = None
        self.bad: tuple[int, Judgement] | None = None
        self.open: tuple[int, Judgement] | None = None

    def answer(self) -> Side:
        while (amount := self._next()) is not None:
            last = amount - self._low <= 1
            judged = self.asked.judge(self.disturbed(amount), last=last)
            if judged.verdict is Verdict.HOLDS:
                self.good = amount, judged
            elif judged.verdict is Verdict.FAILS:
                self.bad, self.open = (amount, judged), None
            elif last or self.asked.budget.spent(0):
                return self._side(judged)
            else:
                self.open = amount, judged
        return self._side(None)

    @property
    def _low(self) -> int:
        return self.good[0] if self.good else -1

    def _next(self) -> int | None:
        """The amount to be judged; None: what holds is known, and what does not."""
        low, high = self._low, self.open or self.bad
        if high is None:
            return min(max(1, 2 * low) if low >= 0 else 0, self.most) if low < self.most else None
        if high[0] - low > 1:
            return (low + high[0]) // 2
        return high[0] if self.open else None

    def _side(self, stuck: Judgement | None) -> Side:
        amount = self.good[0] if self.good else None
        trace = self.bad[1].trace if self.bad else None
        beyond = self.disturbed(self.bad[0]) if self.bad else None
        if stuck is not None:
            return Side(amount, Verdict.UNDECIDED, stuck.engine, stuck.covered, trace, beyond)
        if self.good is None:
            if self.bad is None:
                raise AssertionError("nothing was judged")
            return Side(None, Verdict.FAILS, self.bad[1].engine, self.bad[1].covered, trace, beyond)
        covered = self.good[1].covered
        if self.bad is None:
            covered += f"; more than {self.most} ticks not looked at"
        return Side(amount, Verdict.HOLDS, self.good[1].engine, covered, trace, beyond)
