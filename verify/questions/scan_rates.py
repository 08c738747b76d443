"""At which rates of its clock does a link that never rests give a recording? Of all at once."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass, replace
from fractions import Fraction
from math import ceil

from verify.engines.conform_at_rates import RatesFollower
from verify.parts.link import Link
from verify.parts.stretch import Stretch
from verify.questions.holding import Stage, Warnings
from verify.questions.rate_margin import simplest
from verify.recordings.moments import Moment, Moments
from verify.recordings.recording import Recording, signals_of
from verify.units import Ticks

# Where the least error does not do, but all just beyond it: one is shown that is larger by no
# more than this part of it, or by LITTLE.
PART, LITTLE = Fraction(1, 1000), Fraction(1, 10**6)


@dataclass(frozen=True)
class Error:
    """A rate at which the model gives the recording. ``bound``: no smaller error the same way
    does; nor does the bound itself, where it is not ``error``. ``lead``: ticks from power-up to
    the recording, in a run at that error that gives it."""

    error: Fraction
    bound: Fraction
    lead: Fraction


class RatesStage(Stage):
    """One stretch of a link, followed at all rates between 0 and each of ``errors``."""

    follows = RatesFollower
    follower: RatesFollower

    def __init__(
        self,
        link: Link,
        stretch: Stretch,
        watched: frozenset[str],
        errors: Iterable[Fraction],
        look: Callable[[], None],
    ) -> None:
        self.errors, self.look = tuple(error for error in errors if error), look
        least, most = min(*self.errors, Fraction(0)), max(*self.errors, Fraction(0))
        rated = replace(link, clock=replace(link.clock, rate=(least, most)))
        super().__init__(rated, stretch, watched, None)

    def begin(self, high_before: set[str]) -> None:
        """Before the first moment; what is high then."""
        self.levels = {*high_before}
        scheme, follower = self.link.scheme, self.follower
        own = {
            item.name: begin
            for machine in scheme.transmitter()
            for item in machine.memory
            if isinstance(begin := getattr(item, "begin", 0), int) and begin > 1
        }
        longest = (scheme.step or 1) * (1 + self.link.clock.rate[1])
        follower.begin_at_rates(
            self.least_lead,
            ceil(longest * follower.scale),
            [int(error * follower.scale) for error in self.errors],
            own,
            [2 * k for name, k in self.played.number.items() if name in high_before],
            self.heard.mask(high_before, self.watched) if follower.wires else None,
            self.look,
        )

    def through(self, moments: Iterable[Moment], tolerance: Callable[[], Ticks]) -> bool:
        """All of these, from the first; False where no rate is left."""
        return all(self.advance(moment, tolerance()) for moment in moments)

    def read(self, recording: Recording, tolerance: int | None) -> bool:
        """All of a recording, as ``hold`` does; False where no rate is left."""
        moments = Moments(recording, signals_of(self.link).momentary, Warnings())
        begun = False
        for moment in moments:
            if not begun:
                begun = True
                self.begin(moments.high_before)
            if not self.advance(moment, int(moments.inexact) if tolerance is None else tolerance):
                return False
        return True

    @property
    def in_steps(self) -> str:
        """What was tried in steps only, so that nothing is said of what lies between."""
        if self.follower.picks:
            return f"what the line does was tried in steps of 1/{self.follower.scale} tick"
        least, most = self.link.scheme.clock_offset
        if least < most and self.link.drifts_away:
            return "the receiver's clock was tried in whole ticks"
        return ""

    def least(self) -> Error:
        """The least error of those left, the nearer side first."""
        scale = self.follower.scale
        found = []
        for region, _ in self.follower.regions:
            least, most = (x / scale for x in region.xs)
            sign = 1 if most > 0 else -1
            near, far = sorted((abs(least), abs(most)))
            reached = near == far
            found.append((near, not reached, -sign, -far, region))
        near, beyond, minus_sign, minus_far, region = min(found, key=lambda f: f[:4])
        shown = near
        if beyond:
            most = min(-minus_far, near + max(near * PART, LITTLE))
            shown = simplest((3 * near + most) / 4, (near + most) / 2)
        error = -minus_sign * shown
        late = region.at(error * scale) / scale
        return Error(error, -minus_sign * near, self.least_lead + late)
