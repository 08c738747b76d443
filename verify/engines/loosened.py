"""Systems that do all that another does, and more, and have fewer zones.

What nobody knows about a line, but is the same for a whole run, may be another number at each
use; and what the world chooses when it does something (how long a pause lasts) is not told apart
number by number, but picked where it is used.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Mapping
from dataclasses import fields, is_dataclass, replace
from itertools import pairwise
from typing import Any

from verify.language import expressions as ex
from verify.language.machine import Each, Machine, System
from verify.language.picks import parts_of
from verify.language.state import Bank, Number, Set, Signal, Timer

_MEMORY = (Number, Timer, Bank, Signal)


def forgetful(system: System) -> tuple[System, tuple[Number, ...]]:
    """With unknowns that are only lengths of bank entries anew at each use, and these."""
    parts = (part for machine in system.machines for part in parts_of(machine))
    written = {part.number for part in parts if isinstance(part, Set)}
    copied = {item.start for item in system.memory if isinstance(item, Number)}
    gone = tuple(
        item
        for item in system.memory
        if isinstance(item, Number)
        and isinstance(item.start, tuple)
        and item not in written
        and item not in copied
    )
    picks = {ex.Read(item): ex.Pick(item.name, item.least, item.most) for item in gone}
    machines = (
        Machine(
            machine.name,
            tuple(item for item in machine.memory if item not in gone),
            _with(machine.body, picks),
            _with(machine.offer, picks),
            _with(machine.possible, picks),
        )
        for machine in system.machines
    )
    return replace(system, machines=tuple(machines)), gone


def of_any_length(system: System) -> System:
    """The system with numbers that the world chooses picked in the one place that uses them."""
    listens: Counter[Signal] = Counter(
        part.source
        for machine in system.machines
        for part in parts_of(machine.body)
        if isinstance(part, Each) and isinstance(part.source, Signal)
    )
    return replace(system, machines=tuple(_picked(m, listens) for m in system.machines))


def _picked(machine: Machine, listens: Mapping[Signal, int]) -> Machine:
    """The machine with what its offer chooses picked, if that is a length and used once."""
    offer = machine.offer
    if offer is None or listens[offer.signal] != 1:
        return machine
    here = [part for part in parts_of(machine.body) if isinstance(part, Each)]
    named = [each.name for each in here if each.source == offer.signal]
    if not named:
        return machine
    chosen = ex.Field(named[0], 0)
    lengths = [p for p in parts_of(machine.body) if isinstance(p, ex.Lookup) and p.index == chosen]
    uses = sum(part == chosen for part in parts_of(machine.body))
    told = any(isinstance(p, ex.Field) for p in parts_of((offer.allowed, offer.do)))
    if told or uses != 1 or len(lengths) != 1 or not _even(lengths[0].table, offer.count):
        return machine
    table = lengths[0].table
    pick = ex.Pick(offer.signal.name, int(table[0]), int(table[-1]))
    return replace(
        machine,
        body=_with(machine.body, {lengths[0]: pick}),
        offer=replace(offer, count=1),
    )


def _even(table: tuple[Any, ...], count: int) -> bool:
    """One number after the other, and not more than may be chosen."""
    return len(table) == count and all(b - a == 1 for a, b in pairwise(table))


def loosened(system: System) -> Iterator[tuple[System, tuple[Number, ...]]]:
    """Systems that do more, those with the fewest zones first, and which unknowns are left out."""
    freed = of_any_length(system)
    yield from dict.fromkeys([forgetful(freed), (freed, ())])


def _with(thing: Any, other: Mapping[Any, Any]) -> Any:
    """The same with some expressions replaced."""
    if isinstance(thing, ex.Read | ex.Lookup) and thing in other:
        return other[thing]
    if isinstance(thing, tuple):
        return tuple(_with(part, other) for part in thing)
    if is_dataclass(thing) and not isinstance(thing, (*_MEMORY, type)):
        changed = {f.name: _with(getattr(thing, f.name), other) for f in fields(thing)}
        return replace(thing, **changed)
    return thing
