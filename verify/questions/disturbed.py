"""Which disturbance explains a recording? The least of each kind, or a proof that none does.

The solver has the model unrolled over what was recorded around the parting, from rest; the
disturbance is the unknown. What it finds is run by the simulator on the same excerpt.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from fractions import Fraction
from math import lcm
from typing import TYPE_CHECKING, Any, Literal

from verify import units
from verify.engines.answer import Budget
from verify.engines.conform import TooManyWaysError
from verify.engines.single import Run
from verify.errors import DisagreementError, UsageError
from verify.fields import did_you_mean, one_of, ratio, value_text
from verify.parts.clock import PERIOD
from verify.parts.link import Link
from verify.parts.script import Chosen
from verify.parts.stretch import DELAY, Stretch, systems
from verify.questions.holding import HALF, Held, Names, Stage
from verify.units import Ticks, whole

if TYPE_CHECKING:
    from verify.engines.unrolled import Choice, Unrolled

KINDS = (
    "clock.offset",
    "clock.rate",
    "line.delay",
    "line.jitter",
    "line.skew",
    "line.swallowed",
)
Rates = tuple[Fraction, Fraction]
_PART = {"clock.offset": "receiver", "clock.rate": "transmitter"}


@dataclass(frozen=True)
class Within:
    """A disturbance that is asked about, and the largest amount: ticks, pulses, or a fraction."""

    kind: str
    most: Ticks


@dataclass(frozen=True)
class Explained:
    """What came of one kind. ``amount``: the least that explains the recording around the
    parting, with its sign where it has one; None: none within the bounds does (``none``), or
    that is open (``undecided``). ``why``: in words. ``picks``: what the world did then, in
    parts of the file's tick (``resolution``) and ticks of the recording. ``link``: so disturbed.
    """

    within: Within
    verdict: Literal["explains", "none", "undecided"]
    amount: Ticks | None
    why: str
    engine: str
    picks: tuple[Chosen, ...] = ()
    resolution: int = 1
    link: Link | None = None


def parse_within(text: str, link: Link) -> Within:
    """``clock.offset=3`` and the like. Raises UsageError."""
    kind, equals, amount = (part.strip() for part in text.partition("="))
    if kind not in KINDS or not equals:
        raise UsageError(
            f"--within: found {value_text(text)}; allowed: KIND=MOST, with KIND "
            f"{one_of(KINDS)}{did_you_mean(kind, KINDS)}"
        )
    if reason := _impossible(kind, link):
        raise UsageError(f"--within {kind}: found {reason}")
    return Within(kind, _amount(kind, amount, link))


def _amount(kind: str, text: str, link: Link) -> Ticks:
    if kind == "clock.rate":
        rate = ratio(text)
        if rate is None or not 0 < rate <= HALF:
            raise UsageError(
                f"--within {kind}: found {value_text(text)}; allowed: a relative error above 0 "
                'and up to 0.5, like 0.02, 1/50 or "2 %"'
            )
        return whole(rate)
    value: object = int(text) if text.isascii() and text.isdigit() and len(text) < 19 else text
    if kind == "line.swallowed":
        if not isinstance(value, int) or not 1 <= value <= 1000:
            raise UsageError(
                f"--within {kind}: found {value_text(text)}; allowed: a number of pulses from 1 "
                "to 1000"
            )
        return value
    try:
        ticks = units.to_ticks(value, link.tick, 1)
    except units.TimeError as error:
        raise UsageError(
            f"--within {kind}: found {value_text(text)}; allowed: {error.allowed}"
        ) from None
    if ticks is None:
        raise AssertionError("the tick is known")
    reach = getattr(link.scheme, "offset_reach", None)
    if kind == "clock.offset" and reach is not None and ticks > reach:
        raise UsageError(f"--within {kind}: found {ticks}; allowed: up to {reach} ticks here")
    return ticks


def _impossible(kind: str, link: Link) -> str | None:
    scheme = f'scheme "{link.scheme_name}"'
    if kind == "clock.offset" and not hasattr(link.scheme, "offset_reach"):
        return (
            f"{scheme}; allowed: a scheme whose receiver has a clock of its own: free-scan, "
            "synced-scan"
        )
    if kind == "clock.rate":
        if link.clockless:
            return f"{scheme}; allowed: {link.clockless}"
        if link.scheme.warm_up:
            return f"{scheme}; allowed: a scheme that rests between sends"
    if kind == "line.skew" and link.scheme.lines == 1:
        return "a link of one line; allowed: one of several lines"
    return None


def explain(
    link: Link, within: Within, held: Held, budget: Budget, rates: Rates | None = None
) -> Explained:
    """The least disturbance of a kind, alone, that explains the recording around its parting.

    ``link``: as it was held against the recording. ``rates``: another range for the error of a
    clock than either way. Raises DisagreementError if what is found
    does not give the recording when it is run.
    """
    parting = held.parting
    if parting is None:
        raise AssertionError("nothing to explain")
    stretch = parting.stretch
    part = _PART.get(within.kind, "line")
    if part not in stretch.parts:
        why = f"the parting is in {' and '.join(stretch.parts)}, which it does not touch"
        return Explained(within, "none", None, why, "solver")
    if not held.excerpt.complete or not held.excerpt.moments:
        why = "the recording has no rest near enough before the parting"
        return Explained(within, "undecided", None, why, "solver")
    seeker = _Seeker(link, within, held, stretch, budget, rates)
    if within.kind == "clock.offset" or link.scheme.warm_up:
        return seeker.by_following()
    from verify.engines.unrolled import GivenUpError

    try:
        return seeker.by_solver()
    except GivenUpError as reason:
        return Explained(within, "undecided", None, str(reason), "solver")


def disturbed(link: Link, kind: str, amount: Ticks) -> Link:
    """The link with this much of a disturbance, the least to the most of it."""
    if kind == "clock.rate":
        exact = Fraction(amount)
        return replace(link, clock=replace(link.clock, rate=(exact, exact)))
    ticks = int(amount)
    if kind == "clock.offset":
        return replace(link, scheme=replace(link.scheme, offset=(ticks, ticks)))  # type: ignore[type-var]
    if kind == "line.delay":
        least, most = link.delay
        moved = (least + ticks, least + ticks) if ticks < 0 else (most + ticks, most + ticks)
        return replace(link, delay=moved)
    key = kind.removeprefix("line.")
    return replace(link, faults=replace(link.faults, **{key: ticks}))


class _Seeker:
    def __init__(
        self,
        link: Link,
        within: Within,
        held: Held,
        stretch: Stretch,
        budget: Budget,
        rates: Rates | None,
    ) -> None:
        self.link, self.within, self.held = link, within, held
        self.stretch, self.budget = stretch, budget
        self.played = Names(link, stretch.begin, stretch.branch)
        self.heard = Names(link, stretch.end, stretch.branch)
        most = Fraction(within.most)
        self.rates = rates if rates is not None else (-most, most)

    # -- by following every way -----------------------------------------------------

    def by_following(self) -> Explained:
        """Amounts in turn, each by all the ways in which the model may then run."""
        kind = self.within.kind
        signs = (1, -1) if kind in ("clock.offset", "line.delay") else (1,)
        for amount in range(1, int(self.within.most) + 1):
            for sign in signs:
                if kind == "line.delay" and self._shortest(sign * amount):
                    continue
                link = disturbed(self.link, kind, sign * amount)
                try:
                    fits = self._follows(link)
                except TooManyWaysError:
                    why = f"more ways than are followed, at {amount}"
                    return Explained(self.within, "undecided", None, why, "explorer")
                if self.budget.spent(0):
                    why = f"the time was up at {amount}"
                    return Explained(self.within, "undecided", None, why, "explorer")
                if fits:
                    why = "followed in every way in which the model may run"
                    return Explained(
                        self.within, "explains", sign * amount, why, "explorer", link=link
                    )
        why = "no way in which the model may run then gives the recording"
        return Explained(self.within, "none", None, why, "explorer")

    def _shortest(self, moved: int) -> bool:
        link = self.link
        return moved < 0 and link.delay[0] + min(link.branches) + moved < link.faults.proving

    def _follows(self, link: Link) -> bool:
        stage = Stage(link, self.stretch, self.watched, self.held.excerpt.quiet)
        stage.begin({*self.held.excerpt.up})
        first = self.held.excerpt.moments[0].tick if not link.scheme.warm_up else 0
        for moment in self.held.excerpt.moments:
            moved = replace(moment, tick=moment.tick - first)
            if not stage.advance(moved, self.held.tolerance):
                return False
        end = replace(self.held.excerpt.moments[-1], changes=(), tick=self.held.excerpt.end - first)
        return stage.advance(end, self.held.tolerance)

    @property
    def watched(self) -> frozenset[str]:
        """The signals that were recorded at the far end of the stretch."""
        return self.held.signals

    # -- by the solver ----------------------------------------------------------------

    def by_solver(self) -> Explained:
        if self.within.kind == "clock.rate":
            return self._rate()
        kind, most = self.within.kind, int(self.within.most)
        link = self.link
        if kind == "line.delay":
            least = max(0, link.delay[0] - most)
            while self._shortest(least - link.delay[0]):
                least += 1
            wider = replace(link, delay=(least, link.delay[1] + most))
        else:
            wider = disturbed(link, kind, most)
        found = self._least(wider, 1, self._amount_of(kind, most))
        if found is None:
            return self._none()
        amount = self._signed(found.amount, found.constants)
        return self._checked(wider, found, amount, disturbed(link, kind, amount))

    def _signed(self, amount: Ticks, constants: dict[str, int]) -> Ticks:
        if self.within.kind != "line.delay":
            return amount
        link = self.link
        base = link.delay[0] + link.branches[self.stretch.branch] - link.faults.proving
        shown = constants[DELAY] - base
        return shown if shown < 0 else amount

    def _amount_of(self, kind: str, most: int) -> Callable[[Unrolled], Any]:
        from verify.engines.linear import term
        from verify.engines.unrolled import largest

        def amount(unrolled: Unrolled) -> Any:
            if kind == "line.jitter":
                late = [value for _, name, value in unrolled.picks if ".jitter." in name]
                return largest(late, 0, most, unrolled)
            if kind == "line.swallowed":
                lost = [value for _, name, value in unrolled.picks if name.endswith(".loses")]
                return largest([sum(term(v) for v in lost)] if lost else [], 0, most, unrolled)
            if kind == "line.skew":
                lines = range(self.link.scheme.lines)
                late = [unrolled.unknown(f"line{k}.late") for k in lines]
                return largest(late, 0, most, unrolled)
            delay = unrolled.unknown(DELAY)
            base = self.link.branches[self.stretch.branch] - self.link.faults.proving
            least, longest = (d + base for d in self.link.delay)
            return largest([delay - longest, least - delay], 0, most, unrolled)

        return amount

    def _rate(self) -> Explained:
        """Slow clocks and fast ones, each by itself; the smaller error of the two."""
        found: list[tuple[Link, Any, Fraction]] = []
        for sign, bound in ((1, self.rates[1]), (-1, -self.rates[0])):
            if bound <= 0:
                continue
            rate = (Fraction(0), bound) if sign > 0 else (-bound, Fraction(0))
            link = replace(self.link, clock=replace(self.link.clock, rate=rate))
            scale = lcm(link.clock.resolution, 2)
            choice = self._least(link, scale, _error(sign, scale))
            if choice is not None:
                found.append((link, choice, sign * Fraction(choice.amount) / scale))
        if not found:
            return self._none()
        link, choice, error = min(found, key=lambda f: abs(f[2]))
        return self._checked(link, choice, whole(error), disturbed(self.link, "clock.rate", error))

    def _none(self) -> Explained:
        why = "the solver refutes every amount within the bound"
        return Explained(self.within, "none", None, why, "solver")

    def _least(self, link: Link, scale: int, amount: Callable[[Unrolled], Any]) -> Choice | None:
        from verify.engines.unrolled import Excerpt, Unrolled

        (system,) = systems(link, self.stretch, scale)
        compared = self.heard.compared(self.watched)
        excerpt = self.held.excerpt
        lead = excerpt.lead
        later = lead - excerpt.moments[0].tick
        tolerance = self._tolerance(link)
        recorded: dict[int, list[int]] = {edge: [] for edge in compared.values()}
        played: list[tuple[int, int]] = []
        if excerpt.up:
            played += [(0, 2 * k) for name, k in self.played.number.items() if name in excerpt.up]
        for moment in excerpt.moments:
            at = (moment.tick + later) * scale
            played += [(at, edge) for edge in self.played.of(moment)]
            for edge in self.heard.of(moment):
                if edge in recorded:
                    recorded[edge].append(at)
        unrolled = Unrolled(
            system,
            compared,
            Excerpt(
                tuple(played),
                {edge: tuple(times) for edge, times in recorded.items()},
                (excerpt.end + later) * scale,
                int(tolerance * scale),
                begin=lead * scale if excerpt.up else None,
            ),
            self.budget,
        )
        return unrolled.least(amount) if unrolled.run() else None

    def _tolerance(self, link: Link) -> Fraction:
        """A recording in whole ticks of what happens between them is up to half a tick off."""
        exact = Fraction(self.held.tolerance)
        return max(exact, HALF) if link.clock.rated else exact

    def _checked(self, link: Link, found: Choice, amount: Ticks, shown: Link) -> Explained:
        """What the solver found, run by the simulator."""
        parts = found.resolution
        (system,) = systems(link, self.stretch, parts)
        compared = self.heard.compared(self.watched)
        run = Run(system, compared, found.constants, found.picks, scale=parts)
        excerpt = self.held.excerpt
        lead = excerpt.lead
        later = lead - excerpt.moments[0].tick
        came: dict[int, list[int]] = {}
        seen: dict[int, list[int]] = {}

        def note(events: Any) -> None:
            for at, edge in events:
                if not excerpt.up or at >= lead * parts:
                    came.setdefault(edge, []).append(at)

        if excerpt.up:
            note(run.advance(0, [2 * k for n, k in self.played.number.items() if n in excerpt.up]))
        for moment in excerpt.moments:
            at = (moment.tick + later) * parts
            note(run.advance(at, self.played.of(moment)))
            for edge in self.heard.of(moment):
                seen.setdefault(edge, []).append(at)
        end = (excerpt.end + later) * parts
        note(run.advance(end))
        late = int(self._tolerance(link) * parts)
        for edge in compared.values():
            if not _same(came.get(edge, []), seen.get(edge, []), late, end):
                raise DisagreementError(
                    f"{self.within.kind} of {amount} does not give the recording when it is run: "
                    "this is a bug in fewwire, please report it with the link file and the "
                    "recording"
                )
        picks = tuple(
            replace(c, tick=c.tick - (later - self.held.begin) * parts)
            for c in found.picks
            if c.value and c.tick <= end
        )
        why = "the solver proves that less does not, and the simulator ran it"
        return Explained(self.within, "explains", amount, why, "solver", picks, parts, shown)


def _error(sign: int, scale: int) -> Callable[[Unrolled], Any]:
    """How far the clock's period is from right, on one side."""

    def amount(unrolled: Unrolled) -> Any:
        from verify.engines.linear import minus, term

        period = unrolled.unknown(PERIOD)
        return term(minus(period, scale) if sign > 0 else minus(scale, period))

    return amount


def _same(came: list[int], seen: list[int], late: int, end: int) -> bool:
    """Both lists, each in order, come together pair by pair; what is due at the end may wait."""
    for k in range(max(len(came), len(seen))):
        if k < len(came) and k < len(seen):
            if abs(came[k] - seen[k]) > late:
                return False
        elif (came[k] if k < len(came) else seen[k]) <= end - late:
            return False
    return True
