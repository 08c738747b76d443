"""How far may the transmitter's clock be off? Exact, on either side.

The windows of strikes follow the clock: at an error of e they are those that a lone press
takes at errors from none to e, as ``fewwire check`` has them for that range. Earliest and
latest are straight lines in e, taken from the solver just beside e = 0; that the lines are right
as far as the margin reaches is checked there.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from math import ceil, lcm
from typing import Literal

from verify.engines.answer import Answer, Budget, LeastRate, OutOfTimeError, Progress, Verdict
from verify.engines.checkpoint import DamagedError
from verify.engines.lone import factored_windows, true_windows
from verify.engines.shrink import shrink
from verify.engines.simulator import NotAllowedError, most_picked, replay
from verify.engines.trace import Press, Script, Trace
from verify.errors import DisagreementError, ModelError, UsageError
from verify.language.durations import lengths
from verify.language.machine import System
from verify.parts.clock import FASTEST, PERIOD, SLOWEST
from verify.parts.link import Link, Part, factored
from verify.parts.monitor import Windows
from verify.questions import kept, kept_rates
from verify.questions.engine_choice import FIRST_LOOK, EngineName
from verify.questions.judging import (
    DEFAULT_SECONDS,
    Judgement,
    Subject,
    apart_in,
    judge,
    on_whole,
    within,
)
from verify.questions.kept_rates import KeptSide
from verify.units import Ticks, whole

ZERO = Fraction(0)
# Beside e = 0, where the slopes of windows are taken.
BESIDE = Fraction(1, 10**6)
# Parts of the whole range to which a first, rough error of a failing run is found.
PROBES = 256
# A failing run just past a bound is shown at an error of few digits, if one is near enough.
STEPS = tuple(Fraction(1, 10**digits) for digits in range(4, 7))


@dataclass(frozen=True)
class RateSide:
    """One side of a margin: a bound of the error, 0 or more, either way.

    ``amount``: every smaller error holds; None: the link fails without any, or nothing is
    known. ``holds``: it holds at ``amount`` itself. ``verdict``: of the errors below it.
    ``trace_beyond``: of a failing run at or just beyond it, at the error ``error_beyond``; None
    if nothing fails as far as was looked. ``windows``: of that run, for pictures.
    """

    amount: Fraction | None
    holds: bool
    verdict: Verdict
    engine: str
    covered: str
    trace_beyond: Trace | None = None
    error_beyond: Fraction | None = None
    windows: tuple[Windows, ...] | None = None


@dataclass(frozen=True)
class RateMargin:
    """``least``: the side of fast clocks, whose periods are too short; ``most``: of slow ones."""

    of: str
    least: RateSide
    most: RateSide


def rate_margin(
    link: Link, engine: EngineName, progress: Progress, budget: Budget | None = None
) -> RateMargin:
    """The margin of ``clock.rate``; what the file says of it is left aside.

    Raises UsageError for engines that cannot answer, or links without such a clock.
    """
    budget = budget if budget is not None else Budget(DEFAULT_SECONDS)
    if (reason := link.unrated) is not None:
        raise UsageError(f"clock.rate: allowed: {reason}")
    if link.scheme.warm_up:
        # Links that never rest are for zones, not for the solver.
        from verify.questions.scan_margin import scan_rate_margin

        return scan_rate_margin(link, engine, progress, budget)
    if engine not in ("auto", "solver"):
        raise UsageError(f"clock.rate: found engine {engine}; allowed: auto or solver")
    fast = rate_side(link, -1, progress, budget, engine)
    if fast.verdict is Verdict.FAILS and fast.error_beyond == 0:
        return RateMargin("clock.rate", fast, fast)
    return RateMargin("clock.rate", fast, rate_side(link, 1, progress, budget, engine))


def rate_side(
    link: Link,
    sign: Literal[1, -1],
    progress: Progress,
    budget: Budget | None = None,
    engine: EngineName = "auto",
) -> RateSide:
    """One side of the margin of a link that comes to rest, by the solver: -1 fast, 1 slow.
    ``engine``: for the proof that without any error all is right, if no more is left to prove.

    Raises UsageError for links without such a clock.
    """
    budget = budget if budget is not None else Budget(DEFAULT_SECONDS)
    on_time = replace(link, clock=replace(link.clock, rate=(ZERO, ZERO)))
    if (reason := on_time.unrated) is not None:
        raise UsageError(f"clock.rate: allowed: {reason}")
    from verify.engines.solver import OutOfReachError

    key = kept.key_of("side of a rate", on_time, sign, engine)
    try:
        side = _Side(on_time, sign, progress, budget, engine)
        if (known := kept_rates.known(key)) is not None:
            return side.again(known)
        found = side.answer()
        kept_rates.keep(key, found)
        return found
    except (OutOfReachError, OutOfTimeError):
        return RateSide(None, False, Verdict.UNDECIDED, "solver", OutOfTimeError().covered)


@dataclass(frozen=True)
class _Failing:
    """The failing run with the least error so far: ``fails`` just at ``error``, or only beyond;
    ``script``, of the whole link, at the error ``shown``."""

    error: Fraction
    fails: bool
    script: Script
    shown: Fraction


class _Side:
    """One side: ``sign`` 1 for clocks that are slow, their periods too long, -1 for fast ones."""

    def __init__(
        self,
        on_time: Link,
        sign: Literal[1, -1],
        progress: Progress,
        budget: Budget,
        engine: EngineName,
    ) -> None:
        self.on_time, self.sign = on_time, sign
        self.progress, self.budget, self.engine = progress, budget, engine
        self.cap = abs(SLOWEST if sign > 0 else _fastest(on_time))
        self.subject = Subject(on_time)
        self.beside = Subject(self._off_by(on_time, BESIDE), budget=budget)
        self.answers: list[Answer] = []
        self.best: _Failing | None = None
        self.any_fails = False

    def _off_by(self, link: Link, error: Fraction) -> Link:
        ends = sorted((ZERO, self.sign * error))
        return replace(link, clock=replace(link.clock, rate=(ends[0], ends[1])))

    def answer(self) -> RateSide:
        """The least error of a failing run, over all parts and branches."""
        if self.engine == "auto":
            if (wrong := self._wrong_on_time()) is not None:
                return wrong
            if self._by_regions():
                return self._side()
        self.answers = []  # the solver looks at all parts
        any_fails = self.best is not None and self.best.error == 0
        if not any_fails:
            self._probe()
        self.progress.doing = "solving"
        if any_fails or not self._solve(hasty=True):
            if (none := self._none_at_all()) is not None:
                return none
            self.best, self.answers = None, []
            self._solve(hasty=False)
        return self._side()

    def again(self, known: KeptSide) -> RateSide:
        """What was kept, its run replayed. Raises DamagedError where that does not fail."""
        amount = None if known.amount is None else Fraction(known.amount)
        said = amount, known.holds, Verdict(known.verdict), known.engine, known.covered
        if (run := known.script(self.on_time.inputs)) is None or known.run is None:
            return RateSide(*said)
        script, error = run
        period = Fraction(dict(script.constants).get(PERIOD, script.resolution), script.resolution)
        if error > self.cap or period != 1 + self.sign * error:
            raise DamagedError
        windows = self._windows_at(error) if error else self.subject.windows
        try:
            trace = replay(self._off_by(self.on_time, error), windows, script)
        except (NotAllowedError, ModelError):
            raise DamagedError from None
        if trace.failure is None:
            raise DamagedError
        return RateSide(*said, replace(trace, loose=known.run.loose), error, windows)

    def _wrong_on_time(self) -> RateSide | None:
        """Where presses meet on a clock that is right it may fail there: a short look."""
        if self.on_time.operator.spacing > max(self.subject.lone.settled):
            return None
        budget = Budget(self.budget.left(), FIRST_LOOK)
        judged = judge(self.subject, "explorer", self.progress, budget=budget, brief=True)
        return self._fails_on_time(judged) if judged.verdict is Verdict.FAILS else None

    def _fails_on_time(self, judged: Judgement) -> RateSide:
        shown = judged.trace, ZERO, self.subject.windows
        return RateSide(None, False, Verdict.FAILS, judged.engine, judged.covered, *shown)

    def _by_regions(self) -> bool:
        """Follow each press by itself. True: no other may come meanwhile, so that is all;
        otherwise the least error found bounds what the solver is asked about."""
        from verify.engines.least_regions import OutOfRegionsError, least_alone

        complete = True
        for alike in self.subject.distinct_parts():
            link = alike[0].link
            for windows, branches in factored_windows(link, self.subject.lone_of(link)).items():
                if self.best is not None and self.best.error == 0:
                    return self.best.fails  # what is left to ask is of clocks on time
                system, cap, below = self._asked(link, windows)
                search = self.budget, self.progress
                try:
                    found = least_alone(system, self.sign, cap, *search, below=below)
                except OutOfRegionsError:
                    complete = False
                    continue
                self._take(found, alike[0], branches[0])
                complete = complete and found.answer is not None
        return complete

    def _side(self) -> RateSide:
        engine = next((answer.engine for answer in self.answers), "regions")
        complete = all(answer.complete for answer in self.answers)
        covered = " and ".join(dict.fromkeys(answer.covered for answer in self.answers))
        verdict = Verdict.HOLDS if complete else Verdict.UNDECIDED
        best = self.best
        if best is None:
            covered += f"; errors beyond {self.sign * self.cap} not looked at"
            return RateSide(self.cap if complete else None, complete, verdict, engine, covered)
        trace, windows_there = self._replayed(best)
        beyond = trace, best.shown, windows_there
        if best.error == 0 and best.fails:
            return RateSide(None, False, Verdict.FAILS, engine, covered, *beyond)
        if complete and not self._straight(best):
            verdict = Verdict.UNDECIDED
            covered += "; the windows of lone presses are no straight lines of the error"
        amount = best.error if verdict is Verdict.HOLDS else None
        return RateSide(amount, not best.fails, verdict, engine, covered, *beyond)

    def _solve(self, *, hasty: bool) -> bool:
        """False: any error fails, and if ``hasty`` the rest was not looked at."""
        for alike in self.subject.distinct_parts():
            link = alike[0].link
            for windows, branches in factored_windows(link, self.subject.lone_of(link)).items():
                found = self._least(link, windows, hasty)
                self._take(found, alike[0], branches[0])
                if found.answer is None:
                    return False
        return True

    def _take(self, found: LeastRate, part: Part, branch: int) -> None:
        if found.script is not None:
            script = on_whole(self.subject, found.script, part, branch)
            self.best = _Failing(found.error, found.fails, script, found.shown)
        if found.answer is not None:
            self.answers.append(found.answer)

    def _none_at_all(self) -> RateSide | None:
        """Any error fails: what is left to prove is that without one all is right. None if
        nothing is known of that."""
        judged = judge(self.subject, self.engine, self.progress, budget=self.budget, brief=True)
        if self.best is None or judged.verdict is Verdict.UNDECIDED:
            return None
        if judged.verdict is Verdict.FAILS:
            return self._fails_on_time(judged)
        trace, windows = self._replayed(self.best)
        covered = f"without any error {judged.covered}"
        found = trace, self.best.shown, windows
        return RateSide(ZERO, True, Verdict.HOLDS, judged.engine, covered, *found)

    def _probe(self) -> None:
        """A lone press that fails at a small error saves the solver all larger ones."""
        for index in range(self.on_time.inputs):
            if self.any_fails:
                return
            self._probe_alone(index, late=False)
            if self._alone(index, ZERO, late=True).picks:
                self._probe_alone(index, late=True)

    def _probe_alone(self, index: int, late: bool) -> None:
        def fails(error: Fraction) -> bool:
            return self._fails(self._alone(index, error, late), error)

        good, bad = ZERO, self.cap if self.best is None else self.best.error * (1 - BESIDE)
        if bad <= 0 or not fails(bad):
            return
        rough, fine = bad, self._apart()
        while bad - good >= fine:
            middle = (good + bad) / 2
            if not fails(middle):
                good = middle
                continue
            bad = middle
            if bad - good > self.cap / PROBES:
                rough = bad
        bound = simplest(good, bad)
        if bound == 0:  # the solver will say whether it fails at none already
            bound = rough
            self.any_fails = True
        if fails(bound):
            self.best = _Failing(bound, True, self._alone(index, bound, late), bound)
            return
        nice = ((bound // step + 1) * step for step in STEPS)
        shown = next((error for error in nice if error <= self.cap and fails(error)), bad)
        self.best = _Failing(bound, False, self._alone(index, shown, late), shown)

    def _apart(self) -> Fraction:
        """Errors at which the order of events changes in a lone press are at least so far apart.

        There 1 + error is a whole number of ticks (or of the parts in which windows are whole)
        by a whole number of the clock's own ticks, both no more than a run has. Two different
        fractions of denominators up to n differ by 1/n^2 at least; so the simplest fraction
        between two errors closer than that is the only one there.
        """
        ticks = 2 * (max(self.subject.lone.settled) + 1)
        parts = lcm(*(w.resolution for w in self.subject.windows))
        return Fraction(1, (ticks * parts) ** 2)

    def _alone(self, index: int, error: Fraction, late: bool) -> Script:
        """One press; all that the world picks is as little as may be, or as much if ``late``."""
        clock = self._off_by(self.on_time, error).clock
        parts = lcm(clock.resolution, *(w.resolution for w in self._windows_at(error)))
        period = int(parts * (1 + self.sign * error))
        presses, delay = (Press(0, index),), self.on_time.delay[0] * parts
        script = Script(presses, delay, (), ((PERIOD, period),), parts)
        if not late:
            return script
        link, windows = self._off_by(self.on_time, error), self._windows_at(error)
        return replace(script, picks=most_picked(link, windows, script))

    def _fails(self, script: Script, error: Fraction) -> bool:
        """The script is legal on a clock off by ``error``, and something comes out wrong."""
        try:
            return self._replay(script, error).failure is not None
        except NotAllowedError:
            return False

    def _replay(self, script: Script, error: Fraction) -> Trace:
        return replay(self._off_by(self.on_time, error), self._windows_at(error), script)

    def _least(self, link: Link, windows: Windows, hasty: bool) -> LeastRate:
        # Imported late: loading z3 takes longer than most explorations.
        from verify.engines.least_rate import least_rate

        system, cap, below = self._asked(link, windows)
        search = self.budget, self.progress
        return least_rate(system, self.sign, cap, *search, below=below, hasty=hasty)

    def _asked(self, link: Link, windows: Windows) -> tuple[System, Fraction, bool]:
        """A part, on a clock off by none to as much as is known to fail, and that; whether just
        that is left out."""
        cap = self.cap if self.best is None else self.best.error
        rated = self._off_by(link, cap)
        moving = self._moving(windows, self._slopes(link))
        system = factored(rated, moving, lcm(rated.clock.resolution, moving.resolution))
        return system, cap, self.best is not None and self.best.fails

    # -- windows --------------------------------------------------------------

    def _slopes(self, link: Link) -> tuple[list[Ticks], list[Ticks]]:
        """Per input, ticks that earliest and latest move for each unit of error."""
        lone, near = self.subject.lone_of(link), self.beside.lone_of(self._off_by(link, BESIDE))
        fixed = link.within is not None

        def slopes(here: Sequence[Ticks | None], there: Sequence[Ticks | None]) -> list[Ticks]:
            pairs = zip(here, there, strict=True)
            return [
                0 if fixed or a is None or b is None else whole(Fraction(b - a) / BESIDE)
                for a, b in pairs
            ]

        return slopes(lone.earliest, near.earliest), slopes(lone.latest, near.latest)

    def _moving(self, windows: Windows, slopes: tuple[list[Ticks], list[Ticks]]) -> Windows:
        """The windows as they are with the clock's period: its error is the period less 1."""
        earlier, later = slopes
        return replace(
            windows,
            earliest=tuple(
                t - self.sign * s for t, s in zip(windows.earliest, earlier, strict=True)
            ),
            latest=tuple(t - self.sign * s for t, s in zip(windows.latest, later, strict=True)),
            slopes=(
                tuple(self.sign * s for s in earlier),
                tuple(self.sign * s for s in later),
            ),
        )

    def _windows_at(self, error: Fraction) -> tuple[Windows, ...]:
        """Of the whole link, for clocks that are off by none to ``error``."""
        earlier, later = self._slopes(self.on_time)
        return tuple(
            replace(
                windows,
                earliest=tuple(
                    whole(t + s * error) for t, s in zip(windows.earliest, earlier, strict=True)
                ),
                latest=tuple(
                    whole(t + s * error) for t, s in zip(windows.latest, later, strict=True)
                ),
            )
            for windows in true_windows(self.on_time, self.subject.lone)
        )

    def _straight(self, best: _Failing) -> bool:
        """The windows are, as far as the margin reaches, what lone presses do there."""
        reach = best.error * (1 - BESIDE) if best.fails else best.error
        if reach == 0 or self.on_time.within is not None:
            return True
        reached = Subject(self._off_by(self.on_time, reach), budget=self.budget)
        there = true_windows(self.on_time, reached.lone)
        return all(
            (a.earliest, a.latest) == (b.earliest, b.latest)
            for a, b in zip(there, self._windows_at(reach), strict=True)
        )

    # -- the run beyond -------------------------------------------------------

    def _replayed(self, best: _Failing) -> tuple[Trace, tuple[Windows, ...]]:
        if not self._fails(best.script, best.shown):
            raise DisagreementError(
                f"the solver found a failure that the simulator does not see: {best.script}; "
                "this is a bug in fewwire, please report it with the link file"
            )
        script = _coarse(best.script, self._windows_at(best.shown))
        fails = within(lambda candidate: self._fails(candidate, best.shown), self.budget)
        small = shrink(script, fails, apart_in(self.on_time, script))
        trace = replace(self._replay(small.script, best.shown), loose=not small.minimal)
        return trace, self._windows_at(best.shown)


