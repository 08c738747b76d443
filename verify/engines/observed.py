"""The step function with a record: which rules fired, set off by what, and what they read.

Only explanations use it; it runs several times slower than ``Compiled`` and means the same
(``tests/test_observed.py`` demands it).
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from fractions import Fraction
from functools import lru_cache
from typing import TypeAlias

from verify import units
from verify.engines.concrete import (
    BoolFn,
    Chooser,
    Compiled,
    DoFn,
    IntFn,
    Occurrence,
    State,
    Tick,
    least_choice,
)
from verify.engines.simulator import Simulator
from verify.engines.trace import Script
from verify.language import expressions as ex
from verify.language.machine import Each, Rule, Statement, System, is_added, walk
from verify.language.state import Bank, Mode, Number, Signal, Timer
from verify.parts.link import Link, whole

Memory: TypeAlias = Number | Timer | Bank


@dataclass(frozen=True)
class Seen:
    """A place as a rule read it: its value then, and what had last written it (None: power-up)."""

    item: Memory
    value: int
    writer: Firing | None

    @property
    def at_rest(self) -> bool:
        """It has the value of power-up, or one that nobody knows then."""
        if not isinstance(self.item, Number):
            return not self.value
        return not isinstance(self.item.start, int) or self.value == self.item.start


@dataclass(eq=False, repr=False)
class Firing:
    """A rule that was tried in a tick, ``fired`` if its guard held; or a turn of an ``Each``,
    or something that the world did (``machine`` is then empty, ``bound`` its number).

    ``causes``: what emitted the signals, started the timers and put the entries that set it off;
    ``absent``: signals and timers that its guard asked for in vain, and what last wrote the timer;
    ``reads``: places that guard and actions read; ``passed_over``: rules tried in vain before it,
    of which one only acts.
    """

    tick: int
    machine: str
    rule: object
    name: str
    bound: tuple[tuple[int, ...], ...]
    parent: Firing | None
    fired: bool = True
    causes: list[Firing] = field(default_factory=list)
    absent: list[tuple[Signal | Timer, Firing | None]] = field(default_factory=list)
    ran_out: list[Timer] = field(default_factory=list)
    reads: list[Seen] = field(default_factory=list)
    wrote: list[tuple[Memory, int]] = field(default_factory=list)
    emitted: list[Occurrence] = field(default_factory=list)
    passed_over: list[Firing] = field(default_factory=list)
    acted: bool = False

    @property
    def called(self) -> str:
        """Its name; of a rule that was added to one in a link file, the name of that."""
        at = self
        while is_added(at.name) and at.parent is not None:
            at = at.parent
        return at.name

    @property
    def key(self) -> tuple[int, int, tuple[tuple[int, ...], ...]]:
        """The same in another run of the same system."""
        return self.tick, id(self.rule), self.bound


@dataclass(frozen=True)
class ModeSeen:
    """The mode of a machine before a tick, and what had last set it."""

    machine: str
    item: Mode
    value: int
    writer: Firing | None

    @property
    def word(self) -> str:
        """Its name."""
        return self.item.modes[self.value]

    @property
    def at_rest(self) -> bool:
        """It is the one of power-up."""
        return self.value == self.item.start


@dataclass
class History:
    """All that was tried in a run, in order; the modes before each tick in which something was,
    and those at the end. ``rounds``: after such a tick, and before the first one (-1), by name
    the numbers that are unknown at power-up: where machines are that go round by themselves."""

    tried: list[Firing] = field(default_factory=list)
    modes: dict[int, list[ModeSeen]] = field(default_factory=dict)
    at_last: list[ModeSeen] = field(default_factory=list)
    rounds: dict[int, dict[str, int]] = field(default_factory=dict)

    def round_at(self, tick: int) -> dict[str, int]:
        """``rounds`` as they were then."""
        return self.rounds.get(max((t for t in self.rounds if t <= tick), default=-1), {})

    def fired(self) -> Iterator[Firing]:
        """What fired, in order."""
        return (firing for firing in self.tried if firing.fired)


class Observed(Compiled):
    """A system made ready to run under observation. One run at a time: see ``history``."""

    def __init__(self, system: System) -> None:
        self._machine_of = {
            id(statement): machine.name
            for machine in system.machines
            for statement in walk(machine.body)
        }
        self._owner = {m.name: machine.name for machine in system.machines for m in machine.memory}
        self._forget()
        super().__init__(system)

    def _forget(self) -> None:
        self._record = History()
        self._elapsed = 0
        self._now: Firing | None = None
        self._step: list[Firing] = []
        self._before: list[ModeSeen] = []
        self._writers: dict[int, Firing] = {}
        # As the tick begins: what runs out in it was not started in it.
        self._starters: dict[int, Firing] = {}
        self._emitters: dict[Occurrence, list[Firing]] = {}
        self._putters: dict[tuple[int, int, tuple[int, ...]], list[Firing]] = {}

    def history(self, link: Link, script: Script, until: int, *, calm: bool = False) -> History:
        """The record of a script's run up to the tick ``until``.

        ``calm``: what the script leaves open is 0, where that may be, and not the least.
        Raises NotAllowedError if the operator of the link may not do what the script says.
        """
        self._forget()
        simulator = Simulator(link, script.delay, None, script.resolution)
        simulator.compiled = self
        otherwise = _calm if calm else None
        for moment in simulator.run(script, until=until, every=True, otherwise=otherwise):
            for firing in self._step:
                firing.tick = moment.tick
            self._record.tried += self._step
            self._record.modes[moment.tick] = self._before
            self._record.at_last = self._modes(moment.state)
            self._record.rounds[moment.tick] = self._rounds(moment.state)
        return self._record

    # -- running --------------------------------------------------------------

    def step(
        self, state: State, passed: int, taken: Sequence[int] = (), choose: Chooser = least_choice
    ) -> tuple[State, list[Occurrence]] | None:
        """As in ``Compiled``."""
        self._elapsed += passed
        if not self._record.rounds:
            self._record.rounds[-1] = self._rounds(state)
        self._emitters.clear()
        self._step, self._now = [], None
        self._before, self._starters = self._modes(state), dict(self._writers)
        return super().step(state, passed, taken, choose)

    def _rounds(self, state: State) -> dict[str, int]:
        return {
            item.name: int(state[i])
            for item, i in self.where.items()
            if isinstance(item, Number) and not isinstance(item.start, int)
        }

    def _modes(self, state: State) -> list[ModeSeen]:
        return [
            ModeSeen(self._owner[item.name], item, int(state[i]), self._writers.get(i))
            for item, i in self.where.items()
            if isinstance(item, Mode)
        ]

    def _take_up(self, tick: Tick, index: int) -> bool:
        ready, number = self._choices[index]
        self._enter("", ready, ready.offer.signal.name, (number,))
        try:
            return super()._take_up(tick, index)
        finally:
            self._now = None

    def _enter(self, machine: str, rule: object, name: str, bound: tuple[int, ...] = ()) -> Firing:
        """A firing within the present one."""
        parent = self._now
        more = (bound,) if bound else ()
        inherited = () if parent is None else parent.bound
        self._now = Firing(-1, machine, rule, name, inherited + more, parent)
        self._step.append(self._now)
        return self._now

    def _happen(self, tick: Tick, signal: int, values: tuple[int, ...]) -> None:
        super()._happen(tick, signal, values)
        if self._now is not None:
            happened = (self.system.signals[signal], values)
            self._emitters.setdefault(happened, []).append(self._now)
            self._now.emitted.append(happened)
            self._acts()

    def _acts(self) -> None:
        firing = self._now
        while firing is not None and not firing.acted:
            firing.acted = True
            firing = firing.parent

    def _see(self, place: int, value: int) -> None:
        if self._now is not None:
            item = self.memory[place]
            self._now.reads.append(Seen(item, int(value), self._writers.get(place)))

    def _write(self, place: int, value: int) -> None:
        if self._now is not None:
            self._writers[place] = self._now
            self._now.wrote.append((self.memory[place], int(value)))
            self._acts()

    # -- compilation ----------------------------------------------------------

    def _first(self, rules: tuple[Rule, ...]) -> DoFn:
        parts = [(r, self._bool(r.when), self._block(r.do)) for r in rules]

        def run(tick: Tick) -> None:
            outside = self._now
            failed: list[Firing] = []
            for rule, guard, do in parts:
                machine = self._machine_of.get(id(rule), "")
                firing = self._enter(machine, rule, rule.name)
                firing.fired = bool(guard(tick))
                if firing.fired:
                    firing.passed_over = failed
                    do(tick)
                    self._now = outside
                    return
                failed.append(firing)
                self._now = outside

        return run

    def _statement(self, statement: Statement) -> DoFn:
        if not isinstance(statement, Each):
            return super()._statement(statement)
        source, machine = statement.source, self._machine_of.get(id(statement), "")
        if isinstance(source, Bank):
            place = self.where[source]
            self._scope[statement.name] = place
        do = self._block(statement.do)

        def turn(tick: Tick, causes: Sequence[Firing], entry: tuple[int, ...]) -> None:
            outside = self._now
            bound = entry or (0,)
            self._enter(machine, statement, f"each {source.name}", bound).causes += causes
            do(tick)
            self._now = outside

        if isinstance(source, Signal):
            n = self._signal.get(source, -1)

            def occurrences(tick: Tick) -> None:
                for values in sorted(tick.happened.get(n, ())):
                    tick.bound[statement.name] = (0, *values)
                    turn(tick, self._emitters.get((source, values), ()), values)

            return occurrences

        def entries(tick: Tick) -> None:
            for entry in tuple(tick.place[place]):
                if not statement.expired or entry[0] <= 0:
                    tick.bound[statement.name] = entry
                    left, fields = entry[0], tuple(entry[1:])
                    put = self._putters.get((place, self._elapsed + left, fields), ())
                    turn(tick, put, tuple(entry))

        return entries

    def _set(self, number: Number, value: IntFn) -> DoFn:
        i, assign = self.where[number], super()._set(number, value)

        def run(tick: Tick) -> None:
            before = tick.place[i]
            assign(tick)
            # Adding nothing is not writing; going to a mode anew is.
            if tick.place[i] != before or isinstance(number, Mode):
                self._write(i, tick.place[i])

        return run

    def _start(self, timer: Timer, length: IntFn) -> DoFn:
        i, start = self.where[timer], super()._start(timer, length)

        def run(tick: Tick) -> None:
            start(tick)
            self._write(i, tick.place[i])

        return run

    def _put(self, bank: Bank, length: IntFn, values: list[IntFn]) -> DoFn:
        i, made = self.where[bank], []

        def noting(value: IntFn) -> IntFn:
            def noted(tick: Tick) -> int:
                made.append(value(tick))
                return made[-1]

            return noted

        put = super()._put(bank, noting(length), [noting(v) for v in values])

        def run(tick: Tick) -> None:
            made.clear()
            put(tick)
            if self._now is not None:
                key = (i, self._elapsed + made[0], tuple(made[1:]))
                self._putters.setdefault(key, []).append(self._now)
            self._write(i, len(tick.place[i]))

        return run

    def _int(self, e: ex.Int) -> IntFn:
        value = super()._int(e)
        match e:
            case ex.Read(item) | ex.Left(item) | ex.Size(item):
                place = self.where[item]

                def read(tick: Tick) -> int:
                    found = value(tick)
                    self._see(place, found)
                    return found

                return read
        return value

    def _bool(self, e: ex.Bool) -> BoolFn:
        holds = super()._bool(e)
        match e:
            case ex.Happens(signal):

                def happens(tick: Tick) -> bool:
                    found = holds(tick)
                    self._asked(found, signal, self._emitters_of(signal))
                    return found

                return happens
            case ex.Expires(timer):
                place = self.where[timer]

                def expires(tick: Tick) -> bool:
                    found = holds(tick)
                    writer = self._starters.get(place)
                    self._asked(found, timer, [] if writer is None else [writer])
                    return found

                return expires
        return holds

    def _emitters_of(self, signal: Signal) -> list[Firing]:
        return [f for (s, _), found in self._emitters.items() if s == signal for f in found]

    def _asked(self, found: bool, trigger: Signal | Timer, causes: list[Firing]) -> None:
        if self._now is None:
            return
        if not found:
            writer = causes[0] if isinstance(trigger, Timer) and causes else None
            self._now.absent.append((trigger, writer))
            return
        self._now.causes += causes
        if isinstance(trigger, Timer):
            self._now.ran_out.append(trigger)


def _calm(_: int, pick: ex.Pick) -> int:
    return 0 if pick.least <= 0 <= pick.most else pick.least


@lru_cache(maxsize=8)
def _observed(link: Link, delay: int, resolution: int) -> Observed:
    return Observed(whole(link, delay, None, resolution))


def observed(link: Link, script: Script) -> Observed:
    """The whole link as it is in a script's run, without monitors."""
    delay = units.whole(Fraction(script.delay, script.resolution))
    return _observed(link, delay, script.resolution)


__all__ = ["Firing", "History", "ModeSeen", "Observed", "Seen", "observed"]
