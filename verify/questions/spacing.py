"""How close together may presses come? The least safe spacing, with the trace one tick below."""

from __future__ import annotations

import itertools
from dataclasses import dataclass, replace

from verify.engines.answer import Budget, Progress, Verdict
from verify.engines.shrink import moved_apart, shrink
from verify.engines.simulator import Simulator
from verify.engines.trace import Script, Trace
from verify.questions.engine_choice import EngineName
from verify.questions.judging import DEFAULT_SECONDS, Judgement, Subject, apart_in, judge, within

# Spacings this many times the time that a lone press takes to settle are tried before giving up.
FAR_APART = 16


@dataclass(frozen=True)
class Spacing:
    """``ticks``: the least safe spacing, None where no spacing is safe, or none was found.

    ``verdict``: holds at ``ticks``; fails where no spacing is safe (``trace_below`` is then a
    failure at any spacing); undecided where an engine gave up, as ``covered`` says.
    ``trace_below``: a failure at ``ticks - 1``; None if ``ticks`` is 0.
    """

    ticks: int | None
    verdict: Verdict
    engine: str
    covered: str
    trace_below: Trace | None


class _Ladder:
    """What is known of each spacing. Safety is monotone: all above a safe one are safe."""

    def __init__(
        self, subject: Subject, engine: EngineName, progress: Progress, budget: Budget
    ) -> None:
        self.subject, self.engine = subject, engine
        self.progress, self.budget = progress, budget
        self.safe: Judgement | None = None
        self.safe_at: int | None = None
        self.bad: Trace | None = None
        self.bad_at = -1
        self.stuck: Judgement | None = None
        self.stuck_at: int | None = None
        self.asked: str = engine

    def holds(self, spacing: int, part: float = 1.0) -> bool | None:
        """Judge one spacing and keep what it tells of others; None if the engine gave up.

        ``part``: of the time left.
        """
        if spacing == self.stuck_at:
            return None
        left = self.budget.left()
        budget = self.budget
        if left is not None and part < 1:
            budget = Budget(left * part, budget.states, clock=budget.clock)
        judged = judge(
            self.subject.respaced(spacing=spacing), self.engine, self.progress, budget=budget
        )
        self.asked = judged.engine
        if judged.verdict is Verdict.HOLDS:
            self.safe, self.safe_at = judged, spacing
            return True
        if judged.trace is not None:
            # The trace fails at every spacing that its own presses keep.
            self.bad = judged.trace
            self.bad_at = max(spacing, own_spacing(judged.trace) or spacing)
            return False
        self.stuck, self.stuck_at = judged, spacing
        return None

    def try_apart(self, spacing: int) -> None:
        """Does the failure found come as well with its presses so far apart?"""
        if self.bad is None:
            return
        # Of one system, whose operator allows more: building another may take longest of all.
        subject = self.subject.respaced(spacing=0)

        def fails(script: Script) -> bool:
            closest = _closest(script)
            return closest is not None and closest >= spacing and subject.fails(script)

        script = moved_apart(self.bad.script, spacing * self.bad.script.resolution)
        if fails(script):
            least = self.subject.respaced(spacing=spacing).link
            small = shrink(script, within(fails, self.budget), apart_in(least, script))
            self.bad = replace(subject.replay(small.script), loose=not small.minimal)
            self.bad_at = spacing

    def none_helps(self) -> str | None:
        """Why no spacing helps, if the failure found shows that."""
        if self.bad is None:
            return None
        if own_spacing(self.bad) is None:
            return "one press or move fails by itself"
        if _rests_between(self.subject.respaced(spacing=0), self.bad):
            return "every press or move finds the link at rest, so no spacing helps"
        return None

    def answer(self) -> Spacing:
        """The least spacing found safe."""
        if self.safe is None:
            raise AssertionError("the ladder ended without a safe spacing")
        return Spacing(self.safe_at, Verdict.HOLDS, self.safe.engine, self.safe.covered, self.bad)


