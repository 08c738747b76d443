"""Machines: memory and rules. Systems: machines in the order in which a tick passes through them.

One tick of a system
    1. All timers and bank entries have run down by one; some run out in this tick.
    2. The operator's offers are taken up or not: the world chooses.
    3. The machines follow in order. Each reads what machines before it emitted in the
       same tick, runs its statements from top to bottom, and emits.
    4. Bank entries that ran out in this tick are gone.

Statements see the effect of the statements above them. ``First`` fires the first of its
rules whose guard holds. Nothing may happen without a *trigger* (a signal that occurs,
a timer or bank entry that runs out): so between triggers only time passes, and an
engine may jump from one to the next. ``Machine`` refuses rules without one.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from functools import cached_property

from verify.errors import ModelError
from verify.language import expressions as ex
from verify.language.state import (
    Action,
    Bank,
    Emit,
    Number,
    Put,
    Set,
    Signal,
    Start,
    Take,
    Timer,
)


@dataclass(frozen=True)
class Rule:
    """When the guard holds, do the statements. ``name`` is for people (diagrams, warnings).

    ``follows``: its guard holds only after another rule of the machine has acted in the tick.
    """

    name: str
    when: ex.Bool
    do: tuple[Statement, ...]
    follows: bool = False


def is_added(name: str) -> bool:
    """A rule of this name was added by the reading of a text: it stands for a part of the rule
    around it, and is of no interest to people."""
    return name.startswith("(")


@dataclass(frozen=True)
class First:
    """Of these rules only the first whose guard holds."""

    rules: tuple[Rule, ...]


@dataclass(frozen=True)
class Each:
    """For every occurrence of a signal in this tick, or every entry of a bank, bound to ``name``.

    ``expired``: only the bank entries that run out in this tick. The order of the
    entries must not matter; occurrences of a signal come in the order of their numbers.
    """

    source: Signal | Bank
    name: str
    do: tuple[Statement, ...]
    expired: bool = False


@dataclass(frozen=True)
class Earliest:
    """Bind the entry that runs out soonest of those satisfying ``where``, else do ``otherwise``."""

    bank: Bank
    name: str
    where: ex.Bool
    do: tuple[Statement, ...]
    otherwise: tuple[Statement, ...] = ()


Statement = Action | Rule | First | Each | Earliest


@dataclass(frozen=True)
class Offer:
    """The world may let ``signal`` occur with any one number below ``count``, if ``allowed``.

    ``allowed`` sees the number as field 0 of the occurrence bound to ``name``. Several
    offers may be taken up in one tick, in the order of their numbers; ``do`` runs after
    each, so that a later one sees what an earlier one forbids.
    """

    signal: Signal
    count: int
    name: str
    allowed: ex.Bool
    do: tuple[Statement, ...]


@dataclass(frozen=True)
class Machine:
    """A named machine. Raises ModelError if a statement uses memory that is not declared,
    or could act without a trigger.

    ``possible``: what holds of its memory in every state that it can be found in.
    """

    name: str
    memory: tuple[Number | Timer | Bank, ...]
    body: tuple[Statement, ...]
    offer: Offer | None = None
    possible: ex.Bool = ex.Truth(True)  # noqa: RUF009 - frozen

    def __post_init__(self) -> None:
        own = set(self.memory)
        for statement in walk(self.body + (self.offer.do if self.offer else ())):
            for written in _written(statement):
                if written not in own:
                    raise ModelError(
                        f"machine {self.name!r} writes {written.name!r}, which is not its memory; "
                        f"its memory is {', '.join(m.name for m in self.memory) or 'empty'}"
                    )
        for statement in self.body:
            if not _triggered(statement):
                raise ModelError(
                    f"machine {self.name!r} has a rule that needs no trigger: {_title(statement)}; "
                    "add a signal that happens or a timer that expires to its guard"
                )

    def listens(self) -> frozenset[Signal | Timer | Bank]:
        """The signals, timers and banks that can wake this machine."""
        return self._heard

    def emits(self) -> frozenset[Signal]:
        """The signals that this machine can emit, its offer included."""
        return self._said

    @cached_property
    def _heard(self) -> frozenset[Signal | Timer | Bank]:
        found: set[Signal | Timer | Bank] = set()
        for statement in walk(self.body):
            if isinstance(statement, Rule):
                found.update(_triggers(statement.when))
            elif isinstance(statement, Each) and (
                statement.expired or isinstance(statement.source, Signal)
            ):
                found.add(statement.source)
        return frozenset(found)

    @cached_property
    def _said(self) -> frozenset[Signal]:
        body = self.body + (self.offer.do if self.offer else ())
        found = {s.signal for s in walk(body) if isinstance(s, Emit)}
        return frozenset(found | ({self.offer.signal} if self.offer else set()))


@dataclass(frozen=True)
class System:
    """Machines in the order in which a tick passes through them.

    Times of a *dense* system are parts of a tick, of which ``resolution`` make one, and stand
    for any number there is; an engine that steps in whole parts sees only some of its runs.

    Raises ModelError for two pieces of memory of one name, or a machine that listens
    to a signal emitted by a machine after it.
    """

    machines: tuple[Machine, ...]
    resolution: int = 1
    dense: bool = False

    def __post_init__(self) -> None:
        names: set[str] = set()
        for machine in self.machines:
            for item in machine.memory:
                if item.name in names:
                    raise ModelError(f"two pieces of memory are called {item.name!r}")
                names.add(item.name)
        later: dict[Signal | Timer | Bank, str] = {}
        for machine in reversed(self.machines):
            for early in machine.listens() & later.keys():
                raise ModelError(
                    f"machine {machine.name!r} listens to {early.name!r}, which "
                    f"{later[early]!r} emits only later in the tick"
                )
            later.update(dict.fromkeys(machine.emits(), machine.name))

    @cached_property
    def memory(self) -> tuple[Number | Timer | Bank, ...]:
        """All memory, in machine order."""
        return tuple(item for machine in self.machines for item in machine.memory)

    @cached_property
    def signals(self) -> tuple[Signal, ...]:
        """All signals that some machine emits, by first emitter."""
        found: dict[Signal, None] = {}
        for machine in self.machines:
            for signal in sorted(machine.emits(), key=lambda s: s.name):
                found.setdefault(signal)
        return tuple(found)

    @cached_property
    def offers(self) -> tuple[Offer, ...]:
        """What the world may take up: the operator's offer, then those of disturbances.

        Raises ModelError if there is none.
        """
        offers = tuple(m.offer for m in self.machines if m.offer)
        if not offers:
            raise ModelError("a system needs an operator, found none")
        return offers


def walk(statements: tuple[Statement, ...]) -> Iterator[Statement]:
    """Every statement, nested ones included, outer before inner."""
    for statement in statements:
        yield statement
        match statement:
            case Rule() | Each():
                yield from walk(statement.do)
            case First():
                yield from walk(statement.rules)
            case Earliest():
                yield from walk(statement.do + statement.otherwise)
            case _:
                pass


def _written(statement: Statement) -> tuple[Number | Timer | Bank, ...]:
    match statement:
        case Set():
            return (statement.number,)
        case Start():
            return (statement.timer,)
        case Put():
            return (statement.bank,)
        case Each(source=Bank() as bank) | Earliest(bank=bank) if _takes(statement):
            return (bank,)
        case _:
            return ()


def _takes(statement: Each | Earliest) -> bool:
    return any(isinstance(s, Take) and s.name == statement.name for s in walk(statement.do))


def _triggered(statement: Statement) -> bool:
    """The statement can act only in a tick with a trigger."""
    match statement:
        case Rule():
            return _needs_trigger(statement.when) or all(_triggered(s) for s in statement.do)
        case First():
            return all(_triggered(rule) for rule in statement.rules)
        case Each():
            return (
                isinstance(statement.source, Signal)
                or statement.expired
                or all(_triggered(s) for s in statement.do)
            )
        case Earliest():
            return all(_triggered(s) for s in statement.do + statement.otherwise)
        case _:
            return False


def _needs_trigger(guard: ex.Bool) -> bool:
    match guard:
        case ex.Happens() | ex.Expires():
            return True
        case ex.And(a, b):
            return _needs_trigger(a) or _needs_trigger(b)
        case ex.Or(a, b):
            return _needs_trigger(a) and _needs_trigger(b)
        case _:
            return False


def _triggers(guard: ex.Bool) -> Iterator[Signal | Timer]:
    match guard:
        case ex.Happens(signal):
            yield signal
        case ex.Expires(timer):
            yield timer
        case ex.And(a, b) | ex.Or(a, b):
            yield from _triggers(a)
            yield from _triggers(b)
        case ex.Not(a):
            yield from _triggers(a)
        case _:
            return


def _title(statement: Statement) -> str:
    return statement.name if isinstance(statement, Rule) else type(statement).__name__.lower()


__all__ = [
    "Each",
    "Earliest",
    "First",
    "Machine",
    "Offer",
    "Rule",
    "Statement",
    "System",
    "Take",
    "walk",
]
