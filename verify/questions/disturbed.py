"""Which disturbance explains a recording? The least of each kind, or a proof that none does.

Asked of what was recorded around the parting, from rest. Disturbances in whole ticks are tried
in turn, each by all the ways in which the model may then run. The rate of a clock is any number:
there the solver has the model unrolled over the recording, with the rate as its unknown; and so
it has where the ways are too many. What is found is run by the simulator on the same excerpt.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from fractions import Fraction
from math import lcm
from typing import TYPE_CHECKING, Any, Literal

from verify import units
from verify.engines import memory
from verify.engines.answer import Budget, SpentError
from verify.engines.conform import TooManyWaysError, in_one_tick
from verify.engines.single import Run
from verify.errors import DisagreementError, UsageError
from verify.fields import did_you_mean, one_of, ratio, value_text
from verify.parts.clock import PERIOD
from verify.parts.link import Link
from verify.parts.pause import End, Pause
from verify.parts.script import Chosen
from verify.parts.stretch import DELAY, Stretch, systems
from verify.questions.holding import HALF, Held, Names, Stage, Stop, from_inputs, heard_at
from verify.recordings.moments import Moment
from verify.units import Ticks, whole

if TYPE_CHECKING:
    from verify.engines.unrolled import Choice, Unrolled
    from verify.questions.all_rates import Error, RatesStage

KINDS = (
    "clock.offset",
    "clock.rate",
    "line.delay",
    "line.jitter",
    "line.skew",
    "line.swallowed",
    "pause.transmitter",
    "pause.receiver",
)
Rates = tuple[Fraction, Fraction]
SIGNED = ("clock.offset", "clock.rate", "line.delay")
"""Kinds of which there is more and less."""
_PART = {
    "clock.offset": "receiver",
    "clock.rate": "transmitter",
    "pause.transmitter": "transmitter",
    "pause.receiver": "receiver",
}


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
    ``stop``: the pause, of a link that pauses. ``least``: False: just beyond the least.
    """

    within: Within
    verdict: Literal["explains", "none", "undecided"]
    amount: Ticks | None
    why: str
    engine: str
    picks: tuple[Chosen, ...] = ()
    resolution: int = 1
    link: Link | None = None
    stop: Stop | None = None
    least: bool = True


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
    if kind == "clock.rate" and (reason := link.unrated) is not None:
        return f"{scheme}; allowed: {reason}"
    if kind.startswith("pause."):
        reason = disturbed(link, kind, 1).unstoppable
        return f"{scheme}; allowed: {reason}" if reason is not None else None
    if kind == "line.skew" and link.scheme.lines == 1:
        return "a link of one line; allowed: one of several lines"
    return None


def explain(
    link: Link,
    within: Within,
    held: Held,
    budget: Budget,
    rates: Rates | None = None,
    *,
    sign: int = 0,
    above: Ticks = 0,
) -> Explained:
    """The least disturbance of a kind, alone, that explains the recording around its parting.

    ``link``: as it was held against the recording. ``rates``: another range for the error of a
    clock than either way. ``sign``: only more (1) or less (-1) than it should be; ``above``: only
    larger amounts, of a rate no smaller ones. Raises DisagreementError if what is found
    does not give the recording when it is run.
    """
    if within.kind.startswith("pause."):
        return next(stopped(link, within, held, budget))
    seeker = _seeker(link, within, held, budget, rates, sign, above)
    if isinstance(seeker, Explained):
        return seeker
    from verify.engines.unrolled import GivenUpError

    try:
        if within.kind == "clock.rate":
            try:
                if (found := seeker.by_rates()) is not None:
                    return found
            except TooManyWaysError:
                if link.scheme.warm_up:
                    raise GivenUpError("the model may run in too many ways") from None
        if within.kind != "clock.rate":
            try:
                return seeker.by_following()
            except TooManyWaysError:
                if link.scheme.warm_up:
                    raise GivenUpError("the model may run in too many ways") from None
        return seeker.by_solver()
    except SpentError:
        return Explained(within, "undecided", None, memory.ran_out(), "explorer")
    except GivenUpError as reason:
        engine = "solver" if within.kind == "clock.rate" else "explorer, solver"
        if link.scheme.warm_up:
            engine = "explorer"
        return Explained(within, "undecided", None, str(reason), engine)


