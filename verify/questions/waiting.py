"""Links whose transmitter keeps presses waiting: sends in turn are like presses that far apart.

The argument has two halves.

1. The queue always has a place. An input is pressed at most ``1 + x // apart`` times in any x + 1
   ticks, so as long as the transmitter is busy without a break, so much work has come, and of it
   the number of sends that fit into x ticks is over (a bound of the kind of R. L. Cruz, "A
   calculus for network delay, part I", IEEE Transactions on Information Theory 37 (1991) - from
   memory). The longest busy time is where the work that has come is done.
2. What the transmitter sends is then what it would send without a queue if each press came when
   its send begins, which is never before the last is over. If everything of that sort comes out
   right, each strike is in the window of its press: that begins with the press and ends later by
   the time it waited. Strikes of one output come in the order of the sends, so those of its
   presses, and the oldest press takes each.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

from verify.engines.answer import Answer, Verdict
from verify.language.machine import System
from verify.parts.link import Link, factored
from verify.parts.monitor import Windows
from verify.parts.operator import Operator

# Ticks of a busy time, and presses of it, that are looked at.
LONGEST, STEPS = 10**7, 10_000


def by_waiting(link: Link, windows: Windows, ask: Callable[[System], Answer]) -> Answer | None:
    """A proof for a link with a queue; None where this argument says nothing."""
    system, found = in_turn(link, windows), longest_wait(link)
    if system is None or found is None:
        return None
    _, most = found
    answer = ask(system)
    if answer.verdict is not Verdict.HOLDS:
        return None
    waiting = f"at most {most - 1} {'press waits' if most == 2 else 'presses wait'}"
    return replace(answer, covered=f"{waiting}; of sends in turn {answer.covered}")


def in_turn(link: Link, windows: Windows) -> System | None:
    """The link without a queue, presses a send apart: if that holds, and the queue always has a
    place, the link holds. None where this argument says nothing."""
    queue, without = link.scheme.queue, link.scheme.unqueued()
    if queue is None or without is None or not _plain(link):
        return None
    alone = replace(link, scheme=without, operator=_a_send_apart(queue.sends))
    return factored(alone, replace(windows, queue=None))


def _a_send_apart(sends: tuple[int, ...]) -> Operator:
    if len(set(sends)) == 1:
        return Operator(sends[0])  # the same as all pairs, in one timer
    return Operator(pairs=tuple((send,) * len(sends) for send in sends))


def longest_wait(link: Link) -> tuple[int, int] | None:
    """Ticks after which a transmitter with a queue is idle again, at the latest, and the most
    presses whose sends are not over. None if more could be than it has places."""
    queue, apart = link.scheme.queue, _apart(link.operator, link.inputs)
    if queue is None:
        return None
    busy = _busy_time(queue.sends, apart, link.operator.closest)
    most = most_at_once(queue.sends, apart, link.operator.closest)
    if busy is None or most is None or most > queue.places + 1:
        return None
    return busy, most


def _plain(link: Link) -> bool:
    """Sends take the same time always, and begin with the presses and nothing else."""
    return (
        link.kind == "press"
        and not link.clock.rated
        and not link.clock.wander
        and not link.pause.most
        and not link.any_start
        and not link.scheme.watches_release
    )


def _apart(operator: Operator, inputs: int) -> tuple[int, ...]:
    """Ticks from a press to the next of the same input, at least."""
    least = max(operator.spacing, operator.repeat, operator.hold[0] + 1)
    if operator.pairs is None:
        return (least,) * inputs
    return tuple(max(least, operator.pairs[i][i]) for i in range(inputs))


def most_at_once(sends: tuple[int, ...], apart: tuple[int, ...], spacing: int) -> int | None:
    """Presses whose sends are not over, at most; None if no end of a busy time is found.

    ``sends``: ticks that each takes. ``apart``: ticks between presses of one input, at least;
    ``spacing``: between presses of any two, 0 if they may come in one tick.
    """
    busy = _busy_time(sends, apart, spacing)
    steps = {a for a in (*apart, spacing) if a}
    if busy is None or sum(busy // a for a in steps) > STEPS:
        return None
    # The most are there when another comes.
    comes = {0, *(ticks for a in steps for ticks in range(a, busy, a))}
    return max(_came(ticks, apart, spacing) - ticks // max(sends) for ticks in comes)


def _came(ticks: int, apart: tuple[int, ...], spacing: int) -> int:
    """Presses from the first on, those of that tick and of the one so much later among them."""
    came = sum(1 + ticks // a for a in apart)
    return min(came, 1 + ticks // spacing) if spacing else came


def _busy_time(sends: tuple[int, ...], apart: tuple[int, ...], spacing: int) -> int | None:
    """Ticks after which all that can have come by then is done; None if that is never."""
    ticks = 1
    while ticks <= LONGEST:
        last = ticks - 1
        work = sum(send * (1 + last // a) for send, a in zip(sends, apart, strict=True))
        if spacing:
            work = min(work, max(sends) * (1 + last // spacing))
        if work <= ticks:
            return ticks
        ticks = work
    return None
