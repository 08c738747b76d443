"""What goes on inside the machines of a link during a run: modes and the like, and timers that
run down."""

from __future__ import annotations

from dataclasses import dataclass

from verify.engines.simulator import Simulator
from verify.engines.trace import Trace
from verify.language.state import Flag, Mode, Number, Timer
from verify.parts.link import Link
from verify.parts.monitor import Windows

# Rows of timers and numbers of one run; a link of many machines shows its first.
MOST_ROWS = 24
# What watches or only bounds the inputs, and what carries edges, is no machine of the link.
_OUTSIDE = ("operator", "monitor", "outputs", "line", "pause", "recovery")


@dataclass(frozen=True)
class Stretch:
    """From ``first`` up to ``last``, ticks: a word, or a timer that has ``left`` at first."""

    first: int
    last: int
    word: str = ""
    left: int = 0


@dataclass(frozen=True)
class InsideRow:
    """A mode, a number or a flag (stretches with words), or a timer (falling from ``left``).

    ``most``: of a timer, the longest that it has in this run.
    """

    name: str
    stretches: tuple[Stretch, ...]
    most: int = 0


def inside_rows(
    trace: Trace, link: Link, windows: tuple[Windows, ...] | None = None
) -> list[InsideRow]:
    """Modes, numbers, flags and timers that change in the run of a trace, by machine, in order."""
    script = trace.script
    simulator = Simulator(link, script.delay, windows, script.resolution)
    places = [
        (i, item)
        for i, item in enumerate(simulator.compiled.memory)
        if isinstance(item, Number | Timer)
        and not item.name.startswith(_OUTSIDE)
        and not (isinstance(item, Number) and (item.wire or "driven" in item.name))
    ]
    last = max([*(e.tick for e in trace.events), *(p.tick for p in script.presses), 0])
    end = trace.failure.tick if trace.failure else last
    first = min([*(e.tick for e in trace.events), *(p.tick for p in script.presses), end])
    begun = first - 1
    states = [(begun, simulator.compiled.start_with(dict(script.constants)))]
    for moment in simulator.run(script, until=end, every=True):
        if moment.tick <= begun:
            states[0] = (begun, _aged(simulator, moment.state, begun - moment.tick))
        else:
            states.append((moment.tick, moment.state))
    rows = []
    for i, item in places:
        values = [(tick, state[i]) for tick, state in states]
        row = _timer(item, values, end) if isinstance(item, Timer) else _number(item, values, end)
        if row is not None:
            rows.append(row)
    return rows[:MOST_ROWS]


def _aged(simulator: Simulator, state: tuple[object, ...], ticks: int) -> tuple[object, ...]:
    """Timers after so many ticks in which nothing happens."""
    timers = set(simulator.compiled.timers)
    return tuple(
        max(0, value - ticks) if i in timers and isinstance(value, int) else value
        for i, value in enumerate(state)
    )


def _number(item: Number, values: list[tuple[int, int]], end: int) -> InsideRow | None:
    stretches: list[Stretch] = []
    since, before = values[0]
    for tick, value in values[1:]:
        if value != before:
            stretches.append(Stretch(since, tick, _word(item, before)))
            since, before = tick, value
    if not stretches:
        return None
    stretches.append(Stretch(since, end + 1, _word(item, before)))
    return InsideRow(item.name, tuple(stretches))


def _word(item: Number, value: int) -> str:
    if isinstance(item, Flag):
        return "true" if value else "false"
    return item.modes[value] if isinstance(item, Mode) else str(value)


def _timer(item: Timer, values: list[tuple[int, int]], end: int) -> InsideRow | None:
    stretches: list[Stretch] = []
    most = 0
    since, left = values[0]
    for tick, now in [*values[1:], (end + 1, None)]:
        goes_on = now is not None and left > 0 and now == left - (tick - since)
        if goes_on and now:
            continue
        if left > 0:
            stretches.append(Stretch(since, min(tick, since + left), left=left))
            most = max(most, left)
        since, left = tick, now or 0
    return InsideRow(item.name, tuple(stretches), most) if stretches else None


__all__ = ["InsideRow", "Stretch", "inside_rows"]