def stopped(link: Link, within: Within, held: Held, budget: Budget) -> Iterator[Explained]:
    """Every single pause of an end that explains the recording around its parting, the shortest
    first; at last that there is none (no more), or that this is open."""
    seeker = _seeker(link, within, held, budget)
    if isinstance(seeker, Explained):
        yield seeker
        return
    from verify.engines.unrolled import GivenUpError

    try:
        yield from seeker.by_stopping()
    except SpentError:
        yield Explained(within, "undecided", None, memory.ran_out(), "explorer")
    except TooManyWaysError:
        why = "the model may run in too many ways"
        yield Explained(within, "undecided", None, why, "explorer")
    except GivenUpError as reason:
        yield Explained(within, "undecided", None, str(reason), "explorer")


def _seeker(
    link: Link,
    within: Within,
    held: Held,
    budget: Budget,
    rates: Rates | None = None,
    sign: int = 0,
    above: Ticks = 0,
) -> _Seeker | Explained:
    """Who looks for a disturbance; or why there is nothing to look for."""
    parting = held.parting
    if parting is None:
        raise AssertionError("nothing to explain")
    stretch = parting.stretch
    part = _PART.get(within.kind, "line")
    if within.kind == "clock.rate" and not exactly_known(link, stretch):
        # A recording in whole ticks does not tell all that a receiver may have told apart.
        wider = from_inputs(link, held.signals, stretch.branch)
        if wider is None:
            why = "no input was recorded, and the lines only in whole ticks"
            return Explained(within, "undecided", None, why, "explorer")
        stretch = wider
    if part not in stretch.parts:
        why = f"the parting is in {' and '.join(stretch.parts)}, which it does not touch"
        return Explained(within, "none", None, why, "solver")
    if not held.excerpt.complete or not held.excerpt.moments:
        why = "the recording has no rest near enough before the parting"
        return Explained(within, "undecided", None, why, "solver")
    return _Seeker(link, within, held, stretch, budget, rates, sign, above)


def exactly_known(link: Link, stretch: Stretch) -> bool:
    """What a clock at some rate sends can be off by parts of a tick, in a recording in whole
    ticks, and no part of this stretch is the wiser: the line, if all that it does is to be late
    by whole ticks."""
    faults = link.faults
    plain = not (faults.proving or faults.jitter or faults.skew) and link.delay[0] == link.delay[1]
    return plain and stretch.parts == ("line",)


def disturbed(link: Link, kind: str, amount: Ticks) -> Link:
    """The link with this much of a disturbance, the least to the most of it."""
    if kind == "clock.rate":
        exact = Fraction(amount)
        return replace(link, clock=replace(link.clock, rate=(exact, exact)))
    ticks = int(amount)
    if kind == "clock.offset":
        return replace(link, scheme=replace(link.scheme, offset=(ticks, ticks)))  # type: ignore[type-var]
    if kind.startswith("pause."):
        return replace(link, pause=Pause(ticks, 1, End(kind.removeprefix("pause."))))
    if kind == "line.delay":
        least, most = link.delay
        moved = (least + ticks, least + ticks) if ticks < 0 else (most + ticks, most + ticks)
        return replace(link, delay=moved)
    key = kind.removeprefix("line.")
    return replace(link, faults=replace(link.faults, **{key: ticks}))


def refuted(stage: RatesStage) -> tuple[Literal["none", "undecided"], str]:
    """What it says that at no rate a way was left, and why."""
    least, most = (whole(error) for error in stage.link.clock.rate)
    every = f"no error of the clock from {least} to {most}"
    if not stage.in_steps:
        moving = ", wherever the ends then are" if stage.link.scheme.warm_up else ""
        return "none", f"{every} gives the recording{moving}"
    return "undecided", f"{every} was found to, but {stage.in_steps}"


def least_words(found: Error) -> str:
    """Why no smaller error does."""
    if found.error == found.bound:
        moving = ", wherever the ends then are" if found.lead is not None else ""
        return f"no smaller error does{moving}"
    if not found.bound:
        return "any error, however small, does"
    return f"no error up to {whole(found.bound)} does, this is just beyond"


