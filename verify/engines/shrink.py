"""Make a failing script as small as a script of its kind can be.

Fewer presses first, then less time, then lower inputs: the order in which the explorer
finds failures. The solver's models, and random finds, are brought to it here.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import replace

from verify.engines.trace import Press, Script

# A gap is tried with so many whole ticks less at most (all, but for very long ones), with so many
# evenly spread parts of a tick less, and with each of the least numbers of parts.
MOST_CUTS = 4_096
FINE_CUTS = 256
LEAST_CUTS = 10


def size(script: Script) -> tuple[int, int, tuple[Press, ...]]:
    """The order of scripts: presses, then ticks, then inputs."""
    last = max((p.tick for p in script.presses), default=0)
    return len(script.presses), last, script.presses


def shrink(script: Script, fails: Callable[[Script], bool]) -> Script:
    """A script that fails and of which no single step leaves a smaller one that fails.

    ``fails`` runs a script and says whether it is legal and fails.
    """
    better = True
    while better:
        better = False
        for candidate in _smaller(script):
            if size(candidate) < size(script) and fails(candidate):
                script, better = candidate, True
                break
    return script


def moved_apart(script: Script, ticks: int) -> Script:
    """The same presses in the same order, each at least so many ticks after the one before it."""
    for k in range(1, len(script.presses)):
        gap = script.presses[k].tick - script.presses[k - 1].tick
        script = _closer(script, k, min(0, gap - ticks))
    return script


def _smaller(script: Script) -> Iterator[Script]:
    presses = script.presses
    for k in range(len(presses)):
        rest = presses[:k] + presses[k + 1 :]
        yield replace(script, presses=_from_zero(rest))
        # What was picked may matter: it stays with its presses, or all stays where it is.
        without = replace(script, presses=rest)
        if rest and rest[0].tick:
            yield without.sooner(rest[0].tick, script.constants)
        yield without
    for k in range(1, len(presses)):
        gap = presses[k].tick - presses[k - 1].tick
        since = presses[k - 1].tick
        between = any(since < pick.tick < presses[k].tick for pick in script.picks)
        for cut in _cuts(gap, script.resolution):
            yield _closer(script, k, cut)
            if between:  # what was picked there may belong to what comes after
                yield _closer(script, k, cut, since + 1)
    for k, press in enumerate(presses):
        for lower in {0, press.input - 1} if press.input else ():
            changed = replace(press, input=lower)
            yield replace(script, presses=(*presses[:k], changed, *presses[k + 1 :]))


def _cuts(gap: int, parts: int) -> Iterator[int]:
    """Parts of a tick to take from a gap: large steps first, then all whole ticks, the least of
    the parts, and others evenly.

    A shorter gap may fail where one between does not, so none may be left out.
    """
    halves = [gap >> k for k in range(gap.bit_length())]
    yield from halves
    ticks = gap // parts
    whole = range(ticks, 0, -max(1, ticks // MOST_CUTS))
    few = range(gap, 0, -max(1, gap // FINE_CUTS))
    least = range(1, min(gap, LEAST_CUTS) + 1)
    yield from sorted({*(parts * t for t in whole), *few, *least} - {*halves}, reverse=True)


def _closer(script: Script, k: int, ticks: int, since: int | None = None) -> Script:
    """Press ``k`` and all that comes after it, so many ticks sooner (below 0: later); what was
    picked, from ``since`` on, or from that press on."""
    since = script.presses[k].tick if since is None else since
    return replace(
        script,
        presses=tuple(
            replace(p, tick=p.tick - ticks) if n >= k else p for n, p in enumerate(script.presses)
        ),
        picks=tuple(
            replace(c, tick=c.tick - ticks) if c.tick >= since else c for c in script.picks
        ),
    )


def _from_zero(presses: tuple[Press, ...]) -> tuple[Press, ...]:
    if not presses:
        return presses
    first = presses[0].tick
    return tuple(replace(p, tick=p.tick - first) for p in presses)
