"""Times that are told in whole ticks by whoever sets them: numbers and picks, as counts.

A clock that is off makes every tick that it counts longer or shorter. A number that only ever
holds such counts, or a pick, is kept as it is; what it stands for is looked up where it is used
as a time, so that a clock may make of the table what it makes of any other.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace

from verify.language import expressions as ex
from verify.language.durations import Key
from verify.language.machine import Machine, walk
from verify.language.picks import rebuilt
from verify.language.state import Number, Set

MOST_COUNTS = 4096  # values of a number or pick of which a table is made


def as_counts(
    machines: Iterable[Machine], times: frozenset[Key]
) -> tuple[tuple[Machine, ...], frozenset[Key]]:
    """The machines with their counts told from times, and those of ``times`` that are still some.

    Numbers and picks of more than ``MOST_COUNTS`` values stay times.
    """
    machines = tuple(machines)
    numbers = _counting(machines, times)
    found: set[Key] = set(numbers)

    def change(e: object) -> object:
        if isinstance(e, ex.Read) and e.number in numbers:
            return _told(e, e.number.least, e.number.most)
        if isinstance(e, ex.Pick) and e.name in times and e.most - e.least < MOST_COUNTS:
            found.add(e.name)
            return _told(e, e.least, e.most)
        return e

    told = tuple(
        replace(m, body=rebuilt(m.body, change), possible=rebuilt(m.possible, change))
        for m in machines
    )
    return told, times - found


def _told(e: ex.Int, least: int, most: int) -> ex.Int:
    return ex.Lookup(tuple(range(least, most + 1)), e - least if least else e)


def _counting(machines: tuple[Machine, ...], times: frozenset[Key]) -> frozenset[Number]:
    """The numbers among ``times`` that are never given what a timer has left."""
    memory = [item for m in machines for item in m.memory if isinstance(item, Number)]
    found = {n for n in memory if n in times and n.most - n.least < MOST_COUNTS}
    found -= {n for n in found if isinstance(n.start, Number)}
    sets = [s for m in machines for s in walk(m.body) if isinstance(s, Set)]
    while stray := {s.number for s in sets if s.number in found and not _count(s.value, found)}:
        found -= stray
    return frozenset(found)


def _count(e: ex.Int, numbers: set[Number]) -> bool:
    match e:
        case ex.Constant() | ex.Lookup() | ex.Pick():
            return True
        case ex.Read(number):
            return number in numbers
        case ex.Plus(a, b) | ex.Minus(a, b):
            return _count(a, numbers) and _count(b, numbers)
    return False