class _Seeker:
    def __init__(
        self,
        link: Link,
        within: Within,
        held: Held,
        stretch: Stretch,
        budget: Budget,
        rates: Rates | None = None,
        sign: int = 0,
        above: Ticks = 0,
    ) -> None:
        # When strikes are due does not matter here, and a longer line may be later than that.
        self.link = replace(link, within=None)
        self.within, self.held = within, held
        self.stretch, self.budget = stretch, budget
        self.played = Names(link, (stretch.begin,), stretch.branch)
        off = disturbed(link, within.kind, within.most) if within.kind == "clock.rate" else link
        self.heard = Names(link, heard_at(off, stretch), stretch.branch)
        most = Fraction(within.most)
        self.rates = rates if rates is not None else (-most, most)
        self.signs = tuple(
            s for s in ((1, -1) if sign == 0 else (sign,)) if self.rates[s > 0] * s > 0
        )
        self.above = above

    # -- by following every way -----------------------------------------------------

    def by_following(self) -> Explained:
        """Amounts in turn, each by all the ways in which the model may then run."""
        from verify.engines.unrolled import GivenUpError

        kind = self.within.kind
        signs = self.signs if kind in SIGNED else (1,)
        allowed = 0
        if kind.startswith("line.") and kind != "line.delay":
            allowed = getattr(self.link.faults, kind.removeprefix("line."))
        for amount in range(max(allowed, int(self.above)) + 1, int(self.within.most) + 1):
            for sign in signs:
                if kind == "line.delay" and self._shortest(sign * amount):
                    continue
                if self.budget.spent(0):
                    raise GivenUpError(f"{memory.ran_out()} at {amount}")
                link = disturbed(self.link, kind, sign * amount)
                try:
                    run = self._follows(link)
                except SpentError:
                    raise GivenUpError(f"{memory.ran_out()} at {amount}") from None
                if run is not None:
                    why = "less does not in any way in which the model may run"
                    return self._checked(link, run, 1, sign * amount, link, "explorer", why)
        why = "no way in which the model may run then gives the recording"
        return Explained(self.within, "none", None, why, "explorer")

    def by_rates(self) -> Explained | None:
        """All rates at once; None where the solver may be of more use: it does not follow a link
        that never rests, but takes all that is not known for any number."""
        if not self.signs:
            return self._none()
        stage = self.at_rates()
        if stage.in_steps and not self.link.scheme.warm_up:
            return None
        if not stage.through(self._moments(), lambda: self.held.tolerance):
            verdict, why = refuted(stage)
            return Explained(self.within, verdict, None, why, "explorer")
        found = stage.least()
        link = disturbed(self.link, self.within.kind, found.error)
        run = self._follows(link, found.lead)
        if run is None:
            raise DisagreementError(
                f"{self.within.kind} of {found.error} does not give the recording when it is "
                "followed: this is a bug in fewwire, please report it with the link file and the "
                "recording"
            )
        amount = whole(found.error)
        return self._checked(link, run, run.scale, amount, link, "explorer", least_words(found))

    def at_rates(self) -> RatesStage:
        """Before the first moment, at all rates."""
        from verify.engines.unrolled import GivenUpError
        from verify.questions.all_rates import RatesStage

        def look() -> None:
            if self.budget.spent(0):
                raise GivenUpError(memory.ran_out())

        errors = [self.rates[1] if sign > 0 else self.rates[0] for sign in self.signs]
        stage = RatesStage(
            self.link, self.stretch, self.watched, errors, look, self.held.excerpt.quiet
        )
        stage.begin({*self.held.excerpt.up})
        return stage

    def by_stopping(self) -> Iterator[Explained]:
        """All pauses in turn, at every tick from the first moment to the parting. What went
        before a pause is followed once."""
        from verify.engines.unrolled import GivenUpError

        parting = self.held.parting
        moments = self.held.excerpt.moments
        if parting is None or not moments:
            raise AssertionError("nothing to explain")
        most = int(self.within.most)
        stage = self._stage(disturbed(self.link, self.within.kind, most))
        last = parting.change.tick - self.held.begin - self.first
        before: list[tuple[int, Stage]] = []  # moments gone through
        for k, moment in enumerate(self._moments()):
            before.append((k, stage.copy()))
            if moment.tick > last or not stage.advance(moment, self.held.tolerance):
                break
        begun = self._moments()[0].tick
        for ticks in range(1, most + 1):
            for tick in range(begun, last + 1):
                if self.budget.spent(0):
                    raise GivenUpError(f"{memory.ran_out()} at pauses of {ticks}")
                k, earlier = max(
                    (b for b in before if b[0] == 0 or self._moments()[b[0] - 1].tick < tick),
                    key=lambda b: b[0],
                )
                found = self._stopped(k, earlier.copy(), Stop(tick, ticks))
                if found is not None:
                    yield found
        since = "since the recording began " if self.link.scheme.warm_up else ""
        why = f"no single pause {since}gives the recording in any way in which the model may run"
        yield Explained(self.within, "none", None, why, "explorer")

    def _stopped(self, k: int, stage: Stage, stop: Stop) -> Explained | None:
        """What comes of a pause, of a stage that has gone through ``k`` moments."""
        stage.stop = stop
        for moment in self._moments()[k:]:
            if not stage.advance(moment, self.held.tolerance):
                return None
        link = disturbed(self.link, self.within.kind, self.within.most)
        run = self._told(stage, link)
        why = "no shorter one does in any way in which the model may run"
        return self._checked(link, run, 1, stop.ticks, link, "explorer", why, stop)

    def _shortest(self, moved: int) -> bool:
        link = self.link
        return moved < 0 and link.delay[0] + min(link.branches) + moved < link.faults.proving

    def _follows(self, link: Link, lead: Fraction | None = None) -> Run | None:
        """One of the ways in which the model gives the recording, to be run; None: there is none.

        Raises TooManyWaysError.
        """
        stage = self._stage(link, lead)
        for moment in self._moments():
            if not stage.advance(moment, self.held.tolerance):
                return None
        return self._told(stage, link)

    def _stage(self, link: Link, lead: Fraction | None = None) -> Stage:
        """Before the first moment of the excerpt."""
        excerpt = self.held.excerpt
        stage = Stage(link, self.stretch, self.watched, excerpt.quiet, lead=lead)
        stage.begin({*excerpt.up})
        stage.follower.before = []
        stage.follower.look = self.budget.look
        return stage

    def _moments(self) -> list[Moment]:
        """Those of the excerpt, up to its end, as a stage is to go through them."""
        excerpt = self.held.excerpt
        end = replace(excerpt.moments[-1], changes=(), tick=excerpt.end)
        return [replace(m, tick=m.tick - self.first) for m in (*excerpt.moments, end)]

    def _told(self, stage: Stage, link: Link) -> Run:
        """One of the ways of a stage that has gone through all moments."""
        way, picks = stage.follower.told()
        system = systems(link, self.stretch, stage.follower.scale)[way.system]
        compared = self.heard.compared(self.watched)
        scale = stage.follower.scale
        return Run(system, compared, picks=picks, scale=scale, state=way.state, now=-scale)

    @property
    def first(self) -> int:
        """The tick, since the first change of the recording, with which the excerpt begins."""
        moments = self.held.excerpt.moments
        return 0 if self.link.scheme.warm_up or not moments else moments[0].tick

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
        return self._solved(wider, found, amount, disturbed(link, kind, amount))

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

        least = int(self.above) + bool(self.above)

        def amount(unrolled: Unrolled) -> Any:
            if kind == "line.jitter":
                late = [value for _, name, value in unrolled.picks if ".jitter." in name]
                return largest(late, least, most, unrolled)
            if kind == "line.swallowed":
                lost = [value for _, name, value in unrolled.picks if name.endswith(".loses")]
                return largest([sum(term(v) for v in lost)] if lost else [], least, most, unrolled)
            if kind == "line.skew":
                lines = range(self.link.scheme.lines)
                late = [unrolled.unknown(f"line{k}.late") for k in lines]
                return largest(late, least, most, unrolled)
            delay = unrolled.unknown(DELAY)
            base = self.link.branches[self.stretch.branch] - self.link.faults.proving
            shortest, longest = (d + base for d in self.link.delay)
            return largest([delay - longest, shortest - delay], least, most, unrolled)

        return amount

    def _rate(self) -> Explained:
        """Slow clocks and fast ones, each by itself; the smaller error of the two."""
        found: list[tuple[Link, Any, Fraction]] = []
        for sign, bound in ((1, self.rates[1]), (-1, -self.rates[0])):
            if bound <= 0 or sign not in self.signs:
                continue
            rate = (Fraction(0), bound) if sign > 0 else (-bound, Fraction(0))
            link = replace(self.link, clock=replace(self.link.clock, rate=rate))
            scale = lcm(link.clock.resolution, 2)
            choice = self._least(link, scale, _error(sign, scale, self.above))
            if choice is not None:
                found.append((link, choice, sign * Fraction(choice.amount) / scale))
        if not found:
            return self._none()
        link, choice, error = min(found, key=lambda f: abs(f[2]))
        return self._solved(link, choice, whole(error), disturbed(self.link, "clock.rate", error))

    def _solved(self, link: Link, found: Choice, amount: Ticks, shown: Link) -> Explained:
        (system,) = systems(link, self.stretch, found.resolution)
        compared = self.heard.compared(self.watched)
        run = Run(system, compared, found.constants, found.picks, scale=found.resolution)
        why = "the solver proves that less does not"
        if not found.least:
            why += ", but for amounts just below this"
        solved = self._checked(link, run, found.resolution, amount, shown, "solver", why)
        return replace(solved, least=found.least)

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

    def _checked(
        self,
        link: Link,
        run: Run,
        parts: int,
        amount: Ticks,
        shown: Link,
        engine: str,
        why: str,
        stop: Stop | None = None,
    ) -> Explained:
        """What was found, run by the simulator. ``run``: at the first moment of the excerpt, or
        the lead of its levels before it."""
        excerpt = self.held.excerpt
        begin = run.now
        lead = excerpt.lead if begin < 0 and run.fresh else 0
        later = lead - self.first
        # An edge of the model may come a part of a tick before the first that was recorded.
        since = max(lead, self._stage(link).from_tick) or -1
        came: dict[int, list[int]] = {}
        seen: dict[int, list[int]] = {}

        def note(events: Iterator[tuple[int, int]]) -> None:
            for at, edge in events:
                if at >= since * parts:
                    came.setdefault(edge, []).append(at)

        if lead:
            note(run.advance(0, self._up_at_first()))
        paused = len(self.played.edges) + stop.ticks - 1 if stop is not None else 0
        waits = stop
        for moment in excerpt.moments:
            at = (moment.tick + later) * parts
            played = [*self.played.of(moment)]
            if waits is not None and (begins := waits.tick * parts) <= at:
                if begins < at:
                    note(run.advance(begins, [paused]))
                else:
                    played.append(paused)
                waits = None
            note(run.advance(at, played))
            for edge in self.heard.of(moment) if at >= since * parts else ():
                seen.setdefault(edge, []).append(at)
        end = (excerpt.end + later) * parts
        if waits is not None:
            note(run.advance(waits.tick * parts, [paused]))
        note(run.advance(end))
        late = int(self._tolerance(link) * parts)
        if link.clock.rated and not self.heard.pulses:
            edges = self.heard.compared(self.watched).values()
            wires = [edge for edge in edges if edge % 2 == 0 and edge + 1 in edges]
            came = _recorded_of(came, seen, wires, late, parts, end)
        for edge in self.heard.compared(self.watched).values():
            if not _same(came.get(edge, []), seen.get(edge, []), late, end):
                raise DisagreementError(
                    f"{self.within.kind} of {amount} does not give the recording when it is run: "
                    "this is a bug in fewwire, please report it with the link file and the "
                    "recording"
                )
        picks = tuple(
            replace(c, tick=c.tick - (later - self.held.begin) * parts) for c in run.made if c.value
        )
        if stop is not None:
            stop = replace(stop, tick=stop.tick + self.first)
            begins = (stop.tick + self.held.begin) * parts
            picks = (*picks, Chosen(begins, self.within.kind, stop.ticks))
        return Explained(self.within, "explains", amount, why, engine, picks, parts, shown, stop)

    def _up_at_first(self) -> list[int]:
        up = self.held.excerpt.up
        return [2 * k for name, k in self.played.number.items() if name in up]


