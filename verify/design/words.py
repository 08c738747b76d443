"""Exhaustive search for tables of codes on few lines.

Tables that differ in the order of words or of lines only are alike. Of each such class at
least one has its words in the order of their weight, those of one weight ascending, and its
lines ascending too when read down the words (Flener et al. 2002, "Breaking row and column
symmetries in matrix models"); only those are looked at.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Literal

from verify.design.proof import Effort

Reading = Literal["each", "sets", "no-ghosts"]
"""What holding several inputs may not spoil.

``each``: which inputs are held, seen from the lines that each of them has (disjunct).
``sets``: which set of inputs is held, looked up as a whole (at-most-d separable).
``no-ghosts``: no input that is not held shows its code.
"""


@dataclass(frozen=True)
class Demand:
    """``skew``: no word covers another. ``held``: so many inputs at once, as ``reading`` says."""

    skew: bool = False
    held: int = 1
    reading: Reading = "each"


class Table:
    """Words chosen so far, with what any one more has to keep clear of."""

    def __init__(self, demand: Demand) -> None:
        self.demand = demand
        self.words: tuple[int, ...] = ()
        # ORs of at most so many words: index is the number of words.
        self.ors: tuple[frozenset[int], ...] = (
            frozenset([0]),
            *(frozenset() for _ in range(demand.held)),
        )
        self.seen = frozenset([0])

    def takes(self, word: int) -> bool:
        """The table may have this word too."""
        words, demand = self.words, self.demand
        if word == 0 or word in words:
            return False
        if demand.skew and any(w & word in (w, word) for w in words):
            return False
        if demand.held == 1:
            return True
        if demand.reading == "sets":
            return self._told_apart(word)
        if demand.reading == "each":
            return self._apart(word)
        return self._no_ghost(word)

    def _told_apart(self, word: int) -> bool:
        fresh = set()
        for group in self.ors[:-1]:
            for shown in group:
                now = shown | word
                if now in self.seen or now in fresh:
                    return False
                fresh.add(now)
        return True

    def _apart(self, word: int) -> bool:
        held = self.demand.held
        if any(word & ~shown == 0 for group in self.ors[1:] for shown in group):
            return False
        for w in self.words:
            rest = w & ~word
            if rest == 0 or _covered(rest, [v for v in self.words if v != w], held - 1):
                return False
        return True

    def _no_ghost(self, word: int) -> bool:
        held = self.demand.held
        if any(word in group for group in self.ors[2:]):
            return False
        for w in self.words:
            if w | word == w:
                rest = w & ~word
                others = [v for v in self.words if v != w and v | w == w]
                if _covered(rest, others, held - 1):
                    return False
        return True

    def plus(self, word: int) -> Table:
        """With one word more."""
        new = Table(self.demand)
        new.words = (*self.words, word)
        ors = [self.ors[0]]
        for less, same in zip(self.ors, self.ors[1:], strict=False):
            ors.append(same | {shown | word for shown in less})
        new.ors = tuple(ors)
        new.seen = frozenset().union(*ors)
        return new


def _covered(rest: int, words: Iterable[int], most: int) -> bool:
    """At most ``most`` of the words have all lines of ``rest``."""
    if rest == 0:
        return True
    if most == 0:
        return False
    line = rest & -rest
    words = list(words)
    return any(_covered(rest & ~w, words, most - 1) for w in words if w & line)


def is_good(words: Iterable[int], demand: Demand) -> bool:
    """A table as demanded."""
    table = Table(demand)
    for word in words:
        if not table.takes(word):
            return False
        table = table.plus(word)
    return True


def first_fit(lines: int, inputs: int, demand: Demand, effort: Effort) -> tuple[int, ...] | None:
    """Takes every word that fits, the light ones first; None if they are not enough."""
    table, trail = Table(demand), effort.trail
    for word in trail.best or ():
        table = table.plus(word)
    first = trail.first(0)
    for at, word in enumerate(in_order(range(1, 1 << lines))[first:], first):
        trail.at(0, at)
        effort.choice()
        if table.takes(word):
            table = table.plus(word)
            trail.best = table.words
            if len(table.words) == inputs:
                return table.words
    return None


def in_order(words: Iterable[int]) -> list[int]:
    """By weight, then ascending."""
    return sorted(words, key=lambda word: (word.bit_count(), word))


def search(
    lines: int, inputs: int, demand: Demand, effort: Effort, weights: range | None = None
) -> tuple[int, ...] | None:
    """A table of so many words on so many lines; None if there is none.

    ``weights``: of the words, if others are known not to be needed. Raises OutOfTimeError.
    """
    weights = range(1, lines + 1) if weights is None else weights
    candidates = in_order(w for w in range(1, 1 << lines) if w.bit_count() in weights)
    return _extend(Table(demand), candidates, inputs, ((1 << lines) - 1,), effort)


def _extend(
    table: Table, candidates: list[int], inputs: int, alike: tuple[int, ...], effort: Effort
) -> tuple[int, ...] | None:
    """``alike``: sets of neighbouring lines that no word so far tells apart."""
    if len(table.words) == inputs:
        return table.words
    depth, trail = len(table.words), effort.trail
    first = trail.first(depth)
    for at, word in enumerate(candidates[first:], first):
        if len(table.words) + len(candidates) - at < inputs:
            return None
        if not _low(word, alike):
            continue
        trail.at(depth, at)
        effort.choice()
        larger = table.plus(word)
        left = [w for w in candidates[at + 1 :] if larger.takes(w)]
        found = _extend(larger, left, inputs, _split(alike, word), effort)
        if found is not None:
            return found
    return None


def _low(word: int, alike: tuple[int, ...]) -> bool:
    """Among lines alike, the lower come first."""
    for lines in alike:
        has = word & lines
        lacks = lines & ~word
        if has and lacks and has > lacks & -lacks:
            return False
    return True


def _split(alike: tuple[int, ...], word: int) -> tuple[int, ...]:
    parts = (part for lines in alike for part in (lines & word, lines & ~word))
    return tuple(part for part in parts if part & (part - 1))
