"""A scheme of one's own: transmitter and receiver as a link file describes them."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace
from fractions import Fraction
from functools import lru_cache, reduce
from operator import or_
from typing import Literal

from verify.errors import ModelError
from verify.fields import Key
from verify.language import expressions as ex
from verify.language.machine import Each, First, Machine, Rule, Statement, walk
from verify.language.ranges import Ranges
from verify.language.state import Bank, Emit, Flag, Mode, Number, Put, Signal, Start, Timer, flag
from verify.language.texts import Known, TextError, Value
from verify.language.written import Item, Line, Scope, field_of
from verify.parts.monitor import Queue
from verify.parts.scheme import Scheme
from verify.parts.signals import (
    PRESS,
    RELEASE,
    cleared,
    decoded,
    far_fall,
    far_rise,
    line_fall,
    line_rise,
    misframed,
)

End = Literal["transmitter", "receiver"]
MOST_STATEMENTS = 20_000
DEEPEST = 8  # rules within rules

TRIGGERS = (
    "press, release, line.rises, line.falls, TIMER.ends or a signal (with 'and': in one part at "
    "least; with 'or': in every part), or 'each'"
)


class RuleError(Exception):
    """Something is wrong at a key of the file."""

    def __init__(self, key: Key, error: TextError) -> None:
        super().__init__(key, error)
        self.key, self.error = key, error


@dataclass(frozen=True)
class Remembered:
    """A piece of memory as the file has it: ``count`` None is one, else so many with an index.

    ``least``, ``most``: of a number, or the bound of a timer; ``fields`` of a bank, each with
    its bounds; ``modes`` of a mode.
    """

    name: str
    kind: Literal["flag", "number", "timer", "mode", "bank", "signal"]
    least: int = 0
    most: int = 1
    start: int = 0
    count: int | None = None
    modes: tuple[str, ...] = ()
    fields: tuple[tuple[str, int, int], ...] = ()
    wire: bool = False


@dataclass(frozen=True)
class RuleText:
    """A rule as the file has it; ``key``: its place there."""

    key: Key
    name: str
    each: str | None = None
    repeat: tuple[str, tuple[Value, ...]] | None = None
    when: str | None = None
    otherwise: bool = False
    do: tuple[str | RuleText, ...] = ()


@dataclass(frozen=True)
class MachineText:
    """One end of a link as the file has it."""

    memory: tuple[Remembered, ...]
    rules: tuple[RuleText, ...]
    lets: tuple[tuple[str, str], ...] = ()
    possible: str | None = None


@dataclass(frozen=True)
class Own(Scheme):
    """``count`` inputs on ``width`` lines; ``tables``: what is known, by name, times in ticks.

    ``sender``, ``taker``: transmitter and receiver; ``tick``, seconds, for durations in their
    texts; ``waiting``: the transmitter's queue.
    """

    count: int
    width: int
    tables: tuple[tuple[str, Value], ...]
    sender: MachineText
    taker: MachineText
    tick: Fraction | None = None
    waiting: Queue | None = None

    @property
    def watches_release(self) -> bool:
        """The transmitter has a rule for an input that is let go."""
        return any(RELEASE in machine.listens() for machine in self.transmitter())

    @property
    def inputs(self) -> int:
        """As the file says."""
        return self.count

    @property
    def lines(self) -> int:
        """As the file says."""
        return self.width

    @property
    def queue(self) -> Queue | None:
        """As the file says."""
        return self.waiting

    def per_input(self) -> dict[str, tuple[int, ...]]:
        """Tables of times with an entry per input."""
        timed = {
            lookup.table
            for machine in (*self.transmitter(), *self.receiver(0))
            for lookup in _lengths_looked_up(machine)
        }
        return {name: table for name, table in self._one_per_input() if table in timed}

    def wiring(self) -> dict[str, tuple[str, ...]]:
        """The other tables with an entry per input."""
        times = self.per_input()
        found = {n: tuple(map(str, t)) for n, t in self._one_per_input() if n not in times}
        return {name.replace("_", " "): words for name, words in found.items()}

    def _one_per_input(self) -> Iterator[tuple[str, tuple[int, ...]]]:
        for name, table in self.tables:
            if isinstance(table, tuple) and len(table) == self.count:
                numbers = tuple(entry for entry in table if isinstance(entry, int))
                if len(numbers) == self.count:
                    yield name, numbers

    def settings(self) -> dict[str, str | int]:
        """Single numbers among the tables, and how much there is of the two machines."""
        found: dict[str, str | int] = {n: str(v) for n, v in self.tables if isinstance(v, int)}
        for end, text in (("transmitter", self.sender), ("receiver", self.taker)):
            rules = len(text.rules)
            found[end] = f"{rules} {'rule' if rules == 1 else 'rules'} of its own"
        return found

    def transmitter(self) -> tuple[Machine, ...]:
        """As the file says."""
        return (_built(self, "transmitter", 0),)

    def receiver(self, branch: int, delay: int = 0) -> tuple[Machine, ...]:
        """As the file says."""
        return (_built(self, "receiver", branch),)


@lru_cache(maxsize=256)
def _built(scheme: Own, end: End, branch: int) -> Machine:
    return Builder(scheme, end, branch).machine()


def _lengths_looked_up(machine: Machine) -> Iterator[ex.Lookup]:
    for statement in walk(machine.body):
        if isinstance(statement, Start | Put) and isinstance(statement.length, ex.Lookup):
            yield statement.length


class Builder:
    """Makes a machine of one end of a scheme. Raises RuleError for what is wrong with it."""

    def __init__(self, scheme: Own, end: End, branch: int = 0) -> None:
        self.scheme, self.end, self.branch = scheme, end, branch
        self.sends = end == "transmitter"
        self.text = scheme.sender if self.sends else scheme.taker
        self.name = "sender" if self.sends else f"receiver{branch}"
        self.memory: list[Number | Timer | Bank] = []
        self.statements = 0
        items: dict[str, Item] = {}
        ranges: dict[ex.Int, tuple[float, float]] = {}
        for remembered in self.text.memory:
            items[remembered.name] = self._made(remembered, ranges)
        self.levels = [
            flag(f"{self.name}.line{k}.{'drive' if self.sends else 'high'}", wire=True)
            for k in range(scheme.width)
        ]
        items["line"] = tuple(self._line(k) for k in range(scheme.width))
        self.scope = Scope(
            known=known(scheme.tables, scheme.count, scheme.width, scheme.tick),
            items=items,
            triggers={"press": PRESS, "release": RELEASE} if self.sends else {},
            acts={} if self.sends else self._acts(),
            lets=dict(self.text.lets),
            ranges=ranges,
        )

    def _acts(self) -> dict[str, tuple[Signal, int]]:
        count = self.scheme.count
        return {
            "strike": (decoded(self.branch), count),
            "rest": (cleared(self.branch), count),
            "refuse": (misframed(self.branch), 0),
        }

    def _line(self, k: int) -> Line:
        level = self.levels[k]
        if self.sends:
            return Line(high=level.up(), drive=level)
        rises, falls = far_rise(k, self.branch), far_fall(k, self.branch)
        return Line(rises.happens(), falls.happens(), level.up())

    # -- memory ---------------------------------------------------------------

    def _made(self, r: Remembered, ranges: dict[ex.Int, tuple[float, float]]) -> Item:
        if r.count is None:
            return self._one(r, f"{self.name}.{r.name}", ranges)
        return tuple(self._one(r, f"{self.name}.{r.name}[{k}]", ranges) for k in range(r.count))

    def _one(
        self, r: Remembered, name: str, ranges: dict[ex.Int, tuple[float, float]]
    ) -> Number | Timer | Bank | Signal:
        made: Number | Timer | Bank
        if r.kind == "signal":
            return Signal(name)
        if r.kind == "flag":
            made = Flag(name, 0, 1, r.start, wire=r.wire)
        elif r.kind == "mode":
            made = Mode(name, 0, len(r.modes) - 1, r.start, r.modes)
        elif r.kind == "number":
            made = Number(name, r.least, r.most, r.start, wire=r.wire)
        elif r.kind == "timer":
            made = Timer(name, r.most)
        else:
            made = Bank(name, tuple(f for f, _, _ in r.fields))
            for f, least, most in r.fields:
                ranges[field_of(made, f)] = (least, most)
        self.memory.append(made)
        return made

    # -- rules ----------------------------------------------------------------

    def machine(self) -> Machine:
        """The machine."""
        body = [*self._chains(self.text.rules, self.scope, 0)]
        for statement, key in body:
            self._triggered(statement, key)
        statements = tuple(statement for statement, _ in body)
        used = [k for k, level in enumerate(self.levels) if self._uses(statements, level)]
        if self.sends:
            driver = self._driven(used, statements)
            memory = (*self.memory, *driver.memory)
            return Machine(self.name, memory, (*statements, *driver.rules), None, self._possible())
        follow: list[Statement] = []
        for k in used:
            level = self.levels[k]
            line = self._line(k)
            if line.rises is not None and line.falls is not None:
                follow.append(Rule("goes high", line.rises, (level.put_up(),)))
                follow.append(Rule("goes low", line.falls, (level.put_down(),)))
        memory = (*self.memory, *(self.levels[k] for k in used))
        return Machine(self.name, memory, (*follow, *statements), None, self._possible())

    def _possible(self) -> ex.Bool:
        if self.text.possible is None:
            return ex.Truth(True)
        try:
            return self.scope.truth(self.text.possible)
        except TextError as error:
            raise RuleError((self.end, "possible"), error) from None

    def _triggered(self, statement: Statement, key: Key) -> None:
        try:
            Machine(self.name, (*self.memory, *self.levels), (statement,))
        except ModelError:
            error = TextError(0, "a rule that nothing sets off", TRIGGERS)
            raise RuleError(key, error) from None

    def _uses(self, statements: tuple[Statement, ...], level: Flag) -> bool:
        return any(_reads_or_writes(part, level) for part in walk(statements))

    def _driven(self, used: list[int], statements: tuple[Statement, ...]) -> _Driven:
        """What a line does in a tick is settled at its end: at most one edge."""
        memory: list[Number] = []
        rules: list[Rule] = []
        heard = Machine(self.name, (*self.memory, *self.levels), statements).listens()
        ordered = sorted(heard, key=lambda item: item.name)
        ended = [s for s in ordered if isinstance(s, Bank)]
        moved = Signal(f"{self.name}.line.moved")
        extra: list[Statement] = [Each(b, f"moved.{b.name}", (moved.emit(),), True) for b in ended]
        triggers = [s.happens() for s in ordered if isinstance(s, Signal)]
        triggers += [s.expires() for s in ordered if isinstance(s, Timer)]
        triggers += [moved.happens()] if ended else []
        if not triggers:
            return _Driven((), ())
        set_off = reduce(or_, triggers)
        for k in used:
            drive, high = self.levels[k], flag(f"{self.name}.line{k}.high", wire=True)
            memory += [drive, high]
            rise = (high.put_up(), line_rise(k).emit())
            fall = (high.put_down(), line_fall(k).emit())
            rules.append(Rule(f"line {k} rises", set_off & drive.up() & ~high.up(), rise, True))
            rules.append(Rule(f"line {k} falls", set_off & ~drive.up() & high.up(), fall, True))
        return _Driven(tuple(memory), (*extra, *rules))

    def _chains(
        self, rules: Iterable[RuleText], scope: Scope, depth: int
    ) -> Iterator[tuple[Statement, Key]]:
        """A rule and those after it that are ``otherwise`` are one statement, of which one acts."""
        chain: list[RuleText] = []
        for rule in rules:
            if rule.otherwise and not chain:
                error = TextError(0, "no rule before it", "only after another rule")
                raise RuleError((*rule.key, "otherwise"), error)
            if chain and not rule.otherwise:
                yield from self._chain(chain, scope, depth)
                chain = []
            chain.append(rule)
        if chain:
            yield from self._chain(chain, scope, depth)

    def _chain(
        self, chain: list[RuleText], scope: Scope, depth: int
    ) -> Iterator[tuple[Statement, Key]]:
        head = chain[0]
        for scope_here in self._repeated(head, scope):
            inner = self._looped(head, scope_here)
            rules: list[Rule] = []
            rest = inner
            for k, rule in enumerate(chain):
                for mine in self._repeated(rule, rest) if k else [rest]:
                    made = self._rule(rule, mine, depth)
                    rules.append(made)
                    rest = rest.where(made.when, False)
            statement: Statement = rules[0] if len(rules) == 1 else First(tuple(rules))
            yield self._each(head, scope_here, statement), head.key

    def _repeated(self, rule: RuleText, scope: Scope) -> Iterator[Scope]:
        if rule.repeat is None:
            yield scope
            return
        name, values = rule.repeat
        for value in values:
            yield replace(scope, known=scope.known.with_names({name: value}))

    def _looped(self, rule: RuleText, scope: Scope) -> Scope:
        """What the rule sees inside its loop."""
        if rule.each is None:
            return scope
        scope = scope.again()
        if rule.each in scope.triggers:
            index = scope.triggers[rule.each].occurrence(rule.each)["input"]
            ranges: Ranges = {**scope.ranges, index: (0, self.scheme.count - 1)}
            return replace(scope, fields={**scope.fields, "input": index}, ranges=ranges)
        return scope.with_entry(self._bank(rule, scope), f"entry.{rule.each}")

    def _each(self, rule: RuleText, scope: Scope, inside: Statement) -> Statement:
        if rule.each is None:
            return inside
        if rule.each in scope.triggers:
            return Each(scope.triggers[rule.each], rule.each, (inside,))
        ended = rule.each.endswith(".ends")
        return Each(self._bank(rule, scope), f"entry.{rule.each}", (inside,), ended)

    def _bank(self, rule: RuleText, scope: Scope) -> Bank:
        bank = scope.items.get((rule.each or "").removesuffix(".ends"))
        if isinstance(bank, Bank):
            return bank
        banks = [name for name, item in scope.items.items() if isinstance(item, Bank)]
        allowed = ", ".join([*scope.triggers, *(f"{b}, {b}.ends" for b in banks)]) or "no key"
        raise RuleError((*rule.key, "each"), TextError(0, f'"{rule.each}"', allowed))

    def _rule(self, rule: RuleText, scope: Scope, depth: int) -> Rule:
        self.statements += 1 + len(rule.do)
        if self.statements > MOST_STATEMENTS or depth > DEEPEST:
            found = f"more than {MOST_STATEMENTS} rules and actions, or rules too deep"
            raise RuleError(rule.key, TextError(0, found, "fewer"))
        when: ex.Bool = ex.Truth(True)
        if rule.when is not None:
            try:
                when = scope.truth(rule.when)
            except TextError as error:
                raise RuleError((*rule.key, "when"), error) from None
        scope = scope.where(when)
        done: list[Statement] = []
        nested: list[RuleText] = []
        for k, action in enumerate(rule.do):
            if isinstance(action, RuleText):
                nested.append(action)
                continue
            scope = self._nested(nested, scope, depth, done)
            place = ".".join(map(str, (*rule.key[1:], k)))
            doing = replace(scope, picks=f"{self.name}.{place}")
            try:
                made = doing.action(action)
            except TextError as error:
                raise RuleError((*rule.key, "do", k), error) from None
            done += made
            scope = scope.after(made)
        self._nested(nested, scope, depth, done)
        return Rule(rule.name, when, tuple(done))

    def _nested(
        self, nested: list[RuleText], scope: Scope, depth: int, done: list[Statement]
    ) -> Scope:
        made: list[Statement] = []
        for statement, _ in self._chains(nested, scope, depth + 1):
            made.append(statement)
        nested.clear()
        done += made
        return scope.after(made)


@dataclass(frozen=True)
class _Driven:
    memory: tuple[Number, ...]
    rules: tuple[Statement, ...]


def _reads_or_writes(statement: Statement, level: Flag) -> bool:
    if level in vars(statement).values():
        return True
    guards = [part for part in vars(statement).values() if isinstance(part, ex.Int | ex.Bool)]
    if isinstance(statement, Emit | Put):
        guards += statement.values
    return any(_mentions(guard, level) for guard in guards)


def _mentions(e: object, level: Flag) -> bool:
    if isinstance(e, ex.Read):
        return e.number == level
    parts = vars(e).values() if isinstance(e, ex.Int | ex.Bool) else ()
    return any(_mentions(part, level) for part in parts)


def known(
    tables: Iterable[tuple[str, Value]], inputs: int, lines: int, tick: Fraction | None
) -> Known:
    """What every text of a file may name."""
    return Known({"inputs": inputs, "lines": lines, **dict(tables)}, tick)
