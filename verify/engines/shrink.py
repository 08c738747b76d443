"""Make a failing script as small as a script of its kind can be.

Fewer presses first, then less time, then lower inputs: the order in which the explorer
finds failures. The solver's models, and random finds, are brought to it here.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import replace

from verify.engines.trace import Press, Script

# Of gaps up to so many ticks every shorter one is tried, of others so many.
EVERY_CUT = 256


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
        for cut in _cuts(gap):
            yield _closer(script, k, cut)
    for k, press in enumerate(presses):
        for lower in {0, press.input - 1} if press.input else ():
            changed = replace(press, input=lower)
            yield replace(script, presses=(*presses[:k], changed, *presses[k + 1 :]))


def _cuts(gap: int) -> Iterator[int]:
    """Ticks to take from a gap: large steps first, then all others, of long gaps some.

    A shorter gap may fail where one between does not, so none may be left out.
    """
    halves = [gap >> k for k in range(gap.bit_length())]
    yield from halves
    step = -(-gap // EVERY_CUT) if gap else 1
    yield from (cut for cut in range(gap, 0, -step) if cut not in halves)


def _closer(script: Script, k: int, ticks: int) -> Script:
    """Press ``k`` and all that comes after it, so many ticks sooner (below 0: later)."""
    since = script.presses[k].tick
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
