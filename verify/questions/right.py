"""Did the build do its job? The monitor on recorded inputs and outputs, whatever lies between;
and did the inputs keep the bounds of the link's operator?"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from math import ceil, floor

from verify.engines.concrete import Compiled, State
from verify.engines.conform import MOST_KNOWN
from verify.language.machine import Machine, System
from verify.parts import monitor, operator, player
from verify.parts.link import Link
from verify.parts.monitor import Windows
from verify.parts.signals import Kind, failure
from verify.parts.stretch import Place, edges_at
from verify.questions.judging import Subject
from verify.recordings.moments import Moment
from verify.recordings.recording import signals_of


@dataclass(frozen=True)
class Misfire:
    """The first thing that came out wrong: tick since the first change of the recording, kind,
    output expected and output got (None: none)."""

    tick: int
    kind: str
    expected: str | None
    got: str | None
    line: int


class Right:
    """The monitor of one branch."""

    def __init__(self, link: Link, windows: Windows, branch: int) -> None:
        self.link, self.branch = link, branch
        signals = signals_of(link)
        self.edges = (*edges_at(link, Place.INPUT), *edges_at(link, Place.OUTPUT))
        names = (*signals.inputs, *signals.outs[branch])
        self.number = {name: k for k, name in enumerate(names)}
        self.windows = windows
        self.tolerance = 0
        self.compiled = self._compiled(windows)
        self.state = next(self.compiled.starts())
        self.now = -1
        self.misfire: Misfire | None = None
        # What comes of a state, so long and with these edges: a recording repeats itself.
        self.known: dict[tuple[State, int, tuple[int, ...]], State] = {}

    @classmethod
    def of(cls, subject: Subject, watched: frozenset[str]) -> Iterator[Right]:
        """One per branch of which all inputs and outputs were recorded."""
        signals = signals_of(subject.link)
        for branch, windows in enumerate(subject.windows):
            if watched >= {*signals.inputs, *signals.outs[branch]}:
                yield cls(subject.link, windows, branch)

    def _compiled(self, windows: Windows) -> Compiled:
        link = self.link
        machines: list[Machine] = [player.build(self.edges)]
        if link.kind == "press":
            machines += monitor.build(0, windows, link.outputs, may_miss=link.may_miss)
        else:
            machines += [
                monitor.build_level(0, windows, link.outputs, i, may_miss=link.may_miss)
                for i in range(link.inputs)
            ]
        return Compiled(System(tuple(machines)))

    def _wider(self, tolerance: int) -> None:
        """A time may be off by so much, from now on."""
        self.tolerance = tolerance
        wider = replace(
            self.windows,
            earliest=tuple(max(0, floor(t) - tolerance) for t in self.windows.earliest),
            latest=tuple(ceil(t) + tolerance for t in self.windows.latest),
            slopes=None,
        )
        compiled = self._compiled(wider)
        if [m.name for m in compiled.memory] == [m.name for m in self.compiled.memory]:
            self.compiled = compiled
            self.known.clear()

    def advance(self, moment: Moment, tolerance: int) -> None:
        """On to the next moment, up to the first thing that is wrong."""
        if self.misfire is not None:
            return
        if tolerance != self.tolerance or self.now < 0:
            self._wider(tolerance)
        played = [
            2 * self.number[name] + (1 - value)
            for name, value in moment.changes
            if name in self.number
        ]
        key = self.state, moment.tick - self.now, (*played,)
        known = self.known.get(key)
        if known is not None:
            self.now, self.state = moment.tick, known
            return
        while self.now < moment.tick:
            left = moment.tick - self.now
            event = self.compiled.next_event(self.state)
            passed = left if event is None or event >= left else event
            result = self.compiled.step(self.state, passed, played if passed == left else ())
            if result is None:
                raise AssertionError("a player plays whatever it is told")
            self.now += passed
            self.state = result[0]
            for signal, values in result[1]:
                if signal == failure(0):
                    self.misfire = self._misfire(values, moment.line)
                    return
        if len(self.known) >= MOST_KNOWN:
            self.known.clear()
        self.known[key] = self.state

    def _misfire(self, values: tuple[int, ...], line: int) -> Misfire:
        names = signals_of(self.link).outs[self.branch]
        kind, expected, got = Kind(values[0]), values[1], values[2]
        return Misfire(
            self.now,
            kind.label,
            names[expected] if expected >= 0 else None,
            names[got] if got >= 0 else None,
            line,
        )


class Manners:
    """The bounds of the operator: warns of the first change that breaks them."""

    def __init__(self, link: Link, warn: Callable[[int, str], None]) -> None:
        self.link, self.warn = link, warn
        machine = operator.build(
            link.operator, link.inputs, link.scheme.watches_release, link.kind, 0
        )
        self.compiled = Compiled(System((machine,)))
        self.state = next(self.compiled.starts())
        self.number = {name: k for k, name in enumerate(signals_of(link).inputs)}
        self.now = -1
        self.broken = False

    @classmethod
    def of(
        cls, link: Link, watched: frozenset[str], warn: Callable[[int, str], None]
    ) -> Iterator[Manners]:
        """One, if inputs were recorded."""
        if watched & {*signals_of(link).inputs}:
            yield cls(link, warn)

    def advance(self, moment: Moment, tolerance: int) -> None:
        """On to the next moment."""
        taken = [
            self.number[name]
            for name, value in moment.changes
            if name in self.number and (value or self.link.kind == "level")
        ]
        if self.broken or not taken:
            return
        # Times that were rounded may be that much closer than they were.
        to = moment.tick + tolerance
        while self.now < to:
            left = to - self.now
            event = self.compiled.next_event(self.state)
            passed = left if event is None or event >= left else event
            result = self.compiled.step(self.state, passed, sorted(taken) if passed == left else ())
            if result is None:
                self.broken = True
                names = ", ".join(name for name, _ in moment.changes if name in self.number)
                self.warn(
                    moment.line,
                    f"{names}: sooner than [operator] of the link file allows; what is proved of "
                    "the link is not proved of this recording",
                )
                return
            self.now += passed
            self.state = result[0]
        self.now = moment.tick


__all__ = ["Manners", "Misfire", "Right"]
