"""What is wrong with the machines of a link, whatever its outputs do.

Modes that are never reached, rules that never act, rules that clash (in one tick both settle
the same thing, each otherwise), timers that never run out, numbers that meet their bounds.
Found by visiting states with a step function that takes notes: first under an operator that
may do anything, then, where that has no end, under the file's own. Clocks are on time; faults
of the line are as in the file.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from itertools import count, islice
from typing import Any, Literal

from verify.engines.answer import Budget, Progress
from verify.engines.concrete import (
    MOST_STARTS,
    Chooser,
    Compiled,
    DoFn,
    Occurrence,
    State,
    least_choice,
)
from verify.engines.explorer import explore
from verify.language import expressions as ex
from verify.language.machine import Each, First, Machine, Rule, Statement, System, is_added, walk
from verify.language.state import Emit, Mode, Number, Put, Set, Start, Timer
from verify.parts.clock import Clock
from verify.parts.link import Link, factored
from verify.parts.operator import Operator

Kind = Literal["mode", "rule", "clash", "timer", "bound"]

MOST_RULES = 5000  # of both ends, or inputs: more are not looked at
STATES = 10_000  # of each of the two searches
SECONDS = 10.0
_BOUND = re.compile(r"\((.+) at its (?:least|most)\)")


@dataclass(frozen=True)
class MachineFault:
    """``end``: transmitter or receiver; ``names``: of the mode and its value, the rule or rules
    (the second settles it), the timer, the number. ``about``: what two rules clash about.
    ``proved``, of what is never met: "always", for whatever the inputs do; "operator", as this
    file's may. Of a clash or a bound "operator" says that this file's inputs never lead to it."""

    kind: Kind
    end: str
    names: tuple[str, ...]
    about: tuple[str, ...] = ()
    proved: Literal["always", "operator"] = "always"

    @property
    def words(self) -> str:
        """A sentence."""
        here = "" if self.proved == "always" else " with this file's operator"
        what = [f"'{name}'" for name in self.names]
        if self.kind == "mode":
            return f"{self.end}: {what[0]} is never {what[1]}{here}."
        if self.kind == "rule":
            return f"{self.end}: rule {what[0]} never acts{here}."
        if self.kind == "timer":
            return f"{self.end}: timer {what[0]} never runs out{here}."
        if self.kind == "bound":
            told = f"{what[0]} would leave its bounds, and stays at the bound"
            return f"{self.end}: {told}{self._elsewhere}."
        about = " and ".join(
            filter(None, [", ".join(f"'{n}'" for n in self.about[:-1]), f"'{self.about[-1]}'"])
        )
        if self.names[0] == self.names[1]:
            return (
                f"{self.end}: rule {what[0]} clashes with itself: it settles {about} more than "
                f"once in a tick, each time otherwise; the last counts{self._elsewhere}."
            )
        return (
            f"{self.end}: rules {what[0]} and {what[1]} clash: in one tick both settle {about}, "
            f"each otherwise; the second counts{self._elsewhere}."
        )

    @property
    def _elsewhere(self) -> str:
        return "" if self.proved == "always" else "; never with this file's operator"


@dataclass(frozen=True)
class MachineFaults:
    """``undecided``: not all states were visited, and something has not been met yet."""

    found: tuple[MachineFault, ...]
    undecided: bool = False


def machine_faults(link: Link, seconds: float = SECONDS) -> MachineFaults:
    """What is wrong with the machines of both ends of a link."""
    if link.inputs > MOST_RULES:
        return MachineFaults((), undecided=True)
    link = replace(link, clock=Clock(), any_start=False)
    ends = _ends(link)
    if sum(1 for m in ends for s in walk(m.body) if isinstance(s, Rule)) > MOST_RULES:
        return MachineFaults((), undecided=True)
    hold = link.operator.hold
    free = _Visited(replace(link, operator=Operator(hold=hold)), seconds)
    visits = [free]
    clashes = _together((*free.clashes(), *free.at_bounds()))
    if clashes or (not free.complete and free.unmet()):
        visits.append(_Visited(link, seconds))
        clashes = _with_operator(clashes, visits[1])
    complete = any(visit.complete for visit in visits)
    unmet = set.intersection(*(visit.unmet() for visit in visits))
    if not complete:
        return MachineFaults(tuple(clashes), undecided=bool(unmet))
    how: Literal["always", "operator"] = "always" if free.complete else "operator"
    ordered = [fault for fault in visits[0].everything() if fault in unmet]
    return MachineFaults((*(replace(f, proved=how) for f in ordered), *clashes))


def _together(faults: Iterable[MachineFault]) -> list[MachineFault]:
    """Each once; of two rules that clash all that they clash about."""
    about: dict[MachineFault, dict[str, None]] = {}
    for fault in faults:
        about.setdefault(replace(fault, about=()), {}).update(dict.fromkeys(fault.about))
    return [replace(fault, about=tuple(names)) for fault, names in about.items()]


def _with_operator(clashes: list[MachineFault], mine: _Visited) -> list[MachineFault]:
    """These and those of this file's inputs; marked which the latter never lead to."""
    here = _together((*mine.clashes(), *mine.at_bounds()))
    met = {replace(f, about=()) for f in here}
    never = [f for f in clashes if mine.complete and replace(f, about=()) not in met]
    return _together(
        [*(replace(f, proved="operator") if f in never else f for f in clashes), *here]
    )


