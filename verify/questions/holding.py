"""A recording read once and held against the model, place by place: where do they part?"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from copy import copy
from dataclasses import dataclass, field, replace
from fractions import Fraction
from math import lcm
from typing import Literal

from verify.engines.answer import Progress
from verify.engines.conform import MOST_KNOWN, Follower, Reason, TooManyWaysError
from verify.engines.single import Run
from verify.errors import UsageError
from verify.parts.clock import Clock
from verify.parts.link import Link
from verify.parts.player import Edge
from verify.parts.stretch import Place, Stretch, alone, edges_at, systems
from verify.questions.judging import Subject
from verify.questions.right import Manners, Misfire, Right
from verify.recordings.moments import Moment, Moments
from verify.recordings.recording import Recording, Signals, signals_of
from verify.units import Ticks, whole

# Moments that are kept for the solver: since the link was last at rest, and after the parting.
MOST_KEPT = 400
MOST_AFTER = 16
# Outputs of the model that are told one by one.
MOST_OUTPUTS = 1_000
MOST_WARNINGS = 20
HALF = Fraction(1, 2)


@dataclass(frozen=True)
class Change:
    """What a signal did: in a tick of the recording, to 1 or 0."""

    tick: int
    signal: str
    value: int


@dataclass(frozen=True)
class Parting:
    """The first moment in which recording and model differ. ``side``: who has the change that
    the other has not; ``instead``: what the other has, not matched. ``line``: of the file, as
    far as it was read then."""

    stretch: Stretch
    change: Change
    side: Literal["model", "recording"]
    instead: tuple[Change, ...]
    line: int
    since: Place
    place: Place

    @property
    def blame(self) -> tuple[str, ...]:
        """The parts that lie between the place that parted and what was recorded before it."""
        return Stretch(self.since, self.place).parts


@dataclass
class Excerpted:
    """The moments around a parting, from rest. ``up``: signals high before; ``end``: the last
    tick that counts; ``complete``: False if more happened since rest than is kept. ``quiet``:
    ticks after which all that was up is surely known everywhere."""

    moments: list[Moment] = field(default_factory=list)
    up: frozenset[str] = frozenset()
    end: int = 0
    complete: bool = True
    quiet: int = 0

    @property
    def lead(self) -> int:
        """Ticks from power-up to the first moment that its levels need."""
        return self.quiet + 2 if self.up else 0


@dataclass(frozen=True)
class Held:
    """What came of holding a recording against a link. ``compared``: which places were."""

    parting: Parting | None
    compared: tuple[Stretch, ...]
    excerpt: Excerpted
    misfire: Misfire | None
    outputs: tuple[Change, ...]
    outputs_in_all: int
    rows: int
    lines: int
    begin: int
    inexact: bool
    tolerance: int
    signals: frozenset[str]
    undecided: str = ""


@dataclass(frozen=True)
class Stop:
    """The one end of a link that may pause does so: at a tick since the first change, for so many
    ticks."""

    tick: int
    ticks: int


class Warnings:
    """What was strange in a recording; of many only the first are kept."""

    def __init__(self, tell: Callable[[int, str], None] | None = None) -> None:
        self.kept: list[tuple[int, str]] = []
        self.in_all = 0
        self.tell = tell

    def __call__(self, line: int, what: str) -> None:
        """Take one."""
        self.in_all += 1
        if len(self.kept) < MOST_WARNINGS:
            self.kept.append((line, what))
            if self.tell is not None:
                self.tell(line, what)


def known_signals(link: Link) -> tuple[str, ...]:
    """All signals that a recording of the link may have."""
    return signals_of(link).every


def branch_of(link: Link, branch: int) -> Link:
    """The link with one branch only."""
    return replace(link, branches=(link.branches[branch],))


def stretches(link: Link, recorded: frozenset[str]) -> tuple[Stretch, ...]:
    """What can be compared: each place that was recorded, with the nearest place before it of
    which all was; of a link whose clock is off all from its inputs at once."""
    signals = signals_of(link)
    found: list[Stretch] = []
    if link.clock.rated and not link.scheme.warm_up:
        every = (from_inputs(link, recorded, b) for b in range(len(link.branches)))
        if found := [stretch for stretch in every if stretch is not None]:
            return tuple(found)
    inputs = bool(recorded & {*signals.inputs})
    near = recorded >= {*signals.near}
    if inputs and recorded & {*signals.near}:
        found.append(Stretch(Place.INPUT, Place.NEAR))
    before: list[Place] = [Place.INPUT] * inputs + [Place.NEAR] * near
    for branch in range(len(link.branches)):
        far = {*signals.far[branch]}
        if recorded & far and before:
            begin = before[0] if link.scheme.warm_up else before[-1]
            found.append(Stretch(begin, Place.FAR, branch))
        nearest = [*before, *([Place.FAR] if recorded >= far else [])]
        if link.scheme.warm_up and inputs and recorded & {*signals.outs[branch]}:
            found = [s for s in found if s.branch != branch]
            found.append(Stretch(Place.INPUT, Place.OUTPUT, branch))
            continue
        if recorded & {*signals.outs[branch]} and nearest:
            found.append(Stretch(nearest[-1], Place.OUTPUT, branch))
    return tuple(found)


def from_inputs(link: Link, recorded: frozenset[str], branch: int) -> Stretch | None:
    """From the inputs to the last place of a branch that was recorded; None if no input was, or
    nothing else."""
    signals = signals_of(link)
    if not recorded & {*signals.inputs}:
        return None
    at = {
        Place.NEAR: signals.near,
        Place.FAR: signals.far[branch],
        Place.OUTPUT: signals.outs[branch],
    }
    last = max((place for place, names in at.items() if recorded & {*names}), default=None)
    return None if last is None else Stretch(Place.INPUT, last, branch)


def decodable(link: Link, recorded: frozenset[str]) -> Stretch | None:
    """Where no output was recorded: from where the model's can be told (first branch)."""
    signals = signals_of(link)
    places = ((signals.far[0], Place.FAR), (signals.near, Place.NEAR))
    begin = next((place for names, place in places if recorded >= {*names}), None)
    if begin is None and recorded & {*signals.inputs}:
        begin = Place.INPUT
    return None if begin is None else Stretch(begin, Place.OUTPUT)


