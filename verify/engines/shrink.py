"""Make a failing script as small as a script of its kind can be.

Fewer presses first, then less time, then lower inputs: the order in which the explorer
finds failures. The solver's models, and random finds, are brought to it here.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from typing import TypeAlias

from verify.engines.answer import SpentError
from verify.engines.trace import Press, Script

Test: TypeAlias = Callable[[Script], bool]
Apart: TypeAlias = Callable[[int, int], int]

# Of a run of more presses stretches are dropped before single presses are.
FEW = 16

# A gap is tried with so many whole ticks less at most (all, but for very long ones), with so many
# evenly spread parts of a tick less, and with each of the least numbers of parts.
MOST_CUTS = 4_096
FINE_CUTS = 256
LEAST_CUTS = 10


def size(script: Script) -> tuple[int, int, tuple[Press, ...]]:
    """The order of scripts: presses, then ticks, then inputs."""
    last = max((p.tick for p in script.presses), default=0)
    return len(script.presses), last, script.presses


@dataclass(frozen=True)
class Small:
    """A script that fails. ``minimal``: no single step leaves a smaller one that fails; else the
    test took no more before that was known."""

    script: Script
    minimal: bool


def shrink(script: Script, fails: Test, apart: Apart | None = None) -> Small:
    """A script that fails and of which no single step leaves a smaller one that fails.

    ``fails`` runs a script and says whether it is legal and fails; SpentError ends the work.
    ``apart``: from a press of one input to a later one of another no operator allows less, in
    parts of a tick as the script counts them.
    """
    shrinking = _Shrinking(script, fails, apart)
    try:
        shrinking.run()
    except SpentError:
        return Small(shrinking.script, False)
    return Small(shrinking.script, True)


class _Shrinking:
    """The smallest so far. Steps go on from where the last one was of use: only when one round
    of them all changes nothing is nothing left to take."""

    def __init__(self, script: Script, fails: Test, apart: Apart | None) -> None:
        self.script, self.fails, self.apart = script, fails, apart
        self.widest = 0
        if apart is not None:
            inputs = {press.input for press in script.presses}
            self.widest = max((apart(i, j) for i in inputs for j in inputs), default=0)

    def run(self) -> None:
        """Whole stretches first: of a long run most presses may be idle."""
        if len(self.script.presses) > FEW:
            self._drop_stretches()
        before: Script | None = None
        while self.script != before:
            before = self.script
            self._drop_presses()
            self._try(_at_once(self.script))
            self._close_gaps()
            self._lower_inputs()

    def _try(self, candidates: Iterator[Script]) -> bool:
        """The first that is smaller and fails is taken."""
        for candidate in candidates:
            if size(candidate) < size(self.script) and self.fails(candidate):
                self.script = candidate
                return True
        return False

    def _drop_stretches(self) -> None:
        length = len(self.script.presses) // 2
        while length > 1:
            k = 0
            while k < len(self.script.presses):
                if not self._try(_without_stretch(self.script, k, k + length)):
                    k += length
            length //= 2

    def _drop_presses(self) -> None:
        k = 0
        while k < len(self.script.presses):
            if not self._try(_without(self.script, k, k + 1)):
                k += 1

    def _close_gaps(self) -> None:
        k = 1
        while k < len(self.script.presses):
            if not self._try(_closer_ones(self.script, k, self._most_closer(k))):
                k += 1

    def _most_closer(self, k: int) -> int:
        """No operator allows the gap before press ``k`` to be shorter by more."""
        presses = self.script.presses
        most = presses[k].tick - presses[k - 1].tick
        if self.apart is None:
            return most
        for before in reversed(presses[:k]):
            if presses[k].tick - before.tick >= most + self.widest:
                break
            for after in presses[k:]:
                if after.tick - before.tick >= most + self.widest:
                    break
                spare = after.tick - before.tick - self.apart(before.input, after.input)
                most = min(most, spare)
        return max(0, most)

    def _lower_inputs(self) -> None:
        k = 0
        while k < len(self.script.presses):
            if not self._try(_lower_ones(self.script, k)):
                k += 1


def moved_apart(script: Script, ticks: int) -> Script:
    """The same presses in the same order, each at least so many ticks after the one before it."""
    for k in range(1, len(script.presses)):
        gap = script.presses[k].tick - script.presses[k - 1].tick
        script = _closer(script, k, min(0, gap - ticks))
    return script


def _without(script: Script, since: int, until: int) -> Iterator[Script]:
    presses = script.presses
    rest = presses[:since] + presses[until:]
    # What was picked may matter: it stays with its presses, or all stays where it is.
    without = replace(script, presses=rest)
    if rest and rest[0].tick:
        yield replace(script, presses=_from_zero(rest))
        yield without.sooner(rest[0].tick, script.constants)
    yield without


def _at_once(script: Script) -> Iterator[Script]:
    """Begun without waiting."""
    wait = min((p.tick for p in script.presses), default=0)
    if wait:
        yield replace(script, presses=_from_zero(script.presses))
        yield script.sooner(wait, script.constants)


def _without_stretch(script: Script, since: int, until: int) -> Iterator[Script]:
    presses = script.presses
    for without in _without(script, since, until):
        if since and until < len(presses):  # what comes after may have to follow as closely
            yield _closer(without, since, presses[until].tick - presses[since].tick)
        yield without


def _closer_ones(script: Script, k: int, most: int) -> Iterator[Script]:
    if not most:
        return
    presses = script.presses
    gap, since = presses[k].tick - presses[k - 1].tick, presses[k - 1].tick
    between = any(since < pick.tick < presses[k].tick for pick in script.picks)
    for cut in _cuts(gap, script.resolution):
        if cut > most:
            continue
        yield _closer(script, k, cut)
        if between:  # what was picked there may belong to what comes after
            yield _closer(script, k, cut, since + 1)


def _lower_ones(script: Script, k: int) -> Iterator[Script]:
    presses, press = script.presses, script.presses[k]
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
