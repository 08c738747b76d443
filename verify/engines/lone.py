"""The first question to every model: what does one press of one input do, all alone?

Its answer gives the windows in which strikes are due, and how long a link needs to rest.
"""

from __future__ import annotations

from collections.abc import Hashable
from dataclasses import dataclass, replace
from fractions import Fraction
from math import ceil
from typing import TypeAlias

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
_Row: TypeAlias = tuple[int | None, int | None, int, bool]
# A press that sets off more events than this, or more at once, is taken never to come to rest.
MOST_EVENTS = 20_000
MOST_RUNNING = 1_000


@dataclass(frozen=True)
class Lone:
    """Per input, in ticks after the press, line delay left out.

    ``earliest``/``latest``: of its own first strike; None where it may never come.
    ``settled``: when the last thing happened. ``rests``: the link is then as at power-up.
    ``apart``: presses at least so many ticks apart do what lone ones do, each one strike of its
    own; looked for on clocks of unknown rate only, None: not known.
    """

    earliest: tuple[Ticks | None, ...]
    latest: tuple[Ticks | None, ...]
    settled: tuple[int, ...]
    rests: bool
    apart: int | None = None


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
    wanted = strike(0)
    firsts: list[int | None] = []
    settled, rests = 0, True
    # Depth first over the unknowns and the picks met; each branch runs to rest.
    open_runs = [_Run(state, state, -1, None) for state in starts]
    while open_runs:
        run = open_runs.pop()
        if budget is not None and budget.spent(0):
            raise OutOfTimeError
        fresh = run.now < 0
        if run.events > MOST_EVENTS or _running(compiled, run.state) > MOST_RUNNING:
            raise UsageError(
                f"found a link that does not come to rest after a press of input {index + 1}; "
                "allowed: links for presses that rest in the end, or levers"
            )
        passed = 1 if fresh else compiled.next_event(run.state)
        if passed is None:
            firsts.append(run.first)
            settled = max(settled, run.now)
            rests = rests and _same_but_restraints(compiled, run.state, run.start)
            continue
        when = run.now + passed
        for after, log, _ in compiled.outcomes(run.state, passed, (index,) if fresh else ()):
            hit = run.first is None and any(s == wanted and v == (output,) for s, v in log)
            first = when if hit else run.first
            open_runs.append(_Run(run.start, after, when, first, run.events + 1))
            if budget is not None and budget.spent(0):
                raise OutOfTimeError
            if len(open_runs) > MOST_STARTS:
                raise TooManyError(f"{MOST_STARTS} ways that a lone press can go")
    times = [t for t in firsts if t is not None]
    earliest = min(times) if times else None
    latest = max(times) if times and None not in firsts else None
    return earliest, latest, settled, rests


@dataclass(frozen=True)
class _Run:
    """A lone press on its way: where it started and stands, and when its strike first came."""

    start: State
    state: State
    now: int
    first: int | None
    events: int = 0


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
