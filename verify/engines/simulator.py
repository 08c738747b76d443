"""The simulator: runs a whole link, true delays included, through a given script.

It is the judge of every counterexample. Two clocks drive the same step function: one
tick at a time, or from event to event; they must agree, and the tests demand it.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from fractions import Fraction
from functools import lru_cache
from math import ceil

from verify import units
from verify.engines.concrete import Compiled, Occurrence, State
from verify.engines.idle import Idle
from verify.engines.trace import Chosen, Event, Failure, Latency, Press, Script, Trace
from verify.errors import ModelError
from verify.language import expressions as ex
from verify.parts import signals
from verify.parts.link import Link, whole
from verify.parts.monitor import Windows
from verify.parts.signals import PRESS, RELEASE, Kind

# A run that never comes to rest is followed this many ticks past its last press.
FAR = 10**9
# Events that are gone through one by one before it pays to reckon where a scan left alone is.
LONG = 2_000


@lru_cache(maxsize=8)
def _compiled(
    link: Link, delay: int, windows: tuple[Windows, ...] | None, resolution: int
) -> Compiled:
    """Shrinking and timing pictures run one link many times."""
    ticks = units.whole(Fraction(delay, resolution))
    return Compiled(whole(link, ticks, windows, resolution))


class NotAllowedError(ModelError):
    """A script does what its operator may not do, or begins as no link can be found."""


@dataclass(frozen=True)
class Moment:
    """What happened in one tick, and the state after it."""

    tick: int
    occurrences: tuple[Occurrence, ...]
    state: State


class Simulator:
    """A whole link, compiled for one line delay. ``windows``: one per branch, or None.

    ``resolution``: parts of a tick in which ``delay``, scripts and moments are given.
    """

    def __init__(
        self, link: Link, delay: int, windows: tuple[Windows, ...] | None, resolution: int = 1
    ) -> None:
        self.link = link
        self.compiled = _compiled(link, delay, windows, resolution)

    def run(
        self,
        script: Script,
        *,
        by_tick: bool = False,
        until: int | None = None,
        every: bool = False,
        met: list[tuple[int, ex.Pick]] | None = None,
        otherwise: Callable[[int, ex.Pick], int] | None = None,
    ) -> Iterator[Moment]:
        """Ticks in which something happened, until all is at rest, or tick ``until``.

        ``by_tick`` steps through every tick; otherwise from event to event. ``every``: also
        those in which only time went by. ``met``: takes the picks met, with their ticks.
        ``otherwise``: says what is picked, at a tick, where the script leaves it open; the least
        by default.
        Raises NotAllowedError if the operator of the link may not do what the script says, or the
        link cannot be found at power-up as it says.
        """
        pending = self.compiled.done(script)
        picks: dict[tuple[int, str], deque[int]] = {}
        for chosen in script.picks:
            picks.setdefault((chosen.tick, chosen.name), deque()).append(chosen.value)

        def choose(pick: ex.Pick) -> int:
            if met is not None:
                met.append((now, pick))
            values = picks.get((now, pick.name))
            if values:
                return values.popleft()
            return pick.least if otherwise is None else otherwise(now, pick)

        state: State = self.compiled.start_with(dict(script.constants))
        if not self.compiled.may_start(state):
            told = ", ".join(f"{name} {value}" for name, value in script.constants)
            raise NotAllowedError(f"no link is found like this at power-up: {told or 'all least'}")
        now, k = -1, 0
        if not by_tick and self._long_idle(state, script, pending):
            now = pending[0][0] - 1
            state = Idle(self.compiled, state).at(now + 1)
        while True:
            event = self.compiled.next_event(state)
            press_in = pending[k][0] - now if k < len(pending) else None
            ahead = [d for d in (event, press_in) if d is not None]
            if not ahead:
                return
            passed = 1 if by_tick else min(ahead)
            if until is not None and now + passed > until:
                return
            now += passed
            taken = []
            while k < len(pending) and pending[k][0] == now:
                taken.append(pending[k][1])
                k += 1
            result = self.compiled.step(state, passed, taken, choose)
            if result is None:
                raise NotAllowedError(f"the operator may not press {taken} at tick {now}")
            state = result[0]
            if result[1] or every:
                yield Moment(now, tuple(result[1]), state)

    def _long_idle(self, state: State, script: Script, pending: list[tuple[int, int]]) -> bool:
        """Nothing is done for so long that it pays to reckon where the link is then."""
        if not self.link.drifts_away or script.picks or not pending:
            return False
        return pending[0][0] > LONG * (self.compiled.next_event(state) or 1)

    def quiet_after(self, script: Script) -> int:
        """Tick of the last event of a script's run."""
        return max((m.tick for m in self.run(script)), default=0)


