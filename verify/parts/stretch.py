"""Part of a link between two places where it was recorded: what is played at the one must come
out at the other. The machines are those of the whole link."""

from __future__ import annotations

from dataclasses import dataclass, replace
from enum import IntEnum

from verify.language import expressions as ex
from verify.language.durations import finer, remeasured, times_of
from verify.language.machine import Machine, System
from verify.language.state import Number, unknown
from verify.parts import line, outputs, player
from verify.parts.any_start import anywhere
from verify.parts.clock import Clock, paced
from verify.parts.link import Link
from verify.parts.pause import End, pausing
from verify.parts.pause import build as build_pause
from verify.parts.player import Edge
from verify.parts.signals import (
    PRESS,
    RELEASE,
    far_fall,
    far_rise,
    line_fall,
    line_rise,
    rest,
    strike,
)

DELAY = "line.delay"


class Place(IntEnum):
    """Where a link can be watched, in the order in which things go through it."""

    INPUT = 0
    NEAR = 1
    FAR = 2
    OUTPUT = 3


@dataclass(frozen=True)
class Stretch:
    """From one place of a link to another; ``branch``: which receiver's."""

    begin: Place
    end: Place
    branch: int = 0

    @property
    def parts(self) -> tuple[str, ...]:
        """What lies between: transmitter, line, receiver."""
        names = ("transmitter", "line", "receiver")
        return names[self.begin : self.end]


def edges_at(link: Link, place: Place) -> tuple[Edge, ...]:
    """All that can happen at a place: of each signal in turn its rise, then its fall."""
    if place is Place.INPUT:
        return tuple((s, (i,)) for i in range(link.inputs) for s in (PRESS, RELEASE))
    if place is Place.OUTPUT:
        return tuple((s, (i,)) for i in range(link.inputs) for s in (strike(0), rest(0)))
    lines = range(link.scheme.lines)
    if place is Place.NEAR:
        return tuple((s(k), ()) for k in lines for s in (line_rise, line_fall))
    return tuple((s(k, 0), ()) for k in lines for s in (far_rise, far_fall))


def systems(link: Link, stretch: Stretch, resolution: int = 1) -> tuple[System, ...]:
    """The system of a stretch; several where the receiver's clock depends on the line's delay,
    one for each delay. The delay is an unknown of the run where the file leaves it open. What may
    be played comes first among the choices of the world, then the pauses of the link."""
    least, most = link.delay
    timed = link.scheme.warm_up > 0 and stretch.end is Place.OUTPUT
    if timed and stretch.begin < Place.FAR:
        return tuple(_system(link, stretch, (d, d), resolution) for d in range(least, most + 1))
    return (_system(link, stretch, (least, most), resolution),)


def _system(link: Link, stretch: Stretch, delay: tuple[int, int], resolution: int) -> System:
    scheme, branch = link.scheme, stretch.branch
    transmitter: tuple[Machine, ...] = ()
    others: list[Machine] = []
    if stretch.begin is Place.INPUT:
        transmitter = scheme.transmitter()
        if link.any_start:
            transmitter = anywhere(transmitter)
    if stretch.begin <= Place.NEAR and stretch.end >= Place.FAR:
        others += _line(link, delay, branch)
    if stretch.end is Place.OUTPUT:
        receiver = scheme.receiver(0, delay[0] + link.branches[branch])
        receiver = anywhere(receiver) if link.any_start else receiver
        others += pausing(receiver, link.pause, End.RECEIVER)
        others.append(outputs.build(0, link.outputs))
    missing = _without_owner((*transmitter, *others))
    playing = player.build(edges_at(link, stretch.begin), missing)
    pauses = build_pause(link.pause) if link.pause.most else ()
    if link.clock == Clock() and resolution == 1:
        transmitter = pausing(transmitter, link.pause, End.TRANSMITTER)
        return System((playing, *pauses, *transmitter, *others))
    times = times_of((playing, *pauses, *transmitter, *others))
    period = link.clock.period(resolution)
    return System(
        (
            *(() if period is None else (Machine("clock", (period,), ()),)),
            playing,
            *remeasured(pauses, times, finer(resolution)),
            *pausing(
                paced(transmitter, times, link.clock, resolution, scheme.step),
                link.pause,
                End.TRANSMITTER,
                resolution,
            ),
            *remeasured(others, times, finer(resolution)),
        ),
        resolution,
        link.clock.rated,
    )


def _line(link: Link, delay: tuple[int, int], branch: int) -> list[Machine]:
    least, most = (d + link.branches[branch] - link.faults.proving for d in delay)
    machines: list[Machine] = []
    long: ex.Int = ex.Constant(least)
    if most > least:
        open_delay = unknown(DELAY, least, most)
        machines.append(Machine(DELAY, (open_delay,), ()))
        long = open_delay.read()
    for k in range(link.scheme.lines):
        machines += line.build(k, (long,), link.faults)
    return machines


def _without_owner(machines: tuple[Machine, ...]) -> tuple[Number, ...]:
    """Numbers that others begin like, and that belong to parts that are not there."""
    there = {item for machine in machines for item in machine.memory}
    starts = [item.start for item in there if isinstance(item, Number)]
    return tuple(dict.fromkeys(s for s in starts if isinstance(s, Number) and s not in there))


def alone(link: Link) -> Link:
    """The link without what cannot be told from a recording: pauses."""
    return replace(link, pause=replace(link.pause, most=0))
