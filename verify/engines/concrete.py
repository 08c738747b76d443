"""The step function of a system on plain Python values, for simulator and explorer.

A state is a tuple with one place per piece of memory, in machine order: an int for a
number or timer (0 = off), a sorted tuple of ``(ticks left, *fields)`` for a bank.
Expressions and statements become closures once per system; a tick then visits only
the machines that something woke.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from functools import lru_cache
from itertools import chain, combinations_with_replacement, product
from math import comb, prod
from random import Random
from typing import Any, TypeAlias

from verify.errors import ModelError
from verify.language import expressions as ex
from verify.language.machine import Each, Earliest, First, Offer, Rule, Statement, System
from verify.language.state import Bank, Emit, Number, Put, Set, Signal, Start, Take, Timer
from verify.parts.script import Chosen, Press, Script

BankEntry: TypeAlias = tuple[int, ...]
# A place is an int or a tuple of bank entries; the closures know which, the type checker need not.
State: TypeAlias = tuple[Any, ...]
Occurrence: TypeAlias = tuple[Signal, tuple[int, ...]]
Chooser: TypeAlias = Callable[[ex.Pick], int]
IntFn: TypeAlias = Callable[["Tick"], int]
BoolFn: TypeAlias = Callable[["Tick"], bool]
DoFn: TypeAlias = Callable[["Tick"], None]

# Random states of a machine that are tried before its first possible one is taken.
TRIES = 500
# Of more states at power-up no list is made.
MOST_STARTS = 200_000

LATE = re.compile(r"line\d+\.late")


def least_choice(pick: ex.Pick) -> int:
    """The chooser that always takes the least value."""
    return pick.least


def is_unknown(item: Number | Timer | Bank) -> bool:
    """The item starts with a value of a range, of which nobody knows which."""
    if isinstance(item, Bank):
        return False
    return isinstance(item.begin if isinstance(item, Timer) else item.start, tuple)


class Tick:
    """Everything in flux during one tick."""

    __slots__ = ("bound", "choose", "expired", "happened", "log", "place", "woken")

    def __init__(self, place: list[Any], choose: Chooser) -> None:
        self.place = place
        self.expired: list[int] = []
        self.woken: set[int] = set()
        self.happened: dict[int, list[tuple[int, ...]]] = {}
        self.log: list[tuple[int, tuple[int, ...]]] = []
        self.bound: dict[str, BankEntry] = {}
        self.choose = choose


@dataclass(frozen=True)
class _Ready:
    """An offer made ready to run."""

    offer: Offer
    signal: int
    allowed: BoolFn
    do: DoFn


class Compiled:
    """A system made ready to run.

    ``step`` is the one semantics of the language on concrete values; simulator and
    explorer differ only in who decides about offers and time.
    """

    def __init__(self, system: System) -> None:
        self.system = system
        self.memory = system.memory
        self.where = {item: i for i, item in enumerate(self.memory)}
        self.timers = [i for i, m in enumerate(self.memory) if isinstance(m, Timer)]
        self.banks = [i for i, m in enumerate(self.memory) if isinstance(m, Bank)]
        self.restraints = [
            i for i, m in enumerate(self.memory) if isinstance(m, (Timer, Bank)) and m.restraint
        ]
        # A state stands for all that differ from it by longer ones of these.
        self.lenient = [
            i
            for i, m in enumerate(self.memory)
            if i in self.restraints or (isinstance(m, Timer) and m.lenient)
        ]
        self._live_timers = [i for i in self.timers if i not in self.restraints]
        self._live_banks = [i for i in self.banks if i not in self.restraints]
        listeners = [machine.listens() for machine in system.machines]
        self._woken_by_place = {
            i: [k for k, heard in enumerate(listeners) if item in heard]
            for item, i in self.where.items()
            if not isinstance(item, Number)
        }
        # Signals are numbered: hashing a small int is cheaper than hashing a Signal.
        self._signal = {signal: n for n, signal in enumerate(system.signals)}
        self._woken_by_signal = [
            [k for k, heard in enumerate(listeners) if signal in heard] for signal in system.signals
        ]
        self._scope: dict[str, int] = {}
        for i in self.restraints:
            if self._woken_by_place[i]:
                raise ModelError(f"restraint {self.memory[i].name!r} may not wake a machine")
        self._bodies = [self._block(machine.body) for machine in system.machines]
        self._possible = [
            (self._bool(m.possible), [self.where[item] for item in m.memory])
            for m in system.machines
            if m.possible != ex.Truth(True)
        ]
        self.inputs = system.offers[0].count
        # Everything that the world may do has a number: the inputs first, then what disturbs.
        self._choices = [
            (ready, number)
            for ready in map(self._ready, system.offers)
            for number in range(ready.offer.count)
        ]
        self.count = len(self._choices)

    # -- states ---------------------------------------------------------------

    def starts(self, look: Callable[[], None] = lambda: None) -> Iterator[State]:
        """Every state at power-up: one per choice of the unknowns.

        ``look`` is called now and then, also while none is found, and may raise.
        """
        for number, places in enumerate(each_of([self.starts_of(item) for item in self.memory])):
            if not number % 256:
                look()
            if self.possible(places):
                yield self.linked(places)

    def starts_alike(self, groups: Sequence[Sequence[int]]) -> Iterator[State]:
        """``starts``, but of those that differ by an exchange of lines in a group only one.

        Lines in no group are never moved. Without groups, or with unknowns that are not how late
        a line is: all.
        """
        unknown: dict[str, range] = {}
        for item in filter(is_unknown, self.memory):
            values = self.starts_of(item)
            unknown[item.name] = range(values[0], values[-1] + 1)
        lates = [[f"line{k}.late" for k in group] for group in groups]
        if not groups or not all(LATE.fullmatch(name) for name in unknown):
            yield from self.starts()
            return
        if not unknown:
            lates = []
        if prod(comb(len(unknown[n[0]]) + len(n) - 1, len(n)) for n in lates if n) > MOST_STARTS:
            yield from self.starts()
            return
        values_of = [combinations_with_replacement(unknown[n[0]], len(n)) for n in lates if n]
        for chosen in product(*values_of):
            named = zip(chain.from_iterable(lates), chain.from_iterable(chosen), strict=True)
            yield self.start_with(dict(named))

    def possible(self, places: Sequence[Any]) -> bool:
        """Every machine may be found like this; of a timer it matters only whether it is on."""
        tick = Tick(list(places), least_choice)
        return all(possible(tick) for possible, _ in self._possible)

    def may_start(self, state: State) -> bool:
        """It is a state at power-up: unknowns lie in their ranges, every machine is possible."""
        for item, i in self.where.items():
            if is_unknown(item):
                values = self.starts_of(item)
                if not values[0] <= state[i] <= values[-1]:
                    return False
        return self.possible(state)

    def any_start(self, random: Random) -> State:
        """A state at power-up, picked at random."""
        places = [random.choice(self.starts_of(item)) for item in self.memory]
        return self._possible_from(places, random)

    def _possible_from(self, places: list[Any], random: Random) -> State:
        """Machines that cannot be found as ``places`` has it are found as chance has it."""
        for possible, own in self._possible:
            for _ in range(TRIES):
                if possible(Tick(list(places), least_choice)):
                    break
                for i in own:
                    places[i] = random.choice(self.starts_of(self.memory[i]))
            else:
                return next(self.starts())
        return self.linked(places)

    @staticmethod
    def starts_of(item: Number | Timer | Bank) -> Sequence[Any]:
        """All with which it may begin."""
        if isinstance(item, Bank):
            return [()]
        start = item.begin if isinstance(item, Timer) else item.start
        if isinstance(start, tuple):
            return range(start[0], start[1] + 1)
        return [start]

    def linked(self, places: Sequence[Any]) -> State:
        """A number that starts like another gets that one's value."""
        return tuple(
            places[self.where[place]] if isinstance(place, Number) else place for place in places
        )

    def constants(self, start: State) -> tuple[tuple[str, int], ...]:
        """The unknowns of a state at power-up, by name."""
        return tuple(
            (item.name, int(start[i])) for item, i in self.where.items() if is_unknown(item)
        )

    def last_start(self) -> State:
        """The state at power-up with the largest of all unknowns, or one near it."""
        return self._possible_from([self.starts_of(item)[-1] for item in self.memory], Random(0))

    def start_with(self, constants: dict[str, int]) -> State:
        """The state at power-up with these unknowns, the least where not named."""
        return self.linked(
            [
                constants.get(item.name, self.starts_of(item)[0])
                if is_unknown(item)
                else self.starts_of(item)[0]
                for item in self.memory
            ]
        )

    def next_event(self, state: State) -> int | None:
        """Ticks until something other than a restraint runs out; None if nothing runs."""
        best: int | None = None
        for i in self._live_timers:
            left = state[i]
            if left and (best is None or left < best):
                best = left
        for i in self._live_banks:
            if state[i] and (best is None or state[i][0][0] < best):
                best = state[i][0][0]
        return best

    def restraint_ends(self, state: State) -> set[int]:
        """Distances, in ticks, at which a restraint runs out."""
        ends: set[int] = set()
        for i in self.restraints:
            value = state[i]
            if isinstance(value, int):
                ends.add(value)
            else:
                ends.update(entry[0] for entry in value)
        ends.discard(0)
        return ends

    # -- one tick -------------------------------------------------------------

    def _begin(self, state: State, passed: int, choose: Chooser) -> Tick:
        tick = Tick(list(state), choose)
        place = tick.place
        for i in self.timers:
            left = place[i]
            if left:
                place[i] = left - passed if left > passed else 0
                if left <= passed and i not in self.restraints:
                    tick.expired.append(i)
                    tick.woken.update(self._woken_by_place[i])
        for i in self.banks:
            if place[i]:
                restraint = i in self.restraints
                place[i] = [
                    (entry[0] - passed, *entry[1:])
                    for entry in place[i]
                    if not restraint or entry[0] > passed
                ]
                if not restraint and place[i] and place[i][0][0] <= 0:
                    tick.woken.update(self._woken_by_place[i])
        return tick

    def allowed(self, state: State, passed: int, index: int) -> bool:
        """The offer of ``index`` is open, ``passed`` ticks after ``state``, to a first taker."""
        return self._open(self._begin(state, passed, least_choice), index)

    def opens(self, state: State, passed: int, start: int = 0) -> Iterator[int]:
        """The offers from ``start`` on that are open to a first taker ``passed`` ticks on."""
        tick = self._begin(state, passed, least_choice)
        for index in range(start, self.count):
            if self._open(tick, index):
                yield index

    def _open(self, tick: Tick, index: int) -> bool:
        ready, number = self._choices[index]
        tick.bound[ready.offer.name] = (0, number)
        return ready.allowed(tick)

    def _take_up(self, tick: Tick, index: int) -> bool:
        """The world does what has this number; False if it may not."""
        if not self._open(tick, index):
            return False
        ready, number = self._choices[index]
        self._happen(tick, ready.signal, (number,))
        ready.do(tick)
        return True

    def most_of(self, index: int) -> int:
        """The largest number of the same offer."""
        ready, number = self._choices[index]
        return index + ready.offer.count - 1 - number

    def _ready(self, offer: Offer) -> _Ready:
        return _Ready(
            offer,
            self._signal[offer.signal],
            self._bool(offer.allowed),
            self._block(offer.do),
        )

    # -- what the world did ---------------------------------------------------

    def pressed(self, tick: int, taken: Sequence[int]) -> list[Press]:
        """Of what was taken up in a tick, the presses."""
        return [Press(tick, index) for index in taken if index < self.inputs]

    def disturbed(self, tick: int, taken: Sequence[int]) -> list[Chosen]:
        """Of what was taken up in a tick, the rest, by the name of its signal."""
        others = [self._choices[index] for index in taken if index >= self.inputs]
        return [Chosen(tick, ready.offer.signal.name, number) for ready, number in others]

    def done(self, script: Script) -> list[tuple[int, int]]:
        """All that a script takes up: ticks and numbers, in order."""
        places = {
            (ready.offer.signal.name, number): index
            for index, (ready, number) in enumerate(self._choices)
            if index >= self.inputs
        }
        found = [(press.tick, press.input) for press in script.presses]
        for chosen in script.picks:
            if (chosen.name, chosen.value) in places:
                found.append((chosen.tick, places[chosen.name, chosen.value]))
        return sorted(found)

    def first_open(self, state: State, index: int | None, most: int) -> int | None:
        """The first tick, 1 to ``most`` on, with the offer of ``index`` (None: of any) open.

        No event may come before ``most``: restraints only ever get weaker, so what is open
        stays open until then, and bisection finds the tick. None if there is none.
        """

        def is_open(passed: int) -> bool:
            if index is None:
                return next(self.opens(state, passed), None) is not None
            return self.allowed(state, passed, index)

        if most < 1 or not is_open(most):
            return None
        shut, opened = 0, most
        while opened - shut > 1:
            middle = (shut + opened) // 2
            if is_open(middle):
                opened = middle
            else:
                shut = middle
        return opened

    def step(
        self, state: State, passed: int, taken: Sequence[int] = (), choose: Chooser = least_choice
    ) -> tuple[State, list[Occurrence]] | None:
        """Let ``passed`` ticks go by, then run one tick with the offers ``taken`` up.

        ``passed`` may be at most ``next_event(state)``. Returns the state after the tick
        and what happened in it, in order; None if an offer was not open.
        """
        tick = self._begin(state, passed, choose)
        for index in taken:
            if not self._take_up(tick, index):
                return None
        for k, body in enumerate(self._bodies):
            if k in tick.woken:
                body(tick)
        place = tick.place
        for i in self.banks:
            if place[i]:
                place[i] = tuple(sorted(entry for entry in place[i] if entry[0] > 0))
            else:
                place[i] = ()
        signals = self.system.signals
        return tuple(place), [(signals[n], values) for n, values in tick.log]

    def outcomes(
        self, state: State, passed: int, taken: Sequence[int] = (), *, extremes: bool = False
    ) -> Iterator[tuple[State, list[Occurrence], tuple[tuple[str, int], ...]]]:
        """``step`` for every choice of the picks met on the way, with their names and values.

        The first has all at their least. ``extremes``: of each only the least and the most.
        """
        script: list[int] | None = []
        while script is not None:
            met: list[ex.Pick] = []
            picked: list[int] = []
            planned = script

            def choose(pick: ex.Pick) -> int:
                k = len(met)  # noqa: B023 - used within this turn only
                met.append(pick)  # noqa: B023
                value = planned[k] if k < len(planned) else pick.least  # noqa: B023
                picked.append(value)  # noqa: B023
                return value

            result = self.step(state, passed, taken, choose)
            if result is not None:
                names = (pick.name for pick in met)
                yield result[0], result[1], tuple(zip(names, picked, strict=True))
            script = None
            for k in range(len(met) - 1, -1, -1):
                if picked[k] < met[k].most:
                    script = [*picked[:k], met[k].most if extremes else picked[k] + 1]
                    break

    def _happen(self, tick: Tick, signal: int, values: tuple[int, ...]) -> None:
        seen = tick.happened.setdefault(signal, [])
        if values not in seen:
            seen.append(values)
            tick.log.append((signal, values))
            tick.woken.update(self._woken_by_signal[signal])

    # -- compilation ----------------------------------------------------------

    def _block(self, statements: tuple[Statement, ...]) -> DoFn:
        parts = [self._statement(s) for s in statements]
        if len(parts) == 1:
            return parts[0]

        def run(tick: Tick) -> None:
            for part in parts:
                part(tick)

        return run

    def _statement(self, statement: Statement) -> DoFn:
        match statement:
            case Set(number, value):
                return self._set(number, self._int(value))
            case Start(timer, length):
                return self._start(timer, self._int(length))
            case Put(bank, length, values):
                return self._put(bank, self._int(length), [self._int(v) for v in values])
            case Emit(signal, values):
                n = self._signal[signal]
                fields = [self._int(v) for v in values]
                return lambda tick: self._happen(tick, n, tuple([f(tick) for f in fields]))
            case Rule():
                return self._first((statement,))
            case First(rules):
                return self._first(rules)
            case Each(source=Signal() as signal):
                return self._each_signal(signal, statement.name, self._block(statement.do))
            case Each(source=Bank() as bank):
                return self._each_entry(bank, statement)
            case Earliest():
                return self._earliest(statement)
            case Take(name):
                return self._take(name)
        raise ModelError(f"no such statement: {statement!r}")

    def _set(self, number: Number, value: IntFn) -> DoFn:
        i = self.where[number]

        def run(tick: Tick) -> None:
            new = value(tick)
            if not number.least <= new <= number.most:
                raise ModelError(
                    f"{number.name!r} set to {new}; allowed: {number.least} to {number.most}"
                )
            tick.place[i] = new

        return run

    def _start(self, timer: Timer, length: IntFn) -> DoFn:
        i = self.where[timer]

        def run(tick: Tick) -> None:
            new = length(tick)
            if not 0 <= new <= timer.most:
                raise ModelError(f"{timer.name!r} started with {new}; allowed: 0 to {timer.most}")
            tick.place[i] = new

        return run

    def _put(self, bank: Bank, length: IntFn, values: list[IntFn]) -> DoFn:
        i = self.where[bank]
        wakes = self._woken_by_place[i]

        def run(tick: Tick) -> None:
            left = length(tick)
            if left < 0:
                raise ModelError(
                    f"{bank.name!r} was given an entry of length {left}; allowed: 0 up"
                )
            if left == 0:
                tick.woken.update(wakes)
            entry = (left, *(v(tick) for v in values))
            tick.place[i] = sorted([*tick.place[i], entry])

        return run

    def _first(self, rules: tuple[Rule, ...]) -> DoFn:
        pairs = [(self._bool(r.when), self._block(r.do)) for r in rules]

        def run(tick: Tick) -> None:
            for guard, do in pairs:
                if guard(tick):
                    do(tick)
                    return

        return run

    def _each_signal(self, signal: Signal, name: str, do: DoFn) -> DoFn:
        n = self._signal.get(signal, -1)

        def run(tick: Tick) -> None:
            for values in sorted(tick.happened.get(n, ())):
                tick.bound[name] = (0, *values)
                do(tick)

        return run

    def _take(self, name: str) -> DoFn:
        if name not in self._scope:
            raise ModelError(f"{name!r} is taken outside the statement that binds it")
        i = self._scope[name]

        def run(tick: Tick) -> None:
            entries = list(tick.place[i])
            entries.remove(tick.bound[name])
            tick.place[i] = entries

        return run

    def _each_entry(self, bank: Bank, statement: Each) -> DoFn:
        i = self.where[bank]
        name, expired = statement.name, statement.expired
        self._scope[name] = i
        do = self._block(statement.do)

        def run(tick: Tick) -> None:
            for entry in tuple(tick.place[i]):
                if not expired or entry[0] <= 0:
                    tick.bound[name] = entry
                    do(tick)

        return run

    def _earliest(self, statement: Earliest) -> DoFn:
        i = self.where[statement.bank]
        name, where = statement.name, self._bool(statement.where)
        self._scope[name] = i
        do = self._block(statement.do)
        otherwise = self._block(statement.otherwise)

        def run(tick: Tick) -> None:
            for entry in tick.place[i]:
                tick.bound[name] = entry
                if where(tick):
                    do(tick)
                    return
            otherwise(tick)

        return run

    def _int(self, e: ex.Int) -> IntFn:
        match e:
            case ex.Constant(value):
                literal = int(value)
                return lambda tick: literal
            case ex.Read(number):
                i = self.where[number]
                return lambda tick: tick.place[i]
            case ex.Left(timer):
                j = self.where[timer]
                return lambda tick: tick.place[j]
            case ex.Field(name, index):
                return lambda tick: tick.bound[name][index + 1]
            case ex.EntryLeft(name):
                return lambda tick: tick.bound[name][0]
            case ex.Plus(a, b):
                fa, fb = self._int(a), self._int(b)
                return lambda tick: fa(tick) + fb(tick)
            case ex.Minus(a, b):
                ga, gb = self._int(a), self._int(b)
                return lambda tick: ga(tick) - gb(tick)
            case ex.Times(factor, unit):
                ha, u = self._int(factor), self.where[unit]
                return lambda tick: ha(tick) * tick.place[u]
            case ex.Lookup(table, index_of):
                return self._lookup([int(x) for x in table], self._int(index_of))
            case ex.Find(windows, searched):
                value_of, find = self._int(searched), _finder(windows)
                return lambda tick: find(value_of(tick))
            case ex.Size(bank):
                k = self.where[bank]
                return lambda tick: sum(1 for entry in tick.place[k] if entry[0] > 0)
            case ex.Pick():
                pick = e
                return lambda tick: tick.choose(pick)
        raise ModelError(f"no such number expression: {e!r}")

    @staticmethod
    def _lookup(entries: list[int], at: IntFn) -> IntFn:
        most = len(entries) - 1

        def run(tick: Tick) -> int:
            index = at(tick)
            if 0 <= index <= most:
                return entries[index]
            raise ModelError(f"a table is looked up at {index}; allowed: 0 to {most}")

        return run

    def _bool(self, e: ex.Bool) -> BoolFn:
        match e:
            case ex.Truth(value):
                return lambda tick: value
            case ex.Equal(a, b):
                fa, fb = self._int(a), self._int(b)
                return lambda tick: fa(tick) == fb(tick)
            case ex.Less(a, b):
                ga, gb = self._int(a), self._int(b)
                return lambda tick: ga(tick) < gb(tick)
            case ex.And(p, q):
                fp, fq = self._bool(p), self._bool(q)
                return lambda tick: fp(tick) and fq(tick)
            case ex.Or(p, q):
                gp, gq = self._bool(p), self._bool(q)
                return lambda tick: gp(tick) or gq(tick)
            case ex.Not(p):
                hp = self._bool(p)
                return lambda tick: not hp(tick)
            case ex.Happens(signal):
                n = self._signal.get(signal, -1)
                return lambda tick: n in tick.happened
            case ex.Expires(timer):
                i = self.where[timer]
                return lambda tick: i in tick.expired
            case ex.Exists():
                return self._exists(e)
        raise ModelError(f"no such truth expression: {e!r}")

    def _exists(self, e: ex.Exists) -> BoolFn:
        i, name, where = self.where[e.bank], e.name, self._bool(e.where)

        def run(tick: Tick) -> bool:
            for entry in tick.place[i]:
                tick.bound[name] = entry
                if where(tick):
                    return True
            return False

        return run


def each_of(choices: Sequence[Sequence[Any]]) -> Iterator[list[Any]]:
    """As ``itertools.product``, but nothing is made before it is asked for."""
    turning = [i for i, values in enumerate(choices) if len(values) > 1]
    at = [0] * len(choices)
    places = [values[0] for values in choices]
    while True:
        yield list(places)
        for i in reversed(turning):
            at[i] = (at[i] + 1) % len(choices[i])
            places[i] = choices[i][at[i]]
            if at[i]:
                break
        else:
            return


@lru_cache(maxsize=64)
def _finder(windows: tuple[tuple[int, int], ...]) -> Callable[[int], int]:
    """Which of the disjoint windows holds a value: binary search over their sorted starts."""
    from bisect import bisect_right

    order = sorted(range(len(windows)), key=lambda k: windows[k][0])
    starts = [windows[k][0] for k in order]
    ends = [windows[k][1] for k in order]

    def find(value: int) -> int:
        k = bisect_right(starts, value) - 1
        return order[k] if k >= 0 and value <= ends[k] else -1

    return find


__all__ = ["Chooser", "Compiled", "Occurrence", "State", "least_choice"]