def _ends(link: Link) -> tuple[Machine, ...]:
    return (*link.scheme.transmitter(), *link.scheme.receiver(0))


class _Visited:
    """The states of a link that were visited, and what was met there."""

    def __init__(self, link: Link, seconds: float) -> None:
        system = factored(link, None)
        names = {m.name: "transmitter" for m in link.scheme.transmitter()}
        names |= {m.name: "receiver" for m in link.scheme.receiver(0)}
        self.machines = [(names[m.name], m) for m in system.machines if m.name in names]
        self.notes = _Notes(system, [machine for _, machine in self.machines])
        budget = Budget(seconds, states=STATES)
        answer = explore(system, budget, Progress(), compiled=self.notes)
        self.complete = answer.complete

    def everything(self) -> Iterator[MachineFault]:
        """All modes, rules and timers, each as it would be told if it were never met."""
        for end, machine in self.machines:
            for item in machine.memory:
                if isinstance(item, Mode):
                    for label in item.modes:
                        yield MachineFault("mode", end, (_own(item.name), label))
                elif isinstance(item, Timer):
                    yield MachineFault("timer", end, (_own(item.name),))
            for statement in walk(machine.body):
                if isinstance(statement, Rule) and not is_added(statement.name):
                    yield MachineFault("rule", end, (statement.name,))

    def unmet(self) -> set[MachineFault]:
        """What was not met. Of several rules of one name in a machine all must be so."""
        return {*self.everything()} - set(self._met())

    def _met(self) -> Iterator[MachineFault]:
        for end, machine in self.machines:
            for item in machine.memory:
                i = self.notes.where[item]
                if isinstance(item, Mode):
                    for value in self.notes.values[i]:
                        yield MachineFault("mode", end, (_own(item.name), item.modes[value]))
                elif isinstance(item, Timer) and i in self.notes.ended:
                    yield MachineFault("timer", end, (_own(item.name),))
            for statement in walk(machine.body):
                if isinstance(statement, Rule) and id(statement) in self.notes.used:
                    yield MachineFault("rule", end, (statement.name,))

    def at_bounds(self) -> Iterator[MachineFault]:
        """Numbers that something was about to take beyond their bounds."""
        for end, machine in self.machines:
            for s in walk(machine.body):
                if isinstance(s, Rule) and id(s) in self.notes.used and (m := _BOUND.match(s.name)):
                    yield MachineFault("bound", end, (m[1],))

    def clashes(self) -> Iterator[MachineFault]:
        """Rules that settled one thing differently in one tick."""
        ends = {id(s): end for end, m in self.machines for s in walk(m.body)}
        for first, second, about in self.notes.clashes.values():
            names = first.name, second.name
            yield MachineFault("clash", ends[id(first)], names, (_own(about),))


