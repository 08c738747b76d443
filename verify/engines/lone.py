"""The first question to every model: what does one press of one input do, all alone?

Its answer gives the windows in which strikes are due, and how long a link needs to rest.
"""

from __future__ import annotations

from collections.abc import Hashable
from dataclasses import dataclass, replace
from fractions import Fraction
from itertools import pairwise
from math import ceil
from typing import NoReturn, TypeAlias

from verify.engines.answer import Budget, OutOfTimeError, TooManyError
from verify.engines.concrete import LATE, MOST_STARTS, Compiled, State, is_unknown
from verify.engines.lone_level import listed, lone_move
from verify.errors import UsageError
from verify.language.machine import System
from verify.language.state import Timer
from verify.parts.clock import Clock
from verify.parts.link import Link, factored
from verify.parts.monitor import Windows
from verify.parts.signals import strike
from verify.units import Ticks

ZERO = Fraction(0)
# Of one press whatever the rate: earliest, latest, settled, apart.
RateRow: TypeAlias = tuple[Ticks | None, Ticks | None, int, int | None]
_Row: TypeAlias = tuple[int | None, int | None, int, bool, bool]
# A press that sets off more events than this, or more at once, is taken never to come to rest.
MOST_EVENTS = 20_000
MOST_RUNNING = 1_000
# States that a lone press goes through, after which it is enough to know that it may be lost.
MOST_LOST = 30_000


@dataclass(frozen=True)
class Lone:
    """Per input, in ticks after the press, line delay left out.

    ``earliest``/``latest``: of its own first strike; None where it may never come.
    ``settled``: when the last thing happened. ``rests``: the link is then as at power-up.
    ``apart``: presses at least so many ticks apart do what lone ones do, each one strike of its
    own; looked for on clocks of unknown rate only, None: not known. ``rough``: some press may be
    lost in so many ways that not all were gone; then its strike is never early (``earliest`` is 0),
    and ``settled`` is later than all that was seen.
    """

    earliest: tuple[Ticks | None, ...]
    latest: tuple[Ticks | None, ...]
    settled: tuple[int, ...]
    rests: bool
    apart: int | None = None
    rough: bool = False


def lone_presses(link: Link, budget: Budget | None = None) -> Lone:
    """Press every input alone, or move the lever watched, under every choice of the world.

    ``budget``: raises OutOfTimeError when that is spent, also where clocks are off and the solver
    gives up.
    """
    if link.kind == "level":
        on_time = _lone_level(replace(link, clock=Clock()), budget)
        return _stretched(on_time, link.scheme.stretch(link.clock))
    if link.clock.rated:
        return _lone_at_rates(link, budget or Budget())
    compiled = Compiled(factored(link, None))
    known: dict[Hashable, _Row] = {}
    rows = []
    for index in range(link.inputs):
        alike = link.scheme.alike((index,))
        if alike not in known:
            found = compiled.starts_alike(link.scheme.exchangeable((index,)))
            starts = _ends_of_skew(compiled, listed(found, budget))
            known[alike] = _press(compiled, starts, index, link.outputs[index], budget)
        rows.append(known[alike])
    return Lone(
        tuple(row[0] for row in rows),
        tuple(row[1] for row in rows),
        tuple(row[2] for row in rows),
        all(row[3] for row in rows),
        rough=any(row[4] for row in rows),
    )


def _ends_of_skew(compiled: Compiled, starts: list[State]) -> list[State]:
    """Without those in which no line is as soon, and none as late, as can be.

    All lines later by the same: then whatever comes after them is later by as much, as long as
    nothing beyond them runs before their first edge. So one of these does what some that are
    left do, between their times.
    """
    unknown = [item for item in compiled.memory if is_unknown(item)]
    running = any(isinstance(m, Timer) and m.begin != 0 for m in compiled.memory)
    if running or not all(LATE.fullmatch(item.name) for item in unknown):
        return starts
    most = {item.name: compiled.starts_of(item)[-1] for item in unknown}

    def at_an_end(start: State) -> bool:
        lates = dict(compiled.constants(start))
        return 0 in lates.values() or any(lates[name] == late for name, late in most.items())

    return [start for start in starts if not unknown or at_an_end(start)]


def _stretched(lone: Lone, ticks: Ticks) -> Lone:
    latest = tuple(None if t is None else t + ticks for t in lone.latest)
    return replace(lone, latest=latest, settled=tuple(t + ceil(ticks) for t in lone.settled))