def replay(link: Link, windows: tuple[Windows, ...], script: Script) -> Trace:
    """Run a script and write down what happened, up to the first failure if there is one.

    ``lost`` becomes ``framing`` when the receiver dropped a frame since the press, else ``late``
    when the missing strike still comes afterwards.
    """
    simulator = Simulator(link, script.delay, windows, script.resolution)
    events: list[Event] = []
    latencies: list[Latency] = []
    failure: Failure | None = None
    dropped: dict[int, int] = {}  # branch -> the last tick in which its receiver dropped a frame
    namer = _Namer(link, script.delay)
    for moment in simulator.run(script, until=_horizon(link, windows, script)):
        if failure is not None and moment.tick > failure.tick:
            if failure.kind == Kind.LOST.label and _comes(moment, failure, link):
                failure = _late(failure, moment.tick)
            if moment.tick > failure.tick + FAR or failure.kind != Kind.LOST.label:
                break
            continue
        for signal, values in moment.occurrences:
            if event := namer.event(moment.tick, signal.name, values):
                events.append(event)
            branch = namer.branch_of(signal.name)
            if signal == signals.delivered(branch):
                latencies.append(Latency(values[0], values[1], moment.tick, branch))
            elif signal == signals.misframed(branch):
                dropped[branch] = moment.tick
            elif signal == signals.failure(branch) and failure is None:
                failure = namer.failure(moment.tick, branch, values)
                if failure.kind == Kind.LOST.label and branch in dropped:
                    failure = _framing(failure, dropped[branch], link, script, latencies)
    return Trace(script, tuple(events), failure, tuple(latencies))


def most_picked(link: Link, windows: tuple[Windows, ...], script: Script) -> tuple[Chosen, ...]:
    """The picks that a script leaves open, each at its most, where it meets them at their least."""
    met: list[tuple[int, ex.Pick]] = []
    simulator = Simulator(link, script.delay, windows, script.resolution)
    for _ in simulator.run(script, until=_horizon(link, windows, script), met=met):
        pass
    return tuple(Chosen(tick, pick.name, pick.most) for tick, pick in met)


def _horizon(link: Link, windows: tuple[Windows, ...], script: Script) -> int | None:
    """A link that never rests is followed until all that was pressed is surely over."""
    if link.scheme.warm_up == 0:
        return None
    last = max(script.ticks, default=link.scheme.warm_up)
    after = link.pause.reach + (link.spared or 0) + 2 * ceil(max(max(w.latest) for w in windows))
    return last + (after + 2) * script.resolution


def _comes(moment: Moment, failure: Failure, link: Link) -> bool:
    """A strike of the output that was missed, and no other press accounts for it."""
    index = link.names.index(failure.output)
    found = {signal for signal, values in moment.occurrences if values[:1] == (index,)}
    return (
        signals.strike(failure.branch) in found and signals.delivered(failure.branch) not in found
    )


