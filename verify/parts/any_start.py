"""Start in any state: power-up, or a build that was loaded half done.

A transformation of machines, the same for every scheme: what they remember may be anything,
within what is possible for the machine. What repeats a wire is right, outputs show nothing,
and nothing is on its way.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace

from verify.language.durations import Measure, Rewriter
from verify.language.machine import Machine
from verify.language.state import Number, Timer
from verify.units import Ticks


def anywhere(machines: Iterable[Machine], later: Ticks = 0) -> tuple[Machine, ...]:
    """The machines, each found in any state that is possible for it.

    ``later``: ticks after power-up until the first edge may come to them: they may be switched on
    as late as that, so what is left of their timers may be more by as much.
    """
    machines = tuple(machines)
    own = frozenset(item for machine in machines for item in machine.memory)
    anew = _Anywhere(own, later)
    return tuple(anew.machine(machine) for machine in machines)


class _Anywhere(Rewriter):
    def __init__(self, own: frozenset[object], later: Ticks) -> None:
        same = Measure(lambda e: e, lambda e: e, int, int, lambda windows: windows)
        super().__init__(frozenset(), same)
        self.own, self.later = own, later

    def timer(self, timer: Timer) -> Timer:
        """One that runs from power-up on may have any time left, another may also be off."""
        if timer not in self.own:
            return timer
        most = timer.most if timer.found is None else timer.found
        # Delays in parts of a tick are scaled to whole ones later.
        return replace(timer, begin=(int(timer.begin != 0), most + self.later))  # type: ignore[arg-type]

    def number(self, number: Number) -> Number:
        """Any value."""
        if number not in self.own or number.wire or isinstance(number.start, tuple):
            return number
        return replace(number, start=(number.least, number.most))
