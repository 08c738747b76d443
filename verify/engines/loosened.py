"""Systems that do all that another does, and more, and have fewer zones.

What nobody knows about a line, but is the same for a whole run, may be another number at each
use; and how long a pause lasts is not told apart number by number, but picked when it begins.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import replace
from typing import Any

from verify.errors import ModelError
from verify.language import expressions as ex
from verify.language.machine import Machine, Statement, System
from verify.language.picks import parts_of, rebuilt
from verify.language.state import Number, Set
from verify.parts.pause import End, stops


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
    picks: dict[ex.Int, ex.Int] = {
        ex.Read(item): ex.Pick(item.name, item.least, item.most) for item in gone
    }
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
    """The system with the length of each pause picked when it begins."""
    return replace(system, machines=tuple(map(_picked, system.machines)))


def _picked(machine: Machine) -> Machine:
    """The machine with one choice for all lengths of its pause, of which one is then picked. Exact,
    as an end that stands still cannot stop again in the same tick."""
    offer = machine.offer
    if offer is None or offer.signal not in map(stops, End):
        return machine
    lengths = [part for part in parts_of(offer.do) if isinstance(part, ex.Lookup)]
    told = [part for part in parts_of((machine.body, offer)) if isinstance(part, ex.Field)]
    if len(lengths) != 1 or told != [lengths[0].index]:
        raise ModelError(f"{machine.name!r}: a pause of which more than its length is chosen")
    [lookup] = lengths
    pick = ex.Pick(offer.signal.name, int(lookup.table[0]), int(lookup.table[-1]))
    do: tuple[Statement, ...] = _with(offer.do, {lookup: pick})
    return replace(machine, offer=replace(offer, count=1, do=do))


def loosened(system: System) -> Iterator[tuple[System, tuple[Number, ...]]]:
    """Systems that do more, those with the fewest zones first, and which unknowns are left out."""
    freed = of_any_length(system)
    yield from dict.fromkeys([forgetful(freed), (freed, ())])


def _with(thing: Any, other: Mapping[ex.Int, ex.Int]) -> Any:
    """The same with some expressions replaced."""
    return rebuilt(thing, lambda e: other.get(e, e) if isinstance(e, ex.Int) else e)
