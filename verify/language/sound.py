"""Whether a machine is written in the language at all, and nothing in it always leaves its bounds.

What leaves them only in some states is found by the engines that step through states.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import fields, is_dataclass
from itertools import pairwise
from math import inf

from verify.language import expressions as ex
from verify.language.machine import Each, Earliest, First, Machine, Rule, Statement, walk
from verify.language.picks import parts_of
from verify.language.ranges import Range, Ranges, narrowed, range_of
from verify.language.state import Bank, Emit, Number, Put, Set, Signal, Start, Take, Timer

Hulls = Mapping["tuple[Signal | Bank, int]", Range]
"""Between which numbers the fields of signals and bank entries lie."""

ROUNDS = 8  # of looking how far fields reach, before one that grows is taken to have no end


class UnsoundError(Exception):
    """A statement may leave its bounds, or is none. ``found`` and ``allowed`` in words."""

    def __init__(self, found: str, allowed: str) -> None:
        super().__init__(found, allowed)
        self.found, self.allowed = found, allowed


def hulls(machines: Iterable[Machine], given: Mapping[Signal | Bank, int]) -> Hulls:
    """How far the fields of all signals and banks reach. ``given``: of signals from elsewhere,
    whose first field is 0 to so many."""
    machines = tuple(machines)
    for machine in machines:
        _check_kinds(machine)
    found: dict[tuple[Signal | Bank, int], Range] = {(s, 0): (0, n) for s, n in given.items()}
    for round_ in range(ROUNDS + 1):
        looking = _Looking(found, {}, check=False)
        for machine in machines:
            looking.block(machine.body, {}, {})
        grown = dict(found)
        for key, (least, most) in looking.put.items():
            low, high = found.get(key, (least, most))
            if round_ == ROUNDS:
                low, high = (low if least >= low else -inf), (high if most <= high else inf)
            grown[key] = min(low, least), max(high, most)
        if grown == found:
            break
        found = grown
    return found


def check_machine(machine: Machine, known: Hulls, outputs: Mapping[Signal, int]) -> None:
    """Raise UnsoundError for a statement that leaves its bounds whenever it is reached.

    ``outputs``: signals to others, whose first field has to be 0 to so many.
    """
    looking = _Looking(known, outputs, check=True)
    looking.possible(machine)
    looking.block(machine.body, {}, {})


class _Looking:
    """Goes through statements with what guards said of numbers."""

    def __init__(self, known: Hulls, outputs: Mapping[Signal, int], *, check: bool) -> None:
        self.known, self.outputs, self.check = known, outputs, check
        self.put: dict[tuple[Signal | Bank, int], Range] = {}
        self.rule = ""

    def possible(self, machine: Machine) -> None:
        """What is said of the states in which the machine may be found."""
        self.rule = ""
        self._truth(machine.possible, {}, {})

    def block(
        self, statements: Iterable[Statement], ranges: Ranges, bound: Mapping[str, Signal | Bank]
    ) -> Ranges:
        """What is known after these statements."""
        for statement in statements:
            self._statement(statement, ranges, bound)
            ranges = _after(ranges, (statement,))
        return ranges

    def _statement(
        self, statement: Statement, ranges: Ranges, bound: Mapping[str, Signal | Bank]
    ) -> None:
        match statement:
            case Set(number, value):
                self._inside(value, ranges, bound, number.least, number.most, f'"{number.name}" is')
            case Start(timer, length):
                self._inside(length, ranges, bound, 0, timer.most, f'"{timer.name}" is started for')
            case Put(bank, length, values):
                what = f'"{bank.name}" is given an entry of'
                self._inside(length, ranges, bound, 0, inf, what)
                self._fields(bank, values, ranges, bound)
            case Emit(signal, values):
                self._fields(signal, values, ranges, bound)
            case Rule():
                self._rule(statement, ranges, bound)
            case First(rules):
                for rule in rules:
                    self._rule(rule, ranges, bound)
                    ranges = narrowed(ranges, rule.when, False)
            case Each(source, name, do):
                inner = {**bound, name: source}
                # Nothing is known in a round of what an earlier one may have changed.
                self.block(do, self._bind(_after(ranges, do), name, source), inner)
            case Earliest(bank, name, where, do, otherwise):
                inner = {**bound, name: bank}
                here = self._bind(ranges, name, bank)
                self._truth(where, here, inner)
                self.block(do, narrowed(here, where), inner)
                self.block(otherwise, ranges, bound)
            case Take(name):
                if self.check and not isinstance(bound.get(name), Bank):
                    raise self._wrong(
                        f'"{name}" is taken', "an entry of a bank that is bound there"
                    )

    def _rule(self, rule: Rule, ranges: Ranges, bound: Mapping[str, Signal | Bank]) -> None:
        self.rule = rule.name
        self._truth(rule.when, ranges, bound)
        self.block(rule.do, narrowed(ranges, rule.when), bound)

    def _bind(self, ranges: Ranges, name: str, source: Signal | Bank) -> Ranges:
        found = {e: r for e, r in ranges.items() if not _names(e, name)}
        for k in range(len(source.fields)):
            found[ex.Field(name, k)] = self.known.get((source, k), (-inf, inf))
        return found

    def _fields(
        self,
        source: Signal | Bank,
        values: tuple[ex.Int, ...],
        ranges: Ranges,
        bound: Mapping[str, Signal | Bank],
    ) -> None:
        if self.check and len(values) != len(source.fields):
            raise self._wrong(
                f'"{source.name}" is given {len(values)} numbers', f"{len(source.fields)}"
            )
        for k, value in enumerate(values):
            most = self.outputs.get(source) if isinstance(source, Signal) and not k else None
            least, most_ = (0, most) if most is not None else (-inf, inf)
            self._inside(value, ranges, bound, least, most_, f'"{source.name}" is emitted with')
            here = range_of(value, ranges)
            low, high = self.put.get((source, k), here)
            self.put[source, k] = min(low, here[0]), max(high, here[1])

    # -- expressions ------------------------------------------------------------

    def _inside(
        self,
        value: ex.Int,
        ranges: Ranges,
        bound: Mapping[str, Signal | Bank],
        least: float,
        most: float,
        what: str,
    ) -> None:
        if not self.check:
            return
        self._number(value, ranges, bound)
        low, high = range_of(value, ranges)
        if low > most or high < least:
            end = " and more" if high == inf else f" to {high:.0f}"
            start = "anything" if low == -inf else f"{low:.0f}"
            limit = " or more" if most == inf else f" to {most:.0f}"
            raise self._wrong(f"{what} {start}{end if low != high else ''}", f"{least:.0f}{limit}")

    def _truth(self, e: ex.Bool, ranges: Ranges, bound: Mapping[str, Signal | Bank]) -> None:
        if not self.check:
            return
        match e:
            case ex.And(a, b):
                self._truth(a, ranges, bound)
                self._truth(b, narrowed(ranges, a), bound)
            case ex.Or(a, b):
                self._truth(a, ranges, bound)
                self._truth(b, narrowed(ranges, a, False), bound)
            case ex.Not(a):
                self._truth(a, ranges, bound)
            case ex.Equal(a, b) | ex.Less(a, b):
                self._number(a, ranges, bound)
                self._number(b, ranges, bound)
            case ex.Exists(bank, name, where):
                self._truth(where, self._bind(ranges, name, bank), {**bound, name: bank})

    def _number(self, e: ex.Int, ranges: Ranges, bound: Mapping[str, Signal | Bank]) -> None:
        match e:
            case ex.Field(name, index):
                if name not in bound or not 0 <= index < len(bound[name].fields):
                    raise self._wrong(
                        f'number {index} of "{name}" is looked at',
                        "a field of what Each, Earliest or Exists binds there",
                    )
            case ex.EntryLeft(name):
                if not isinstance(bound.get(name), Bank):
                    raise self._wrong(
                        f'what is left of "{name}" is looked at',
                        "an entry of a bank that Each, Earliest or Exists binds there",
                    )
            case ex.Plus(a, b) | ex.Minus(a, b):
                self._number(a, ranges, bound)
                self._number(b, ranges, bound)
            case ex.Times(a, _) | ex.Find(_, a):
                self._number(a, ranges, bound)
            case ex.Lookup(table, index):
                self._inside(index, ranges, bound, 0, len(table) - 1, "a table is looked up at")

    def _wrong(self, found: str, allowed: str) -> UnsoundError:
        where = f'rule "{self.rule}": ' if self.rule else ""
        return UnsoundError(f"{where}{found}", allowed)


def _after(ranges: Ranges, done: tuple[Statement, ...]) -> Ranges:
    changed = {
        s.number if isinstance(s, Set) else s.timer
        for s in walk(done)
        if isinstance(s, Set | Start)
    }
    if not changed:
        return ranges
    return {e: r for e, r in ranges.items() if not changed & set(_memory(e))}


def _memory(e: ex.Int) -> Iterable[Number | Timer]:
    for part in parts_of(e):
        if isinstance(part, ex.Read):
            yield part.number
        elif isinstance(part, ex.Left):
            yield part.timer


def _names(e: ex.Int, name: str) -> bool:
    return any(isinstance(p, ex.Field | ex.EntryLeft) and p.name == name for p in parts_of(e))


# -- kinds ----------------------------------------------------------------------------

_STATEMENTS = (Set, Start, Put, Take, Emit, Rule, First, Each, Earliest)


def _check_kinds(machine: Machine) -> None:
    """Every statement and expression is one, and is of the kind that belongs there."""
    for item in machine.memory:
        check_memory(item)
    _check_all(machine.body, "")
    _check_part(machine.possible, ex.Bool, "possible")


def _check_all(statements: object, rule: str) -> None:
    if not isinstance(statements, tuple):
        raise UnsoundError(
            f"{_in(rule)}{_shown(statements)} in place of statements", "a tuple of statements"
        )
    for statement in statements:
        if type(statement) not in _STATEMENTS:
            raise UnsoundError(f"{_in(rule)}{_shown(statement)}", "a statement of the language")
        _check_statement(statement, rule)


def _check_statement(statement: Statement, rule: str) -> None:
    match statement:
        case Rule(name, when, do):
            _check_part(when, ex.Bool, f'rule "{name}"')
            _check_all(do, name)
        case First(rules):
            _check_all(rules, rule)
            for inner in rules:
                if not isinstance(inner, Rule):
                    raise UnsoundError(f"{_in(rule)}{_shown(inner)} in First", "rules")
        case Each(_, _, do):
            _check_all(do, rule)
        case Earliest(_, _, where, do, otherwise):
            _check_part(where, ex.Bool, _in(rule))
            _check_all(do, rule)
            _check_all(otherwise, rule)
        case Set(_, value) | Start(_, value):
            _check_part(value, ex.Int, rule)
        case Put(_, length, values):
            for value in (length, *values):
                _check_part(value, ex.Int, rule)
        case Emit(_, values):
            for value in values:
                _check_part(value, ex.Int, rule)


_PARTS: dict[type, tuple[str, ...]] = {
    ex.Constant: ("whole",),
    ex.Read: ("Number",),
    ex.Left: ("Timer",),
    ex.Field: ("name", "whole"),
    ex.EntryLeft: ("name",),
    ex.Plus: ("Int", "Int"),
    ex.Minus: ("Int", "Int"),
    ex.Times: ("Int", "Number"),
    ex.Lookup: ("table", "Int"),
    ex.Find: ("windows", "Int"),
    ex.Size: ("Bank",),
    ex.Pick: ("name", "whole", "whole"),
    ex.Truth: ("truth",),
    ex.Equal: ("Int", "Int"),
    ex.Less: ("Int", "Int"),
    ex.And: ("Bool", "Bool"),
    ex.Or: ("Bool", "Bool"),
    ex.Not: ("Bool",),
    ex.Happens: ("Signal",),
    ex.Expires: ("Timer",),
    ex.Exists: ("Bank", "name", "Bool"),
}
_KINDS: dict[str, type] = {
    "Number": Number,
    "Timer": Timer,
    "Bank": Bank,
    "Signal": Signal,
    "name": str,
    "truth": bool,
}


def _check_part(e: object, kind: type, rule: str) -> None:
    """``e`` is an expression of this kind, and so is all that it is made of."""
    parts = _PARTS.get(type(e))
    if not isinstance(e, kind) or parts is None or not is_dataclass(e):
        wanted = "a number" if kind is ex.Int else "a truth value"
        raise UnsoundError(
            f"{_in(rule)}{_shown(e)} in place of {wanted}", "an expression of the language"
        )
    for field, part in zip(fields(e), parts, strict=True):
        value = getattr(e, field.name)
        if part == "Int":
            _check_part(value, ex.Int, rule)
        elif part == "Bool":
            _check_part(value, ex.Bool, rule)
        elif not _proper(value, part):
            raise UnsoundError(
                f"{_in(rule)}{type(e).__name__} with {_shown(value)} as its {field.name}",
                _ALLOWED.get(part, f"a {part}"),
            )
    if isinstance(e, ex.Pick) and e.least > e.most:
        raise UnsoundError(f'{_in(rule)}"{e.name}" picks from {e.least} to {e.most}', "least first")


_ALLOWED = {
    "whole": "a whole number",
    "table": "a tuple of one whole number or more",
    "windows": "a tuple of pairs (least, most), no two of which share a number",
}


def _proper(value: object, part: str) -> bool:
    if part == "whole":
        return isinstance(value, int)
    if part == "table":
        return isinstance(value, tuple) and bool(value) and all(isinstance(x, int) for x in value)
    if part == "windows":
        return isinstance(value, tuple) and _disjoint(value)
    return isinstance(value, _KINDS[part])


def _disjoint(windows: tuple[object, ...]) -> bool:
    pairs = []
    for window in windows:
        if not isinstance(window, tuple) or len(window) != 2:
            return False
        if not all(isinstance(x, int) for x in window) or window[0] > window[1]:
            return False
        pairs.append(window)
    pairs.sort()
    return all(a[1] < b[0] for a, b in pairwise(pairs))


def check_memory(item: Number | Timer | Bank) -> None:
    """Raise UnsoundError for memory that begins outside of its own bounds."""
    match item:
        case Timer(name, most):
            begins = item.begin if isinstance(item.begin, tuple) else (item.begin, item.begin)
            if not isinstance(most, int) or most < 1:
                raise UnsoundError(f'a timer "{name}" of at most {most!r} ticks', "1 or more")
            if not 0 <= begins[0] <= begins[1] <= most:
                raise UnsoundError(
                    f'a timer "{name}" with {item.begin} left at power-up', f"0 to {most}"
                )
        case Number(name, least, most, start):
            if not isinstance(least, int) or not isinstance(most, int) or least > most:
                raise UnsoundError(
                    f'a number "{name}" of {least!r} to {most!r}', "whole numbers, least first"
                )
            if isinstance(start, Number):
                start = (start.least, start.most)
            starts = start if isinstance(start, tuple) else (start, start)
            if not least <= starts[0] <= starts[1] <= most:
                raise UnsoundError(
                    f'a number "{name}" that starts with {start}', f"{least} to {most}"
                )


def _in(rule: str) -> str:
    return f'rule "{rule}": ' if rule and not rule.startswith("rule ") else f"{rule}: " * bool(rule)


def _shown(value: object) -> str:
    text = repr(value)
    return f"{text[:60]}{'...' if len(text) > 60 else ''}"
