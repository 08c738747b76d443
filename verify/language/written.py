"""What the texts of a machine mean: guards, numbers and actions of the modelling language.

What would leave its bounds stays at the bound, so that every engine reads a machine alike:
a number that is set, an index into a table. A timer that might run longer than its bound,
or a length that might be below zero, is refused. Rules made for this have names in brackets.
"""

from __future__ import annotations

import ast
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, field, replace
from itertools import pairwise
from math import inf
from typing import TypeAlias, TypeVar

from verify.language import expressions as ex
from verify.language.machine import First, Rule, Statement, walk
from verify.language.ranges import Ranges, narrowed, range_of
from verify.language.state import Bank, Flag, Mode, Number, Set, Signal, Start, Timer
from verify.language.texts import (
    FUNCTIONS,
    Known,
    TextError,
    Value,
    combined,
    parsed,
    source,
    wrong,
)

MOST_NODES = 2_000  # of an expression, with all that its names stand for
AN_OUTPUT = "(an output that is there)"  # the rule that asks whether a strike has one
WIDEST = 4096  # values of a number of which something else is worked out

Item: TypeAlias = "Number | Timer | Bank | Signal | Line | tuple[Item, ...]"
Tree = TypeVar("Tree", ex.Int, ex.Bool)

RESERVED = FUNCTIONS | {
    *("press", "release", "input", "inputs", "line", "lines", "entry"),
    *("find", "pick", "any", "strike", "rest", "refuse"),
}


@dataclass(frozen=True)
class Line:
    """One end of a line: what can be seen of it, and, at the transmitter, its level to be."""

    rises: ex.Bool | None = None
    falls: ex.Bool | None = None
    high: ex.Bool | None = None
    drive: Flag | None = None


