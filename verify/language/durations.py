"""Which numbers of a system are times, and the same system with its times measured anew.

Nobody declares what is a time: it follows. Timers and bank entries run for times; what a time
is compared with, added to or stored in is one too. Codes, counts and indices stay what they are.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass, field, replace
from fractions import Fraction
from typing import Any, TypeAlias

from verify.errors import ModelError
from verify.language import expressions as ex
from verify.language.machine import Each, Earliest, First, Machine, Offer, Rule, Statement, walk
from verify.language.ranges import range_of
from verify.language.state import Bank, Emit, Number, Put, Set, Signal, Start, Take, Timer

# A number, a field of a signal or bank, or the name of a pick.
Key: TypeAlias = "Number | tuple[Signal | Bank, int] | str"
Scope: TypeAlias = dict[str, "Signal | Bank"]


def times_of(machines: Iterable[Machine]) -> frozenset[Key]:
    """The numbers, fields and picks of these machines that hold times."""
    finder = _Finder()
    machines = tuple(machines)
    known = -1
    while len(finder.times) > known:
        known = len(finder.times)
        for machine in machines:
            finder.machine(machine)
    return frozenset(finder.times)


class _Finder:
    """Goes over everything again and again, until no more times are found."""

    def __init__(self, times: Iterable[Key] = ()) -> None:
        self.times: set[Key] = set(times)
        self.scope: Scope = {}

    def machine(self, machine: Machine) -> None:
        for item in machine.memory:
            if isinstance(item, Number) and isinstance(item.start, Number):
                self._alike(item, item.start)
        if machine.offer is not None:
            self.scope[machine.offer.name] = machine.offer.signal
            self.truth(machine.offer.allowed)
            self._all(machine.offer.do)
        self._all(machine.body)

    def _alike(self, a: Number, b: Number) -> None:
        if a in self.times or b in self.times:
            self.times |= {a, b}

    def _all(self, statements: Iterable[Statement]) -> None:
        for statement in statements:
            self._statement(statement)

    def _statement(self, statement: Statement) -> None:
        match statement:
            case Set(number, value):
                self._stored(number, value)
            case Start(_, length):
                self.time(length)
            case Put(bank, length, values):
                self.time(length)
                for k, value in enumerate(values):
                    self._stored((bank, k), value)
            case Emit(signal, values):
                for k, value in enumerate(values):
                    self._stored((signal, k), value)
            case Rule(_, when, do):
                self.truth(when)
                self._all(do)
            case First(rules):
                self._all(rules)
            case Each(source, name, do):
                self.scope[name] = source
                self._all(do)
            case Earliest(bank, name, where, do, otherwise):
                self.scope[name] = bank
                self.truth(where)
                self._all((*do, *otherwise))
            case Take():
                pass

    def _stored(self, key: Key, value: ex.Int) -> None:
        if self.is_time(value) or key in self.times:
            self.times.add(key)
            self.time(value)
        else:
            self._inside(value)

    def is_time(self, e: ex.Int) -> bool:
        """What is known of ``e`` so far says that it is a time."""
        match e:
            case ex.Left() | ex.EntryLeft() | ex.Times():
                return True
            case ex.Read(number):
                return number in self.times
            case ex.Field(name, index):
                return (self.scope[name], index) in self.times
            case ex.Pick():
                return e.name in self.times
            case ex.Plus(a, b) | ex.Minus(a, b):
                return self.is_time(a) or self.is_time(b)
            case _:
                return False

    def time(self, e: ex.Int) -> None:
        """``e`` is a time."""
        match e:
            case ex.Read(number):
                self.times.add(number)
            case ex.Field(name, index):
                self.times.add((self.scope[name], index))
            case ex.Pick():
                self.times.add(e.name)
            case ex.Plus(a, b) | ex.Minus(a, b):
                self.time(a)
                self.time(b)
            case ex.Times(_, unit):
                self.times.add(unit)
            case ex.Lookup(_, index_of):
                self._inside(index_of)
            case _:
                pass

    def _inside(self, e: ex.Int) -> None:
        """``e`` is no time as far as is known, but times may be compared inside it."""
        match e:
            case ex.Plus(a, b) | ex.Minus(a, b):
                self._inside(a)
                self._inside(b)
            case ex.Lookup(_, index_of):
                self._inside(index_of)
            case ex.Find(_, value):
                self._inside(value)
                if self.is_time(value):
                    self.time(value)
            case _:
                pass

    def truth(self, e: ex.Bool) -> None:
        match e:
            case ex.Equal(a, b) | ex.Less(a, b):
                if self.is_time(a) or self.is_time(b):
                    self.time(a)
                    self.time(b)
                else:
                    self._inside(a)
                    self._inside(b)
            case ex.And(p, q) | ex.Or(p, q):
                self.truth(p)
                self.truth(q)
            case ex.Not(p):
                self.truth(p)
            case ex.Exists(bank, name, where):
                self.scope[name] = bank
                self.truth(where)
            case _:
                pass


@dataclass
class Measure:
    """How times are to be written anew.

    ``constant``: of a literal time or a table of times (``Constant`` or ``Lookup``).
    ``pick``: of a time that the world picks. ``bound``: of the largest value that something
    may take, and ``least`` of the smallest. ``length``: of what a timer or bank entry is to
    run, made from the expression that is already rewritten. ``room``: how much longer timers
    may then run. ``begin``: least and most that a timer which runs at power-up first runs, from
    its one length; None: as other lengths.
    """

    constant: Callable[[ex.Constant | ex.Lookup], ex.Int]
    pick: Callable[[ex.Pick], ex.Int]
    least: Callable[[Any], int]
    bound: Callable[[Any], int]
    windows: Callable[[tuple[tuple[int, int], ...]], tuple[tuple[int, int], ...]]
    length: Callable[[str, ex.Int, ex.Int], ex.Int] = field(default=lambda name, old, new: new)
    room: int = 0
    begin: Callable[[int], tuple[int, int]] | None = None


def remeasured(
    machines: Iterable[Machine], times: frozenset[Key], measure: Measure
) -> tuple[Machine, ...]:
    """The machines with every time in them written as ``measure`` says."""
    return tuple(Rewriter(times, measure).machine(machine) for machine in machines)


def finer(m: int) -> Measure:
    """Every time in ticks of which ``m`` make one of before."""

    def whole(value: Any) -> int:
        exact = Fraction(value) * m
        if exact.denominator != 1:
            raise ModelError(f"{value} ticks are no whole number of ticks of 1/{m}")
        return int(exact)

    def constant(e: ex.Constant | ex.Lookup) -> ex.Int:
        if isinstance(e, ex.Constant):
            return ex.Constant(whole(e.value))
        return replace(e, table=tuple(whole(v) for v in e.table))

    return Measure(
        constant,
        lambda pick: replace(pick, least=whole(pick.least), most=whole(pick.most)),
        whole,
        whole,
        lambda windows: tuple((whole(a), whole(b)) for a, b in windows),
    )


class Rewriter:
    """Goes over machines and writes their times, and all that holds them, anew."""

    def __init__(self, times: frozenset[Key], measure: Measure) -> None:
        self.finder = _Finder(times)
        self.times, self.measure = times, measure

    def machine(self, machine: Machine) -> Machine:
        """The same machine, its times written anew."""
        offer = machine.offer
        if offer is not None:
            self.finder.scope[offer.name] = offer.signal
            offer = Offer(
                offer.signal,
                offer.count,
                offer.name,
                self._truth(offer.allowed),
                self._all(offer.do),
            )
        memory = tuple(self._item(item) for item in machine.memory)
        return Machine(
            machine.name, memory, self._all(machine.body), offer, self._truth(machine.possible)
        )

    # -- memory ---------------------------------------------------------------

    def _item(self, item: Number | Timer | Bank) -> Number | Timer | Bank:
        if isinstance(item, Timer):
            return self.timer(item)
        return self.number(item) if isinstance(item, Number) else item

    def timer(self, timer: Timer) -> Timer:
        """The timer that stands for this one."""
        begin = timer.begin
        if isinstance(begin, tuple):
            begin = self.measure.least(begin[0]), self.measure.bound(begin[1])
        elif begin:
            least, most = self.measure.least(begin), self.measure.bound(begin)
            begin = most if least == most else (least, most)
        if self.measure.begin is not None and isinstance(timer.begin, int) and timer.begin:
            least, most = self.measure.begin(timer.begin)
            begin = most if least == most else (least, most)
        latest = begin[1] if isinstance(begin, tuple) else begin
        most = max(latest, self.measure.bound(timer.most)) + self.measure.room
        found = None if timer.found is None else self.measure.bound(timer.found)
        return replace(timer, most=most, begin=begin, found=found)

    def number(self, number: Number) -> Number:
        """The number that stands for this one."""
        start = number.start
        if isinstance(start, Number):
            start = self.number(start)
        if number not in self.times:
            return replace(number, start=start)
        least, bound = self.measure.least, self.measure.bound
        if isinstance(start, tuple):
            start = least(start[0]), bound(start[1])
        elif isinstance(start, int):
            start = bound(start)
        return replace(number, least=least(number.least), most=bound(number.most), start=start)

    # -- statements -----------------------------------------------------------

    def _all(self, statements: tuple[Statement, ...]) -> tuple[Statement, ...]:
        return tuple(self._statement(s) for s in statements)

    def _statement(self, statement: Statement) -> Statement:
        match statement:
            case Set(number, value):
                return Set(self.number(number), self._number_as(value, number in self.times))
            case Start(timer, length):
                return Start(self.timer(timer), self._length(timer.name, length))
            case Put(bank, length, values):
                fields = self._fields(bank, values)
                return Put(bank, self._length(bank.name, length), fields)
            case Emit(signal, values):
                return Emit(signal, self._fields(signal, values))
            case Rule():
                return self._rule(statement)
            case First(rules):
                return First(tuple(self._rule(rule) for rule in rules))
            case Each():
                self.finder.scope[statement.name] = statement.source
                return replace(statement, do=self._all(statement.do))
            case Earliest():
                self.finder.scope[statement.name] = statement.bank
                return replace(
                    statement,
                    where=self._truth(statement.where),
                    do=self._all(statement.do),
                    otherwise=self._all(statement.otherwise),
                )
        return statement

    def _rule(self, rule: Rule) -> Rule:
        return Rule(rule.name, self._truth(rule.when), self._all(rule.do))

    def _length(self, name: str, length: ex.Int) -> ex.Int:
        if length == ex.Constant(0):
            return length  # stops a timer, or is over in the same tick
        return self.measure.length(name, length, self._number_as(length, True))

    def _fields(self, source: Signal | Bank, values: tuple[ex.Int, ...]) -> tuple[ex.Int, ...]:
        return tuple(
            self._number_as(value, (source, k) in self.times) for k, value in enumerate(values)
        )

    # -- expressions ----------------------------------------------------------

    def _number_as(self, e: ex.Int, time: bool) -> ex.Int:
        match e:
            case ex.Constant(value):
                return self.measure.constant(e) if time and value else e
            case ex.Read(number):
                return ex.Read(self.number(number))
            case ex.Left(timer):
                return ex.Left(self.timer(timer))
            case ex.Plus(a, b):
                return ex.Plus(self._number_as(a, time), self._number_as(b, time))
            case ex.Minus(a, b):
                return ex.Minus(self._number_as(a, time), self._number_as(b, time))
            case ex.Lookup(table, index_of):
                inner = ex.Lookup(table, self._number_as(index_of, False))
                return self.measure.constant(inner) if time and any(table) else inner
            case ex.Find(windows, value):
                timed = self.finder.is_time(value)
                return ex.Find(
                    self.measure.windows(windows) if timed else windows,
                    self._number_as(value, timed),
                )
            case ex.Pick():
                return self.measure.pick(e) if e.name in self.times else e
        return e

    def _truth(self, e: ex.Bool) -> ex.Bool:
        match e:
            case ex.Equal(a, b) | ex.Less(a, b):
                timed = self.finder.is_time(a) or self.finder.is_time(b)
                return type(e)(self._number_as(a, timed), self._number_as(b, timed))
            case ex.And(p, q) | ex.Or(p, q):
                return type(e)(self._truth(p), self._truth(q))
            case ex.Not(p):
                return ex.Not(self._truth(p))
            case ex.Expires(timer):
                return ex.Expires(self.timer(timer))
            case ex.Exists(bank, name, where):
                self.finder.scope[name] = bank
                return ex.Exists(bank, name, self._truth(where))
        return e


def lengths(machines: Iterable[Machine]) -> Iterator[tuple[str, int]]:
    """Every length that a timer or bank entry is given and that is a period of its own, and whose
    it is: the least where there are several, 0 where no more is known."""
    for machine in machines:
        for statement in walk(machine.body):
            if isinstance(statement, Start):
                name, length = statement.timer.name, statement.length
            elif isinstance(statement, Put):
                name, length = statement.bank.name, statement.length
            else:
                continue
            if length != ex.Constant(0) and not is_rest(length):
                yield name, max(0, int(max(-1, range_of(length, {})[0])))


def is_rest(length: ex.Int) -> bool:
    """It goes on from what is left of a timer or bank entry, so it is no period of its own. (One
    that is looked up by what is left is.)"""
    match length:
        case ex.Left() | ex.EntryLeft():
            return True
        case ex.Plus(a, b) | ex.Minus(a, b):
            return is_rest(a) or is_rest(b)
        case _:
            return False
