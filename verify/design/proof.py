"""What every search for a best table shares: what it has proved, and when it must stop."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field

from verify.design.trail import Found, Trail
from verify.engines import alarm
from verify.engines.answer import Budget, Progress

_LOOK = 64  # choices between two looks at the clock
_CHECK_SECONDS = 10.0


@dataclass(frozen=True)
class Proof:
    """How good a design is. ``best``: what was made as small as possible; None: nothing found.

    ``bound``: proved, no design has less; None: proved, there is no design. ``optimal``: the
    two meet, and among designs as good by it, none is better in what counts next (``settled``).
    ``reasons``: the proof in sentences; ``published``: what others have proved and was not
    proved anew here, with the source.
    """

    what: str
    best: int | None
    bound: int | None
    reasons: tuple[str, ...] = ()
    published: tuple[str, ...] = ()
    settled: bool = True

    @property
    def optimal(self) -> bool:
        """Anything better is refuted."""
        return self.best is not None and self.best == self.bound and self.settled

    @property
    def impossible(self) -> bool:
        """Every design is refuted."""
        return self.best is None and self.bound is None


class OutOfTimeError(Exception):
    """A search was stopped early."""


@dataclass
class Effort:
    """Counts choices, shows them, and raises OutOfTimeError when the time is spent. ``trail``:
    where searches go on from, and are kept."""

    budget: Budget = field(default_factory=Budget)
    progress: Progress = field(default_factory=Progress)
    trail: Trail = field(default_factory=Trail)
    _check: Budget | None = None

    def for_check(self) -> Budget:
        """What is left, or a little more: what was found is checked even after a long search."""
        self.progress.choices = False
        left = self.budget.left()
        if left is None:
            return Budget()
        if self._check is None:
            self._check = Budget(max(left, _CHECK_SECONDS))
            alarm.later(max(left, _CHECK_SECONDS))
        return self._check

    def begin(self, doing: str) -> None:
        """Say what is searched now."""
        self.progress.doing, self.progress.states, self.progress.choices = doing, 0, True

    def search(self, doing: str, run: Callable[[], Found], *, before: int = 0) -> Found:
        """What a depth-first search finds. It goes on where it was cut, and is not made again
        once it came to its end. ``before``: choices that it makes before its first depth."""
        self.begin(doing)
        known = self.trail.ended(doing)
        if known is not None:
            self.progress.states = known[0]
            return known[1]
        self.progress.states = self.trail.begin(doing, before)
        try:
            found = run()
        except BaseException:
            self.trail.save()
            raise
        self.trail.end(self.progress.states, found)
        return found

    def choice(self) -> None:
        """One more choice was made."""
        if self.trail.retraced:
            self.trail.retraced -= 1
            return
        self.progress.states += 1
        if self.progress.states % _LOOK == 0:
            self.look()

    def look(self) -> None:
        """At the clock."""
        self.trail.look(self.progress.states)
        if self.budget.spent(0):
            raise OutOfTimeError