@dataclass(frozen=True)
class Scope:
    """What the names in a text stand for.

    ``lets``: names of texts; ``fields``: numbers bound by a loop, by name (``entry.at``);
    ``ranges``: what is known of expressions; ``do``: the text says what to do, not when.
    ``acts``: actions of this end, by name, each a signal with a number, or without.
    """

    known: Known
    items: Mapping[str, Item]
    triggers: Mapping[str, Signal] = field(default_factory=dict)
    acts: Mapping[str, tuple[Signal, int]] = field(default_factory=dict)
    lets: Mapping[str, str] = field(default_factory=dict)
    fields: Mapping[str, ex.Int] = field(default_factory=dict)
    ranges: Ranges = field(default_factory=dict)
    picks: str | None = None

    def where(self, guard: ex.Bool, holds: bool = True) -> Scope:
        """The same where a guard holds, or does not."""
        return replace(self, ranges=narrowed(self.ranges, guard, holds))

    def after(self, done: Iterable[Statement]) -> Scope:
        """The same after something was done: what guards said of what it changes is over."""
        changed = {
            s.number if isinstance(s, Set) else s.timer
            for s in walk(tuple(done))
            if isinstance(s, Set | Start)
        }
        kept = {e: r for e, r in self.ranges.items() if not _reads(e, changed)}
        return replace(self, ranges=kept)

    def again(self) -> Scope:
        """The same in a loop, where what guards said before it may be over."""
        kept: Ranges = {e: r for e, r in self.ranges.items() if isinstance(e, ex.Field)}
        return replace(self, ranges=kept)

    # -- what texts are -------------------------------------------------------

    def truth(self, text: str) -> ex.Bool:
        """A guard. Raises TextError."""
        return _sized(self._truth(parsed(text)))

    def number(self, text: str) -> ex.Int:
        """A number. Raises TextError."""
        return _sized(self._number(parsed(text)))

    def action(self, text: str) -> tuple[Statement, ...]:
        """What is done, as statements. Raises TextError."""
        node = parsed(text)
        match node:
            case ast.Call(func=ast.Attribute(value=target, attr=verb), args=arguments):
                return self._act_on(node, self._item(target), verb, arguments)
            case ast.Call(func=ast.Name(id=name), args=arguments) if name in self.acts:
                return self._act(node, name, arguments)
        raise wrong(node, source(node), f"an action: {self._actions()}")

    # -- items ----------------------------------------------------------------

    def _actions(self) -> str:
        own = [f"{name}({'i' if count else ''})" for name, (_, count) in self.acts.items()]
        verbs = "NUMBER.set(x), FLAG.set(x), MODE.set(m), TIMER.start(x), TIMER.stop(), "
        verbs += "BANK.put(x, ...), SIGNAL.emit()"
        lines = [] if own else ["line.up()", "line.down()", "line.set(x)"]
        return ", ".join([verbs, *lines, *own])

    def _item(self, node: ast.expr) -> Item:
        match node:
            case ast.Name(id=name) if name in self.items:
                item = self.items[name]
                if isinstance(item, tuple) and len(item) == 1 and name == "line":
                    return item[0]
                if isinstance(item, tuple):
                    raise wrong(node, f"'{name}', of which there are {len(item)}", f"{name}[0] ...")
                return item
            case ast.Subscript(value=ast.Name(id=name), slice=index) if name in self.items:
                several = self.items[name]
                if not isinstance(several, tuple):
                    raise wrong(node, f"an index of '{name}', of which there is one", name)
                if not self.known.covers(index):
                    allowed = "an index that is known when the file is read; use 'for'"
                    raise wrong(index, source(index), allowed)
                k = self.known.whole(index)
                if not 0 <= k < len(several):
                    raise wrong(index, f"index {k}", f"0 to {len(several) - 1}")
                return several[k]
        raise wrong(node, source(node), self._names())

    def _names(self) -> str:
        named = [*self.items, *self.lets, *self.fields, *self.triggers, *self.known.names]
        shown = list(dict.fromkeys(named))
        return "one of these names: " + ", ".join(shown[:20]) + (", ..." if shown[20:] else "")

    # -- numbers --------------------------------------------------------------

    def _number(self, node: ast.expr) -> ex.Int:
        self.known.step(node)
        if self.known.covers(node):
            return ex.Constant(self.known.whole(node))
        match node:
            case ast.Name(id=name) if name in self.lets:
                return _sized(self._inside(name)._number(parsed(self.lets[name])))
            case ast.Name(id=name) if name in self.fields:
                return self.fields[name]
            case ast.Attribute(value=ast.Name(id="entry"), attr=name):
                if f"entry.{name}" not in self.fields:
                    mine = [f for f in self.fields if f.startswith("entry.")]
                    raise wrong(node, source(node), ", ".join(mine) or "no entry outside 'each'")
                return self.fields[f"entry.{name}"]
            case ast.Attribute(attr="high"):
                return _as_number(node, self._truth(node))
            case ast.Attribute(attr="left", value=value):
                if isinstance(timer := self._item(value), Timer):
                    return timer.left
                raise wrong(node, source(node), "the name of a timer before .left")
            case ast.Subscript(value=table, slice=index) if self.known.covers(table):
                return self._entry(node, self.known.of(table), self._number(index))
            case ast.Call(func=ast.Name(id=function), args=arguments):
                return self._called(node, function, arguments)
            case ast.UnaryOp(op=ast.USub(), operand=operand):
                return ex.Constant(0) - self._number(operand)
            case ast.BinOp(left=left, op=op, right=right):
                return self._combined(node, op, self._number(left), self._number(right))
            case ast.Name() | ast.Subscript():
                return self._value_of(node)
        raise wrong(node, source(node), "a number")

    def _value_of(self, node: ast.expr) -> ex.Int:
        item = self._item(node)
        if isinstance(item, Number) and not isinstance(item, Mode):
            return item.read()
        raise wrong(node, f"{source(node)}, which is no number", "a number or a flag")

    def _inside(self, let: str) -> Scope:
        """The scope of a text that has a name: only names above it, so that none is endless."""
        above = [*self.lets][: [*self.lets].index(let)]
        return replace(self, lets={name: self.lets[name] for name in above})

    def _combined(self, node: ast.expr, op: ast.operator, a: ex.Int, b: ex.Int) -> ex.Int:
        if isinstance(op, ast.Add):
            return a + b
        if isinstance(op, ast.Sub):
            return a - b
        # Anything else is a table over the values of the one side that is not known.
        if isinstance(b, ex.Constant):
            right = int(b.value)
            return self._table(node, a, lambda v: combined(node, op, v, right))
        if isinstance(a, ex.Constant):
            left = int(a.value)
            return self._table(node, b, lambda v: combined(node, op, left, v))
        raise wrong(node, source(node), "+ or -; else one side known when the file is read")

    def _table(self, node: ast.expr, e: ex.Int, of: Callable[[int], int]) -> ex.Int:
        low, high = range_of(e, self.ranges)
        if high - low >= WIDEST:
            raise wrong(node, f"a number of many values in {source(node)}", f"at most {WIDEST}")
        values = range(int(low), int(high) + 1)
        return ex.Lookup(tuple(of(value) for value in values), e - int(low) if low else e)

    def _entry(self, node: ast.expr, table: Value, index: ex.Int) -> ex.Int:
        if isinstance(table, int) or not table or not all(isinstance(x, int) for x in table):
            raise wrong(node, source(node), "a list of numbers before the brackets")
        entries: tuple[int, ...] = table  # type: ignore[assignment]
        low, high = range_of(index, self.ranges)
        last = len(entries) - 1
        if low >= 0 and high <= last:
            return ex.Lookup(entries, index)
        if high - low >= WIDEST + len(entries):
            raise wrong(node, f"an index of any size in {source(node)}", f"0 to {last}")
        return self._table(node, index, lambda v: entries[min(max(v, 0), last)])

    def _called(self, node: ast.Call, function: str, arguments: list[ast.expr]) -> ex.Int:
        match function, arguments:
            case "len", [ast.Name() as name] if isinstance(bank := self._item(name), Bank):
                return bank.size()
            case "find", [windows, value]:
                return ex.Find(_windows(windows, self.known.of(windows)), self._number(value))
            case "pick", [least, most]:
                low, high = self.known.whole(least), self.known.whole(most)
                if self.picks is None:
                    raise wrong(node, "pick in a guard", "pick in 'do' only")
                if not -(10**6) <= low <= high <= 10**6:
                    raise wrong(node, source(node), "pick(least, most), least not above most")
                return ex.Pick(f"{self.picks}.pick{node.col_offset}", low, high)
        raise wrong(node, source(node), "find(windows, x), pick(least, most), len(BANK)")

    # -- truth values ---------------------------------------------------------

    def _truth(self, node: ast.expr) -> ex.Bool:
        self.known.step(node)
        match node:
            case ast.Constant(value=bool() as value):
                return ex.Truth(value)
            case ast.BoolOp(op=op, values=values):
                return self._joined(isinstance(op, ast.And), values)
            case ast.UnaryOp(op=ast.Not(), operand=operand):
                return ~self._truth(operand)
            case ast.Compare():
                return self._compares(node)
            case ast.Name(id=name) if name in self.triggers:
                return self.triggers[name].happens()
            case ast.Name(id=name) if name in self.lets:
                return _sized(self._inside(name)._truth(parsed(self.lets[name])))
            case ast.Attribute(value=value, attr=what):
                return self._seen(node, self._item(value), what)
            case ast.Call(func=ast.Name(id="any"), args=[ast.GeneratorExp() as some]):
                return self._some(some)
            case ast.Name() | ast.Subscript():
                item = None if self.known.covers(node) else self._item(node)
                if isinstance(item, Flag):
                    return item.up()
                if isinstance(item, Signal):
                    return item.happens()
        if self.known.covers(node):
            return ex.Truth(bool(self.known.whole(node)))
        raise wrong(node, source(node), "a comparison, a flag, or something that happens")

    def _joined(self, every: bool, values: list[ast.expr]) -> ex.Bool:
        first, *rest = values
        found = self._truth(first)
        for value in rest:
            found = (found & self._truth(value)) if every else (found | self._truth(value))
        return found

    def _seen(self, node: ast.expr, item: Item, what: str) -> ex.Bool:
        if isinstance(item, Timer) and what in ("ends", "runs"):
            return item.expires() if what == "ends" else item.running()
        if isinstance(item, Line):
            seen = {"rises": item.rises, "falls": item.falls, "high": item.high}
            if (truth := seen.get(what)) is not None:
                return truth
            here = ", ".join(f".{name}" for name, truth in seen.items() if truth is not None)
            raise wrong(node, source(node), f"{here} of a line, at this end")
        raise wrong(node, source(node), "TIMER.ends, TIMER.runs, line.rises, line.falls, line.high")

    def _compares(self, node: ast.Compare) -> ex.Bool:
        found: ex.Bool | None = None
        left = node.left
        for op, right in zip(node.ops, node.comparators, strict=True):
            one = self._compared(node, left, op, right)
            found = one if found is None else found & one
            left = right
        return found if found is not None else ex.Truth(True)

    def _compared(self, node: ast.expr, a: ast.expr, op: ast.cmpop, b: ast.expr) -> ex.Bool:
        if isinstance(op, ast.In | ast.NotIn):
            return self._among(a, b, isinstance(op, ast.In))
        if (mode := self._mode(a)) is not None or (mode := self._mode(b)) is not None:
            label = b if self._mode(a) is not None else a
            if not isinstance(op, ast.Eq | ast.NotEq):
                raise wrong(node, source(node), "== or != with a mode")
            same = mode.at(_label(label, mode))
            return same if isinstance(op, ast.Eq) else ~same
        left, right = self._number(a), self._number(b)
        match op:
            case ast.Eq():
                return left.eq(right)
            case ast.NotEq():
                return left.ne(right)
            case ast.Lt():
                return left < right
            case ast.LtE():
                return left <= right
            case ast.Gt():
                return left > right
        return left >= right

    def _among(self, a: ast.expr, b: ast.expr, inside: bool) -> ex.Bool:
        found: ex.Bool = ex.Truth(False)
        if (mode := self._mode(a)) is not None and isinstance(b, ast.Tuple | ast.List):
            for label in b.elts:
                found = found | mode.at(_label(label, mode))
        else:
            values = self.known.of(b)
            if isinstance(values, int) or len(values) > 1000:
                raise wrong(b, source(b), "a list of at most 1000 entries after 'in'")
            e = self._number(a)
            for value in values:
                if not isinstance(value, int):
                    raise wrong(b, source(b), "a list of numbers after 'in'")
                found = found | e.eq(value)
        return found if inside else ~found

    def _mode(self, node: ast.expr) -> Mode | None:
        item = self.items.get(node.id) if isinstance(node, ast.Name) else None
        return item if isinstance(item, Mode) else None

    def _some(self, node: ast.GeneratorExp) -> ex.Bool:
        loop = node.generators[0]
        bank = self._item(loop.iter)
        named = isinstance(loop.target, ast.Name) and loop.target.id == "entry"
        if len(node.generators) > 1 or loop.ifs or not named or not isinstance(bank, Bank):
            raise wrong(node, source(node), "any(... for entry in BANK)")
        inner = self.with_entry(bank, f"some.{bank.name}")
        return ex.Exists(bank, f"some.{bank.name}", inner._truth(node.elt))

    def with_entry(self, bank: Bank, name: str) -> Scope:
        """The same with ``entry`` bound to an entry of a bank."""
        entry = bank.entry(name)
        fields = {f"entry.{f}": entry[f] for f in bank.fields} | {"entry.left": entry.left}
        others = {k: e for k, e in self.fields.items() if not k.startswith("entry.")}
        bounds = {entry[f]: self.bounds_of(bank, f) for f in bank.fields}
        return replace(self, fields={**others, **fields}, ranges={**self.ranges, **bounds})

    # -- actions --------------------------------------------------------------

    def _act_on(
        self, node: ast.Call, item: Item, verb: str, arguments: list[ast.expr]
    ) -> tuple[Statement, ...]:
        match item, verb, arguments:
            case Mode(), "set", [label]:
                return (item.go(_label(label, item)),)
            case Flag(), "set", [value]:
                return self._raise(item, value)
            case Number(), "set", [value]:
                return (self._set(item, _sized(self._number(value))),)
            case Timer(), "start", [length]:
                return (item.start(self._length(length, item)),)
            case Timer(), "stop", []:
                return (item.stop(),)
            case Bank(), "put", [length, *values] if len(values) == len(item.fields):
                fields = [self._field(item, f, v) for f, v in zip(item.fields, values, strict=True)]
                return (item.put(self._length(length, None), *fields),)
            case Signal(), "emit", []:
                return (item.emit(),)
            case Line(drive=Flag() as drive), "set", [value]:
                return self._raise(drive, value)
            case Line(drive=Flag() as drive), "up" | "down", []:
                return (drive.put_up() if verb == "up" else drive.put_down(),)
        raise wrong(node, source(node), f"an action: {self._actions()}")

    def _raise(self, flag: Flag, value: ast.expr) -> tuple[Statement, ...]:
        truth = _sized(self._truth(value))
        match truth:
            case ex.Truth(up):
                return (flag.set(int(up)),)
            case ex.Equal(ex.Read(Flag() as other), ex.Constant(1)):
                return (flag.set(other.read()),)
            case ex.Not(ex.Equal(ex.Read(Flag() as other), ex.Constant(1))):
                return (flag.set(ex.Constant(1) - other.read()),)
        raised = Rule("(up)", truth, (flag.put_up(),))
        lowered = Rule("(down)", ex.Truth(True), (flag.put_down(),))
        return (First((raised, lowered)),)

    def _set(self, number: Number, value: ex.Int) -> Statement:
        """What would leave the bounds of a number stays at the bound."""
        low, high = range_of(value, self.ranges)
        ways = []
        if low < number.least:
            ways.append(
                Rule(
                    f"({_own(number.name)} at its least)",
                    value < number.least,
                    (number.set(number.least),),
                )
            )
        if high > number.most:
            ways.append(
                Rule(
                    f"({_own(number.name)} at its most)",
                    value > number.most,
                    (number.set(number.most),),
                )
            )
        if not ways:
            return number.set(value)
        return First((*ways, Rule("(within bounds)", ex.Truth(True), (number.set(value),))))

    def _length(self, node: ast.expr, timer: Timer | None) -> ex.Int:
        length = _sized(self._number(node))
        low, high = range_of(length, self.ranges)
        if low < 0:
            raise wrong(node, f"{source(node)}, which may be {_end(low)}", "a length of at least 0")
        if timer is not None and high > timer.most:
            allowed = f"at most {timer.most}, the bound of '{_own(timer.name)}'"
            raise wrong(node, f"{source(node)}, which may be {_end(high)}", allowed)
        return length

    def _field(self, bank: Bank, name: str, node: ast.expr) -> ex.Int:
        value = _sized(self._number(node))
        least, most = self.bounds_of(bank, name)
        low, high = range_of(value, self.ranges)
        if low >= least and high <= most:
            return value
        if high - low >= WIDEST:
            raise wrong(node, f"{source(node)}, of many values", f"{_end(least)} to {_end(most)}")
        return self._table(node, value, lambda v: int(min(max(v, least), most)))

    def bounds_of(self, bank: Bank, name: str) -> tuple[float, float]:
        """Least and most of a field of a bank."""
        return self.ranges.get(field_of(bank, name), (-inf, inf))

    def _act(self, node: ast.Call, name: str, arguments: list[ast.expr]) -> tuple[Statement, ...]:
        signal, count = self.acts[name]
        if len(arguments) != len(signal.fields):
            raise wrong(node, source(node), f"{name}(i)" if count else f"{name}()")
        if not arguments:
            return (signal.emit(),)
        value = _sized(self._number(arguments[0]))
        low, high = range_of(value, self.ranges)
        if high < 0 or low >= count:
            found = f"{source(arguments[0])}, which is {_end(low)} to {_end(high)}"
            raise wrong(arguments[0], found, f"0 to {count - 1}: inputs count from 0")
        if low >= 0 and high < count:
            return (signal.emit(value),)
        return (Rule(AN_OUTPUT, (value >= 0) & (value < count), (signal.emit(value),)),)


