"""States as bits: how many each piece of memory takes, and a state as 64-bit words.

A state is a row of bits: what must be the same in two states for one to stand for the other
comes first, what may be longer (``Compiled.lenient``) after it. Either part begins with its
numbers, timers and counts of bank entries, each at a place of its own; bank entries follow.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import inf

from verify.engines.concrete import Compiled, State
from verify.engines.entry_fields import fields_from_tables
from verify.errors import FewwireError
from verify.language import expressions as ex
from verify.language.machine import Each, Earliest, First, Rule, Statement
from verify.language.picks import parts_of
from verify.language.ranges import Range, Ranges, narrowed, range_of
from verify.language.state import Bank, Emit, Put, Signal, Timer

WORD = 64
# Entries of a bank, occurrences of a signal in a tick, picks in a tick: more are not packed.
MOST_ENTRIES = 31
# Bits of a bank entry, one word less its sign and one to spare.
_MOST_BITS = 62
# Rounds in which the bounds of fields must come to rest.
_ROUNDS = 24


class UnpackableError(FewwireError):
    """Numbers without bounds, or too many of them: the search goes on without packing."""


@dataclass(frozen=True)
class Span:
    """Bits for a number of a range."""

    least: int
    most: int

    @property
    def width(self) -> int:
        """How many."""
        return (self.most - self.least).bit_length()


@dataclass(frozen=True)
class Packed:
    """A bank entry as one number, the ticks left on top: ordered as the entry is.

    ``values``: of a field that is kept as a rank, all that it may be; None: it is kept itself.
    """

    left: Span
    fields: tuple[Span, ...]
    values: tuple[tuple[int, ...] | None, ...]

    @property
    def shifts(self) -> tuple[int, ...]:
        """Where each field begins."""
        return tuple(sum(f.width for f in self.fields[k + 1 :]) for k in range(len(self.fields)))

    @property
    def under(self) -> int:
        """Where the ticks left begin."""
        return sum(f.width for f in self.fields)

    @property
    def width(self) -> int:
        """Bits of it all."""
        return self.under + self.left.width

    def number(self, entry: Sequence[int]) -> int:
        """Raises UnpackableError where the entry is out of its bounds."""
        value = _within(self.left, entry[0])
        for span, field, values in zip(self.fields, entry[1:], self.values, strict=True):
            if values is not None and field not in values:
                raise UnpackableError(f"{field} is in none of the tables")
            kept = field if values is None else values.index(field)
            value = value << span.width | _within(span, kept) - span.least
        return value

    def entry(self, number: int) -> tuple[int, ...]:
        """The entry that ``number`` stands for."""
        fields = []
        for shift, span, values in zip(self.shifts, self.fields, self.values, strict=True):
            kept = (number >> shift & (1 << span.width) - 1) + span.least
            fields.append(kept if values is None else values[kept])
        return (number >> self.under, *fields)


def _within(span: Span, value: int) -> int:
    if not span.least <= value <= span.most:
        raise UnpackableError(f"{value} is not within {span.least} to {span.most}")
    return value


COUNT = Span(0, MOST_ENTRIES)


class Layout:
    """Where everything is in a packed state. Raises UnpackableError if something has no bounds."""

    def __init__(self, compiled: Compiled) -> None:
        self.compiled = compiled
        bounds = _Bounds(compiled)
        self.banks: dict[int, Packed] = {}
        self.spans: dict[int, Span] = {}
        for i, item in enumerate(compiled.memory):
            if isinstance(item, Bank):
                self.banks[i] = bounds.packed(item)
                self.spans[i] = COUNT
            elif isinstance(item, Timer):
                begin = item.begin if isinstance(item.begin, int) else item.begin[1]
                self.spans[i] = Span(0, max(item.most, begin))
            else:
                self.spans[i] = Span(item.least, item.most)
        free = [i for i in range(len(compiled.memory)) if i not in compiled.lenient]
        self.parts = (free, list(compiled.lenient))
        longest = [s.most for i, s in self.spans.items() if i in compiled.timers]
        # No event and no end of a restraint is further away.
        self.longest = max([1, *longest, *(bank.left.most for bank in self.banks.values())])

    @property
    def fixed(self) -> int:
        """Bits of a state without bank entries."""
        return sum(span.width for span in self.spans.values())

    def bits(self, state: State) -> int:
        """Bits of a state."""
        return self.fixed + sum(len(state[i]) * bank.width for i, bank in self.banks.items())

    def words(self, state: State, many: int) -> list[int]:
        """A state as ``many`` numbers of 64 bits. Raises UnpackableError if it takes more."""
        row, at = 0, 0
        for part in self.parts:
            for i in part:
                value = len(state[i]) if i in self.banks else state[i]
                row |= _within(self.spans[i], value) - self.spans[i].least << at
                at += self.spans[i].width
            for i in (i for i in part if i in self.banks):
                for entry in state[i]:
                    row |= self.banks[i].number(entry) << at
                    at += self.banks[i].width
        if at > WORD * many:
            raise UnpackableError(f"a state takes {at} bits")
        return [row >> WORD * k & (1 << WORD) - 1 for k in range(many)]

    def state(self, words: Sequence[int]) -> State:
        """The state that these words stand for."""
        row = sum((int(word) & (1 << WORD) - 1) << WORD * k for k, word in enumerate(words))

        def next_bits(width: int) -> int:
            nonlocal row
            value = row & (1 << width) - 1
            row >>= width
            return value

        places: list[object] = [None] * len(self.spans)
        for part in self.parts:
            counts = {i: next_bits(self.spans[i].width) for i in part}
            for i in part:
                if i not in self.banks:
                    places[i] = counts[i] + self.spans[i].least
            for i in (i for i in part if i in self.banks):
                bank = self.banks[i]
                places[i] = tuple(bank.entry(next_bits(bank.width)) for _ in range(counts[i]))
        return tuple(places)


class _Bounds:
    """Between which numbers the fields of signals and bank entries lie: grown until they hold."""

    def __init__(self, compiled: Compiled) -> None:
        self.found: dict[tuple[Signal | Bank, int], Range] = {}
        self.looked: dict[int, dict[tuple[str, int], int]] = {}
        system = compiled.system
        self.ranked = fields_from_tables(system)
        self.grown = True
        for _ in range(_ROUNDS):
            self.grown = False
            for offer in system.offers:
                self._widen((offer.signal, 0), (0, offer.count - 1))
                self._walk(offer.do, {ex.Field(offer.name, 0): (0, offer.count - 1)})
            for machine in system.machines:
                self._walk(machine.body, {})
            if not self.grown:
                return
        raise UnpackableError("numbers that grow from entry to entry")

    def packed(self, bank: Bank) -> Packed:
        """The bits of an entry."""
        many = range(len(bank.fields))
        values = tuple(self.ranked.get((bank, k)) for k in many)
        if (bank, -1) not in self.found:
            return Packed(Span(0, 0), (Span(0, 0),) * len(many), values)
        left = _span(self.found[bank, -1])
        fields = tuple(
            _span(self.found[bank, k]) if ranked is None else Span(0, len(ranked) - 1)
            for k, ranked in enumerate(values)
        )
        packed = Packed(Span(0, max(0, left.most)), fields, values)
        if packed.width > _MOST_BITS:
            raise UnpackableError(f"an entry of {bank.name!r} takes {packed.width} bits")
        return packed

    def _widen(self, place: tuple[Signal | Bank, int], by: Range) -> None:
        least, most = self.found.get(place, (inf, -inf))
        wider = min(least, by[0]), max(most, by[1])
        if wider != (least, most):
            self.found[place] = wider
            self.grown = True

    def _walk(self, statements: Sequence[Statement], known: Ranges) -> None:
        for statement in statements:
            match statement:
                case Rule(_, guard, do):
                    self._walk(do, _lasting(known, guard))
                case First(rules):
                    left = known
                    for rule in rules:
                        self._walk(rule.do, _lasting(left, rule.when))
                        left = _lasting(left, rule.when, holds=False)
                case Each(source, name, do):
                    inside = self._bound(source, name, known, do)
                    if inside is not None:
                        self._walk(do, inside)
                case Earliest(bank, name, where, do, otherwise):
                    inside = self._bound(bank, name, known, do)
                    if inside is not None:
                        self._walk(do, _lasting(inside, where))
                    self._walk(otherwise, known)
                case Emit(signal, values):
                    for k, value in enumerate(values):
                        self._widen((signal, k), range_of(value, known))
                case Put(bank, length, values):
                    self._widen((bank, -1), range_of(length, known))
                    for k, value in enumerate(values):
                        self._widen((bank, k), range_of(value, known))
                case _:
                    pass

    def _indices(self, do: Sequence[Statement]) -> dict[tuple[str, int], int]:
        """Of fields that are looked up with, the length of the shortest table."""
        key = id(do)
        if key not in self.looked:
            found: dict[tuple[str, int], int] = {}
            for lookup in parts_of(do):
                if isinstance(lookup, ex.Lookup) and isinstance(lookup.index, ex.Field):
                    field, many = (lookup.index.name, lookup.index.index), len(lookup.table)
                    found[field] = min(many, found.get(field, many))
            self.looked[key] = found
        return self.looked[key]

    def _bound(
        self, source: Signal | Bank, name: str, known: Ranges, do: Sequence[Statement]
    ) -> Ranges | None:
        """What is known inside a statement that binds ``name``; None: nothing is ever bound."""
        inside: dict[ex.Int, Range] = {}
        within = self._indices(do)
        for k in range(len(source.fields)):
            if (source, k) not in self.found:
                return None
            least, most = self.found[source, k]
            if (name, k) in within:
                # An index lies inside its table; whether it does is seen when it is used.
                least, most = max(least, 0), min(most, within[name, k] - 1)
            inside[ex.Field(name, k)] = least, most
        if isinstance(source, Bank):
            if (source, -1) not in self.found:
                return None
            inside[ex.EntryLeft(name)] = (0, max(0, self.found[source, -1][1]))
        return {**known, **inside}


def _lasting(known: Ranges, guard: ex.Bool, *, holds: bool = True) -> Ranges:
    """What a guard says of what is bound: that stays so, whatever else is assigned."""
    found = narrowed(known, guard, holds)
    return {e: found[e] for e in found if e in known or _is_bound(e)}


def _is_bound(e: ex.Int) -> bool:
    match e:
        case ex.Field() | ex.EntryLeft() | ex.Constant():
            return True
        case ex.Plus(a, b) | ex.Minus(a, b):
            return _is_bound(a) and _is_bound(b)
        case ex.Lookup(_, index):
            return _is_bound(index)
    return False


def _span(bounds: Range) -> Span:
    if bounds[0] == -inf or bounds[1] == inf:
        raise UnpackableError("a number without bounds")
    return Span(int(bounds[0]), int(bounds[1]))


__all__ = ["MOST_ENTRIES", "WORD", "Layout", "Packed", "Span", "UnpackableError"]
