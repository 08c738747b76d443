"""A link of which one end is not ours: what that end did is played, the rest is the model's."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Literal, TypeAlias

from verify.language.machine import Machine
from verify.language.state import Number
from verify.parts import player, signals
from verify.parts.clock import Clock
from verify.parts.link import Link
from verify.parts.monitor import Queue
from verify.parts.player import Edge
from verify.parts.scheme import Scheme
from verify.units import Ticks

ForeignEnd: TypeAlias = Literal["transmitter", "receiver"]


def sayings(link: Link, end: ForeignEnd) -> dict[tuple[str, int], Edge]:
    """What an end may say, by name and value, as what then happens in the link."""
    if end == "receiver":
        return {
            (f"out.{name}", value): (signal(0), (i,))
            for i, name in enumerate(link.names)
            for value, signal in ((1, signals.strike), (0, signals.rest))
        }
    return {
        (line_name(link, k), value): (signal(k), ())
        for k in range(link.scheme.lines)
        for value, signal in ((1, signals.line_rise), (0, signals.line_fall))
    }


def hearings(link: Link, end: ForeignEnd) -> dict[Edge, tuple[str, int]]:
    """What an end hears: what happens in the link, as name and value."""
    if end == "transmitter":
        return {
            (signal, (i,)): (f"in.{name}", value)
            for i, name in enumerate(link.names)
            for value, signal in ((1, signals.PRESS), (0, signals.RELEASE))
        }
    return {
        (signal(k, 0), ()): (line_name(link, k), value)
        for k in range(link.scheme.lines)
        for value, signal in ((1, signals.far_rise), (0, signals.far_fall))
    }


def line_name(link: Link, line: int) -> str:
    """As an end calls its own end of a line: ``line``, or ``line.2`` of several."""
    return "line" if link.scheme.lines == 1 else f"line.{line + 1}"


def foreign(link: Link, end: ForeignEnd) -> tuple[Link, Foreign]:
    """The link with that end played, and its scheme. A receiver is on its only branch; what a
    transmitter sends goes to all."""
    scheme = Foreign(link.scheme, end, tuple(dict.fromkeys(sayings(link, end).values())))
    branches = link.branches[:1] if end == "receiver" else link.branches
    return replace(link, scheme=scheme, branches=branches), scheme


@dataclass(frozen=True)
class Foreign(Scheme):
    """A scheme whose ``end`` is a player of ``edges``; in all else it is ``base``."""

    base: Scheme
    end: ForeignEnd
    edges: tuple[Edge, ...]

    @property
    def watches_release(self) -> bool:
        """A transmitter that nobody sees into may."""
        return self.end == "transmitter" or self.base.watches_release

    @property
    def inputs(self) -> int:
        """Those of the base."""
        return self.base.inputs

    @property
    def lines(self) -> int:
        """Those of the base."""
        return self.base.lines

    @property
    def warm_up(self) -> int:
        """As the base."""
        return self.base.warm_up

    @property
    def drops_when(self) -> str:
        """As the base."""
        return self.base.drops_when

    @property
    def step(self) -> int | None:
        """As the base."""
        return self.base.step

    @property
    def steps(self) -> int:
        """As the base."""
        return self.base.steps

    @property
    def clock_offset(self) -> tuple[int, int]:
        """As the base."""
        return self.base.clock_offset

    @property
    def queue(self) -> Queue | None:
        """As the base."""
        return self.base.queue

    def drifts_away(self, clock: Clock) -> bool:
        """As the base."""
        return self.base.drifts_away(clock)

    def stretch(self, clock: Clock) -> Ticks:
        """As the base."""
        return self.base.stretch(clock)

    def per_input(self) -> dict[str, tuple[int, ...]]:
        """As the base."""
        return self.base.per_input()

    def settings(self) -> dict[str, str | int]:
        """As the base."""
        return self.base.settings()

    @property
    def shared(self) -> tuple[Number, ...]:
        """Numbers of the transmitter that the receiver's begin like. The target cannot be told
        their values, so they are at their least."""
        own = {item for machine in self.base.transmitter() for item in machine.memory}
        starts = [
            item.start
            for machine in self.base.receiver(0)
            for item in machine.memory
            if isinstance(item, Number)
        ]
        return tuple(dict.fromkeys(s for s in starts if isinstance(s, Number) and s in own))

    def transmitter(self) -> tuple[Machine, ...]:
        """The base's, or the player."""
        if self.end == "receiver":
            return self.base.transmitter()
        return (player.build(self.edges, self.shared),)

    def receiver(self, branch: int, delay: int = 0) -> tuple[Machine, ...]:
        """The base's, or the player."""
        if self.end == "transmitter":
            return self.base.receiver(branch, delay)
        return (player.build(self.edges),)