def own_spacing(trace: Trace) -> int | None:
    """Whole ticks between the closest two presses of a trace; None if it has fewer than two."""
    return _closest(trace.script)


def _closest(script: Script) -> int | None:
    ticks = [press.tick for press in script.presses]
    closest = min((b - a for a, b in itertools.pairwise(ticks)), default=None)
    return None if closest is None else closest // script.resolution


def _rests_between(subject: Subject, trace: Trace) -> bool:
    """At every press of a trace but the first, nothing was under way any more: apart still
    further, the presses do the same."""
    script, link = trace.script, subject.link
    simulator = Simulator(link, script.delay, subject.windows, script.resolution)
    times = sorted({press.tick for press in script.presses})[1:]
    in_one_tick = len(times) + 1 < len(script.presses)
    if link.scheme.warm_up or (in_one_tick and not link.operator.together):
        return False
    before = None
    for moment in simulator.run(script, until=trace.failure.tick if trace.failure else None):
        if moment.tick in times and (
            before is None or simulator.compiled.next_event(before) is not None
        ):
            return False
        before = moment.state
    return before is not None


def least_spacing(
    subject: Subject, engine: EngineName, progress: Progress, budget: Budget | None = None
) -> Spacing:
    """The least safe spacing over all inputs, under the other bounds of the link's operator.

    Starts a tick below where every press finds the link at rest: most links fail there and hold
    a tick later, and others are one proof nearer. If it holds, goes down in growing steps, then
    halves what is left between a safe and a bad spacing.
    """
    budget = budget if budget is not None else Budget(DEFAULT_SECONDS)
    ladder = _Ladder(subject, engine, progress, budget)
    apart = all(part.link.inputs == 1 for part in subject.parts)
    top = max(subject.lone.settled) + 1
    if apart or subject.link.kind == "level":
        # Most links of levers, and all of wires, keep inputs apart by themselves.
        held = ladder.holds(0)
        if held:
            return ladder.answer()
        if held is False:
            ladder.try_apart(top)
            if (why := ladder.none_helps()) is not None:
                return Spacing(None, Verdict.FAILS, ladder.asked, why, ladder.bad)
    spacing = last = top - 1
    while (spacing := max(spacing, ladder.bad_at + 1)) <= FAR_APART * top:
        last, held = spacing, ladder.holds(spacing, 1.0 if spacing >= top else 0.5)
        if held is False:
            if (why := ladder.none_helps()) is not None:
                return Spacing(None, Verdict.FAILS, ladder.asked, why, ladder.bad)
        elif held or spacing >= top:
            break
        # From rest a proof may be found where just below none was, in half of the time.
        spacing = top if spacing < top else 2 * spacing
    else:
        covered = f"every spacing up to {last} ticks fails"
        return Spacing(None, Verdict.UNDECIDED, ladder.asked, covered, ladder.bad)
    if held is None:
        return _undecided(ladder)
    step = 1
    while ladder.safe_at is not None and ladder.safe_at - 1 > ladder.bad_at:
        high = ladder.safe_at
        if ladder.bad_at >= 0:
            step = (high - ladder.bad_at) // 2
        if ladder.holds(max(high - step, ladder.bad_at + 1, 0)) is None:
            return _undecided(ladder)
        step *= 2
    return ladder.answer()


def _undecided(ladder: _Ladder) -> Spacing:
    stuck = ladder.stuck
    known = f"safe at {ladder.safe_at} ticks" if ladder.safe_at is not None else "none proved safe"
    if ladder.bad_at >= 0:
        known += f", not safe at {ladder.bad_at}"
    covered = f"{known}; between: {stuck.covered if stuck else 'not looked at'}"
    return Spacing(
        None, Verdict.UNDECIDED, stuck.engine if stuck else ladder.engine, covered, ladder.bad
    )
