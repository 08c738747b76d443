"""A whole link, and the systems that engines run on: from the operator to the monitors."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from fractions import Fraction

from verify.errors import ModelError
from verify.language.durations import finer, lengths, remeasured, times_of
from verify.language.machine import Machine, System
from verify.parts import line, monitor, operator, outputs, recovery
from verify.parts.any_start import anywhere
from verify.parts.clock import Clock, paced
from verify.parts.line import Faults
from verify.parts.monitor import Windows
from verify.parts.operator import Operator
from verify.parts.pause import End, Pause, pausing
from verify.parts.pause import build as build_pause
from verify.parts.scheme import Scheme
from verify.units import Ticks, mixed_text

# Ticks by which samples can miss where nothing bounds it.
NO_END = 10**9


@dataclass(frozen=True)
class Link:
    """A link as its file describes it. Times in ticks unless said otherwise.

    ``tick``: seconds per tick. ``names``: of the inputs, and of the outputs of the same
    number. ``delay``: least and most line delay, one constant within the range per link; at
    least what a line that swallows short pulses needs to tell them from others.
    ``branches``: extra delay of each branch of the line; one receiver at each end.
    ``within``: window in which a strike is due, or None to take it from lone presses.
    ``order[i]``: the output that input i operates; None: its own. ``kind`` of the inputs:
    ``press`` or ``level``. ``watched``: the one lever whose output is judged; None: all.
    ``clock``: the transmitter's. ``pause``: what stops one end for a while. ``any_start``: the
    machines may be found in any state at power-up. ``spared``: what goes wrong up to so many
    ticks after a pause, or after a start in any state, does not count; None: all counts.
    ``may_miss``: an output that stays off does not count either.
    """

    name: str
    tick: Fraction
    names: tuple[str, ...]
    scheme_name: str
    scheme: Scheme
    operator: Operator
    delay: tuple[int, int] = (0, 0)
    branches: tuple[int, ...] = (0,)
    within: tuple[int, int] | None = None
    faults: Faults = Faults()  # noqa: RUF009 - frozen
    order: tuple[int, ...] | None = None
    kind: str = "press"
    watched: int | None = None
    clock: Clock = Clock()  # noqa: RUF009 - frozen
    pause: Pause = Pause()  # noqa: RUF009 - frozen
    any_start: bool = False
    spared: int | None = None
    may_miss: bool = False

    def __post_init__(self) -> None:
        longest = self.delay[1] + max(self.branches)
        if self.within is not None and self.within[1] < longest:
            raise ModelError(
                f"within ends {self.within[1]} ticks after a press, the line takes {longest}: "
                "no press could be in time"
            )
        if self.faults.proving > self.delay[0] + min(self.branches):
            raise ModelError(
                f"a line that swallows pulses shorter than {self.faults.shortest} ticks delays "
                f"every edge by at least as much, found {self.delay[0] + min(self.branches)}"
            )

    @property
    def inputs(self) -> int:
        """Number of inputs."""
        return len(self.names)

    @property
    def outputs(self) -> tuple[int, ...]:
        """Per input, the number of the output that it operates."""
        return self.order if self.order is not None else tuple(range(self.inputs))

    @property
    def at_any_step(self) -> Link:
        """The same, switched on at any step of the scheme."""
        return replace(self, scheme=self.scheme.at_any_step)

    @property
    def drifts_away(self) -> bool:
        """The two ends get away from each other without end: some sample is wrong at last."""
        return self.scheme.drifts_away(self.clock)

    @property
    def clockless(self) -> str | None:
        """Why the rate of a transmitter's clock means nothing here, in words; None if it does."""
        if next(lengths(self.scheme.transmitter()), None) is None:
            return (
                "a scheme whose transmitter has a clock: all but wire-per-input, parallel-code, "
                "and machines of one's own without timers there"
            )
        return None

    @property
    def unrated(self) -> str | None:
        """Why the rate of the transmitter's clock can not be off here, in words; None if it can."""
        return self.clockless or self._unpaced(Clock(rate=(Fraction(0), Fraction(1, 2))))

    def _unpaced(self, clock: Clock) -> str | None:
        """Why the transmitter cannot run on this clock, in words; None if it can."""
        transmitter = self.scheme.transmitter()
        # Links that never come to rest are searched with another rate in each period.
        for anew in (False, True) if self.scheme.warm_up else (False,):
            other = replace(clock, anew=anew)
            try:
                paced(transmitter, times_of(transmitter), other, 2, self.scheme.step)
            except ModelError as error:
                return f"a transmitter that counts out lengths, which this does not: {error}"
        return None

    @property
    def unsteady(self) -> str | None:
        """Why no clock may wander here, in words, if it does; None if it may, or does not."""
        if self.clock.wander and self.scheme.queue is not None:
            return 'no key with busy = "queue": when a send ends could not be told from presses'
        return self._unpaced(Clock(wander=self.clock.wander)) if self.clock.wander else None

    @property
    def unstoppable(self) -> str | None:
        """Why a pause means nothing here, in words; None if it does."""
        timed = {
            End.TRANSMITTER: self.scheme.transmitter(),
            End.RECEIVER: self.scheme.receiver(0),
        }
        for end in self.pause.ends:
            if next(lengths(timed[end]), None) is None and self.pause.end is not End.EITHER:
                return f"an end with a clock that can stop: the {end.value} of this link has none"
        if all(next(lengths(timed[end]), None) is None for end in self.pause.ends):
            return "a scheme with a clock that can stop: this link has none"
        return None

    @property
    def wanders_too_far(self) -> str | None:
        """What ``clock.wander`` may be, in words, if it may not be what it is."""
        if not self.clock.wander or self.unsteady is not None:
            return self.unsteady
        timer, shortest = min(lengths(self.scheme.transmitter()), key=lambda named: named[1])
        shortest_there = shortest * (1 + self.clock.rate[0])
        if self.clock.wander < shortest_there:
            return None
        at_rate = f" at its fastest rate, {mixed_text(shortest_there)}" if self.clock.rated else ""
        return f"less than {shortest} ticks, the shortest period of the clock ({timer}){at_rate}"

    @property
    def cold(self) -> int:
        """Ticks from power-up in which nothing is done."""
        if self.scheme.warm_up == 0:
            return 0
        # The receiver's clock counts from when the line has come to it.
        return self.scheme.warm_up + max(self.branches) + self.delay[1]

    def hidden_delay(self, branch: int) -> int:
        """Ticks of delay that ``factored`` leaves out on a branch, at the line's least."""
        return self.delay[0] + self.branches[branch] - self.faults.proving

    @property
    def anonymous(self) -> Link:
        """The same but for names: what is found of one goes for all that are like it."""
        return replace(self, name="", names=tuple(map(str, range(self.inputs))))

    def with_operator(self, **changes: object) -> Link:
        """The same link with some bounds of its operator replaced."""
        return replace(self, operator=replace(self.operator, **changes))  # type: ignore[arg-type]

    def parts(self, look: Callable[[], None] = lambda: None) -> tuple[Part, ...]:
        """Links that can be judged one by one. Levers are judged one output at a time.
        ``look``: called on the way, for there may be many.

        Sound because an operator that leaves inputs alone is still a legal operator, and
        every legal operator stays legal when changes are left out.
        """
        if self.kind == "level":
            unrest = self.faults.unrest + self.pause.reach
            if self.any_start:
                unrest = NO_END  # the two ends may be anywhere
            clash = self.operator.overlap != 1 and not self.may_miss
            found = []
            for i in range(self.inputs):
                look()
                for scheme, carried in self.scheme.alone(i, unrest, self.clock, clash):
                    found.append(self._part(scheme, carried, i))
            return tuple(found)
        split = self.scheme.split()
        if len(split) == 1:
            return (Part(self, tuple(range(self.inputs)), True),)
        return tuple(self._part(scheme, carried, None) for scheme, carried in split)

    def amid_any(self) -> tuple[Part, ...]:
        """Parts of one lever each, amid whatever others may do: if all hold, the link does, too.

        Empty where the scheme has no such parts, or faults of the line matter to them.
        """
        if self.kind != "level" or self.faults.unrest:
            return ()
        found = [(self.scheme.amid_any(i), i) for i in range(self.inputs)]
        return tuple(self._part(*alone, i) for alone, i in found if alone is not None)

    def one_move(self) -> tuple[tuple[Part, Part], ...]:
        """Parts of one lever each, which goes up once or never: if all hold, the link does, too.

        A failure of the first of a pair is one of the link. Empty where the scheme has no such
        parts, where faults of the line matter to them, or where up and down are not alike.
        """
        if self.kind != "level" or self.faults.unrest or self.may_miss:
            return ()
        found = [(self.scheme.one_move(i), i) for i in range(self.inputs)]
        return tuple(
            (self._moved(up, i, 1), self._moved(down, i, 0))
            for (up, down), i in ((pair, i) for pair, i in found if pair is not None)
        )

    def _moved(self, scheme: Scheme, index: int, moves: int) -> Part:
        part = self._part(scheme, (index,), index)
        return replace(part, link=replace(part.link, operator=Operator(moves=moves)))

    def _part(self, scheme: Scheme, carried: tuple[int, ...], watched: int | None) -> Part:
        pairs = self.operator.pairs
        if pairs is not None:
            pairs = tuple(tuple(pairs[i][j] for j in carried) for i in carried)
        own = replace(
            self,
            names=tuple(self.names[i] for i in carried),
            scheme=scheme,
            operator=replace(self.operator, pairs=pairs),
            order=None,
            watched=None if watched is None else carried.index(watched),
        )
        numbered = scheme.numbers_lines or scheme.lines == self.scheme.lines
        return Part(own, carried, numbered)


