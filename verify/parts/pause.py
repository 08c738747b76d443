"""A pause: the clock of one end stands still for a while, and goes on where it stopped.

While it stands, timers of that end do not run; what needs no time (levers, wires, gates)
goes on. A transformation of machines, the same for every scheme, and a machine that lets
the world choose when, at which end, and for how long.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace
from enum import Enum

from verify.language import expressions as ex
from verify.language.durations import Measure, remeasured
from verify.language.machine import Each, Machine, Offer, Rule, Statement
from verify.language.state import Bank, Number, Signal, Timer, number
from verify.parts.signals import paused

# The world takes this up: number (end, length - 1), ends in the order of ``Pause.ends``.
PAUSE = Signal("pause", ("choice",))


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

    def chosen(self, choice: int) -> tuple[End, int]:
        """Which end a choice of the world stops, and for how many ticks."""
        end, length = divmod(choice, self.most)
        return self.ends[end], length + 1


def _still(end: End, most: int) -> Timer:
    return Timer(f"pause.{end.value}", most)


def left(pause: Pause) -> Number:
    """How many more pauses there may be."""
    return number("pause.left", 0, pause.times, pause.times)


def build(pause: Pause) -> Machine:
    """The machine that takes up pauses and tells the ends."""
    stops = left(pause)
    who = number("pause.end", -1, len(pause.ends) - 1, -1)
    choice = PAUSE.occurrence("stop")["choice"]
    ends = ex.Lookup(tuple(k for k, _ in enumerate(pause.ends) for _ in range(pause.most)), choice)
    lengths = tuple(range(1, pause.most + 1)) * len(pause.ends)
    allowed: ex.Bool = (stops.read() > 0) & (who.read().eq(-1) | who.read().eq(ends))
    memory: list[Number | Timer] = [stops, who]
    body: list[Statement] = []
    for k, end in enumerate(pause.ends):
        still = _still(end, pause.most)
        memory.append(still)
        allowed &= ~still.running()
        stop = (still.start(ex.Lookup(lengths, choice)), paused(end.value).emit(still.left))
        body.append(Each(PAUSE, "stop", (Rule(f"{end.value} stops", ends.eq(k), stop),)))
    then = (stops.set(stops.read() - 1), who.set(ends))
    offer = Offer(PAUSE, len(lengths), "stop", allowed, then)
    return Machine("pause", tuple(memory), tuple(body), offer)


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
        return new if _goes_on(old) else ex.Plus(new, still.left)

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


def _goes_on(length: ex.Int) -> bool:
    match length:
        case ex.Left() | ex.EntryLeft():
            return True
        case ex.Plus(a, b) | ex.Minus(a, b):
            return _goes_on(a) or _goes_on(b)
        case _:
            return False


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