def field_of(bank: Bank, name: str) -> ex.Int:
    """Stands for a field of any entry of a bank, where ranges are known by expression."""
    return ex.Field(f"any.{bank.name}", bank.fields.index(name))


def _as_number(node: ast.expr, truth: ex.Bool) -> ex.Int:
    """A level as 0 or 1."""
    if isinstance(truth, ex.Equal):
        return truth.a
    raise wrong(node, source(node), "a number")


def _reads(e: ex.Int, changed: set[Number | Timer]) -> bool:
    match e:
        case ex.Read(item) | ex.Left(item):
            return item in changed
        case ex.Plus(a, b) | ex.Minus(a, b):
            return _reads(a, changed) or _reads(b, changed)
        case ex.Lookup(_, inner) | ex.Find(_, inner):
            return _reads(inner, changed)
    return isinstance(e, ex.Size)


def _label(node: ast.expr, mode: Mode) -> str:
    if isinstance(node, ast.Name) and node.id in mode.modes:
        return node.id
    raise wrong(node, source(node), f"a mode of '{_own(mode.name)}': {', '.join(mode.modes)}")


def _windows(node: ast.expr, value: Value) -> tuple[tuple[int, int], ...]:
    allowed = "a list of windows [least, most], or of numbers, no two of which share a number"
    if isinstance(value, int) or not value:
        raise wrong(node, source(node), allowed)
    found: list[tuple[int, int]] = []
    for entry in value:
        match (entry, entry) if isinstance(entry, int) else entry:
            case (int() as least, int() as most) if least <= most:
                found.append((least, most))
            case _:
                raise wrong(node, f"{str(entry)[:40]} in {source(node)}", allowed)
    for (_, end), (start, _last) in pairwise(sorted(found)):
        if start <= end:
            raise wrong(node, f"windows that share {start} in {source(node)}", allowed)
    return tuple(found)


def _sized(e: Tree) -> Tree:
    if _nodes(e, MOST_NODES) <= 0:
        raise TextError(0, "an expression too large with all that its names stand for", "smaller")
    return e


def _nodes(e: object, left: int) -> int:
    """What is left of a number of nodes after counting those of a tree."""
    left -= 1
    for part in vars(e).values():
        if left <= 0:
            return 0
        if isinstance(part, ex.Int | ex.Bool):
            left = _nodes(part, left)
    return left


def _own(name: str) -> str:
    """The name of a piece of memory as the file has it."""
    return name.split(".", 1)[-1]


def _end(value: float) -> str:
    return "any number" if value in (inf, -inf) else str(int(value))
