"""Tables of codes whose lines are OR'd: which cover which, and how many may be held at once.

A word is a whole number, a bit per line. It covers another that has no line which it has not.
Definitions (Kautz & Singleton 1964, "Nonrandom binary superimposed codes"):

* d-disjunct: the OR of any d words covers no other word.
* exactly-d separable: the ORs of any d words all differ.
* at-most-d separable: the ORs of 0 to d words all differ, idle among them.

All three are called "d-separable" by some; they are not the same.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from functools import reduce
from itertools import combinations
from operator import or_

Collision = tuple[tuple[int, ...], tuple[int, ...]]
"""Two sets of inputs with the same OR."""


def covers(word: int, other: int) -> bool:
    """Every line of ``other`` is one of ``word``."""
    return word & other == other


def or_of(words: Iterable[int]) -> int:
    """What the lines show while all of these drive them; 0 for none."""
    return reduce(or_, words, 0)


def repeated(words: Sequence[int]) -> list[tuple[int, int]]:
    """(first input with the word, input that has it too)."""
    first: dict[int, int] = {}
    return [(first[w], i) for i, w in enumerate(words) if first.setdefault(w, i) != i]


def covering_pairs(words: Sequence[int]) -> list[tuple[int, int]]:
    """(input, input whose word it covers), two different inputs."""
    return [
        (i, j) for i, a in enumerate(words) for j, b in enumerate(words) if a & b == b and i != j
    ]


def is_unordered(words: Sequence[int]) -> bool:
    """No word covers another: safe under skew without ``settle`` (Sperner 1928, Verhoeff 1988)."""
    return not covering_pairs(words)


# -- a word covered by others -----------------------------------------------------


def cover_of(target: int, others: Sequence[tuple[int, int]], most: int) -> tuple[int, ...] | None:
    """At most ``most`` of ``others`` (name, word) whose OR covers ``target``, none of them idle.

    Their names, ascending; as the first search that succeeds has it. None: there are none.
    """
    if target == 0:
        return ()
    # Only the lines of the target matter; a word that has less of them than another is spare.
    parts: dict[int, int] = {}
    for name, word in others:
        parts.setdefault(word & target, name)
    parts.pop(0, None)
    by_size = sorted(parts, key=lambda part: (-part.bit_count(), parts[part]))
    useful: list[int] = []
    for part in by_size:
        if not any(part & kept == part for kept in useful):
            useful.append(part)
    lines = [1 << k for k in range(target.bit_length()) if target >> k & 1]
    on = {line: [part for part in useful if part & line] for line in lines}
    found = _cover(target, on, most)
    return None if found is None else tuple(sorted(parts[part] for part in found))


def _cover(left: int, on: dict[int, list[int]], most: int) -> tuple[int, ...] | None:
    """Branches on the line that fewest words have."""
    if left == 0:
        return ()
    if most == 0:
        return None
    line = min((line for line in on if line & left), key=lambda line: len(on[line]))
    for part in on[line]:
        rest = _cover(left & ~part, on, most - 1)
        if rest is not None:
            return (part, *rest)
    return None


def smallest_cover(
    words: Sequence[int], *, exact: bool = False, least: int = 1
) -> tuple[tuple[int, ...], int] | None:
    """Fewest inputs, at least ``least``, whose OR covers the word of another input; and that one.

    ``exact``: whose OR is that word. None if no number of others does.
    """
    for i, word in enumerate(words if least <= 1 else ()):
        # Idle is covered by anything, and is what another idle input shows.
        other = next((j for j, w in enumerate(words) if j != i and not (exact and w)), None)
        if word == 0 and other is not None:
            return (other,), i
    candidates = []
    for i, word in enumerate(words):
        others = [
            (j, w) for j, w in enumerate(words) if j != i and w and (not exact or w & word == w)
        ]
        if word and covers(or_of(w for _, w in others), word):
            candidates.append((i, word, others))
    if not candidates:
        return None
    for most in range(least, len(words)):
        for i, word, others in candidates:
            found = cover_of(word, others, most)
            if found is not None and len(found) >= least:
                return found, i
    return None


def is_disjunct(words: Sequence[int], held: int) -> bool:
    """The OR of any ``held`` words covers no other word. True if there is no other word."""
    if held >= len(words):
        held = len(words) - 1
    found = smallest_cover(words)
    return found is None or len(found[0]) > held


def most_disjunct(words: Sequence[int]) -> int:
    """Largest d for which the table is d-disjunct; the number of words if no d breaks it."""
    found = smallest_cover(words)
    return len(words) if found is None else len(found[0]) - 1


def is_union_free(words: Sequence[int]) -> bool:
    """No word is the OR of others (in the weak sense of OEIS A347025)."""
    return 0 not in words and smallest_cover(words, exact=True) is None


# -- sets told apart ---------------------------------------------------------------


def collision(
    words: Sequence[int], held: int, *, at_most: bool, budget: int | None = None
) -> Collision | None:
    """Two sets of exactly ``held`` inputs (or of 0 to ``held``) that show the same.

    Raises OverflowError when more than ``budget`` sets would have to be compared.
    """
    seen: dict[int, tuple[int, ...]] = {}
    for size in range(0 if at_most else held, held + 1):
        for inputs, word in _ors(words, size):
            if seen.setdefault(word, inputs) != inputs:
                return seen[word], inputs
            if budget is not None and len(seen) > budget:
                raise OverflowError
    return None


def _ors(words: Sequence[int], size: int) -> Iterator[tuple[tuple[int, ...], int]]:
    for inputs in combinations(range(len(words)), size):
        word = 0
        for i in inputs:
            word |= words[i]
        yield inputs, word


def is_separable(words: Sequence[int], held: int, *, at_most: bool = True) -> bool:
    """At-most-``held`` separable, or exactly-``held`` separable."""
    return collision(words, min(held, len(words)), at_most=at_most) is None
