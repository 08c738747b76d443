"""Which modes a machine goes through: read off its rules, without running it.

A node of the graph is what tells a machine's situations apart: the values of its modes; in a
machine without modes whether its timers run; else a small number; else whether its banks are
empty. An edge is a tick in which something wakes the machine. What rules depend on besides is
taken to be anything, so edges may be there that no run takes, but none is missing.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field
from itertools import combinations, product
from math import prod
from typing import TypeAlias

from verify.language import expressions as ex
from verify.language.machine import Each, Earliest, First, Machine, Rule, Statement, is_added
from verify.language.ranges import Range, Ranges, range_of
from verify.language.state import Bank, Emit, Flag, Mode, Number, Put, Set, Signal, Start, Timer

Item: TypeAlias = Number | Timer | Bank
Trigger: TypeAlias = Signal | Timer | Bank
# Per axis a value: of a number its own; of a timer or bank 1 where it runs or holds something.
Node: TypeAlias = tuple[int, ...]

MOST_NODES = 16
MOST_TIMERS = 3
# Numbers that may take more values than this in one step are left as they are.
MOST_VALUES = 64


@dataclass(frozen=True)
class Edge:
    """In one tick from ``source`` to ``target``: ``rules`` that may act, in order (those within
    others are not named), ``when`` one of these sets of triggers comes together, and what may be
    emitted."""

    source: Node
    target: Node
    rules: tuple[str, ...]
    when: tuple[tuple[Trigger, ...], ...]
    emits: tuple[Emit, ...]


@dataclass(frozen=True)
class Modes:
    """``axes``: the memory whose values make a node; ``starts``: nodes at power-up."""

    machine: Machine
    axes: tuple[Item, ...]
    nodes: tuple[Node, ...]
    starts: frozenset[Node]
    edges: tuple[Edge, ...]

    def label(self, node: Node) -> str:
        """A node in words."""
        return (
            ", ".join(_value(axis, v) for axis, v in zip(self.axes, node, strict=True)) or "ready"
        )


def modes_of(machine: Machine) -> Modes:
    """The graph of a machine. Nodes that no edge leads to are left out, unless they are modes."""
    axes = _axes(machine)
    starts = {*product(*map(_starts, axes))}
    # The end of a timer may wake nobody, and yet it leads on.
    wakes = machine.listens() | {axis for axis in axes if isinstance(axis, Timer | Bank)}
    triggers = sorted(wakes, key=lambda t: (isinstance(t, Signal), t.name))
    nodes: dict[Node, None] = dict.fromkeys(sorted(starts))
    if any(isinstance(axis, Mode) for axis in axes):
        nodes = dict.fromkeys(product(*map(_values, axes)))
    edges: list[Edge] = []
    waiting = [*nodes]
    for node in waiting:
        for edge in _leaving(machine, axes, node, triggers):
            edges.append(edge)
            if edge.target not in nodes:
                nodes[edge.target] = None
                waiting.append(edge.target)
    return Modes(machine, axes, tuple(nodes), frozenset(starts), tuple(edges))


def own_name(item: Item) -> str:
    """The name of a piece of memory within its machine."""
    return item.name.split(".", 1)[-1]


def _value(axis: Item, value: int) -> str:
    if isinstance(axis, Mode):
        return axis.modes[value]
    if isinstance(axis, Timer):
        return f"{own_name(axis)} {'runs' if value else 'at rest'}"
    if isinstance(axis, Bank):
        return f"{'some' if value else 'no'} {own_name(axis)}"
    return f"{own_name(axis)} {value}"


def _axes(machine: Machine) -> tuple[Item, ...]:
    memory = machine.memory
    modes = [m for m in memory if isinstance(m, Mode)]
    if modes and prod(len(m.modes) for m in modes) <= MOST_NODES:
        return tuple(modes)
    timers = [m for m in memory if isinstance(m, Timer) and m.begin == 0]
    if timers:
        return tuple(timers[:MOST_TIMERS])
    numbers = [m for m in memory if isinstance(m, Number) and not isinstance(m, Flag)]
    for item in numbers:
        if not item.wire and 1 < len(_values(item)) <= MOST_NODES:
            return (item,)
    return tuple([m for m in memory if isinstance(m, Bank)][:2])


def _values(axis: Item) -> range:
    if isinstance(axis, Number):
        return range(axis.least, axis.most + 1)
    return range(2)


def _starts(axis: Item) -> Iterable[int]:
    if not isinstance(axis, Number):
        return (0,)
    start = axis.start
    while isinstance(start, Number):
        start = start.start
    return range(start[0], start[1] + 1) if isinstance(start, tuple) else (start,)


def _leaving(
    machine: Machine, axes: tuple[Item, ...], node: Node, triggers: list[Trigger]
) -> Iterator[Edge]:
    """Edges by one trigger; by two at once only where that does something new."""
    off = {axis for axis, value in zip(axes, node, strict=True) if not value}
    off -= {axis for axis in off if isinstance(axis, Number)}
    possible = [t for t in triggers if t not in off and _may_wake(machine, axes, node, t)]
    found: dict[tuple[Node, tuple[str, ...], tuple[Emit, ...]], list[tuple[Trigger, ...]]] = {}
    for size in (1, 2):
        for when in combinations(possible, size):
            known = {rule for _, rules, _ in found for rule in rules}
            for target, told in _Tick(axes, node, frozenset(when)).run(machine.body).items():
                if target == node and not told.rules and not told.emits:
                    continue
                if size == 1 or not told.rules.keys() <= known:
                    key = target, tuple(told.rules), (*told.emits, *told.following)
                    found.setdefault(key, []).append(when)
    for (target, rules, emits), whens in found.items():
        yield Edge(node, target, rules, tuple(whens), emits)


def _may_wake(machine: Machine, axes: tuple[Item, ...], node: Node, trigger: Trigger) -> bool:
    """A timer that can run in this node, as far as the machine says what is possible."""
    if not isinstance(trigger, Timer):
        return True
    tick = _Tick(axes, node, frozenset())
    return tick.truth(machine.possible, node, {trigger.left: (1, trigger.most)}) is not False


@dataclass
class _Told:
    """What may have been done on the way."""

    rules: dict[str, None] = field(default_factory=dict)
    emits: dict[Emit, None] = field(default_factory=dict)
    following: dict[Emit, None] = field(default_factory=dict)  # emitted only if a rule acted

    def and_then(self, other: _Told) -> _Told:
        return _Told(
            {**self.rules, **other.rules},
            {**self.emits, **other.emits},
            {**self.following, **other.following},
        )


_Worlds: TypeAlias = dict[Node, _Told]


class _Tick:
    """One tick of a machine that begins in a node, woken by some triggers and no others."""

    def __init__(self, axes: tuple[Item, ...], node: Node, when: frozenset[Trigger]) -> None:
        self.axes, self.when = axes, when
        self.place = {axis: k for k, axis in enumerate(axes)}
        begun = list(node)
        for trigger in when:
            if isinstance(trigger, Timer) and trigger in self.place:
                begun[self.place[trigger]] = 0
        self.begun = tuple(begun)

    def run(self, body: tuple[Statement, ...]) -> _Worlds:
        worlds = self._block(body, {self.begun: _Told()}, outer=True)
        for trigger in self.when:
            if isinstance(trigger, Bank) and trigger in self.place:
                worlds = self._forked(worlds, self.place[trigger], (0, 1))
        return worlds

    def _block(self, body: Iterable[Statement], worlds: _Worlds, *, outer: bool) -> _Worlds:
        for statement in body:
            after: _Worlds = {}
            for node, told in worlds.items():
                for target, more in self._statement(statement, node, outer).items():
                    after[target] = after.get(target, _Told()).and_then(told).and_then(more)
            worlds = after
        return worlds

    def _statement(self, statement: Statement, node: Node, outer: bool) -> _Worlds:
        match statement:
            case Set(number, value) if number in self.place:
                least, most = range_of(value, self._known(node))
                low, high = max(number.least, least), min(number.most, most)
                if high - low > MOST_VALUES:
                    low, high = number.least, number.most
                return self._forked({node: _Told()}, self.place[number], _span(low, high))
            case Start(timer, length) if timer in self.place:
                least, most = range_of(length, self._known(node))
                return self._forked({node: _Told()}, self.place[timer], _span(least > 0, most > 0))
            case Put(bank) if bank in self.place:
                return self._forked({node: _Told()}, self.place[bank], (1,))
            case Emit():
                return {node: _Told(emits={statement: None})}
            case Rule():
                return self._first((statement,), node, outer)
            case First(rules):
                return self._first(rules, node, outer)
            case Each(source=Signal() as signal, do=do):
                return (
                    self._block(do, {node: _Told()}, outer=outer)
                    if signal in self.when
                    else {node: _Told()}
                )
            case Each(source=Bank() as bank, do=do, expired=expired):
                return self._each_entry(bank, do, expired, node, outer)
            case Earliest(bank=bank, do=do, otherwise=otherwise):
                some = self._each_entry(bank, do, False, node, outer)
                none = self._block(otherwise, {node: _Told()}, outer=outer)
                return _both(some, none)
        return {node: _Told()}

    def _each_entry(
        self, bank: Bank, do: tuple[Statement, ...], expired: bool, node: Node, outer: bool
    ) -> _Worlds:
        idle = {node: _Told()}
        if expired:
            return self._block(do, idle, outer=outer) if bank in self.when else idle
        if bank in self.place and not node[self.place[bank]] and bank not in self.when:
            return idle
        return _both(idle, self._block(do, idle, outer=outer))

    def _first(self, rules: tuple[Rule, ...], node: Node, outer: bool) -> _Worlds:
        found: _Worlds = {}
        for rule in rules:
            holds = self.truth(rule.when, node)
            if holds is False:
                continue
            own = _Told({rule.name: None} if outer and not is_added(rule.name) else {})
            done = self._block(rule.do, {node: own}, outer=False)
            if rule.follows:
                done = {target: _Told(following=told.emits) for target, told in done.items()}
            found = _both(found, done)
            if holds:
                return found
        return _both(found, {node: _Told()})

    def _forked(self, worlds: _Worlds, place: int, values: Iterable[int]) -> _Worlds:
        found: _Worlds = {}
        for node, told in worlds.items():
            for value in values:
                target = (*node[:place], value, *node[place + 1 :])
                found[target] = found.get(target, _Told()).and_then(told)
        return found

    # -- what is known ----------------------------------------------------------

    def _known(self, node: Node) -> dict[ex.Int, Range]:
        known: dict[ex.Int, Range] = {}
        for axis, value in zip(self.axes, node, strict=True):
            if isinstance(axis, Number):
                known[ex.Read(axis)] = (value, value)
            elif isinstance(axis, Timer):
                known[ex.Left(axis)] = (1, axis.most) if value else (0, 0)
        for trigger in self.when:
            if isinstance(trigger, Timer) and trigger not in self.place:
                known[ex.Left(trigger)] = (0, 0)
        return known

    def truth(self, guard: ex.Bool, node: Node, more: Ranges | None = None) -> bool | None:
        """None: it depends on what is not known here. ``more``: known besides."""
        known = {**self._known(node), **(more or {})}

        def holds(guard: ex.Bool) -> bool | None:
            match guard:
                case ex.Truth(value):
                    return value
                case ex.Happens(trigger) | ex.Expires(trigger):
                    return trigger in self.when
                case ex.Not(a):
                    inner = holds(a)
                    return None if inner is None else not inner
                case ex.And(a, b):
                    both = holds(a), holds(b)
                    return False if False in both else None if None in both else True
                case ex.Or(a, b):
                    either = holds(a), holds(b)
                    return True if True in either else None if None in either else False
                case ex.Exists(bank=bank):
                    held = bank not in self.place or node[self.place[bank]] or bank in self.when
                    return None if held else False
                case ex.Equal(a, b):
                    (a0, a1), (b0, b1) = range_of(a, known), range_of(b, known)
                    return False if a1 < b0 or b1 < a0 else True if a0 == a1 == b0 == b1 else None
                case ex.Less(a, b):
                    (a0, a1), (b0, b1) = range_of(a, known), range_of(b, known)
                    return True if a1 < b0 else False if a0 >= b1 else None
            return None

        return holds(guard)


def _span(least: float, most: float) -> range:
    return range(int(least), int(most) + 1)


def _both(a: _Worlds, b: _Worlds) -> _Worlds:
    found = dict(a)
    for node, told in b.items():
        found[node] = found[node].and_then(told) if node in found else told
    return found


__all__ = ["Edge", "Modes", "Node", "Trigger", "modes_of", "own_name"]
