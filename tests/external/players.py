"""Feed a receiver any train of pulses, also one that no transmitter of ours would send."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from models.pulse_gap import LINE, PulseGap
from tests.links import make_link
from verify.engines.simulator import Simulator
from verify.engines.trace import Press, Script
from verify.language.machine import Each, Machine, Rule
from verify.parts.link import Link
from verify.parts.operator import Operator
from verify.parts.scheme import Scheme
from verify.parts.signals import PRESS, decoded, line_fall, line_rise

RISE, FALL = 0, 1

Strikes = list[tuple[int, int]]
"""Tick and output of every strike, in order."""


@dataclass(frozen=True)
class Player(Scheme):
    """The receiver of a pulse-gap scheme behind a line that goes up and down as it is told.

    Input 0 lifts the line, input 1 lowers it; the outputs are those of ``heard_by``. A link has
    an input for every output: any others do nothing.
    """

    heard_by: PulseGap

    @property
    def inputs(self) -> int:
        return max(2, self.heard_by.inputs)

    def per_input(self) -> dict[str, tuple[int, ...]]:
        return {}

    def settings(self) -> dict[str, str | int]:
        return {}

    def transmitter(self) -> tuple[Machine, ...]:
        told = PRESS.occurrence("told")["input"]
        edges = (
            Rule("rise", told.eq(RISE), (line_rise(LINE).emit(),)),
            Rule("fall", told.eq(FALL), (line_fall(LINE).emit(),)),
        )
        return (Machine("player", (), (Each(PRESS, "told", edges),)),)

    def receiver(self, branch: int, delay: int = 0) -> tuple[Machine, ...]:
        return self.heard_by.receiver(branch)


def strikes_of(scheme: PulseGap, rises: Iterable[int]) -> Strikes:
    """What the receiver of a scheme makes of a line that rises at these ticks."""
    link = make_link(Player(scheme), Operator(hold=(0, 0)))
    return run(link, [Press(tick, RISE) for tick in rises])


def strikes_of_train(scheme: PulseGap, durations: Iterable[int], start: int = 0) -> Strikes:
    """The same of a recorded train: ticks of mark, space, mark, ..., from tick ``start``."""
    edges, now = [], start
    for place, duration in enumerate(durations):
        edges.append(Press(now, FALL if place % 2 else RISE))
        now += duration
    edges.append(Press(now, FALL))
    return run(make_link(Player(scheme), Operator(hold=(0, 0))), edges)


def run(link: Link, presses: Iterable[Press]) -> Strikes:
    """Strikes of a run by the simulator, without a monitor."""
    simulator = Simulator(link, 0, None)
    return [
        (moment.tick, values[0])
        for moment in simulator.run(Script(tuple(presses)))
        for signal, values in moment.occurrences
        if signal == decoded(0)
    ]


def rises_of(link: Link, presses: Iterable[Press]) -> list[int]:
    """Ticks at which the line of a link rises."""
    return edges_of(link, presses)[0]


def edges_of(link: Link, presses: Iterable[Press]) -> tuple[list[int], list[int]]:
    """Ticks at which the line of a link rises, and those at which it falls."""
    rises, falls = [], []
    for moment in Simulator(link, 0, None).run(Script(tuple(presses))):
        for signal, _ in moment.occurrences:
            if signal == line_rise(LINE):
                rises.append(moment.tick)
            elif signal == line_fall(LINE):
                falls.append(moment.tick)
    return rises, falls
