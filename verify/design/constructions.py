"""Tables of codes that are known to be good: built, not searched."""

from __future__ import annotations

import random
from collections.abc import Iterator
from itertools import combinations, islice, product
from math import comb

_SEED = 1
_TRIES = 60


def binary(inputs: int) -> tuple[int, ...]:
    """1, 2, 3, ...: every pattern but idle."""
    return tuple(range(1, inputs + 1))


def one_line_each(inputs: int) -> tuple[int, ...]:
    """Nothing shared."""
    return tuple(1 << i for i in range(inputs))


def same_weight(lines: int, inputs: int) -> tuple[int, ...]:
    """Words of equally many lines, as few as are enough, of which none covers another."""
    weight = next(k for k in range(1, lines + 1) if comb(lines, k) >= inputs)
    words = sorted(sum(1 << i for i in chosen) for chosen in combinations(range(lines), weight))
    return tuple(islice(words, inputs))


def polynomials(inputs: int, held: int) -> tuple[tuple[int, ...], int]:
    """Words and lines: values of polynomials, a group of lines per place (Kautz, Singleton 1964).

    Two polynomials of degree below k over a prime field of q agree in at most k - 1 places, so
    with held * (k - 1) + 1 places no ``held`` words cover another. The fewest lines of all q, k.
    """
    best: tuple[int, int, int] | None = None
    for q in _primes(inputs):
        k = 1
        while q**k < inputs:
            k += 1
        places = held * (k - 1) + 1
        if places <= q and (best is None or q * places < best[0]):
            best = q * places, q, k
    if best is None:
        return one_line_each(inputs), inputs
    lines, q, k = best
    words = []
    for factors in islice(product(range(q), repeat=k), inputs):
        values = (sum(f * x**e for e, f in enumerate(factors)) % q for x in range(lines // q))
        words.append(sum(1 << (q * x + value) for x, value in enumerate(values)))
    return tuple(words), lines


def _primes(inputs: int) -> Iterator[int]:
    """Up to the first at which every word is a constant of its own."""
    q = 2
    while True:
        if all(q % p for p in range(2, int(q**0.5) + 1)):
            yield q
            if q >= inputs:
                return
        q += 1


def most_triples(lines: int) -> int:
    """Most sets of three lines of which no two share two: known for every number of lines.

    Schonheim's bound, reached always (Spencer 1968, J. Combin. Theory 5:1; from memory).
    """
    return (lines * ((lines - 1) // 2)) // 3 - (lines % 6 == 5)


def triples(lines: int, inputs: int) -> tuple[int, ...] | None:
    """Words of three lines of which no two share two, so that no two cover a third.

    Hill climbing as of Stinson 1985 (Ann. Discrete Math. 26:321), repeatable. None: not found.
    """
    if most_triples(lines) < inputs:
        return None
    for attempt in range(_TRIES):
        found = _climb(lines, inputs, random.Random(_SEED + attempt))
        if found is not None:
            return found
    return None


def _climb(lines: int, inputs: int, chance: random.Random) -> tuple[int, ...] | None:
    third: dict[tuple[int, int], int] = {}  # of two lines in a triple, the one that makes it

    def put(a: int, b: int, c: int) -> None:
        for x, y, z in ((a, b, c), (a, c, b), (b, c, a)):
            third[x, y] = third[y, x] = z

    def take(a: int, b: int) -> None:
        c = third[a, b]
        for x, y in ((a, b), (a, c), (b, c)):
            del third[x, y], third[y, x]

    for _ in range(40 * lines * lines):
        if len(third) >= 6 * inputs:
            words = {1 << a | 1 << b | 1 << c for (a, b), c in third.items()}
            return tuple(sorted(words)[:inputs])
        free = [[y for y in range(lines) if y != x and (x, y) not in third] for x in range(lines)]
        open_ = [x for x in range(lines) if len(free[x]) >= 2]
        if not open_:
            return None
        a = chance.choice(open_)
        b, c = chance.sample(free[a], 2)
        if (b, c) in third:
            take(b, c)
        put(a, b, c)
    return None
