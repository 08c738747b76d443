"""How soon after one press may another come? Two presses from rest, on concrete values.

The least distance from which on the second press is safe, at every later one too: below it,
some choice of the world fails. Of what nobody knows and of what the world picks the two extremes
are tried, in every combination: what goes wrong in between is for the proof of all pairs to find.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from itertools import product

from verify.engines.concrete import Compiled, State
from verify.parts.link import Link
from verify.parts.signals import failure

# States visited with all extremes, in all; afterwards everything is at its least.
MOST_STATES = 200_000
# Combinations of unknowns at power-up; of more, only all at their least and all at their most.
MOST_STARTS = 64

_LATE = re.compile(r"line(\d+)\.late")

# A state after the first press, when it was reached, and when it ends, if it does.
_Stretch = tuple[State, int, int | None]


class TwoPresses:
    """``compiled``: a link without bounds on spacing, counting ``resolution`` parts of a tick;
    distances are whole ticks."""

    def __init__(self, compiled: Compiled, link: Link, resolution: int) -> None:
        self.compiled, self.link, self.resolution = compiled, link, resolution
        self.visited = 0
        self.alone: dict[tuple[int, State], list[_Stretch]] = {}
        self.safe: set[State] = set()

    def least(self, first: int, second: int, spacing: int) -> int:
        """Going down from ``spacing``: the last distance before the first that fails."""
        starts = list(self._starts(first, second))
        for apart in range(spacing - 1, -1, -1):
            if not all(self._well(start, first, second, apart) for start in starts):
                return apart + 1
        return 0

    @property
    def _thorough(self) -> bool:
        return self.visited < MOST_STATES

    def _starts(self, first: int, second: int) -> Iterator[State]:
        """States at power-up. How late a line is matters only if one of the two drives it."""
        rest = self.compiled.start_with({})
        least = dict(self.compiled.constants(rest))
        if self.link.any_start or not self._thorough:
            yield rest
            return
        driven = {k for group in self.link.scheme.exchangeable((first, second)) for k in group}
        most = dict(self.compiled.constants(self.compiled.last_start()))
        names = [name for name in least if not driven or _drives(name, driven)]
        ends = [(least[name], most[name]) for name in names]
        chosen = product(*ends) if 1 << len(ends) <= MOST_STARTS else zip(*ends, strict=True)
        for values in chosen:
            state = self.compiled.start_with(dict(zip(names, values, strict=True)))
            if self.compiled.possible(state):
                yield state

    def _well(self, start: State, first: int, second: int, apart: int) -> bool:
        """Nothing fails, whatever the world does; a press that may not be does no harm."""
        if apart == 0:
            if first == second:
                return True  # one press, not two
            together = tuple(sorted((first, second)))
            return self._leads_well(start, 1, together)
        ticks = apart * self.resolution
        for state, since, until in self._alone(start, first):
            # At rest again the second press is alone.
            if (
                until is not None
                and since < ticks <= until
                and not self._leads_well(state, ticks - since, (second,))
            ):
                return False
        return True

    def _alone(self, start: State, index: int) -> list[_Stretch]:
        """All that a lone press comes to."""
        if (index, start) not in self.alone:
            found: dict[tuple[State, int], _Stretch] = {}
            coming = [(state, 0) for state, _ in self._outcomes(start, 1, (index,))]
            while coming:
                state, now = coming.pop()
                if (state, now) in found:
                    continue
                event = self.compiled.next_event(state)
                found[state, now] = state, now, None if event is None else now + event
                if event is not None:
                    after = self._outcomes(state, event, ())
                    coming += [(further, now + event) for further, _ in after]
            self.alone[index, start] = list(found.values())
        return self.alone[index, start]

    def _leads_well(self, state: State, passed: int, taken: tuple[int, ...]) -> bool:
        coming, seen = list(self._outcomes(state, passed, taken)), set()
        while coming:
            after, fails = coming.pop()
            if fails:
                return False
            if after in self.safe or after in seen:
                continue
            seen.add(after)
            event = self.compiled.next_event(after)
            if event is not None:
                coming += self._outcomes(after, event, ())
        self.safe |= seen
        return True

    def _outcomes(
        self, state: State, passed: int, taken: tuple[int, ...]
    ) -> Iterator[tuple[State, bool]]:
        """What the tick may lead to, and whether it fails."""
        wrong = failure(0)
        for after, log, _ in self.compiled.outcomes(state, passed, taken, extremes=True):
            self.visited += 1
            yield after, any(signal == wrong for signal, _ in log)
            if not self._thorough:
                return  # all picks at their least come first


def _drives(name: str, driven: set[int]) -> bool:
    """The unknown is not how late a line is that nobody drives."""
    late = _LATE.fullmatch(name)
    return late is None or int(late[1]) in driven


__all__ = ["TwoPresses"]
