"""What one tick of a system may do: the language read a third time, for the rechecker only.

The reading is that of the docstrings of ``language``, kept plain. A tick is gone through in
*ways*: wherever a comparison of unknown times is open, one way for each answer. A way says
under which claims it is the one that is gone, and what is then the state.

Restraint banks are read one-sidedly: of one that may hold more entries than are known, those
that are known. ``Relation`` refuses systems where more entries could allow more.
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterator, Sequence
from dataclasses import dataclass, fields, is_dataclass
from fractions import Fraction
from itertools import pairwise
from typing import Any, NoReturn, TypeAlias

from verify.errors import ModelError
from verify.language import expressions as ex
from verify.language.machine import Each, Earliest, First, Machine, Offer, Rule, Statement, System
from verify.language.state import Bank, Emit, Number, Put, Set, Signal, Start, Take, Timer
from verify.parts.signals import failure
from verify.recheck.known import Differences, Known
from verify.recheck.linear import Claim, Sum, Value, compare, minus, opposite, plus, variable


@dataclass(eq=False)
class Entry:
    """A bank entry, or an occurrence of a signal (of which nothing is left)."""

    left: Value
    fields: tuple[Value, ...]


# Per piece of memory: a number's value, what is left of a timer, the entries of a bank. A
# restraint that has run out may be left with less than 0.
State: TypeAlias = tuple[Any, ...]


@dataclass(frozen=True)
class Way:
    """Under these ``claims``, for these ``picks`` (least and most by name): what comes of it.

    ``state`` is None where an offer is ``shut``, where nothing ends (``idle``), or where
    something goes ``wrong``.
    """

    claims: tuple[Claim, ...]
    picks: dict[str, tuple[int, int]]
    known: Known
    state: State | None = None
    shut: bool = False
    idle: bool = False
    wrong: bool = False


_NOTHING = Differences(())
# An offer taken up, with this number; None: any.
_Choice: TypeAlias = tuple[Offer, int | None]
# States at power-up that are written out one by one.
MOST_STARTS = 100_000


class SpentError(Exception):
    """There is more to look at than may be; the text says of what."""


class _ShutError(Exception):
    """An offer is not open."""


class _WrongError(Exception):
    """A failure is complained of, or memory would leave its bounds; the text says what."""


class _OpenError(Exception):
    """Only a decision can tell."""


class Relation:
    """A system made ready to be read.

    ``check`` is called again and again on the way, and may raise SpentError.
    """

    def __init__(
        self, system: System, branches: int = 1, check: Callable[[], None] = lambda: None
    ) -> None:
        self.system, self.memory, self.check = system, system.memory, check
        self.failures = frozenset(failure(branch) for branch in range(branches))
        self.where = {item: i for i, item in enumerate(self.memory)}
        self.live = [
            i for i, m in enumerate(self.memory) if not isinstance(m, Number) and not m.restraint
        ]
        self.offers = [(offer, k) for offer in system.offers for k in range(offer.count)]
        # Of all but the operator's the numbers are taken at once: pauses have thousands.
        first, *others = system.offers
        self.choices: list[_Choice] = [(first, k) for k in range(first.count)]
        self.choices += [(offer, 0 if offer.count == 1 else None) for offer in others]
        self.heard = frozenset(_heard(system.machines))
        self._sides: dict[int, tuple[ex.And | ex.Or, list[ex.Bool]]] = {}
        for machine in system.machines:
            _only_forbid(machine)

    def sides(self, e: ex.And | ex.Or) -> list[ex.Bool]:
        """Those of a chain of the same words, ``a | b | c``."""
        if id(e) not in self._sides:
            found: list[ex.Bool] = []
            pending: list[ex.Bool] = [e]
            while pending:
                side = pending.pop()
                if type(side) is type(e) and isinstance(side, ex.And | ex.Or):
                    pending += (side.b, side.a)
                else:
                    found.append(side)
            self._sides[id(e)] = e, found
        return self._sides[id(e)][1]

    def least(self) -> Callable[[Value], Claim | bool]:
        """That something runs: by a tick at least, or by any time where time is dense."""
        if self.system.dense:
            return lambda left: compare("<", 0, left)
        return lambda left: compare("<=", 1, left)

    def lives(self, state: State) -> list[Value]:
        """What is left of everything whose end is an event."""
        found: list[Value] = []
        for i in self.live:
            place = state[i]
            if isinstance(place, tuple):
                found += [entry.left for entry in place]
            elif place != 0:
                found.append(place)
        return found

    def tick(
        self, state: State, passed: int, taken: Sequence[int], choose: Callable[[ex.Pick], int]
    ) -> Way:
        """The one way where all is known, the world picking as ``choose`` says."""
        up = [self.offers[k] for k in taken]
        return next(
            _each_way(_NOTHING, lambda ask: _Tick(self, state, passed, ask).run(up), choose)
        )

    def begin(self, places: Sequence[Any]) -> Way:
        """The one way on from known places at power-up."""
        state = tuple(places[self.where[p]] if isinstance(p, Number) else p for p in places)
        return next(_each_way(_NOTHING, lambda ask: _Tick(self, state, 0, ask).begin()))

    def ways(
        self, state: State, passed: Value, taken: Sequence[int], known: Known
    ) -> Iterator[Way]:
        """All ways through the tick ``passed`` ticks on, with the offers ``taken`` up."""
        yield from self._ways(state, passed, [self.offers[k] for k in taken], known)

    def ways_with_offers(self, state: State, passed: Value, known: Known) -> Iterator[list[Way]]:
        """All ways with any offers taken up, a list for each set of these that may be."""
        pending: list[tuple[int, ...]] = [(k,) for k in range(len(self.choices))]
        while pending:
            taken = pending.pop()
            ways = list(self._ways(state, passed, [self.choices[k] for k in taken], known))
            yield ways
            if not all(way.shut for way in ways):
                pending += [(*taken, k) for k in self._more(taken)]

    def _more(self, taken: tuple[int, ...]) -> Iterator[int]:
        """What may be taken up besides: with larger numbers, or unknown ones of the same offer."""
        last = taken[-1]
        offer, number = self.choices[last]
        if number is None and taken.count(last) < offer.count:
            yield last
        yield from range(last + 1, len(self.choices))

    def _ways(
        self, state: State, passed: Value, taken: Sequence[_Choice], known: Known
    ) -> Iterator[Way]:
        return _each_way(
            known, lambda ask: _Tick(self, state, passed, ask).run(taken), check=self.check
        )

    def starts(
        self, known: Known, vague: Collection[int] = ()
    ) -> Iterator[tuple[list[Claim], list[Way]]]:
        """States at power-up: for each choice of unknowns, its claims and the ways on.

        ``vague``: places whose numbers are taken all at once."""
        choices: list[list[Any]] = [[]]
        for i, item in enumerate(self.memory):
            found = _begins(item, f"begin{i}", self.system.dense or i in vague)
            if len(choices) * len(found) > MOST_STARTS:
                raise SpentError(f"more than {MOST_STARTS} states at power-up")
            choices = [[*places, place] for places in choices for place in found]
        for places in choices:
            given: list[Claim] = []
            told = known
            for place in places:
                if isinstance(place, _Range):
                    for claim in place.claims:
                        given.append(claim)
                        told = told.given(claim)
            state = tuple(p.value if isinstance(p, _Range) else p for p in places)
            state = tuple(state[self.where[p]] if isinstance(p, Number) else p for p in state)
            yield given, self._powered(state, told)

    def _powered(self, state: State, known: Known) -> list[Way]:
        ways = _each_way(known, lambda ask: _Tick(self, state, 0, ask).begin(), check=self.check)
        return list(ways)


class _Ask:
    """Answers to what is open: planned ones first, then yes. Keeps what was claimed."""

    def __init__(
        self,
        known: Known,
        plan: Sequence[bool],
        choose: Callable[[ex.Pick], int] | None,
        check: Callable[[], None],
    ) -> None:
        self.known, self.plan, self.choose, self.check = known, plan, choose, check
        self.made: list[bool] = []
        self.answers: dict[Claim, bool] = {}
        self.claims: list[Claim] = []
        self.picks: dict[str, tuple[int, int]] = {}
        self.peeking = False

    def __call__(self, claim: Claim | bool) -> bool:
        if isinstance(claim, bool):
            return claim
        answer = self.answers.get(claim)
        if answer is not None:
            return answer
        if self.peeking:
            raise _OpenError
        self.check()
        answer = self.known.says(claim)
        if answer is None:
            k = len(self.made)
            answer = self.plan[k] if k < len(self.plan) else True
            self.made.append(answer)
        other = opposite(claim)
        self.answers[claim], self.answers[other] = answer, not answer
        # Also what is known: nothing rests on ``known``.
        right = claim if answer else other
        self.claims.append(right)
        self.known = self.known.given(right)
        return answer

    def pick(self, pick: ex.Pick) -> Value:
        """A variable for what the world picks."""
        if self.peeking:
            raise _OpenError
        if pick.least == pick.most:
            return pick.least
        if self.choose is not None:
            return self.choose(pick)
        # Two ways may pick from one range under one name: only one of them is gone.
        name = f"pick{len(self.picks)}.{pick.least}.{pick.most}".replace("-", "m")
        self.picks[name] = pick.least, pick.most
        picked = variable(name)
        for claim in (compare("<=", pick.least, picked), compare("<=", picked, pick.most)):
            if isinstance(claim, Claim):
                self.known = self.known.given(claim)
        return picked

    def next_plan(self) -> list[bool] | None:
        """For the way not yet gone; None when all were."""
        made = self.made
        while made and not made[-1]:
            made.pop()
        return [*made[:-1], False] if made else None


def _each_way(
    known: Known,
    run: Callable[[_Ask], State | None],
    choose: Callable[[ex.Pick], int] | None = None,
    check: Callable[[], None] = lambda: None,
) -> Iterator[Way]:
    plan: list[bool] | None = []
    while plan is not None:
        ask = _Ask(known, plan, choose, check)
        state, shut, wrong = None, False, False
        try:
            state = run(ask)
        except _ShutError:
            shut = True
        except _WrongError:
            wrong = True
        idle = state is None and not shut and not wrong
        yield Way(tuple(ask.claims), ask.picks, ask.known, state, shut, idle, wrong)
        plan = ask.next_plan()


class _Tick:
    """One way through one tick."""

    def __init__(self, relation: Relation, state: State, passed: Value, ask: _Ask) -> None:
        self.relation, self.ask = relation, ask
        self.where = relation.where
        self.bound: dict[str, Entry] = {}
        self.happened: dict[Signal, list[tuple[Value, ...]]] = {}
        self.before = state
        self.passed = passed
        self.place: list[Any] = []
        for item, place in zip(relation.memory, state, strict=True):
            if isinstance(item, Number):
                self.place.append(place)
            elif isinstance(item, Timer):
                self.place.append(0 if place == 0 else minus(place, passed))
            else:
                self.place.append([Entry(minus(e.left, passed), e.fields) for e in place])

    # -- the tick -------------------------------------------------------------

    def run(self, taken: Sequence[_Choice]) -> State | None:
        """Offers, then machines, then what is left; None if nothing happens at all."""
        for offer, number in taken:
            self._take_up(offer, number)
        if not taken and not self._ends():
            return None
        for machine in self.relation.system.machines:
            self._all(machine.body)
        return self._left()

    def begin(self) -> State:
        """The state itself, if the machines may be found in it."""
        for machine in self.relation.system.machines:
            if not self.truth(machine.possible):
                raise _ShutError
        return self._left()

    def _take_up(self, offer: Offer, number: int | None) -> None:
        any_number = ex.Pick(offer.signal.name, 0, offer.count - 1)
        chosen: Value = self.ask.pick(any_number) if number is None else number
        self.bound[offer.name] = Entry(0, (chosen,))
        if not self.truth(offer.allowed):
            raise _ShutError
        self._happens(offer.signal, (chosen,))
        self._all(offer.do)

    def _ends(self) -> bool:
        """Something whose end is an event ends now."""
        ended = False
        for left in self.relation.lives(self.before):
            ended = self._over(minus(left, self.passed)) or ended
        return ended

    def _over(self, left: Value) -> bool:
        return self.ask(compare("<=", left, 0))

    def _left(self) -> State:
        places: list[Any] = []
        for item, place in zip(self.relation.memory, self.place, strict=True):
            if isinstance(item, Number):
                places.append(place)
            elif isinstance(item, Timer):
                places.append(place if item.restraint or not self._over(place) else 0)
            else:
                kept = [e for e in place if item.restraint or not self._over(e.left)]
                places.append(tuple(kept))
        return tuple(places)

    # -- statements -----------------------------------------------------------

    def _all(self, statements: Sequence[Statement]) -> None:
        for statement in statements:
            self._do[type(statement)](self, statement)

    def _set(self, s: Set) -> None:
        value = self.number(s.value)
        self._within(s.number.least, value, s.number.most)
        self.place[self.where[s.number]] = value

    def _start(self, s: Start) -> None:
        length = self.number(s.length)
        self._within(0, length, s.timer.most)
        self.place[self.where[s.timer]] = length

    def _put(self, s: Put) -> None:
        length = self.number(s.length)
        if not self.ask(compare("<=", 0, length)):
            raise _WrongError
        entry = Entry(length, tuple(self.number(v) for v in s.values))
        i = self.where[s.bank]
        self.place[i] = [*self.place[i], entry]

    def _within(self, least: int, value: Value, most: int) -> None:
        if not (self.ask(compare("<=", least, value)) and self.ask(compare("<=", value, most))):
            raise _WrongError

    def _take(self, s: Take) -> None:
        taken = self.bound[s.name]
        for i, item in enumerate(self.relation.memory):
            if isinstance(item, Bank):
                self.place[i] = [e for e in self.place[i] if e is not taken]

    def _emit(self, s: Emit) -> None:
        if s.signal in self.relation.failures:
            raise _WrongError
        if s.signal in self.relation.heard:
            self._happens(s.signal, tuple(self.number(v) for v in s.values))

    def _happens(self, signal: Signal, values: tuple[Value, ...]) -> None:
        seen = self.happened.setdefault(signal, [])
        for other in seen:
            if all(self._equal(a, b) for a, b in zip(values, other, strict=True)):
                return
        seen.append(values)

    def _rule(self, s: Rule) -> None:
        self._first(First((s,)))

    def _first(self, s: First) -> None:
        for rule in s.rules:
            if self.truth(rule.when):
                self._all(rule.do)
                return

    def _each(self, s: Each) -> None:
        if isinstance(s.source, Signal):
            for values in self._in_order(self.happened.get(s.source, ())):
                self.bound[s.name] = Entry(0, values)
                self._all(s.do)
            return
        for entry in tuple(self.place[self.where[s.source]]):
            if not s.expired or self._over(entry.left):
                self.bound[s.name] = entry
                self._all(s.do)

    def _in_order(self, occurrences: Sequence[tuple[Value, ...]]) -> list[tuple[Value, ...]]:
        ordered: list[tuple[Value, ...]] = []
        for values in occurrences:
            k = len(ordered)
            while k and self._before(values, ordered[k - 1]):
                k -= 1
            ordered.insert(k, values)
        return ordered

    def _before(self, a: Sequence[Value], b: Sequence[Value]) -> bool:
        for x, y in zip(a, b, strict=True):
            if not self._equal(x, y):
                return self.ask(compare("<", x, y))
        return False

    def _earliest(self, s: Earliest) -> None:
        best: Entry | None = None
        for entry in tuple(self.place[self.where[s.bank]]):
            self.bound[s.name] = entry
            if self.truth(s.where) and (best is None or self._sooner(entry, best)):
                best = entry
        if best is None:
            self._all(s.otherwise)
            return
        self.bound[s.name] = best
        self._all(s.do)

    def _sooner(self, a: Entry, b: Entry) -> bool:
        op = "<=" if self._before(a.fields, b.fields) else "<"
        return self.ask(compare("<=" if op == "<=" else "<", a.left, b.left))

    # -- numbers --------------------------------------------------------------

    def number(self, e: ex.Int) -> Value:
        """The value of a number expression."""
        return self._value[type(e)](self, e)

    def _constant(self, e: ex.Constant) -> Value:
        return int(e.value) if Fraction(e.value).denominator == 1 else Fraction(e.value)

    def _read(self, e: ex.Read) -> Value:
        value: Value = self.place[self.where[e.number]]
        return value

    def _timer_left(self, e: ex.Left) -> Value:
        left: Value = self.place[self.where[e.timer]]
        if e.timer.restraint and self._over(left):
            return 0
        return left

    def _field(self, e: ex.Field) -> Value:
        return self.bound[e.name].fields[e.index]

    def _entry_left(self, e: ex.EntryLeft) -> Value:
        return self.bound[e.name].left

    def _plus(self, e: ex.Plus) -> Value:
        return plus(self.number(e.a), self.number(e.b))

    def _minus(self, e: ex.Minus) -> Value:
        return minus(self.number(e.a), self.number(e.b))

    def _times(self, e: ex.Times) -> Value:
        factor = self.number(e.a)
        if isinstance(factor, Sum):
            raise ModelError("a product of two unknowns")
        return plus(0, self.place[self.where[e.unit]], factor)

    def _lookup(self, e: ex.Lookup) -> Value:
        index = self.number(e.index)
        if isinstance(index, int):
            # The same as below, in one step: tables of pairs are long.
            if 0 <= index < len(e.table):
                return e.table[index]
            raise _WrongError
        if len(e.table) > 1 and len({b - a for a, b in pairwise(e.table)}) == 1:
            self._within(0, index, len(e.table) - 1)
            return plus(e.table[0], index, e.table[1] - e.table[0])
        for k, value in enumerate(e.table):
            if self._equal(index, k):
                return value
        raise _WrongError

    def _find(self, e: ex.Find) -> Value:
        value = self.number(e.value)
        for k, (least, most) in enumerate(e.windows):
            if self.ask(compare("<=", least, value)) and self.ask(compare("<=", value, most)):
                return k
        return -1

    def _size(self, e: ex.Size) -> Value:
        return sum(not self._over(entry.left) for entry in self.place[self.where[e.bank]])

    def _pick(self, e: ex.Pick) -> Value:
        return self.ask.pick(e)

    # -- truth values ---------------------------------------------------------

    def truth(self, e: ex.Bool) -> bool:
        """Whether a truth expression holds on this way."""
        return self._holds[type(e)](self, e)

    def _equal(self, a: Value, b: Value) -> bool:
        if not isinstance(a, Sum) and not isinstance(b, Sum):
            return a == b
        return self.ask(compare("<=", a, b)) and self.ask(compare("<=", b, a))

    def _both(self, e: ex.And) -> bool:
        return self._of_sides(e, False)

    def _either(self, e: ex.Or) -> bool:
        return self._of_sides(e, True)

    def _of_sides(self, e: ex.And | ex.Or, decides: bool) -> bool:
        """Whether one side is as ``decides`` tells. Sides that are known are looked at first, all
        of a chain at once: they may spare a decision."""
        still_open = []
        for side in self.relation.sides(e):
            known = self._peek(side)
            if known is decides:
                return decides
            if known is None:
                still_open.append(side)
        for side in still_open:
            if self.truth(side) is decides:
                return decides
        return not decides

    def _peek(self, e: ex.Bool) -> bool | None:
        """The truth, if it can be told without a decision."""
        was, self.ask.peeking = self.ask.peeking, True
        try:
            return self.truth(e)
        except _OpenError:
            return None
        finally:
            self.ask.peeking = was

    def _expires(self, e: ex.Expires) -> bool:
        left = self.before[self.where[e.timer]]
        if e.timer.restraint or left == 0:
            return False
        return self._over(minus(left, self.passed))

    def _exists(self, e: ex.Exists) -> bool:
        bank = e.bank
        for entry in tuple(self.place[self.where[bank]]):
            self.bound[e.name] = entry
            if self._peek(e.where) is False or (bank.restraint and self._over(entry.left)):
                continue
            self.bound[e.name] = entry
            if self.truth(e.where):
                return True
        return False

    _do: dict[type, Callable[..., None]] = {
        Set: _set,
        Start: _start,
        Put: _put,
        Take: _take,
        Emit: _emit,
        Rule: _rule,
        First: _first,
        Each: _each,
        Earliest: _earliest,
    }
    _value: dict[type, Callable[..., Value]] = {
        ex.Constant: _constant,
        ex.Read: _read,
        ex.Left: _timer_left,
        ex.Field: _field,
        ex.EntryLeft: _entry_left,
        ex.Plus: _plus,
        ex.Minus: _minus,
        ex.Times: _times,
        ex.Lookup: _lookup,
        ex.Find: _find,
        ex.Size: _size,
        ex.Pick: _pick,
    }
    _holds: dict[type, Callable[..., bool]] = {
        ex.Truth: lambda self, e: e.value,
        ex.Equal: lambda self, e: self._equal(self.number(e.a), self.number(e.b)),
        ex.Less: lambda self, e: self.ask(compare("<", self.number(e.a), self.number(e.b))),
        ex.And: _both,
        ex.Or: _either,
        ex.Not: lambda self, e: not self.truth(e.a),
        ex.Happens: lambda self, e: bool(self.happened.get(e.signal)),
        ex.Expires: _expires,
        ex.Exists: _exists,
    }


# -- power-up ---------------------------------------------------------------------


@dataclass(frozen=True)
class _Range:
    """A value that nobody knows."""

    value: Value
    claims: tuple[Claim, ...]


def _begins(item: Number | Timer | Bank, name: str, at_once: bool) -> list[Any]:
    """What a place may be at power-up: numbers one by one, unless taken ``at_once``."""
    if isinstance(item, Bank):
        return [()]
    start = item.begin if isinstance(item, Timer) else item.start
    if not isinstance(start, tuple):
        return [start]
    least, most = start
    if isinstance(item, Number):
        if not at_once and most - least < 1000:
            return list(range(least, most + 1))
        return [_range(name, least, most)]
    off: list[Any] = [0] if least == 0 else []
    return off + ([_range(name, max(least, 1), most)] if most else [])


def _range(name: str, least: int, most: int) -> _Range:
    value = variable(name)
    claims = compare("<=", least, value), compare("<=", value, most)
    return _Range(value, tuple(c for c in claims if isinstance(c, Claim)))


# -- what is listened to, and what only forbids -----------------------------------


def _inside(thing: Any) -> Iterator[Any]:
    """A statement or expression, and all that it is made of."""
    yield thing
    parts = (
        thing
        if isinstance(thing, tuple)
        else [getattr(thing, f.name) for f in fields(thing)]
        if is_dataclass(thing) and not isinstance(thing, Number | Timer | Bank | Signal)
        else ()
    )
    for part in parts:
        yield from _inside(part)


def _heard(machines: Sequence[Machine]) -> Iterator[Signal]:
    for part in _inside(tuple(machines)):
        if isinstance(part, ex.Happens):
            yield part.signal
        elif isinstance(part, Each) and isinstance(part.source, Signal):
            yield part.source


def _only_forbid(machine: Machine) -> None:
    """Raise ModelError unless more entries in a restraint bank never allow more."""
    for part in _inside(machine.body):
        _no_restraint(part)
    if machine.offer is not None:
        for part in _inside(machine.offer.do):
            _no_restraint(part)
        _forbids(machine.offer.allowed, True)


def _no_restraint(part: Any) -> None:
    bank = (
        part.source
        if isinstance(part, Each)
        else part.bank
        if isinstance(part, Earliest | ex.Exists | ex.Size)
        else None
    )
    if isinstance(bank, Bank) and bank.restraint:
        _refuse(bank)


def _forbids(e: ex.Bool, wanted: bool) -> None:
    """More entries make ``e`` less likely, if it is ``wanted``, or more likely if not."""
    match e:
        case ex.And(a, b) | ex.Or(a, b):
            _forbids(a, wanted)
            _forbids(b, wanted)
        case ex.Not(a):
            _forbids(a, not wanted)
        case ex.Exists(bank, _, where):
            if bank.restraint and wanted:
                _refuse(bank)
            _forbids(where, wanted)
        case ex.Less(ex.Size(), b) if wanted:
            for part in _inside(b):
                _no_restraint(part)
        case _:
            for part in _inside(e):
                _no_restraint(part)


def _refuse(bank: Bank) -> NoReturn:
    raise ModelError(f"restraint {bank.name!r} does more than forbid")