def _lone_at_rates(link: Link, budget: Budget) -> Lone:
    # Imported late: only clocks that are off need any of it.
    from verify.engines.lone_regions import LoneRegions, OutOfRegionsError

    on_time = lone_presses(replace(link, clock=replace(link.clock, rate=(ZERO, ZERO))))
    system = factored(link, None, link.clock.resolution)
    try:
        regions = LoneRegions(system, budget)
        rows = [regions.row(i, link.outputs[i]) for i in range(link.inputs)]
    except OutOfRegionsError:
        rows = _by_solver(system, link, budget)
    apart = [row[3] for row in rows]
    return Lone(
        tuple(row[0] for row in rows),
        tuple(row[1] for row in rows),
        tuple(row[2] for row in rows),
        on_time.rests,
        None if None in apart else max(a for a in apart if a is not None),
    )


def _by_solver(system: System, link: Link, budget: Budget) -> list[RateRow]:
    from verify.engines.lone_rate import lone_press
    from verify.engines.solver import OutOfReachError

    try:
        return [lone_press(system, i, link.outputs[i], budget) for i in range(link.inputs)]
    except OutOfReachError:
        raise OutOfTimeError from None


def _lone_level(link: Link, budget: Budget | None) -> Lone:
    watched = range(link.inputs) if link.watched is None else [link.watched]
    rows = {i: lone_move(link, i, budget) for i in watched}
    unwatched = (0, 0, 0, True)
    ordered = [rows.get(i, unwatched) for i in range(link.inputs)]
    return Lone(
        tuple(r[0] for r in ordered),
        tuple(r[1] for r in ordered),
        tuple(r[2] for r in ordered),
        all(r[3] for r in ordered),
    )


def _press(
    compiled: Compiled, starts: list[State], index: int, output: int, budget: Budget | None
) -> _Row:
    found = [_Alone(compiled, start, index, output, budget).alone() for start in starts]
    times = [w.first for w in found if w.first is not None]
    struck = all(w.always for w in found)
    earliest = min((least for least, _ in times), default=None)
    latest = max(most for _, most in times) if times and struck else None
    settled = max((w.settled for w in found), default=0)
    rests, rough = all(w.rests for w in found), any(w.rough for w in found)
    return earliest, latest, settled, rests, rough


@dataclass(frozen=True)
class _Ways:
    """What may still come, whatever is picked, in ticks from a state on.

    ``first``: the soonest and the latest first strike of the input's own, None if there is
    none; ``always``: there is one each way; ``settled``: when the last thing happens. ``rough``:
    as of ``Lone``.
    """

    first: tuple[int, int] | None
    always: bool
    settled: int
    rests: bool
    rough: bool = False


# A state, and whether the strike has been; None: before the press.
_Place: TypeAlias = tuple[State, bool] | None
# Ticks to the next event, whether it is the first strike, and where it leads.
_Way: TypeAlias = tuple[int, bool, _Place]