@dataclass(frozen=True)
class Part:
    """Part of a link: the inputs of the whole that it carries, in its own order.

    ``all_lines``: a run of it names the lines of the whole; otherwise one line per input carried.
    """

    link: Link
    carried: tuple[int, ...]
    all_lines: bool


def _operator(link: Link) -> Machine:
    scheme = link.scheme
    return operator.build(
        link.operator,
        scheme.inputs,
        scheme.watches_release,
        link.kind,
        link.cold,
    )


def _system(link: Link, rest: list[Machine], resolution: int) -> System:
    """Operator, transmitter and the rest, all given in whole ticks."""
    first, transmitter = _operator(link), link.scheme.transmitter()
    if link.any_start:
        transmitter = anywhere(transmitter)
    pauses = build_pause(link.pause) if link.pause.most else ()
    if link.clock == Clock() and resolution == 1:
        transmitter = pausing(transmitter, link.pause, End.TRANSMITTER)
        return System((first, *pauses, *transmitter, *rest))
    times = times_of((first, *pauses, *transmitter, *rest))
    period = link.clock.period(resolution)
    return System(
        (
            *(() if period is None else (Machine("clock", (period,), ()),)),
            *remeasured((first, *pauses), times, finer(resolution)),
            *pausing(
                paced(transmitter, times, link.clock, resolution, link.scheme.step),
                link.pause,
                End.TRANSMITTER,
                resolution,
            ),
            *remeasured(rest, times, finer(resolution)),
        ),
        resolution,
        link.clock.rated,
    )