def _error(sign: int, scale: int, above: Ticks) -> Callable[[Unrolled], Any]:
    """How far the clock's period is from right, on one side."""

    def amount(unrolled: Unrolled) -> Any:
        from verify.engines.linear import minus, term

        period = unrolled.unknown(PERIOD)
        off = term(minus(period, scale) if sign > 0 else minus(scale, period))
        if above:
            unrolled.hold(off >= term(Fraction(above) * scale))
        return off

    return amount


def _recorded_of(
    came: dict[int, list[int]],
    seen: dict[int, list[int]],
    wires: list[int],
    late: int,
    parts: int,
    end: int,
) -> dict[int, list[int]]:
    """What the model did up to ``end``, without the pulses that are too short to be in a recording
    in whole ticks, and are not in it. ``wires``: rises of what has levels."""
    left = {edge: [] if edge & ~1 in wires else times for edge, times in came.items()}
    for rise in wires:
        events = sorted((at, edge) for edge in (rise, rise + 1) for at in came.get(edge, ()))
        waiting = {edge: [*seen.get(edge, ())] for edge in (rise, rise + 1)}
        k = 0
        while k < len(events):
            at, edge = events[k]
            after = events[k + 1] if k + 1 < len(events) else None
            mine = waiting[edge]
            meets = bool(mine) and abs(mine[0] - at) <= late
            pulse = after is not None and after[1] != edge
            if not meets and after and pulse and in_one_tick(at, after[0], late, parts):
                k += 2
                continue
            if not meets and after is None and in_one_tick(at, end, late, parts):
                break  # what goes with it comes after the end
            if meets:
                mine.pop(0)
            left[edge].append(at)
            k += 1
    return left


def _same(came: list[int], seen: list[int], late: int, end: int) -> bool:
    """Both lists, each in order, come together pair by pair; what is due at the end may wait."""
    for k in range(max(len(came), len(seen))):
        if k < len(came) and k < len(seen):
            if abs(came[k] - seen[k]) > late:
                return False
        elif (came[k] if k < len(came) else seen[k]) <= end - late:
            return False
    return True
