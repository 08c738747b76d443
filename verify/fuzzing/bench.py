"""A target on the bench: one sequence at a time, the model at the other end, the monitor judges.

The system is that of the whole link with a player in place of the target: first it runs to say
what the target hears, then again with what the target said.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from fractions import Fraction
from itertools import groupby
from math import ceil, floor

from verify.engines.simulator import Moment, NotAllowedError, Simulator, replay
from verify.engines.trace import Chosen, Script, Trace
from verify.errors import UsageError
from verify.fuzzing.target import Said, Target, TargetError
from verify.language.expressions import Pick
from verify.parts.foreign import ForeignEnd, foreign, hearings, sayings
from verify.parts.link import Link
from verify.parts.pause import End
from verify.parts.player import PLAYED
from verify.questions.judging import Subject

Chooser = Callable[[Pick], int]


@dataclass(frozen=True)
class Outcome:
    """What one sequence came to. ``trouble``: the target did not do its part; ``trace`` ends there.

    ``script``: without what the target said, enough to run it again. ``model_fails``: the model
    itself does not bring the sequence out right, so the target was not asked.
    """

    script: Script
    trace: Trace
    trouble: TargetError | None = None
    model_fails: bool = False

    @property
    def wrong(self) -> bool:
        """The target is to blame for something."""
        return not self.model_fails and (self.trouble is not None or self.trace.failure is not None)


class Bench:
    """A link, and a target that is one end of it; a receiver on a ``branch``, from 0. Raises
    UsageError where that makes no sense."""

    def __init__(self, subject: Subject, end: ForeignEnd, target: Target, branch: int = 0) -> None:
        whole = subject.link
        _check(whole, end, branch)
        here = _one_sided(whole, end, branch)
        self.model = subject if here == whole else Subject(here, subject.lones)
        self.end, self.target, self.branch = end, target, branch
        self.link, played = foreign(here, end)
        self.windows = self.model.windows
        if whole.clock.rated:
            # What the clock of the target may be off is allowed to it; the model's end has none.
            self.windows = tuple(
                replace(
                    w, earliest=tuple(map(floor, w.earliest)), latest=tuple(map(ceil, w.latest))
                )
                for w in subject.windows
            )
        self._sayings = sayings(here, end)
        self._numbers = {edge: k for k, edge in enumerate(played.edges)}
        self.fixed = {number.name for number in played.shared}
        self._hearings = hearings(here, end)
        self.longest = ceil(max(max(w.latest) for w in self.windows)) + here.pause.reach
        self.restless = here.scheme.warm_up > 0

    def simulator(self, delay: int) -> Simulator:
        """Without the monitor."""
        return Simulator(self.link, delay, None)

    def run(self, script: Script, choose: Chooser | None = None) -> Outcome:
        """Put a sequence to the target. ``choose``: what the world picks where the script leaves
        it open; the least by default. Raises NotAllowedError for what the operator may not do."""
        if self.model.fails(script):
            return Outcome(script, Trace(script, (), None), model_fails=True)
        picked: list[Chosen] = []
        heard, end = self._heard(script, choose, picked)
        said: list[Said] = []
        trouble = None
        try:
            self.target.begin()
            for tick, words in groupby(heard, key=lambda h: h[0]):
                said += self.target.hear(tick, [(name, value) for _, name, value in words])
            said += self.target.hear(end, [])
        except TargetError as error:
            trouble = error
        script = _with(script, picked)
        played = self._played(script, said)
        if choose is not None:
            # What is picked only after the target has spoken.
            picked = []
            self._moments(played, choose, picked, end if self.restless else None)
            script, played = _with(script, picked), _with(played, picked)
        trace = replay(self.link, self.windows, played)
        if trouble is not None:
            trace = _up_to(trace, trouble.tick)
        elif self.restless and trace.failure is not None and trace.failure.tick > end:
            # A scan goes on after the target was last listened to.
            trace = _up_to(trace, end)
        outcome = Outcome(script, trace, trouble)
        if outcome.wrong and choose is not None and self.model.fails(script):
            return replace(outcome, model_fails=True)
        return outcome

    def fails(self, script: Script) -> bool:
        """The sequence is legal, and the target is to blame for what happens."""
        try:
            return self.run(script).wrong
        except NotAllowedError:
            return False

    def _heard(
        self, script: Script, choose: Chooser | None, picked: list[Chosen]
    ) -> tuple[list[Said], int]:
        """What the target hears, and the tick up to which it is listened to."""
        last = max([*script.ticks, self.link.cold])
        until = last + 4 * self.longest + 2 if self.restless else None
        heard = []
        for moment in self._moments(script, choose, picked, until):
            last = max(last, moment.tick)
            for signal, values in moment.occurrences:
                word = self._hearings.get((signal, values))
                if word is not None:
                    heard.append((moment.tick, *word))
        return heard, last + 2 * self.longest + 2 if until is None else until

    def _moments(
        self, script: Script, choose: Chooser | None, picked: list[Chosen], until: int | None
    ) -> list[Moment]:
        if choose is None:
            return [*self.simulator(script.delay).run(script, until=until)]

        def otherwise(tick: int, pick: Pick) -> int:
            value = choose(pick)
            picked.append(Chosen(tick, pick.name, value))
            return value

        return [*self.simulator(script.delay).run(script, until=until, otherwise=otherwise)]

    def _played(self, script: Script, said: list[Said]) -> Script:
        """The script with what the target said, but for what changes nothing."""
        levels: dict[str, int] = {}
        strikes = self.end == "receiver" and self.link.kind == "press"
        played = []
        for tick, name, value in said:
            same = levels.get(name, 0) == value
            levels[name] = value
            if (strikes and value == 0) or (same and not strikes):
                continue
            number = self._numbers[self._sayings[name, value]]
            played.append(Chosen(tick, PLAYED.name, number))
        return _with(script, played)


def _up_to(trace: Trace, tick: int) -> Trace:
    """Without what comes later, and without its failure."""
    return Trace(trace.script, tuple(e for e in trace.events if e.tick <= tick), None)


def _with(script: Script, more: list[Chosen]) -> Script:
    together = sorted((*script.picks, *more), key=lambda c: c.tick)
    return replace(script, picks=tuple(together))


def _check(link: Link, end: ForeignEnd, branch: int) -> None:
    """Raises UsageError for what cannot be asked of one end alone."""
    if end == "transmitter" and branch:
        raise UsageError(
            f"--branch: found {branch + 1} of a transmitter; allowed: with --receiver, what a "
            "transmitter sends goes to all branches"
        )
    if branch >= len(link.branches):
        raise UsageError(
            f"--branch: found {branch + 1}; allowed: a branch of the link, 1"
            + (f" to {len(link.branches)}" if len(link.branches) > 1 else "")
        )
    if link.clock.rated and end == "receiver":
        raise UsageError(
            "clock.rate: found a clock that is off; allowed: none for a receiver, which is told "
            "whole ticks, and edges of such a clock come between them; clock.wander in whole "
            "ticks, of a finer tick"
        )
    if link.clock.rated and link.scheme.warm_up:
        raise UsageError(
            "clock.rate: found a clock that is off; allowed: none on a link that never rests, "
            "whose ends are then in step for a while only"
        )
    if link.any_start:
        raise UsageError(
            'start: found "any"; allowed: nothing, no state can be given to the target, and what '
            "is right after a start apart from it is not known"
        )
    if link.pause.most and link.pause.ends == (End(end),):
        raise UsageError(
            f'pause: found one of the {end}; allowed: end = "{_other(end).value}", the {end} here '
            "cannot be made to stand still"
        )


def _other(end: ForeignEnd) -> End:
    return End.TRANSMITTER if end == "receiver" else End.RECEIVER


def _one_sided(link: Link, end: ForeignEnd, branch: int) -> Link:
    """The link as far as its other end goes: only the model's pauses, the branch of a receiver,
    a clock that is the target's own."""
    if end == "receiver":
        link = replace(link, branches=(link.branches[branch],))
    if link.pause.most:
        link = replace(link, pause=replace(link.pause, end=_other(end)))
        if link.unstoppable is not None:
            link = replace(link, pause=replace(link.pause, most=0))
    if link.clock.rated:
        link = replace(link, clock=replace(link.clock, rate=(Fraction(0), Fraction(0))))
    return link


__all__ = ["Bench", "Chooser", "NotAllowedError", "Outcome"]