class _Alone:
    """A lone press from one start. What may come of a state is worked out once, however many
    ways lead there: there are as many as picks can be made, to the power of the edges."""

    def __init__(
        self, compiled: Compiled, start: State, index: int, output: int, budget: Budget | None
    ) -> None:
        self.compiled, self.start, self.budget = compiled, start, budget
        self.index, self.wanted = index, (strike(0), (output,))
        self.known: dict[_Place, _Ways] = {}

    def alone(self) -> _Ways:
        """All that may come of it. Raises OutOfTimeError, and UsageError if it never rests."""
        # Each is left there until all that it leads to is known.
        stack: list[_Place] = [None]
        under_way: dict[_Place, list[_Way]] = {}
        while stack:
            place = stack[-1]
            if place in self.known:
                stack.pop()
            elif place in under_way:
                self.known[place] = self._together(place, under_way.pop(place))
            else:
                ways = self._ways(place)
                under_way[place] = ways
                # Back where it was: it can go on so for ever.
                if len(under_way) > MOST_EVENTS or any(after in under_way for *_, after in ways):
                    self._restless()
                stack += dict.fromkeys(after for *_, after in ways if after not in self.known)
                if len(self.known) > MOST_LOST and self._may_be_lost():
                    return self._roughly(under_way)
                if len(stack) + len(self.known) > MOST_STARTS:
                    raise TooManyError(f"{MOST_STARTS} states that a lone press can go through")
        return self.known[None]

    def _may_be_lost(self) -> bool:
        """Some way to rest has no strike."""
        return any(
            place is not None and not place[1] and not ways.always
            for place, ways in self.known.items()
        )

    def _roughly(self, under_way: dict[_Place, list[_Way]]) -> _Ways:
        """What is enough to know of a press that may be lost. ``under_way``: the places of the way
        that was gone last, in order."""
        places = list(under_way)
        steps = pairwise(places)
        so_far = sum(next(w[0] for w in under_way[a] if w[2] == b) for a, b in steps)
        # Later than anything seen, by far: then it has been at rest for long.
        latest = 2 * (so_far + max(ways.settled for ways in self.known.values()))
        rests = all(ways.rests for ways in self.known.values())
        return _Ways((0, latest), False, latest, rests, rough=True)

    def _ways(self, place: _Place) -> list[_Way]:
        """To all that the next event may lead to."""
        state, struck = (self.start, False) if place is None else place
        if _running(self.compiled, state) > MOST_RUNNING:
            self._restless()
        passed = 1 if place is None else self.compiled.next_event(state)
        if passed is None:
            return []
        ways: dict[_Way, None] = {}
        for after, log, _ in self.compiled.outcomes(
            state, passed, (self.index,) if place is None else ()
        ):
            hit = not struck and self.wanted in log
            # Ticks are counted from that of the press.
            ways[0 if place is None else passed, hit, (after, struck or hit)] = None
            if self.budget is not None and self.budget.spent(0):
                raise OutOfTimeError
        return list(ways)

    def _together(self, place: _Place, ways: list[_Way]) -> _Ways:
        if not ways:
            ended = self.start if place is None else place[0]
            rests = _same_but_restraints(self.compiled, ended, self.start)
            return _Ways(None, False, 0, rests)
        found = [(passed, hit, self.known[after]) for passed, hit, after in ways]
        times = [
            passed + ticks
            for passed, hit, then in found
            for ticks in ((0,) if hit else then.first or ())
        ]
        return _Ways(
            (min(times), max(times)) if times else None,
            all(hit or then.always for _, hit, then in found),
            max(passed + then.settled for passed, _, then in found),
            all(then.rests for *_, then in found),
        )

    def _restless(self) -> NoReturn:
        raise UsageError(
            f"found a link that does not come to rest after a press of input {self.index + 1}; "
            "allowed: links for presses that rest in the end, or levers"
        )


def _running(compiled: Compiled, state: State) -> int:
    """Entries in all banks."""
    return sum(len(state[i]) for i in compiled.banks)


def _same_but_restraints(compiled: Compiled, a: State, b: State) -> bool:
    return all(
        x == y for i, (x, y) in enumerate(zip(a, b, strict=True)) if i not in compiled.restraints
    )


def true_windows(link: Link, lone: Lone) -> tuple[Windows, ...]:
    """Per branch, the window after a press in which its strike is due; line delay included.

    A press whose strike never comes alone is due by the time the link has come to rest:
    it will be found lost then.
    """
    least, most = link.delay
    found = []
    earliest: tuple[Ticks, ...]
    latest: tuple[Ticks, ...]
    for branch in range(len(link.branches)):
        if link.within is not None:
            earliest, latest = ((x,) * link.inputs for x in link.within)
        else:
            hidden = link.hidden_delay(branch)
            earliest = tuple(t + hidden for t in _or_rest(lone.earliest, lone))
            # What a pause holds up may be late by as long as it lasts.
            longer = hidden + most - least + (link.pause.reach if link.spared is None else 0)
            latest = tuple(t + longer for t in _or_rest(lone.latest, lone))
        found.append(Windows(earliest, latest, queue=link.scheme.queue))
    return tuple(found)


def factored_windows(link: Link, lone: Lone) -> dict[Windows, tuple[int, ...]]:
    """The windows that remain to be judged when delays are left out, and the branches of each.

    Only one, unless the file fixes ``within``: then branches of different delay differ.
    """
    least, most = link.delay
    found: dict[Windows, tuple[int, ...]] = {}
    for branch, true in enumerate(true_windows(link, lone)):
        gone = link.hidden_delay(branch)
        windows = Windows(
            tuple(t - gone for t in true.earliest),
            tuple(t - gone for t in true.latest),
            most - least,
            true.queue,
        )
        found[windows] = (*found.get(windows, ()), branch)
    return found


def _or_rest(times: tuple[Ticks | None, ...], lone: Lone) -> list[Ticks]:
    return [s if t is None else t for t, s in zip(times, lone.settled, strict=True)]
