"""The step function of a system on z3 terms: the solver's reading of the modelling language.

Values are Python numbers wherever they are known and z3 terms elsewhere, so that
what does not depend on an unknown never reaches the solver. A bank is a list of
slots, each there under a condition; a run is a sequence of events, so few slots suffice.
"""

from __future__ import annotations

import itertools
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from functools import lru_cache
from typing import Any, TypeAlias

import z3

from verify.engines.linear import (
    Bounds,
    Interval,
    Known,
    Linear,
    if_else,
    is_equal,
    is_less,
    minus,
    plus,
    same,
    term,
    times,
)
from verify.errors import ModelError
from verify.language import expressions as ex
from verify.language.durations import Key, times_of
from verify.language.machine import Each, Earliest, First, Rule, Statement, System
from verify.language.state import Bank, Emit, Number, Put, Set, Signal, Start, Take, Timer

# int, Linear or z3.ArithRef; bool or z3.BoolRef. z3 is untyped: these names are for the reader.
Num: TypeAlias = Any
Cond: TypeAlias = Any


def both(a: Cond, b: Cond) -> Cond:
    """Conjunction, folded where known."""
    if a is True:
        return b
    if b is True:
        return a
    if a is False or b is False:
        return False
    return z3.And(a, b)


def either(a: Cond, b: Cond) -> Cond:
    """Disjunction, folded where known."""
    if a is False:
        return b
    if b is False:
        return a
    if a is True or b is True:
        return True
    return z3.Or(a, b)


def negate(a: Cond) -> Cond:
    """Negation, folded where known."""
    return (not a) if isinstance(a, bool) else z3.Not(a)


def equal(a: Num, b: Num) -> Cond:
    """Equality of numbers, folded where known."""
    if isinstance(a, Linear) or isinstance(b, Linear):
        return is_equal(a, b)
    if isinstance(a, int) and isinstance(b, int):
        return a == b
    if not isinstance(a, int) and not isinstance(b, int) and a.eq(b):
        return True
    return a == b


def less(a: Num, b: Num) -> Cond:
    """``a < b``; Python compares ints, z3 overloads the rest."""
    if isinstance(a, Linear) or isinstance(b, Linear):
        return is_less(a, b)
    if not isinstance(a, int) and not isinstance(b, int) and a.eq(b):
        return False
    return a < b


def at_most(a: Num, b: Num) -> Cond:
    """``a <= b``, folded where known."""
    return negate(less(b, a))


def choose(c: Cond, a: Num, b: Num) -> Num:
    """``a`` if ``c`` else ``b``, folded where known."""
    if c is True:
        return a
    if c is False:
        return b
    if isinstance(a, Linear) or isinstance(b, Linear):
        bounds = a.bounds if isinstance(a, Linear) else b.bounds
        return a if same(a, b) else if_else(c, a, b, bounds)
    if isinstance(a, Known) and isinstance(b, Known):
        if a == b:
            return a
    elif not isinstance(a, Known) and not isinstance(b, Known) and a.eq(b):
        return a
    return z3.If(c, _outcome(a), _outcome(b))


def _outcome(value: Num) -> Num:
    # The same few numbers again and again: made once.
    return _whole(value) if isinstance(value, int) else term(value)


@lru_cache(4096)
def _whole(value: int) -> z3.ArithRef:
    return z3.IntVal(value)


def lookup(table: Sequence[Any], index: Num, *, cases: bool = False) -> Num:
    """``table[index]`` as a chain of cases; equal neighbours share one.

    ``cases``: even a table that is linear in its index, whose outcomes are then known numbers.
    """
    if isinstance(index, int):
        return table[index]
    if len(set(table)) == 1:
        return table[0]
    step = table[1] - table[0]
    if not cases and all(b - a == step for a, b in itertools.pairwise(table)):
        return table[0] + step * index  # an even table is linear arithmetic
    result: Num = table[-1]
    for k in range(len(table) - 2, -1, -1):
        if table[k] != table[k + 1]:
            result = choose(index <= _whole(k), table[k], result)
    return result