def _apart(link: Link, resolution: int) -> Ticks:
    """Ticks that jitter leaves between two edges: none to speak of where time has no smallest
    step and levers move at any moment, or edges would pile up."""
    return Fraction(1, resolution) if link.scheme.warm_up else 1


def _monitors(link: Link, branch: int, windows: Windows, resolution: int) -> list[Machine]:
    if link.kind == "press":
        pace = link.clock.period(resolution)
        return list(monitor.build(branch, windows, link.outputs, pace, link.may_miss))
    watched = range(link.inputs) if link.watched is None else [link.watched]
    armed = None if link.spared is None else recovery.ARMED
    return [
        monitor.build_level(branch, windows, link.outputs, i, armed, link.may_miss) for i in watched
    ]


def _watching(link: Link, windows: tuple[Windows, ...], resolution: int) -> list[Machine]:
    """All that only watches: one monitor or more per branch."""
    monitors = [m for b, w in enumerate(windows) for m in _monitors(link, b, w, resolution)]
    if link.spared is None:
        return monitors
    clemency = link.spared, link.pause, link.any_start
    return [recovery.build(*clemency), *recovery.counting(monitors, *clemency)]


def _receiver(link: Link, branch: int, delay: Ticks, later: Ticks = 0) -> list[Machine]:
    # Delays in parts of a tick are scaled to whole ones later.
    receiver = link.scheme.receiver(branch, delay)  # type: ignore[arg-type]
    if link.any_start:
        receiver = anywhere(receiver, later)
    return [*pausing(receiver, link.pause, End.RECEIVER), outputs.build(branch, link.outputs)]


def whole(
    link: Link, delay: Ticks, windows: tuple[Windows, ...] | None, resolution: int = 1
) -> System:
    """Every part with its true delay, ``delay`` being the line's constant; for the simulator.

    ``windows``: one per branch; None leaves the monitors out. ``resolution``: parts of a tick
    in which the system counts; what is given here is in ticks all the same.
    """
    scheme = link.scheme
    machines: list[Machine] = []
    delays = tuple(delay + extra - link.faults.proving for extra in link.branches)
    for k in range(scheme.lines):
        machines += line.build(k, delays, link.faults, _apart(link, resolution))
    for branch in range(len(link.branches)):
        machines += _receiver(link, branch, delay + link.branches[branch], delays[branch])
    if windows is not None:
        machines += _watching(link, windows, resolution)
    return _system(link, machines, resolution)


def factored(link: Link, windows: Windows | None, resolution: int = 1) -> System:
    """One branch without its delay; for explorer and solver.

    The delay of a branch is constant for one run and the same for every edge, so it moves
    all strikes by one amount and changes no verdict. Branches differ in nothing else, so
    one stands for all. ``windows`` are those of a line without delay; the range of the
    delay is their ``shift``. ``resolution``: as for ``whole``.
    """
    scheme = link.scheme
    machines: list[Machine] = []
    for k in range(scheme.lines):
        machines += line.build(k, (0,), link.faults, _apart(link, resolution))
    machines += _receiver(link, 0, link.faults.proving)
    if windows is not None:
        machines += _watching(link, (windows,), resolution)
    return _system(link, machines, resolution)