class _Notes(Compiled):
    """The step function, which notes what acts, what runs out, and what is settled twice."""

    def __init__(self, system: System, watched: Sequence[Machine]) -> None:
        self.used: set[int] = set()
        self.ended: set[int] = set()
        self.clashes: dict[tuple[int, int, int], tuple[Rule, Rule, str]] = {}
        # Of a place in this tick: its value, by which rules, and whether it went on from before.
        self.settled: dict[int, tuple[Any, tuple[tuple[Rule, int], ...], bool]] = {}
        self.acting: list[tuple[Rule, int]] = []
        self.chains: dict[int, tuple[Rule, ...]] = {}  # of a rule: those of which one acts
        self.turn = count()
        self.own = {item for machine in watched for item in machine.memory}
        super().__init__(system)
        self.modes = [i for item, i in self.where.items() if isinstance(item, Mode)]
        self.values: dict[int, set[int]] = {i: set() for i in self.modes}
        for state in islice(self.starts(), MOST_STARTS):
            self._note_modes(state)

    def _note_modes(self, state: State) -> None:
        for i in self.modes:
            self.values[i].add(state[i])

    def step(
        self, state: State, passed: int, taken: Sequence[int] = (), choose: Chooser = least_choice
    ) -> tuple[State, list[Occurrence]] | None:
        self.settled.clear()
        result = super().step(state, passed, taken, choose)
        if result is not None:
            self._note_modes(result[0])
            self.ended.update(i for i in self.timers if 0 < state[i] <= passed)
        return result

    def _first(self, rules: tuple[Rule, ...]) -> DoFn:
        self.chains.update((id(rule), rules) for rule in rules)
        ways = [(self._bool(rule.when), self._block(rule.do), rule) for rule in rules]

        def run(tick: Any) -> None:
            for guard, do, rule in ways:
                if guard(tick):
                    self.used.add(id(rule))
                    self.acting.append((rule, next(self.turn)))
                    do(tick)
                    self.acting.pop()
                    return

        return run

    def _statement(self, statement: Statement) -> DoFn:
        do = super()._statement(statement)
        match statement:
            case Set(item, value) | Start(item, value) if item in self.own:
                i, goes_on = self.where[item], _reads(value, item)

                def run(tick: Any) -> None:
                    do(tick)
                    self._settle(i, item, tick.place[i], goes_on)

                return run
        return do

    def _settle(self, i: int, item: Number | Timer, value: Any, goes_on: bool) -> None:
        acting = tuple(self.acting)
        if acting and is_added(acting[-1][0].name):
            goes_on = goes_on or _reads(self.chains[id(acting[-1][0])], item)
        before = self.settled.get(i)
        self.settled[i] = (value, acting, goes_on)
        if before is None or before[0] == value or not acting or not before[1] or goes_on:
            return
        # Who counts on and then reads what was counted may begin anew.
        if before[2] and any(_reads(self.chains[id(rule)], item) for rule, _ in acting):
            return
        # What a rule settles and a rule within it settles anew is meant.
        turn, later = before[1][-1][1], acting[-1][1]
        if turn in {t for _, t in acting} or later in {t for _, t in before[1]}:
            return
        first, second = _written(before[1]), _written(acting)
        self.clashes.setdefault((id(first), id(second), i), (first, second, item.name))


def _written(acting: Sequence[tuple[Rule, int]]) -> Rule:
    """The innermost rule that stands in the file, or in a scheme."""
    return next((r for r, _ in reversed(acting) if not is_added(r.name)), acting[-1][0])


def _reads(part: object, item: Number | Timer) -> bool:
    """An expression, a statement, or one of several, asks for a place."""
    if isinstance(part, ex.Read):
        return part.number == item
    if isinstance(part, ex.Left):
        return part.timer == item
    if isinstance(part, tuple):
        return any(_reads(one, item) for one in part)
    known = isinstance(part, ex.Int | ex.Bool | Rule | First | Each | Set | Put | Start | Emit)
    return known and any(_reads(one, item) for one in vars(part).values())


def _own(name: str) -> str:
    """The name of a piece of memory within its machine."""
    return name.split(".", 1)[-1].removesuffix(".drive").replace("line", "line ")
