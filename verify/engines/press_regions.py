"""One press, at every rate of a clock at once; and two that meet.

The concrete step function, on numbers that are linear in the length of a period and in one thing
more that nobody knows, if there is one (``regions``): the run goes on in every region of the
plane in which all happens in one order. Exact, and without a solver; what has more unknowns is
left to that.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass, replace
from fractions import Fraction
from itertools import combinations
from typing import Any, Literal, TypeAlias

from verify.engines.concrete import Compiled, Occurrence, State, is_unknown, least_choice
from verify.engines.regions import Linear, Plane, Region, box, written
from verify.language.durations import times_of
from verify.language.expressions import Pick
from verify.language.machine import System
from verify.language.picks import picks_of
from verify.language.state import Bank, Number, Timer
from verify.parts.clock import PERIOD
from verify.parts.signals import failure

# More events than this after a press, and it is taken never to come to rest.
MOST_EVENTS = 2_000
# More steps than this after a press, of all regions, and the solver is asked.
MOST_STEPS = 400_000

Moment: TypeAlias = tuple[Any, Occurrence]
"""When, in parts of a tick, a number or linear in the unknowns; and what happened."""

End: TypeAlias = Literal["rest", "failure", "joined", "unknown"]


class OutOfRegionsError(Exception):
    """More is unknown than two numbers, or too much happens."""


@dataclass(frozen=True)
class Ended:
    """How a press ends in a region. ``why``: all came to ``rest``, something went wrong, or more
    became ``unknown`` than is followed; of a second press also: from here on all is as if the
    first had not been (``joined``). ``now``: since when. ``clean``: at rest, and as at power-up.
    ``picked``: when the world made its one pick, if it did. ``alone``: of a second press, no
    third could come before that."""

    region: Region
    why: End
    now: Any
    clean: bool = False
    told: tuple[Moment, ...] = ()
    picked: Any = None
    alone: bool = True


@dataclass(frozen=True)
class Opening:
    """In a region of x alone: after an event at ``now`` another press may come, up to ``passed``
    later, when the next event is."""

    region: Region
    state: State
    now: Any
    passed: Any

    @property
    def key(self) -> object:
        """The same in other regions of x."""
        return written((self.state, self.now, self.passed))


@dataclass(frozen=True)
class _Way:
    state: State
    now: Any
    told: tuple[Moment, ...]
    picked: Any
    events: int


@dataclass(frozen=True)
class _Stepped:
    """``passed``: None at rest. ``strange``: the step met a pick too many."""

    passed: Any
    state: State = ()
    log: tuple[Occurrence, ...] = ()
    alone: bool = True
    picked: bool = False
    clean: bool = False
    strange: bool = False


@dataclass(frozen=True)
class _Pair:
    """Two presses, and beside them the second by itself, of which ``alone`` is the state and
    ``since`` the time of its last event; ``met``: when it was pressed, None: it will be."""

    state: State
    now: Any
    met: Any = None
    alone: State = ()
    since: Any = None
    events: int = 0
    ended: End | None = None
    quiet: bool = True


class _StrangeError(Exception):
    pass


def _anywhere(_: Region) -> bool:
    return False


class PressRegions:
    """A system (branch 0) in which x is the length of a nominal tick on the transmitter's clock,
    and y the other unknown: a constant, or what the world picks once after a press; both in
    parts of a tick. Where nothing else is unknown, y may be how long after an event another press
    comes. Raises OutOfRegionsError for systems with other unknowns.
    """

    def __init__(self, system: System, look: Callable[[], None] = lambda: None) -> None:
        self.look = look
        self.compiled = compiled = Compiled(system)
        self.plane = Plane()
        self.times = times_of(system.machines)
        unknown = [m for m in system.memory if is_unknown(m) and not isinstance(m, Bank)]
        self.picks = [pick for pick in set(picks_of(system)) if pick.least < pick.most]
        constants = [item for item in unknown if item.name != PERIOD]
        named: list[Any] = [*constants, *(pick.name for pick in self.picks)]
        if len(unknown) == len(constants) or len(named) > 1 or len(system.offers) > 1:
            raise OutOfRegionsError
        if any(key not in self.times for key in named):
            raise OutOfRegionsError  # whole numbers are no span
        xs = next(_span(item) for item in unknown if item.name == PERIOD)
        ys: tuple[int, int] = (0, 0)
        self.other: str | None = None
        for item in constants:
            ys, self.other = _span(item), item.name
        for pick in self.picks:
            ys, self.other = (int(pick.least), int(pick.most)), pick.name
        self.places = box(xs, ys)
        x, y = self.plane.number(0, 1, 0), self.plane.number(0, 0, 1)
        self.start = compiled.linked(
            [
                x
                if item.name == PERIOD
                else y
                if item in constants
                else compiled.starts_of(item)[0]
                for item in compiled.memory
            ]
        )

    def several_at_once(self) -> bool:
        """Two inputs may be pressed in one tick, at rest."""
        self.plane.region = self.places[0]
        pairs = combinations(range(self.compiled.inputs), 2)
        return any(self.compiled.step(self.start, 1, pair) is not None for pair in pairs)

    def follow(
        self,
        index: int,
        *,
        openings: list[Opening] | None = None,
        beyond: Callable[[Region], bool] = _anywhere,
    ) -> Iterator[Ended]:
        """Press one input. ``openings``: gets those at which another may be pressed before all is
        at rest; None: do not ask. Regions that lie ``beyond`` what is asked for are left out, as
        soon as that is so."""
        begun = _Way(self.start, -1, (), None, 0)
        waiting = [(region, begun) for region in self.places]
        for _ in range(MOST_STEPS):
            if not waiting:
                return
            region, way = waiting.pop()
            self.look()
            if way.events > MOST_EVENTS:
                break

            def step(way: _Way = way) -> _Stepped:
                return self._step(way, index, openings is not None)

            for part, found in self.plane.each(region, step):
                if beyond(part):
                    continue
                self.plane.region = part
                if openings is not None and not found.alone:
                    openings.append(Opening(part, way.state, way.now, found.passed))
                ended, after = self._after(part, way, found)
                if ended is not None:
                    yield ended
                elif after is not None:
                    waiting.append((part, after))
        raise OutOfRegionsError

    def _step(self, way: _Way, index: int, others: bool) -> _Stepped:
        compiled = self.compiled
        first = not way.events
        passed: Any = 1 if first else compiled.next_event(way.state)
        if passed is None:
            return _Stepped(None, clean=self._as_at_start(way.state))
        alone = first or not others or self._closed(way.state, passed)
        picked = False

        def choose(pick: Pick) -> Any:
            nonlocal picked
            if pick.least == pick.most:
                return least_choice(pick)
            if picked or way.picked is not None:
                raise _StrangeError
            picked = True
            return self.plane.number(0, 0, 1)

        try:
            result = compiled.step(way.state, passed, (index,) if first else (), choose)
        except _StrangeError:
            return _Stepped(passed, alone=alone, strange=True)
        if result is None:
            raise OutOfRegionsError  # the operator may not even press once
        return _Stepped(passed, result[0], tuple(result[1]), alone, picked)

    def _closed(self, state: State, passed: Any) -> bool:
        """No press may come up to ``passed`` later: restraints only get weaker."""
        return next(self.compiled.opens(state, passed), None) is None

    def _as_at_start(self, state: State) -> bool:
        compiled = self.compiled
        places = enumerate(zip(state, self.start, strict=True))
        return all(a == b for i, (a, b) in places if i not in compiled.restraints)

    def _after(
        self, region: Region, way: _Way, found: _Stepped
    ) -> tuple[Ended | None, _Way | None]:
        if found.passed is None or found.strange:
            why: End = "unknown" if found.strange else "rest"
            return Ended(region, why, way.now, found.clean, way.told, way.picked), None
        now = way.now + found.passed
        told = (*way.told, *((now, event) for event in found.log))
        picked = now if found.picked else way.picked
        if _failed(found.log):
            return Ended(region, "failure", now, False, told, picked), None
        return None, _Way(found.state, now, told, picked, way.events + 1)

    # -- two presses that meet ------------------------------------------------

    def meet(
        self, opening: Opening, index: int, *, beyond: Callable[[Region], bool] = _anywhere
    ) -> Iterator[tuple[Ended, Any]]:
        """Another press at an opening: until all is as after that press by itself. With each
        end, when the second press came: y later than the event before."""
        begun = _Pair(opening.state, opening.now)
        waiting = [(region, begun) for region in _later(opening)]
        for _ in range(MOST_STEPS):
            if not waiting:
                return
            region, pair = waiting.pop()
            self.look()
            if pair.events > MOST_EVENTS:
                break

            def step(pair: _Pair = pair) -> _Pair | None:
                return self._meeting(pair, index) if pair.met is None else self._further(pair)

            for part, found in self.plane.each(region, step):
                if found is None or beyond(part):
                    continue
                if found.ended is None:
                    waiting.append((part, found))
                else:
                    yield Ended(part, found.ended, found.now, alone=found.quiet), found.met
        raise OutOfRegionsError

    def _meeting(self, pair: _Pair, index: int) -> _Pair | None:
        """The second press, beside the same from rest; None: it may not come."""
        y = self.plane.number(0, 0, 1)
        result = self.compiled.step(pair.state, y, (index,))
        alone = self.compiled.step(self.start, 1, (index,))
        if result is None or alone is None:
            return None
        now = pair.now + y
        ended: End | None = "failure" if _failed(result[1]) else None
        return _Pair(result[0], now, now, alone[0], now, 1, ended)

    def _further(self, pair: _Pair) -> _Pair:
        """One event on, and the press by itself as far."""
        compiled = self.compiled
        alone, since = pair.alone, pair.since
        while (ahead := compiled.next_event(alone)) is not None and since + ahead <= pair.now:
            result = compiled.step(alone, ahead)
            if result is None or _failed(result[1]):
                break
            alone, since = result[0], since + ahead
        if self._when(pair.state, pair.now) == self._when(alone, since):
            return replace(pair, ended="joined")
        passed = compiled.next_event(pair.state)
        if passed is None:
            return replace(pair, ended="rest")
        quiet = pair.quiet and self._closed(pair.state, passed)
        result = compiled.step(pair.state, passed)
        if result is None:
            raise OutOfRegionsError
        ended: End | None = "failure" if _failed(result[1]) else None
        now = pair.now + passed
        return _Pair(result[0], now, pair.met, alone, since, pair.events + 1, ended, quiet)

    def _when(self, state: State, now: Any) -> object:
        """A state with the times at which timers end, restraints left out: what is to come."""
        compiled = self.compiled
        found: list[object] = []
        for i, place in enumerate(state):
            if i in compiled.restraints:
                continue
            if i in compiled.banks:
                entries = [written((now + entry[0], *entry[1:])) for entry in place]
                found.append(sorted(entries, key=repr))
            elif i in compiled.timers:
                found.append(written(now + place) if place else 0)
            else:
                found.append(written(place))
        return found


def _later(opening: Opening) -> list[Region]:
    """Where a press comes y later than the last event, up to the next."""
    tops = []
    c, a, _ = opening.passed.form if isinstance(opening.passed, Linear) else (opening.passed, 0, 0)
    floor = [(x, 0, weight) for x, _, weight in opening.region.corners]
    tops = [(x, c * weight + a * x, weight) for x, _, weight in floor]
    return [Region((*floor, *reversed(tops))), Region(tuple(tops))]


def merged(openings: Iterable[Opening]) -> list[Opening]:
    """The same, of neighbouring regions in which all is alike only one."""
    alike: dict[object, list[Opening]] = {}
    for opening in openings:
        alike.setdefault(opening.key, []).append(opening)
    return [one for same in alike.values() for one in _joined(same)]


def _joined(openings: list[Opening]) -> Iterator[Opening]:
    def ends(opening: Opening) -> tuple[Fraction, Fraction]:
        return opening.region.xs

    openings = sorted(openings, key=ends)
    run = [openings[0]]
    for opening in openings[1:]:
        last = ends(run[-1])
        # A point goes with what it ends or begins.
        if ends(opening)[0] == last[1] and (last[0] == last[1]) != (len(set(ends(opening))) == 1):
            run.append(opening)
            continue
        yield from _as_one(run)
        run = [opening]
    yield from _as_one(run)


def _as_one(run: list[Opening]) -> Iterator[Opening]:
    corners = [corner for opening in run for corner in opening.region.corners]
    low = min(corners, key=lambda c: Fraction(c[0], c[2]))
    high = max(corners, key=lambda c: Fraction(c[0], c[2]))
    if len(run) == 1 or low == high:
        yield from run
        return
    yield replace(run[0], region=Region((low, high)))
    for end in (run[0], run[-1]):
        if len(end.region.corners) == 1:
            yield end


def _failed(log: Iterable[Occurrence]) -> bool:
    return any(signal == failure(0) for signal, _ in log)


def _span(item: Number | Timer) -> tuple[int, int]:
    found: Any = item.begin if isinstance(item, Timer) else item.start
    return int(found[0]), int(found[1])