def _framing(
    failure: Failure, tick: int, link: Link, script: Script, latencies: list[Latency]
) -> Failure:
    """A lost strike as a framing failure, if a frame was dropped at ``tick``, after its press."""
    index = link.outputs.index(link.names.index(failure.output))
    came = {d.tick - d.ticks for d in latencies if (d.input, d.branch) == (index, failure.branch)}
    pressed = min(p.tick for p in script.presses if p.input == index and p.tick not in came)
    if tick < pressed:
        return failure
    got = f"no strike: a frame dropped at tick {tick}, its stop bit not idle"
    return replace(failure, kind=Kind.FRAMING.label, got=got)


def _late(failure: Failure, tick: int) -> Failure:
    got = f"a strike at tick {tick}"
    return Failure(
        failure.tick, Kind.LATE.label, failure.output, failure.expected, got, failure.branch
    )


class _Namer:
    """Turns signals of the model into the names that people read in traces."""

    def __init__(self, link: Link, delay: int) -> None:
        self.link = link
        self.many_branches = len(link.branches) > 1
        self.names: dict[str, tuple[str, int]] = {}
        for k in range(link.scheme.lines):
            line = "line" if link.scheme.lines == 1 else f"line.{k + 1}"
            self.names[signals.line_rise(k).name] = (line, 1)
            self.names[signals.line_fall(k).name] = (line, 0)
            for b, extra in enumerate(link.branches):
                if not delay + extra:
                    continue  # the far end is the near end
                far = f"{line}.far" + (f".{b + 1}" if self.many_branches else "")
                self.names[signals.far_rise(k, b).name] = (far, 1)
                self.names[signals.far_fall(k, b).name] = (far, 0)
        self.branches = {
            make(b).name: b
            for b in range(len(link.branches))
            for make in (
                signals.strike,
                signals.rest,
                signals.delivered,
                signals.failure,
                signals.misframed,
            )
        }

    def branch_of(self, signal: str) -> int:
        return self.branches.get(signal, 0)

    def output(self, branch: int, index: int) -> str:
        tail = f".{branch + 1}" if self.many_branches else ""
        return f"out.{self.link.names[index]}{tail}"

    def event(self, tick: int, signal: str, values: tuple[int, ...]) -> Event | None:
        if signal == PRESS.name:
            return Event(tick, f"in.{self.link.names[values[0]]}", 1)
        if signal == RELEASE.name:
            return Event(tick, f"in.{self.link.names[values[0]]}", 0)
        if signal.startswith("strike"):
            return Event(tick, self.output(self.branch_of(signal), values[0]), 1)
        if signal.startswith("rest") and self.link.kind == "level":
            return Event(tick, self.output(self.branch_of(signal), values[0]), 0)
        if signal in self.names:
            name, value = self.names[signal]
            return Event(tick, name, value)
        return None

    def _level_failure(self, tick: int, branch: int, kind: Kind, output: str) -> Failure:
        came = {
            Kind.GHOST: "the other position, though the lever had not moved",
            Kind.LOST: "the other position still",
        }[kind]
        return Failure(tick, kind.label, output, "the position of its lever", came, branch)

    def failure(self, tick: int, branch: int, values: tuple[int, ...]) -> Failure:
        kind, expected, got = Kind(values[0]), values[1], values[2]
        names = self.link.names
        if self.link.kind == "level":
            return self._level_failure(tick, branch, kind, names[got])
        if kind is Kind.GHOST:
            output, due, came = names[got], "no strike", f"a strike of {names[got]}"
        elif kind is Kind.WRONG_OUTPUT:
            output, due, came = (
                names[got],
                f"a strike of {names[expected]}",
                f"a strike of {names[got]}",
            )
        else:
            output, due, came = (
                names[expected],
                f"a strike of {names[expected]} by tick {tick}",
                "no strike",
            )
        return Failure(tick, kind.label, output, due, came, branch)


__all__ = ["FAR", "Moment", "NotAllowedError", "Press", "Simulator", "replay"]
