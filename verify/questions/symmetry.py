"""Links whose lines may change places: of presses that do alike, one is enough."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

from verify.engines.answer import Answer, Budget, Progress, Verdict
from verify.engines.lone import Lone, factored_windows
from verify.engines.one_by_one import one_by_one
from verify.parts.link import Link, factored
from verify.parts.monitor import Windows

# Of fewer inputs the explorer sees everything soon enough; of so few it finds the shortest failure.
FEWEST, FEW = 11, 64

LoneOf = Callable[[Link], Lone]


def by_symmetry(
    link: Link, windows: Windows, lone_of: LoneOf, budget: Budget, progress: Progress, brief: bool
) -> Answer | None:
    """A verdict on a link of many inputs; None where this argument says nothing.

    ``brief``: a failure need not be the shortest.
    """
    if link.inputs < FEWEST or not _one_at_a_time(link) or not lone_of(link).rests:
        return None
    closed = link.scheme.closed()
    if closed is None:
        return None
    progress.doing, progress.states = "exploring", 0
    names = tuple(map(str, range(closed.inputs)))
    larger = replace(link, scheme=closed, names=names, order=None)
    for theirs in factored_windows(larger, lone_of(larger)):
        if _begins(theirs, windows):
            answer = one_by_one(factored(larger, theirs), closed, budget, progress)
            if answer.verdict is Verdict.HOLDS:
                return answer
    if not brief and link.inputs <= FEW:
        return None
    answer = one_by_one(factored(link, windows), link.scheme, budget, progress)
    return answer if answer.verdict is Verdict.FAILS else None


def _one_at_a_time(link: Link) -> bool:
    """Presses, never two in a tick, of any inputs alike, and no disturbance but the lines'."""
    operator = link.operator
    return (
        link.kind == "press"
        and (operator.closest > 0 or operator.overlap == 1)
        and operator.pairs is None
        and not link.may_miss
        and not link.clock.rated
        and not link.clock.wander
        and not link.pause.most
        and not link.any_start
        and link.scheme.queue is None
    )


def _begins(larger: Windows, windows: Windows) -> bool:
    """Strikes are due as in ``windows``, as far as these go."""
    count = len(windows.earliest)
    return (
        replace(larger, earliest=larger.earliest[:count], latest=larger.latest[:count]) == windows
    )
