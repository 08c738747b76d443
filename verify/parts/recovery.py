"""What goes wrong during a disturbance and shortly after does not count: for ``recover``.

A machine that knows when the last disturbance was over, and monitors that speak up only
some ticks after that.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace

from verify.language import expressions as ex
from verify.language.machine import Each, Earliest, First, Machine, Rule, Statement
from verify.language.state import Emit, Signal, Timer
from verify.parts.pause import Pause, left
from verify.parts.signals import paused

# The timer that runs while what goes wrong does not count.
SINCE = "recovery.since"
# From now on it counts.
ARMED = Signal("recovery.armed")


def build(spared: int, pause: Pause, any_start: bool) -> Machine:
    """Counts ``spared`` ticks from the end of each pause, and from a start in any state."""
    since = _since(spared, pause, any_start)
    body: list[Statement] = []
    for end in pause.ends if pause.most else ():
        length = paused(end.value).occurrence("over")["ticks"]
        body.append(Each(paused(end.value), "over", (since.start(length + spared),)))
    body.append(Rule("counts again", since.expires(), (ARMED.emit(),)))
    return Machine("recovery", (since,), tuple(body))


def _since(spared: int, pause: Pause, any_start: bool) -> Timer:
    begin = spared if any_start else 0
    return Timer(SINCE, max(1, spared + pause.most), begin=begin, lenient=True)


def counting(
    machines: Iterable[Machine], spared: int, pause: Pause, any_start: bool
) -> tuple[Machine, ...]:
    """Monitors that say what went wrong only when it counts."""
    counts: ex.Bool = ~_since(spared, pause, any_start).running()
    if pause.most and not any_start:
        ended: ex.Bool = ex.Truth(False)
        for end in pause.ends:
            ended |= left(pause, end).read() < pause.times
        counts &= ended
    return tuple(replace(m, body=_all(m.body, counts)) for m in machines)


def _all(statements: tuple[Statement, ...], counts: ex.Bool) -> tuple[Statement, ...]:
    return tuple(_one(statement, counts) for statement in statements)


def _one(statement: Statement, counts: ex.Bool) -> Statement:
    match statement:
        case Emit(signal, _) if signal.name.startswith("failure"):
            return Rule("counts", counts, (statement,))
        case Rule(name, when, do):
            return Rule(name, when, _all(do, counts))
        case First(rules):
            return First(tuple(Rule(r.name, r.when, _all(r.do, counts)) for r in rules))
        case Each(source, name, do, expired):
            return Each(source, name, _all(do, counts), expired)
        case Earliest(bank, name, where, do, otherwise):
            return Earliest(bank, name, where, _all(do, counts), _all(otherwise, counts))
        case _:
            return statement
