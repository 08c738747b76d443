"""What a machine can remember and say: numbers, timers, banks of timers, signals."""

from __future__ import annotations

from dataclasses import dataclass, field

from verify.language import expressions as ex
from verify.language.expressions import IntLike


@dataclass(frozen=True)
class Number:
    """A bounded whole number.

    ``start`` is its value at power-up, or a range ``(least, most)``: then it is an
    unknown of the link, any value of the range, the same for one run unless assigned.
    Or another number: then it starts with the same value as that.

    ``wire``: it repeats what is outside the machine (the level of a line or a lever, what an
    output shows), so it is right also where the machine is found in any state.
    """

    name: str
    least: int
    most: int
    start: int | tuple[int, int] | Number
    wire: bool = field(default=False, kw_only=True)

    def read(self) -> ex.Int:
        """The present value."""
        return ex.Read(self)

    def set(self, value: IntLike) -> Set:
        """Action: assign."""
        return Set(self, ex.integer(value))


@dataclass(frozen=True)
class Flag(Number):
    """A truth value."""

    def up(self) -> ex.Bool:
        """The flag is raised."""
        return ex.Equal(ex.Read(self), ex.Constant(1))

    def put_up(self) -> Set:
        """Action: raise the flag."""
        return self.set(1)

    def put_down(self) -> Set:
        """Action: lower the flag."""
        return self.set(0)


@dataclass(frozen=True)
class Mode(Number):
    """One of several named modes."""

    modes: tuple[str, ...] = ()

    def at(self, mode: str) -> ex.Bool:
        """The machine is in the mode."""
        return ex.Equal(ex.Read(self), ex.Constant(self.modes.index(mode)))

    def go(self, mode: str) -> Set:
        """Action: change to the mode."""
        return self.set(self.modes.index(mode))


@dataclass(frozen=True)
class Timer:
    """Runs down one per tick. ``most`` bounds its length in ticks.

    ``begin``: ticks that are left at power-up (0: off), or a range of which nobody knows
    which; the first tick of a run is one tick after power-up.

    ``found``: the most that may be left of it where the machine is found in any state (None:
    ``most``).

    While a ``lenient`` timer runs, less is found wrong: the longer, the less.

    A ``restraint`` timer only ever forbids the operator something: the longer it still
    runs, the less may happen, and what it forbids only ever opens, at its end or before.
    Its end wakes nobody, and an engine may let a state stand for all states that differ
    from it by longer restraints.
    """

    name: str
    most: int
    restraint: bool = False
    begin: int | tuple[int, int] = 0
    found: int | None = None
    lenient: bool = False

    @property
    def left(self) -> ex.Int:
        """Ticks until it runs out, 0 when off."""
        return ex.Left(self)

    def running(self) -> ex.Bool:
        """It runs, and does not run out in this tick."""
        return ex.Less(ex.Constant(0), ex.Left(self))

    def expires(self) -> ex.Bool:
        """It runs out in this tick (a trigger)."""
        return ex.Expires(self)

    def start(self, length: IntLike) -> Start:
        """Action: run for ``length`` ticks (at least 1) from now, whatever it did before."""
        return Start(self, ex.integer(length))

    def stop(self) -> Start:
        """Action: switch off."""
        return Start(self, ex.Constant(0))


@dataclass(frozen=True)
class Bank:
    """Any number of timers that run side by side, each with ``fields`` numbers attached.

    ``restraint`` as for timers.
    """

    name: str
    fields: tuple[str, ...]
    restraint: bool = False

    def put(self, length: IntLike, *fields: IntLike) -> Put:
        """Action: add an entry that runs out ``length`` ticks from now (0: in this tick)."""
        return Put(self, ex.integer(length), tuple(ex.integer(f) for f in fields))

    def size(self) -> ex.Int:
        """How many entries are running."""
        return ex.Size(self)

    def entry(self, name: str) -> Entry:
        """A name for one entry, to be bound by a statement."""
        return Entry(name, self.fields)


@dataclass(frozen=True)
class Signal:
    """Something that happens in a tick, with numbers attached; equal occurrences are one."""

    name: str
    fields: tuple[str, ...] = ()

    def emit(self, *fields: IntLike) -> Emit:
        """Action: let it happen in this tick."""
        return Emit(self, tuple(ex.integer(f) for f in fields))

    def happens(self) -> ex.Bool:
        """It occurs in this tick (a trigger)."""
        return ex.Happens(self)

    def occurrence(self, name: str) -> Entry:
        """A name for one occurrence, to be bound by a statement."""
        return Entry(name, self.fields)


@dataclass(frozen=True)
class Entry:
    """A bound occurrence of a signal, or entry of a bank."""

    name: str
    fields: tuple[str, ...]

    def __getitem__(self, field: str) -> ex.Int:
        return ex.Field(self.name, self.fields.index(field))

    @property
    def left(self) -> ex.Int:
        """Ticks until the bank entry runs out, 0 in the tick in which it does."""
        return ex.EntryLeft(self.name)

    def take(self) -> Take:
        """Action: remove the bound entry from its bank."""
        return Take(self.name)


@dataclass(frozen=True)
class Set:
    """Assign a number."""

    number: Number
    value: ex.Int


@dataclass(frozen=True)
class Start:
    """Start a timer; a length of 0 switches it off."""

    timer: Timer
    length: ex.Int


@dataclass(frozen=True)
class Put:
    """Add a bank entry."""

    bank: Bank
    length: ex.Int
    values: tuple[ex.Int, ...]


@dataclass(frozen=True)
class Take:
    """Remove the bank entry bound to ``name``."""

    name: str


@dataclass(frozen=True)
class Emit:
    """Let a signal occur."""

    signal: Signal
    values: tuple[ex.Int, ...]


Action = Set | Start | Put | Take | Emit


def flag(name: str, start: bool = False, *, wire: bool = False) -> Flag:
    """A truth value, down at power-up unless ``start``."""
    return Flag(name, 0, 1, int(start), wire=wire)


def mode(name: str, *modes: str) -> Mode:
    """A choice of named modes; the first is the one at power-up."""
    return Mode(name, 0, len(modes) - 1, 0, modes)


def number(
    name: str, least: int, most: int, start: int | None = None, *, wire: bool = False
) -> Number:
    """A bounded number; ``start`` defaults to ``least``."""
    return Number(name, least, most, least if start is None else start, wire=wire)


def unknown(name: str, least: int, most: int) -> Number:
    """A constant of the link that nobody knows, anything from ``least`` to ``most``."""
    return Number(name, least, most, (least, most))
