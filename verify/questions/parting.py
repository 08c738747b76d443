"""Where a run parts from what it would have been: why a firing of one run is missing in another.

Backwards from the firing that is missing: a guard that did not hold read a place that was
otherwise, or was set off by something that is missing as well. So what does not matter, like
edges for other inputs, is never looked at.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

from verify.engines.observed import Firing, History, Seen
from verify.language.state import Timer
from verify.questions.causes import of_line

MOST_STEPS = 1_000


@dataclass(frozen=True)
class Parting:
    """``wanted``: the earliest firing found missing. ``instead``: the rule that fired in its
    place. ``tried``: where it was tried in vain. ``state``: the place that was otherwise;
    ``undone``: what had written it as it should be, in both runs. ``arrived``: the edge that did
    not come to the far end of the line."""

    wanted: Firing
    instead: Firing | None = None
    tried: Firing | None = None
    state: Seen | None = None
    undone: Firing | None = None
    arrived: Firing | None = None

    @property
    def at(self) -> Firing | None:
        """What happened in the run that parted."""
        return self.instead or self.tried


class _Real:
    """The run that parted, looked up by what was tried."""

    def __init__(self, real: History) -> None:
        self.history = real
        self.tried: dict[object, Firing] = {}
        self.fired: dict[object, Firing] = {}
        for firing in real.tried:
            self.tried.setdefault(firing.key, firing)
            if firing.fired:
                self.fired.setdefault(firing.key, firing)

    def missing(self, firing: Firing) -> bool:
        return firing.key not in self.fired

    def last_writer(self, item: object, tick: int) -> Firing | None:
        """What last wrote a place before a tick."""
        for firing in reversed(self.history.tried):
            if firing.tick < tick and any(place == item for place, _ in firing.wrote):
                return firing
        return None


def parting(goal: Firing, real: History) -> Parting:
    """Why ``goal``, a firing of the run that would have been, is missing in ``real``."""
    runs, wanted = _Real(real), goal
    arrived: Firing | None = None
    for _ in range(MOST_STEPS):
        arrived = (arrived or wanted) if of_line(wanted) else None
        before, found = _step(runs, wanted)
        if before is None:
            return replace(found, arrived=arrived)
        wanted = before
    return Parting(wanted)


def _step(runs: _Real, wanted: Firing) -> tuple[Firing | None, Parting]:
    """What is missing before ``wanted``; if nothing is, why it is missing itself."""
    if before := _earlier(runs, wanted):
        return before, Parting(wanted)
    same = runs.tried.get(wanted.key)
    instead = _in_place_of(runs, wanted) if same is None else None
    if same is None and instead is None:
        return None, Parting(wanted, state=_overtaken(runs, wanted))
    usual, at = wanted, same
    if instead is not None:
        usual, at = next(p for p in wanted.passed_over if p.key == instead.key), instead
    assert at is not None
    if not at.fired:
        for trigger, writer in at.absent:
            if isinstance(trigger, Timer) and trigger in wanted.ran_out:
                return None, Parting(wanted, instead, same, Seen(trigger, 0, writer))
    return _of_state(runs, wanted, usual, at, Parting(wanted, instead, same))


def _of_state(
    runs: _Real, wanted: Firing, usual: Firing, at: Firing, found: Parting
) -> tuple[Firing | None, Parting]:
    """Which place was otherwise. One that was written alike in both runs, and not with the same
    number, leads back to what was read for that."""
    for _ in range(MOST_STEPS):
        pair = _differing(usual, at)
        if pair is None:
            ran_out = next((t for t in at.ran_out if t not in usual.ran_out), None)
            if ran_out is not None:
                cause = next((c for c in at.causes if any(i == ran_out for i, _ in c.wrote)), None)
                found = replace(found, state=Seen(ran_out, 0, cause))
            return None, found
        before, state = pair
        found = replace(found, state=state)
        lone, writer = before.writer, state.writer
        if lone is None:
            return None, found
        if writer is None or (runs.missing(lone) and writer.tick <= lone.tick):
            return (lone, found) if runs.missing(lone) else (None, found)
        if lone.key != writer.key:
            return None, replace(found, undone=None if runs.missing(lone) else lone)
        usual, at = lone, writer
    return None, found


def _in_place_of(runs: _Real, wanted: Firing) -> Firing | None:
    """The rule that fired, of those before it of which one only acts."""
    tried = (runs.fired.get(other.key) for other in wanted.passed_over)
    return next((firing for firing in tried if firing is not None), None)


def _earlier(runs: _Real, wanted: Firing) -> Firing | None:
    """What is missing before it: what it is part of, else what set it off."""
    if wanted.parent is not None and runs.missing(wanted.parent):
        return wanted.parent
    return next((cause for cause in wanted.causes if runs.missing(cause)), None)


def _overtaken(runs: _Real, wanted: Firing) -> Seen | None:
    """The timer that should have run out, and was started anew or stopped."""
    for timer in wanted.ran_out:
        return Seen(timer, 0, runs.last_writer(timer, wanted.tick))
    return None


def _differing(usual: Firing, found: Firing) -> tuple[Seen, Seen] | None:
    """The first place that was otherwise when the same rule read it, in both runs."""
    for before, now in zip(usual.reads, found.reads, strict=False):
        if before.item == now.item and before.value != now.value:
            return before, now
    return None


__all__ = ["Parting", "parting"]