def find(windows: tuple[tuple[int, int], ...], value: Num) -> Num:
    """The number of the window that holds ``value``, or -1."""
    if isinstance(value, int):
        return next((k for k, (a, b) in enumerate(windows) if a <= value <= b), -1)
    result: Num = -1
    for k, (a, b) in enumerate(windows):
        inside = equal(value, a) if a == b else both(at_most(a, value), at_most(value, b))
        result = choose(inside, k, result)
    return result


def within(value: Num, least: int, most: int) -> list[Cond]:
    """For the solver: what the bounds of an unknown settle here already."""
    exact = term(value)
    return [z3.And(exact >= least, exact <= most)]


@dataclass(frozen=True)
class Slot:
    """A bank entry that is there if ``there``."""

    there: Cond
    left: Num
    fields: tuple[Num, ...]


# A place: a number, or a tuple of slots.
Place: TypeAlias = Any
SymState: TypeAlias = tuple[Place, ...]


@dataclass(frozen=True)
class Said:
    """An occurrence of a signal, if ``when``."""

    when: Cond
    signal: Signal
    values: tuple[Num, ...]


@dataclass
class Outcome:
    """The result of one symbolic tick: ``given`` constrains the picks it made."""

    state: SymState
    said: list[Said]
    given: list[Cond]


Picker: TypeAlias = Callable[[ex.Pick], Num]


class Symbolic:
    """Runs the machines of a system on symbolic states."""

    def __init__(self, system: System) -> None:
        self.system = system
        self.memory = system.memory
        self.where = {item: i for i, item in enumerate(self.memory)}
        self.restraints = {
            i for i, m in enumerate(self.memory) if isinstance(m, (Timer, Bank)) and m.restraint
        }
        self.dense = system.dense
        # Numbers of a table that is linear in its index are told apart all the same.
        self.cases = system.dense
        self.bounds = Bounds()
        self.times: frozenset[Key] = times_of(system.machines) if system.dense else frozenset()
        self.listens = [machine.listens() for machine in system.machines]
        self.offer = system.offers[0]

    def start(self) -> tuple[SymState, list[Cond]]:
        """The state at power-up, its unknowns as z3 constants with their ranges."""
        places: list[Place] = []
        given: list[Cond] = []
        for item in self.memory:
            if isinstance(item, Bank):
                places.append(())
                continue
            start = item.begin if isinstance(item, Timer) else item.start
            if isinstance(start, tuple):
                constant = self.unknown(item.name, *start, time=item in self.times)
                given += within(constant, *start)
                places.append(constant)
            else:
                places.append(start)
        for i, place in enumerate(places):
            if isinstance(place, Number):
                places[i] = places[self.where[place]]
        return tuple(places), given

    def unknown(self, name: str, least: int, most: int, *, time: bool) -> Num:
        """A number of this range: whole, but for times where time is dense."""
        if self.dense and time:
            return self.bounds.atom(z3.Real(name), Interval(least, most))
        return z3.Int(name)

    def span(self, name: str) -> Num:
        """Ticks that pass, more than none; where time is dense, any part of a tick."""
        if self.dense:
            return self.bounds.atom(z3.Real(name), Interval(0, None, True))
        return z3.Int(name)

    def picked(self, pick: ex.Pick, name: str) -> Num:
        """What the world picks here, under a name of its own."""
        return self.unknown(name, pick.least, pick.most, time=pick.name in self.times)

    def ends(self, state: SymState) -> list[tuple[Cond, Num]]:
        """``(running, ticks left)`` of everything whose end is an event."""
        found: list[tuple[Cond, Num]] = []
        for i, item in enumerate(self.memory):
            if i in self.restraints:
                continue
            if isinstance(item, Timer):
                running = less(0, state[i])
                if running is not False:
                    found.append((running, state[i]))
            elif isinstance(item, Bank):
                found += [(slot.there, slot.left) for slot in state[i]]
        return found

    def open_if(self, state: SymState, passed: Num, index: Num) -> Cond:
        """When the offer of ``index`` is open to a first taker, ``passed`` ticks on."""
        tick = _SymTick(self, state, passed, lambda pick: pick.least)
        tick.bound[self.offer.name] = Slot(True, 0, (index,))
        return tick.truth(self.offer.allowed)

    def step(
        self, state: SymState, passed: Num, taken: Sequence[Num], picker: Picker
    ) -> tuple[Cond, Outcome]:
        """As the concrete step. Returns the condition under which the offers are open, too."""
        tick = _SymTick(self, state, passed, picker)
        open_if: Cond = True
        for index in taken:
            tick.bound[self.offer.name] = Slot(True, 0, (index,))
            open_if = both(open_if, tick.truth(self.offer.allowed))
            if open_if is False:
                break
            tick.happen(True, self.offer.signal, (index,))
            for statement in self.offer.do:
                tick.run(statement, True)
        else:
            for machine, heard in zip(self.system.machines, self.listens, strict=True):
                if not heard or tick.wakes(heard):
                    for statement in machine.body:
                        tick.run(statement, True)
        return open_if, tick.finish()


