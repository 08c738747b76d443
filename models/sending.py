"""Transmitters that make one send at a time: what they do with a press meanwhile."""

from __future__ import annotations

import itertools
from collections.abc import Callable

from verify.language import expressions as ex
from verify.language.machine import Each, First, Machine, Rule, Statement
from verify.language.state import Number, Timer, number
from verify.parts.signals import PRESS


def one_by_one(
    send_times: tuple[int, ...],
    places: int,
    begin: Callable[[ex.Int], tuple[Statement, ...]],
    memory: tuple[Number | Timer, ...],
    before: tuple[Statement, ...],
) -> Machine:
    """A sender that is busy for ``send_times[i]`` ticks with a press of input i.

    A press meanwhile waits in one of ``places``, or is dropped. ``begin(i)``: what starts a
    send; ``before``: rules that go on with the present one; ``memory``: what both use.
    """
    busy = Timer("sender.busy", max(send_times))
    queue = [number(f"sender.place{k}", -1, len(send_times) - 1) for k in range(places)]
    pressed = PRESS.occurrence("p")["input"]

    def send(index: ex.Int) -> tuple[Statement, ...]:
        return (busy.start(ex.Lookup(send_times, index)), *begin(index))

    body: list[Statement] = [*before]
    if queue:
        moves = [a.set(b.read()) for a, b in itertools.pairwise(queue)]
        body.append(
            Rule(
                "next in the queue",
                busy.expires() & (queue[0].read() >= 0),
                (*send(queue[0].read()), *moves, queue[-1].set(-1)),
            )
        )
    choices = [Rule("send", ~busy.running(), send(pressed))]
    choices += [Rule("wait", place.read().eq(-1), (place.set(pressed),)) for place in queue]
    body.append(Each(PRESS, "p", (First(tuple(choices)),)))
    return Machine("sender", (busy, *memory, *queue), tuple(body))