class Names:
    """Edges of places of one branch, by the names of signals."""

    def __init__(self, link: Link, places: tuple[Place, ...], branch: int) -> None:
        signals: Signals = signals_of(link)
        at = {
            Place.INPUT: signals.inputs,
            Place.NEAR: signals.near,
            Place.FAR: signals.far[branch],
            Place.OUTPUT: signals.outs[branch],
        }
        self.signals = tuple(name for place in places for name in at[place])
        self.place = [place for place in places for _ in at[place]]
        self.pressing = link.kind == "press"
        self.number = {name: k for k, name in enumerate(self.signals)}
        self.edges = [edge for place in places for edge in edges_at(link, place)]
        self._known: dict[tuple[tuple[str, int], ...], tuple[int, ...]] = {}

    @property
    def pulses(self) -> bool:
        """Nothing but strikes, which have no length."""
        return self.pressing and {*self.place} == {Place.OUTPUT}

    def of(self, moment: Moment) -> tuple[int, ...]:
        """The edges that a moment has at these places."""
        known = self._known.get(moment.changes)
        if known is None:
            number = self.number
            known = tuple(2 * number[n] + (1 - value) for n, value in moment.changes if n in number)
            if len(self._known) >= MOST_KNOWN:
                self._known.clear()
            self._known[moment.changes] = known
        return known

    def mask(self, up: frozenset[str] | set[str], watched: frozenset[str]) -> int:
        """The levels of those that are watched, as bits."""
        return sum(1 << k for name, k in self.number.items() if name in up and name in watched)

    def compared(self, watched: frozenset[str]) -> dict[Edge, int]:
        """Edges that can be compared, each with its number."""
        return {
            edge: k
            for k, edge in enumerate(self.edges)
            if self.signals[k // 2] in watched
            and not (k % 2 and self.pressing and self.place[k // 2] is Place.OUTPUT)
        }

    def change(self, edge: int, tick: int) -> Change:
        """An edge as the file has it."""
        return Change(tick, self.signals[edge // 2], 1 - edge % 2)


def heard_at(link: Link, stretch: Stretch) -> tuple[Place, ...]:
    """The places that are compared where a stretch ends.

    A link that never rests may be anywhere when a recording begins. Its line shows where, so it
    is compared together with what comes of it. So is that of a link whose clock is off: a
    receiver may tell apart what a recording in whole ticks does not.
    """
    if (link.scheme.warm_up or link.clock.rated) and stretch.begin is Place.INPUT:
        return tuple(place for place in Place if stretch.begin < place <= stretch.end)
    return (stretch.end,)


class Stage:
    """One stretch of a link, followed through a recording. ``lead``: ticks from power-up of a link
    that never rests to the recording; None: all whole ones that may be."""

    follows = Follower

    def __init__(
        self,
        link: Link,
        stretch: Stretch,
        watched: frozenset[str],
        quiet: int | None,
        stop: Stop | None = None,
        lead: Fraction | None = None,
    ) -> None:
        self.stretch, self.watched, self.stop, self.lead = stretch, watched, stop, lead
        self.played = Names(link, (stretch.begin,), stretch.branch)
        self.heard = Names(link, heard_at(link, stretch), stretch.branch)
        self.link = link
        scale = 1
        if link.clock.rated:
            scale = lcm(link.clock.resolution, 2, 1 if lead is None else lead.denominator)
        self.follower = self.follows(
            systems(link, stretch, scale),
            self.heard.compared(watched),
            not self.heard.pulses,
            scale,
        )
        self._edges = frozenset(self.follower.compared.values())
        self.leveled = frozenset(
            name for k, name in enumerate(self.heard.signals) if 2 * k in self.follower.leveled
        )
        scheme = link.scheme
        self.frame = (scheme.step or 0) * scheme.steps if scheme.warm_up else 0
        self.quiet = quiet
        self.levels: set[str] = set()
        # Outputs of a scan follow from its line only once every slot has been met.
        late = self.frame and stretch.begin > Place.INPUT and stretch.end is Place.OUTPUT
        self.from_tick = 2 * self.frame + scheme.warm_up if late else 0

    def copy(self) -> Stage:
        """As far as this one has gone, to go on by itself."""
        other = copy(self)
        other.follower, other.levels = copy(self.follower), {*self.levels}
        if self.follower.before is not None:
            other.follower.before = [*self.follower.before]
        return other

    def begin(self, high_before: set[str]) -> None:
        """Before the first moment; what is high then."""
        self.levels = {*high_before}
        up = [2 * k for name, k in self.played.number.items() if name in high_before]
        leads: Sequence[Ticks] = (0,)
        if self.frame:
            least = self.least_lead
            step = self.link.scheme.step or 1
            leads = range(least, least + step) if self.lead is None else (whole(self.lead),)
        elif up:
            leads = ((self.quiet or 0) + 1,)
        levels = None
        if self.follower.wires and not self.from_tick:
            levels = self.heard.mask(high_before, self.leveled)
        self.follower.begin(leads, up, levels)
        if self.from_tick:
            self.follower.comparing = False

    @property
    def least_lead(self) -> int:
        """Ticks after which a link that never rests may be anywhere."""
        return self.link.cold + self.frame

    def advance(self, moment: Moment, tolerance: Ticks) -> bool:
        """False where no run of the model goes on like the recording."""
        follower = self.follower
        if not follower.ways:
            return False
        follower.tolerance = max(tolerance, HALF) if follower.scale > 1 else tolerance
        if self.from_tick and moment.tick >= self.from_tick:
            follower.advance(self.from_tick - 1, (), ())
            if self.heard.pulses:
                follower.comparing = True
            else:
                follower.compare_levels(self.heard.mask(self.levels, self.leveled))
            self.from_tick = 0
            if not follower.ways:
                return False
        for name, value in moment.changes:
            (self.levels.add if value else self.levels.discard)(name)
        recorded = [e for e in self.heard.of(moment) if e in self._edges]
        played: Sequence[int] = self.played.of(moment)
        if self.stop is not None and self.stop.tick <= moment.tick:
            stop, self.stop = self.stop, None
            taken = len(self.played.edges) + stop.ticks - 1
            if stop.tick == moment.tick:
                played = (*played, taken)
            elif not follower.advance(stop.tick, (taken,), ()):
                return False
        return follower.advance(moment.tick, played, recorded)

    def parting(self, begin: int, line: int) -> Parting:
        """Why no run goes on: the reason of those that went furthest."""
        reasons: list[Reason] = sorted(
            self.follower.reasons, key=lambda r: (-len(r.instead), r.side, r.edge)
        )
        reason = reasons[0]
        tick = reason.tick + begin
        place = self.heard.place[reason.edge // 2]
        since = self.stretch.begin
        for name, other in zip(self.heard.signals, self.heard.place, strict=True):
            if name in self.watched and other < place:
                since = max(since, other)
        return Parting(
            self.stretch,
            self.heard.change(reason.edge, tick),
            reason.side,
            tuple(self.heard.change(edge, tick) for edge in reason.instead),
            line,
            since,
            place,
        )


def quiet_of(link: Link, subject: Subject, more: int) -> int | None:
    """Ticks without an event after which the link is surely at rest; None if it never is."""
    if not subject.lone.rests or link.scheme.warm_up or link.any_start:
        return None
    queue = link.scheme.queue
    turns = 1 if queue is None else queue.places + 2
    line = link.delay[1] + max(link.branches) + link.faults.unrest + link.faults.skew
    return turns * (max(subject.lone.settled) + 2) + 2 * line + more


def hold(
    subject: Subject,
    link: Link,
    recording: Recording,
    warn: Warnings,
    progress: Progress,
    *,
    tolerance: int | None = None,
    only: Stretch | None = None,
    more: int = 0,
    stop: Stop | None = None,
    lead: Fraction | None = None,
    again: bool = False,
    look: Callable[[], None] | None = None,
) -> Held:
    """Read a recording once and compare it with a link.

    ``link``: that of the subject, or the same disturbed. ``tolerance``, ticks: None: 0, or 1
    from where a time is no whole number of ticks. ``only``: one stretch, nothing else. ``more``:
    ticks by which disturbances may put off rest. ``stop``: a pause, of a link that allows it.
    ``lead``: as of a ``Stage``. ``again``: it was read before, and is only compared.
    ``look``: called now and then, and may raise.
    """
    return _Holding(
        subject, link, recording, warn, progress, tolerance, only, more, stop, lead, again, look
    ).run()


class _Holding:
    def __init__(
        self,
        subject: Subject,
        link: Link,
        recording: Recording,
        warn: Warnings,
        progress: Progress,
        tolerance: int | None,
        only: Stretch | None,
        more: int,
        stop: Stop | None,
        lead: Fraction | None,
        again: bool,
        look: Callable[[], None] | None,
    ) -> None:
        watched = recording.signals
        self.subject, self.link, self.recording = subject, link, recording
        self.progress, self.tolerance = progress, tolerance
        compared = stretches(link, watched) if only is None else (only,)
        self.quiet = quiet_of(link, subject, more)
        self.stages = [
            Stage(link, stretch, watched, self.quiet, stop, lead) for stretch in compared
        ]
        for stage in self.stages:
            stage.follower.look = look
        self.decoder: _Decoder | None = None
        self.judges: list[Right | Manners] = []
        if not again:
            outputs = any(s.end is Place.OUTPUT for s in compared)
            decoded = None if outputs else decodable(link, watched)
            if decoded is not None and not link.scheme.warm_up:
                self.decoder = _Decoder(link, decoded)
            self.judges = [
                *Right.of(subject, watched),
                *Manners.of(link, watched, warn),
            ]
            if not compared and decoded is None:
                what = "nothing but outputs" if watched else "no rows"
                raise UsageError(
                    f"{recording.path}: found {what}; allowed: also the inputs or the "
                    "lines that they follow from"
                )
        self.moments = Moments(recording, signals_of(link).momentary, warn)
        self.excerpt = Excerpted(quiet=self.quiet or 0)
        self.kept_tick = 0
        self.levels: set[str] = set()

    def run(self) -> Held:
        parting: Parting | None = None
        undecided = ""
        begun = False
        after = 0
        for moment in self.moments:
            if not begun:
                begun = True
                self._begin()
            if parting is not None:
                after += 1
                if not self._goes_on(moment, after):
                    break
                continue
            self.progress.states = self.moments.rows
            for judge in self.judges:
                judge.advance(moment, self._tolerance)
            if self.decoder is not None:
                self.decoder.advance(moment)
            try:
                parting = self._parting(moment)
            except TooManyWaysError:
                undecided = (
                    f"line {moment.line}: the model may have run in too many ways up to here"
                )
                break
            if parting is None or not self._breaks(moment):
                self._keep(moment)
            else:
                # It parted in silence, before this moment.
                self.excerpt.end = min(moment.tick - 1, self.kept_tick + (self.quiet or 0))
                break
        else:
            if parting is not None:
                self.excerpt.end = self.kept_tick
            if self.decoder is not None:
                self.decoder.finish(self.quiet or 0)
        misfires = [j.misfire for j in self.judges if isinstance(j, Right) and j.misfire]
        outputs = self.decoder.outputs(self.moments.begin) if self.decoder is not None else ()
        return Held(
            parting,
            tuple(stage.stretch for stage in self.stages),
            self.excerpt,
            min(misfires, key=lambda m: m.tick, default=None),
            outputs,
            self.decoder.in_all if self.decoder is not None else 0,
            self.moments.rows,
            self.moments.line,
            self.moments.begin,
            self.moments.inexact,
            self._tolerance,
            self.recording.signals,
            undecided,
        )

    @property
    def _tolerance(self) -> int:
        return int(self.moments.inexact) if self.tolerance is None else self.tolerance

    def _begin(self) -> None:
        self.levels = {*self.moments.high_before}
        self.excerpt.up = frozenset(self.levels)
        for stage in self.stages:
            stage.begin(self.moments.high_before)

    def _parting(self, moment: Moment) -> Parting | None:
        parted = []
        for stage in self.stages:
            if not stage.advance(moment, self._tolerance):
                parted.append(stage.parting(self.moments.begin, moment.line))
        return min(parted, key=lambda p: (p.change.tick, p.stretch.end), default=None)

    def _breaks(self, moment: Moment) -> bool:
        """So much time has passed before it that all was at rest."""
        quiet = self.quiet
        return (
            quiet is not None
            and bool(self.excerpt.moments)
            and (moment.tick - self.kept_tick > quiet)
        )

    def _keep(self, moment: Moment) -> None:
        excerpt = self.excerpt
        if self._breaks(moment):
            excerpt = self.excerpt = Excerpted(up=frozenset(self.levels), quiet=self.quiet or 0)
        for name, value in moment.changes:
            (self.levels.add if value else self.levels.discard)(name)
        excerpt.moments.append(moment)
        self.kept_tick = moment.tick
        if len(excerpt.moments) > MOST_KEPT:
            del excerpt.moments[: MOST_KEPT // 2]
            excerpt.complete = False

    def _goes_on(self, moment: Moment, after: int) -> bool:
        """After the parting: some more is kept, up to the next rest."""
        if self._breaks(moment):
            self.excerpt.end = min(moment.tick - 1, self.kept_tick + (self.quiet or 0))
            return False
        if after > MOST_AFTER:
            self.excerpt.end = self.kept_tick
            return False
        self._keep(moment)
        return True


class _Decoder:
    """The outputs that the model makes of what was recorded, as many as can be told."""

    def __init__(self, link: Link, stretch: Stretch) -> None:
        self.played = Names(link, (stretch.begin,), stretch.branch)
        self.heard = Names(link, heard_at(link, stretch), stretch.branch)
        every = self.heard.compared(frozenset(self.heard.signals))
        self.run = Run(systems(link, stretch)[0], every)
        self.told: list[tuple[int, int]] = []
        self.in_all = 0

    def advance(self, moment: Moment) -> None:
        """On to the next moment."""
        self._take(self.run.advance(moment.tick, self.played.of(moment)))

    def finish(self, ticks: int) -> None:
        """What still comes, so many ticks after the last moment."""
        self._take(self.run.advance(self.run.now + ticks))

    def _take(self, heard: Iterator[tuple[int, int]]) -> None:
        for found in heard:
            self.in_all += 1
            if len(self.told) < MOST_OUTPUTS:
                self.told.append(found)

    def outputs(self, begin: int) -> tuple[Change, ...]:
        """What was heard, in ticks of the file."""
        return tuple(self.heard.change(edge, tick + begin) for tick, edge in self.told)


def nominal(link: Link) -> Link:
    """The link with its clock at the right rate, and without pauses."""
    clock: Clock = replace(link.clock, rate=(Fraction(0), Fraction(0)))
    return alone(replace(link, clock=clock))


def due_outputs(
    link: Link, parting: Parting, held: Held
) -> tuple[tuple[Change, ...], tuple[Change, ...]]:
    """What the outputs should have done around a parting by what was recorded before the place
    that parted, and what they did."""
    stretch = replace(parting.stretch, end=Place.OUTPUT)
    names = Names(link, (Place.OUTPUT,), stretch.branch)
    excerpt = held.excerpt
    seen = tuple(
        Change(moment.tick + held.begin, name, value)
        for moment in excerpt.moments
        for name, value in moment.changes
        if name in names.number
    )
    if not excerpt.complete or link.scheme.warm_up or not excerpt.moments:
        return (), seen
    played = Names(link, (stretch.begin,), stretch.branch)
    lead = excerpt.lead
    later = lead - excerpt.moments[0].tick
    run = Run(systems(link, stretch)[0], names.compared(frozenset(names.signals)))
    if up := [2 * k for name, k in played.number.items() if name in excerpt.up]:
        for _ in run.advance(0, up):
            pass
    found: list[tuple[int, int]] = []
    for moment in excerpt.moments:
        found += run.advance(moment.tick + later, played.of(moment))
    found += run.advance(max(excerpt.end, excerpt.moments[-1].tick) + later)
    due = (names.change(edge, tick - later + held.begin) for tick, edge in found if tick >= lead)
    return tuple(due), seen