class _SymTick:
    def __init__(self, owner: Symbolic, state: SymState, passed: Num, picker: Picker) -> None:
        self.owner, self.picker = owner, picker
        self.place: list[Place] = list(state)
        self.expired: dict[int, Cond] = {}
        self.said: list[Said] = []
        # Of occurrences with known values only: when one of them was said.
        self.plainly: dict[tuple[Signal, tuple[Num, ...]] | None, Cond] = {}
        self.variously = False
        self.given: list[Cond] = []
        self.bound: dict[str, Slot] = {}
        self.bound_in: dict[str, tuple[int, int]] = {}
        for i, item in enumerate(owner.memory):
            if isinstance(item, Timer):
                left = self.place[i]
                if isinstance(left, int) and left == 0:
                    continue
                after = minus(left, passed)
                if i in owner.restraints:
                    self.place[i] = choose(less(0, after), after, 0)
                else:
                    runs = less(0, left)
                    self.expired[i] = both(runs, equal(left, passed))
                    self.place[i] = choose(runs, after, 0)
            elif isinstance(item, Bank) and self.place[i]:
                self.place[i] = self._older(i, self.place[i], passed)

    def _older(self, i: int, slots: tuple[Slot, ...], passed: Num) -> tuple[Slot, ...]:
        aged = [replace(slot, left=minus(slot.left, passed)) for slot in slots]
        if i in self.owner.restraints:
            aged = [replace(slot, there=both(slot.there, less(0, slot.left))) for slot in aged]
        return tuple(slot for slot in aged if slot.there is not False)

    def wakes(self, heard: frozenset[Signal | Timer | Bank]) -> bool:
        """Something that may have happened concerns a machine that listens to ``heard``."""
        if any(said.signal in heard for said in self.said):
            return True
        for item in heard:
            if isinstance(item, Timer):
                if self.expired.get(self.owner.where[item], False) is not False:
                    return True
            elif isinstance(item, Bank):
                slots = self.place[self.owner.where[item]]
                if any(equal(slot.left, 0) is not False for slot in slots):
                    return True
        return False

    def finish(self) -> Outcome:
        for i, item in enumerate(self.owner.memory):
            if isinstance(item, Bank) and self.place[i]:
                kept = (
                    replace(slot, there=both(slot.there, less(0, slot.left)))
                    for slot in self.place[i]
                )
                self.place[i] = tuple(slot for slot in kept if slot.there is not False)
        return Outcome(tuple(self.place), self.said, self.given)

    # -- statements -----------------------------------------------------------

    def run(self, statement: Statement, when: Cond) -> None:
        if when is False:
            return
        match statement:
            case Set(number, value):
                i = self.owner.where[number]
                self.place[i] = choose(when, self.number(value), self.place[i])
            case Start(timer, length):
                i = self.owner.where[timer]
                self.place[i] = choose(when, self.number(length), self.place[i])
            case Put(bank, length, values):
                i = self.owner.where[bank]
                slot = Slot(when, self.number(length), tuple(self.number(v) for v in values))
                self.place[i] = (*self.place[i], slot)
            case Emit(signal, values):
                self.happen(when, signal, tuple(self.number(v) for v in values))
            case Rule():
                self._first((statement,), when)
            case First(rules):
                self._first(rules, when)
            case Each(source=Signal() as signal):
                for said in [s for s in self.said if s.signal == signal]:
                    self.bound[statement.name] = Slot(True, 0, said.values)
                    self._all(statement.do, both(when, said.when))
            case Each(source=Bank() as bank):
                self._each_entry(bank, statement, when)
            case Earliest():
                self._earliest(statement, when)
            case Take(name):
                i, k = self.bound_in[name]
                slots = list(self.place[i])
                slots[k] = replace(slots[k], there=both(slots[k].there, negate(when)))
                self.place[i] = tuple(slots)

    def _all(self, statements: tuple[Statement, ...], when: Cond) -> None:
        for statement in statements:
            self.run(statement, when)

    def _first(self, rules: tuple[Rule, ...], when: Cond) -> None:
        # All guards are read before any rule acts: only one of them will.
        rest = when
        chosen = []
        for rule in rules:
            if rest is False:
                break
            guard = self.truth(rule.when)
            chosen.append((both(rest, guard), rule))
            rest = both(rest, negate(guard))
        for condition, rule in chosen:
            self._all(rule.do, condition)

    def _each_entry(self, bank: Bank, statement: Each, when: Cond) -> None:
        i = self.owner.where[bank]
        for k in range(len(self.place[i])):
            slot = self.place[i][k]
            now = both(when, slot.there)
            if statement.expired:
                now = both(now, equal(slot.left, 0))
            if now is not False:
                self._bind(statement.name, i, k)
                self._all(statement.do, now)

    def _bind(self, name: str, i: int, k: int) -> None:
        self.bound[name] = self.place[i][k]
        self.bound_in[name] = (i, k)

    def _earliest(self, statement: Earliest, when: Cond) -> None:
        i = self.owner.where[statement.bank]
        slots: tuple[Slot, ...] = self.place[i]
        fits = []
        for k, slot in enumerate(slots):
            self._bind(statement.name, i, k)
            fits.append(both(slot.there, self.truth(statement.where)))
        none: Cond = when
        for k, slot in enumerate(slots):
            chosen = both(when, fits[k])
            for other, later in enumerate(slots):
                if other != k and chosen is not False:
                    # Of equal entries the one put first.
                    sooner = less(later.left, slot.left)
                    if other < k:
                        sooner = negate(less(slot.left, later.left))
                    chosen = both(chosen, negate(both(fits[other], sooner)))
            if chosen is not False:
                self._bind(statement.name, i, k)
                self._all(statement.do, chosen)
            none = both(none, negate(fits[k]))
        self._all(statement.otherwise, none)

    def happen(self, when: Cond, signal: Signal, values: tuple[Num, ...]) -> None:
        """Let a signal occur; an occurrence equal to an earlier one is the same."""
        plain = all(isinstance(value, int) for value in values)
        key = (signal, values) if plain else None
        if key in self.plainly:
            before = self.plainly[key]
            when, after = both(when, negate(before)), either(before, when)
        else:
            after = when
        for said in self.said if self.variously or not plain else ():
            if said.signal != signal or when is False:
                continue
            if plain and all(isinstance(value, int) for value in said.values):
                continue
            same: Cond = said.when
            for a, b in zip(said.values, values, strict=True):
                same = both(same, equal(a, b))
            when = both(when, negate(same))
        if when is False:
            return
        self.said.append(Said(when, signal, values))
        if key is None:
            self.variously = True
        else:
            self.plainly[key] = after

    # -- expressions ----------------------------------------------------------

    def number(self, e: ex.Int) -> Num:
        match e:
            case ex.Constant(value):
                return int(value)
            case ex.Read(number):
                return self.place[self.owner.where[number]]
            case ex.Left(timer):
                return self.place[self.owner.where[timer]]
            case ex.Field(name, index):
                return self.bound[name].fields[index]
            case ex.EntryLeft(name):
                return self.bound[name].left
            case ex.Plus(a, b):
                return plus(self.number(a), self.number(b))
            case ex.Minus(a, b):
                return minus(self.number(a), self.number(b))
            case ex.Times(factor, unit):
                return self._times(factor, self.place[self.owner.where[unit]])
            case ex.Lookup(table, index_of):
                return lookup(table, self.number(index_of), cases=self.owner.cases)
            case ex.Find(windows, searched):
                return find(windows, self.number(searched))
            case ex.Size(bank):
                total: Num = 0
                for slot in self.place[self.owner.where[bank]]:
                    total = plus(total, choose(both(slot.there, less(0, slot.left)), 1, 0))
                return total
            case ex.Pick():
                return self._pick(e)
        raise ModelError(f"no such number expression: {e!r}")

    def _times(self, factor: ex.Int, unit: Num) -> Num:
        """Never a product of two unknowns: a table times one is a table of multiples."""
        if isinstance(factor, ex.Lookup):
            number = lookup(factor.table, self.number(factor.index), cases=True)
        else:
            number = self.number(factor)
        return times(number, unit) if isinstance(unit, Linear) else number * unit

    def _pick(self, pick: ex.Pick) -> Num:
        value = self.picker(pick)
        if not isinstance(value, int):
            self.given += within(value, pick.least, pick.most)
        return value

    def truth(self, e: ex.Bool) -> Cond:
        match e:
            case ex.Truth(value):
                return bool(value)
            case ex.Equal(a, b):
                return equal(self.number(a), self.number(b))
            case ex.Less(a, b):
                return less(self.number(a), self.number(b))
            case ex.And(p, q):
                left = self.truth(p)
                return False if left is False else both(left, self.truth(q))
            case ex.Or(p, q):
                left = self.truth(p)
                return True if left is True else either(left, self.truth(q))
            case ex.Not(p):
                return negate(self.truth(p))
            case ex.Happens(signal):
                happened: Cond = False
                for said in self.said:
                    if said.signal == signal:
                        happened = either(happened, said.when)
                return happened
            case ex.Expires(timer):
                return self.expired.get(self.owner.where[timer], False)
            case ex.Exists():
                return self._exists(e)
        raise ModelError(f"no such truth expression: {e!r}")

    def _exists(self, e: ex.Exists) -> Cond:
        i = self.owner.where[e.bank]
        found: Cond = False
        for k, slot in enumerate(self.place[i]):
            self._bind(e.name, i, k)
            found = either(found, both(slot.there, self.truth(e.where)))
        return found


def same_bank(a: tuple[Slot, ...], b: tuple[Slot, ...]) -> Cond:
    """Both banks hold the same entries, each as often."""
    if len(a) == len(b) and all(_same_slot(x, y) is True for x, y in zip(a, b, strict=True)):
        return True
    result: Cond = True
    for entry in (*a, *b):
        count_a: Num = 0
        count_b: Num = 0
        for other in a:
            count_a = plus(count_a, choose(both(other.there, _same_entry(entry, other)), 1, 0))
        for other in b:
            count_b = plus(count_b, choose(both(other.there, _same_entry(entry, other)), 1, 0))
        result = both(result, either(negate(entry.there), equal(count_a, count_b)))
    return result


def _same_entry(x: Slot, y: Slot) -> Cond:
    same = equal(x.left, y.left)
    for f, g in zip(x.fields, y.fields, strict=True):
        same = both(same, equal(f, g))
    return same


def _same_slot(x: Slot, y: Slot) -> Cond:
    if isinstance(x.there, bool) and isinstance(y.there, bool):
        there: Cond = x.there == y.there
    else:
        there = not isinstance(x.there, bool) and not isinstance(y.there, bool)
        there = there and x.there.eq(y.there)
    return both(there, _same_entry(x, y))
