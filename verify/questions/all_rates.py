"""At which rates of its clock does a link give a recording? Of all rates at once."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass, replace
from fractions import Fraction
from math import ceil
from typing import TypeAlias

from verify.engines.concrete import is_unknown
from verify.engines.conform_at_rates import RatesFollower
from verify.engines.regions import lies_in
from verify.language.durations import times_of
from verify.language.state import Number
from verify.parts.clock import PERIOD
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

Span: TypeAlias = tuple[Fraction, Fraction]
"""Errors between two, these left out; or a single one, twice."""


@dataclass(frozen=True)
class Error:
    """A rate at which the model gives the recording. ``bound``: no smaller error the same way
    does; nor does the bound itself, where it is not ``error``. ``lead``: ticks from power-up to
    the recording, in a run at that error that gives it; None where the link rests before it."""

    error: Fraction
    bound: Fraction
    lead: Fraction | None = None


class RatesStage(Stage):
    """One stretch of a link, followed at all rates between 0 and each of ``errors``. ``quiet``:
    as of a ``Stage``."""

    follows = RatesFollower
    follower: RatesFollower

    def __init__(
        self,
        link: Link,
        stretch: Stretch,
        watched: frozenset[str],
        errors: Iterable[Fraction],
        look: Callable[[], None],
        quiet: int | None = None,
    ) -> None:
        self.errors, self.look = tuple(error for error in errors if error), look
        least, most = min(*self.errors, Fraction(0)), max(*self.errors, Fraction(0))
        rated = replace(link, clock=replace(link.clock, rate=(least, most)))
        super().__init__(rated, stretch, watched, quiet)

    def begin(self, high_before: set[str]) -> None:
        """Before the first moment; what is high then."""
        self.levels = {*high_before}
        scheme, follower = self.link.scheme, self.follower
        up = [2 * k for name, k in self.played.number.items() if name in high_before]
        errors = [int(error * follower.scale) for error in self.errors]
        own: dict[str, int] = {}
        lead = height = 0
        if scheme.warm_up:
            own = {
                item.name: begin
                for machine in scheme.transmitter()
                for item in machine.memory
                if isinstance(begin := getattr(item, "begin", 0), int) and begin > 1
            }
            longest = (scheme.step or 1) * (1 + self.link.clock.rate[1])
            lead, height = self.least_lead, ceil(longest * follower.scale)
        elif up:
            lead = (self.quiet or 0) + 1
        levels = self.heard.mask(high_before, self.leveled) if follower.wires else None
        follower.begin_at_rates(lead, height, errors, own, up, levels, self.look)

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
        link = self.link
        least, most = link.scheme.clock_offset
        if least < most and link.drifts_away:
            return "the receiver's clock was tried in whole ticks"
        shortest, longest = link.delay
        late = any(
            isinstance(item, Number) and is_unknown(item) and item.name != PERIOD
            for compiled in self.follower.compiled
            for item in times_of(compiled.system.machines)
        )
        if shortest < longest or late:
            return "how late the line is was tried in steps"
        return ""

    def spans(self) -> list[Span]:
        """All errors that are left."""
        scale = self.follower.scale
        found = dict.fromkeys(region.xs for region, _ in self.follower.regions)
        return [(least / scale, most / scale) for least, most in found]

    def least(self) -> Error:
        """The least error of those left, the nearer side first."""
        found = least_of(self.spans())
        if not self.link.scheme.warm_up:
            return found
        scale = self.follower.scale
        for region, _ in self.follower.regions:
            if lies_in(region.xs, found.error * scale):
                late = region.at(found.error * scale) / scale
                return replace(found, lead=self.least_lead + late)
        raise AssertionError("an error of none of the regions")


def least_of(spans: Iterable[Span]) -> Error:
    """The least error, the nearer side first; ValueError where there is none."""
    found = []
    for least, most in spans:
        sign = 1 if most > 0 else -1
        near, far = sorted((abs(least), abs(most)))
        found.append((near, near < far, -sign, -far))
    near, beyond, minus_sign, minus_far = min(found)
    shown = near
    if beyond:
        most = min(-minus_far, near + max(near * PART, LITTLE))
        shown = simplest((3 * near + most) / 4, (near + most) / 2)
    return Error(-minus_sign * shown, -minus_sign * near)


def in_both(some: Iterable[Span], others: Iterable[Span]) -> list[Span]:
    """The errors that both have."""
    found: dict[Span, None] = {}
    others = [*others]
    for a, b in some:
        for c, d in others:
            low, high = max(a, c), min(b, d)
            single = a == b or c == d
            if single and low == high and lies_in((a, b), low) and lies_in((c, d), low):
                found[low, low] = None
            elif not single and low < high:
                found[low, high] = None
    return [*found]
