"""How few lines could possibly do. Every bound here is proved, in the docstring or its source."""

from __future__ import annotations

from functools import cache
from math import comb


def unordered_words(lines: int) -> int:
    """Most words of which none covers another: C(n, n // 2). Sperner 1928, Math. Z. 27:544."""
    return comb(lines, lines // 2)


@cache
def lines_unordered(inputs: int) -> int:
    """Fewest lines for so many words of which none covers another. Exact."""
    lines = 1
    while unordered_words(lines) < inputs:
        lines += 1
    return lines


@cache
def lines_disjunct(inputs: int, held: int) -> int:
    """No fewer lines do for words of which no ``held`` together cover another.

    * Up to held + 1 words: none may be covered by all others, so each has a line of its own.
    * One word has a line of its own: without it and the line, the rest is such a table too.
    * None has: each line of a word is another's too, so the word has over ``held`` lines. On
      the lines outside it, no held - 1 of the other words together cover another.
    * For two held, also ``two_held_words``.

    The third step and the first give the bound of Bassalygo (in Dyachkov and Rykov 1983,
    Problems of Control and Information Theory 12:229; from memory).
    """
    if held == 1:
        return lines_unordered(inputs)
    lines = 0
    for words in range(1, inputs + 1):
        if words <= held + 1:
            lines = words
            continue
        lines = min(1 + lines, held + 1 + lines_disjunct(words - 1, held - 1))
        while two_held_words(lines) < words:
            lines += 1
    return lines


@cache
def two_held_words(lines: int) -> int:
    """No more words do on so many lines if no two together cover another.

    A part of a word is its own if no other word has all of it. Of the two parts of any
    division of a word one is its own, since else two words would cover it (Erdos, Frankl and
    Furedi 1982, J. Combin. Theory A 33:158). Draw the lines in random order: the sets drawn
    so far meet an own part of a word with some chance, and never own parts of two words,
    since one would lie in the other (as Lubell 1966 counts). Let h(m) be the share of own
    parts among the parts of m lines of a word of k lines. h(m) + h(k - m) >= 1, and the chance
    is the sum of h(m) (w(m) - w(m+1)), w(m) = C(k, m) / C(n, m). As w is convex, it is least
    where h is 0 below the middle: C(2t-1, t) / C(n, t) for k = 2t - 1 or 2t lines. So there
    are at most max over t of C(n, t) / C(2t-1, t) words. If some word has a line of its own,
    there is at most one word more than on one line less; else t = 1 is out.
    """
    if lines <= 1:
        return lines
    shared = max(
        (comb(lines, t) // comb(2 * t - 1, t) for t in range(2, lines // 2 + 1)), default=1
    )
    return max(1 + two_held_words(lines - 1), shared)


@cache
def lines_told_apart(inputs: int, held: int) -> int:
    """No fewer lines do if all sets of up to ``held`` inputs show something different.

    There are as many patterns as sets at least.
    """
    sets = sum(comb(inputs, k) for k in range(min(held, inputs) + 1))
    return (sets - 1).bit_length()