def _fastest(link: Link) -> Fraction:
    """No clock is looked at that is so fast that a period might wander down to nothing."""
    shortest = min(ticks for _, ticks in lengths(link.scheme.transmitter()))
    wanders = Fraction(link.clock.wander, shortest)
    return max(FASTEST, (wanders - 1) * (1 - Fraction(1, PROBES)))


def simplest(least: Fraction, most: Fraction) -> Fraction:
    """The fraction of the least denominator from ``least`` to ``most``, both at least 0."""
    whole_part = ceil(least)
    if whole_part <= most:
        return Fraction(whole_part)
    below = whole_part - 1
    return below + 1 / simplest(1 / (most - below), 1 / (least - below))


def _coarse(script: Script, windows: tuple[Windows, ...]) -> Script:
    """The same in parts of a tick no finer than it takes."""
    if script.picks or [name for name, _ in script.constants] != [PERIOD]:
        return script
    period = script.constants[0][1]
    told = (period, script.delay, *(press.tick for press in script.presses))
    parts = lcm(
        *(Fraction(t, script.resolution).denominator for t in told),
        *(w.resolution for w in windows),
    )

    def scaled(ticks: int) -> int:
        return ticks * parts // script.resolution

    presses = tuple(replace(press, tick=scaled(press.tick)) for press in script.presses)
    return Script(presses, scaled(script.delay), (), ((PERIOD, scaled(period)),), parts)
