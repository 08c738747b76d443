"""Make a failing script as small as a script of its kind can be.

Fewer presses first, then less time, then lower inputs: the order in which the explorer
finds failures. The solver's models, and random finds, are brought to it here.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import replace

from verify.engines.trace import Press, Script


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


def _smaller(script: Script) -> Iterator[Script]:
    presses = script.presses
    for k in range(len(presses)):
        yield replace(script, presses=_from_zero(presses[:k] + presses[k + 1 :]))
    for k in range(1, len(presses)):
        gap = presses[k].tick - presses[k - 1].tick
        # Large steps first; the loop comes back until even one tick is too much.
        cut = gap
        while cut > 0:
            yield _closer(script, k, cut)
            cut //= 2
    for k, press in enumerate(presses):
        for lower in {0, press.input - 1} if press.input else ():
            changed = replace(press, input=lower)
            yield replace(script, presses=(*presses[:k], changed, *presses[k + 1 :]))


def _closer(script: Script, k: int, ticks: int) -> Script:
    """Press ``k`` and all that comes after it, so many ticks sooner."""
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
