"""A pause: the clock of one end stands still for a while, and goes on where it stopped.

While it stands, timers of that end do not run; what needs no time (levers, wires, gates)
goes on. A transformation of machines, the same for every scheme, and a machine for each
end that lets the world choose when, and for how long.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace
from enum import Enum

from verify.language import expressions as ex
from verify.language.durations import Measure, is_rest, remeasured
from verify.language.machine import Each, Machine, Offer, Rule, Statement
from verify.language.state import Bank, Number, Signal, Timer, number
from verify.parts.script import Chosen
from verify.parts.signals import paused


class End(Enum):
    """Whose clock stands still."""

    TRANSMITTER = "transmitter"
    RECEIVER = "receiver"
    EITHER = "either"

    @property
    def words(self) -> str:
        """As in a sentence."""
        return "transmitter or the receiver" if self is End.EITHER else self.value


@dataclass(frozen=True)
class Pause:
    """One end stops for up to ``most`` ticks (0: never), any time, up to ``times`` times.

    ``end``: which; ``EITHER``: one of the two, the same for the whole run.
    """

    most: int = 0
    times: int = 1
    end: End = End.EITHER

    @property
    def reach(self) -> int:
        """Ticks by which one end can fall behind the other."""
        return self.most * self.times

    @property
    def ends(self) -> tuple[End, ...]:
        """The ends that may stop."""
        if self.end is End.EITHER:
            return End.TRANSMITTER, End.RECEIVER
        return (self.end,)


def stops(end: End) -> Signal:
    """The world lets an end stop; its number is the length, less one."""
    return Signal(f"pause.{end.value}", ("choice",))


def told(choice: Chosen) -> tuple[End, int] | None:
    """Which end a choice of a run stops, and for how many ticks; None if it is no pause."""
    for end in (End.TRANSMITTER, End.RECEIVER):
        if choice.name == stops(end).name:
            return end, choice.value + 1
    return None


def _still(end: End, most: int) -> Timer:
    return Timer(f"pause.{end.value}", most)


def left(pause: Pause, end: End) -> Number:
    """How many more pauses of an end there may be."""
    return number(f"pause.{end.value}.left", 0, pause.times, pause.times)


def build(pause: Pause) -> tuple[Machine, ...]:
    """The machines that take up pauses, one for each end, and tell its machines."""
    return tuple(_stopping(pause, end) for end in pause.ends)


def _stopping(pause: Pause, end: End) -> Machine:
    still, more = _still(end, pause.most), left(pause, end)
    choice = stops(end).occurrence("stop")["choice"]
    length = ex.Lookup(tuple(range(1, pause.most + 1)), choice)
    allowed: ex.Bool = (more.read() > 0) & ~still.running()
    for other in pause.ends:
        if other is not end:
            allowed &= left(pause, other).read().eq(pause.times)
    # It stands still at once: in the same tick it cannot stop again.
    begin = (more.set(more.read() - 1), still.start(length))
    offer = Offer(stops(end), pause.most, "stop", allowed, begin)
    body = (Each(stops(end), "stop", (paused(end.value).emit(still.left),)),)
    return Machine(f"pause.{end.value}", (more, still), body, offer)


def pausing(
    machines: Iterable[Machine], pause: Pause, end: End, resolution: int = 1
) -> tuple[Machine, ...]:
    """The machines of one end, whose timers stand still during a pause of that end.

    ``resolution``: parts of a tick in which the machines count.
    """
    if not pause.most or end not in pause.ends:
        return tuple(machines)
    still = _still(end, pause.most * resolution)

    def length(name: str, old: ex.Int, new: ex.Int) -> ex.Int:
        # What goes on from another timer's rest has waited with that one.
        return new if is_rest(old) else ex.Plus(new, still.left)

    same = Measure(
        lambda e: e,
        lambda e: e,
        int,
        int,
        lambda windows: windows,
        length,
        still.most * pause.times,
    )
    later = remeasured(machines, frozenset(), same)
    return tuple(_stopped(machine, paused(end.value)) for machine in later)


def _stopped(machine: Machine, stops: Signal) -> Machine:
    """When the end stops, all that runs there runs so much longer."""
    length = stops.occurrence("stopped")["ticks"]
    longer: list[Statement] = []
    for item in machine.memory:
        if isinstance(item, Timer):
            # What runs out in the tick in which the pause begins has run out.
            longer.append(Rule("later", item.left > 0, (item.start(item.left + length),)))
        elif isinstance(item, Bank):
            entry = item.entry("standing")
            again = item.put(entry.left + length, *(entry[name] for name in item.fields))
            wait = Rule("later", entry.left > 0, (entry.take(), again))
            longer.append(Each(item, "standing", (wait,)))
    if not longer:
        return machine
    body = (Each(stops, "stopped", tuple(longer)), *machine.body)
    return replace(machine, body=body)
