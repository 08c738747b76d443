"""Which engine is asked about a system, and which after it."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import replace
from typing import Literal

from verify.engines.answer import Answer, Budget, Progress, Verdict
from verify.language.machine import System
from verify.language.state import Number
from verify.parts.clock import PERIOD
from verify.parts.monitor import Windows
from verify.questions import kept

EngineName = Literal["auto", "explorer", "zones", "solver", "simulator"]

# ``auto`` explores a few states, looks for a proof by so many steps of joined zones and among a few
# zones as they are, explores this many states, tries sustained load, more steps of joined zones,
# then this many zones, then asks the solver, then goes on with zones. Links that never rest are for
# zones from the start.
FEW_STATES = 4_000
FEW_JOINED = 20_000
FEW_ZONES = 2_000
FIRST_LOOK = 40_000
MORE_JOINED = 400_000
FIRST_ZONES = 20_000
# Where the world has more than so many choices besides presses, it is first tried at random, so
# many steps.
MOST_TOLD_APART = 64
MOST_HAMMERED = 50_000
MOST_PERIODS = 1_000


def ask(
    system: System,
    rests: bool,
    engine: EngineName,
    budget: Budget,
    progress: Progress,
    latencies: bool = False,
    windows: Windows | None = None,
    place: str | None = None,
    lost: tuple[int, ...] = (),
) -> Answer:
    """``windows``: those of the system, if something is to be made of them. ``place``: where the
    last and longest search is kept, and goes on from at once. ``lost``: inputs of which a press
    alone may not come out."""
    queued = windows is not None and windows.queue is not None
    if system.dense:
        return _ask_dense(system, engine, budget, progress, latencies, queued, place)
    if engine == "simulator":
        from verify.engines.chance import hammer

        progress.doing = "simulating"
        return hammer(system, budget, progress, latencies=latencies)
    if engine == "explorer":
        return _explore(system, budget, progress, latencies, None, place)
    if engine == "solver":
        return _solve(system, budget, progress, latencies, place)
    if engine == "zones":
        return zones(system, budget, progress, latencies, None, place)
    asked = _of_the_solver(place)
    if kept.has_search(asked) and not kept.has_search(place):
        answer = _solve(system, budget, progress, latencies, asked)
        if answer.verdict is not Verdict.UNDECIDED or budget.spent(0):
            return answer
        return zones(system, budget, progress, latencies, None, place)
    if kept.has_search(place):
        answer = zones(system, budget, progress, latencies, None, place)
        if answer.verdict is not Verdict.UNDECIDED or budget.spent(0):
            return answer
    if not rests:
        answer = zones(system, budget, progress, latencies, None, place)
        if answer.verdict is not Verdict.UNDECIDED:
            return answer
        return _explore(system, budget, progress, latencies, None)
    if latencies:
        return _first_to_say(_latencies(system, budget, progress, windows, place))
    return _first_to_say(_rested(system, budget, progress, queued, place, lost))


def _latencies(
    system: System, budget: Budget, progress: Progress, windows: Windows | None, place: str | None
) -> Iterator[Answer]:
    """The extremes of all runs that come out right, asked in turn."""
    varied = _varied(system)
    yield _explore(system, budget, progress, True, FEW_STATES if varied else FIRST_LOOK)
    yield _by_windows(system, budget, progress, windows)
    if varied:
        yield _explore(system, budget, progress, True, FIRST_LOOK)
    yield zones(system, budget, progress, True, FIRST_ZONES)
    yield _solve(system, budget, progress, True, _of_the_solver(place))
    yield zones(system, budget, progress, True, None, place)


def _by_windows(
    system: System, budget: Budget, progress: Progress, windows: Windows | None
) -> Answer:
    """Where nothing comes out wrong every strike is in its window; so the ends of the windows are
    the extremes, if there are runs that meet them."""
    from verify.engines.chance import at_ends

    unsaid = Answer(Verdict.UNDECIDED, "zones", covered="nothing")
    if windows is None or not _plain(windows, system):
        return unsaid
    progress.doing, progress.states = "simulating", 0
    met = at_ends(system, replace(budget, states=MOST_HAMMERED), progress)
    for index, ends in enumerate(zip(windows.earliest, windows.latest, strict=True)):
        best, worst = met.best.get(index), met.worst.get(index)
        if best is None or worst is None or (best.ticks, worst.ticks) != ends:
            return unsaid
    proved = _first_to_say(_rested(system, budget.half(), progress, False, None, ()))
    if proved.verdict is not Verdict.HOLDS:
        return unsaid
    covered = f"{proved.covered}; lone presses meet the ends of all windows"
    return replace(proved, covered=covered, best=met.best, worst=met.worst)


def _plain(windows: Windows, system: System) -> bool:
    """Every press has its own window, the same each time, in whole ticks."""
    simple = windows.queue is None and windows.slopes is None and not windows.shift
    return simple and windows.resolution == system.resolution == 1


def _varied(system: System) -> bool:
    """Of a pause explorer and zones tell every length apart; zones joined do not."""
    return sum(offer.count for offer in system.offers[1:]) > MOST_TOLD_APART


def _first_to_say(answers: Iterator[Answer]) -> Answer:
    """The first answer that is one, else the last; nobody is asked after it."""
    answer = next(answers)
    while answer.verdict is Verdict.UNDECIDED:
        later = next(answers, None)
        if later is None:
            break
        answer = later
    return answer


def _of_the_solver(place: str | None) -> str | None:
    return None if place is None else f"{place} of the solver"


def _rested(
    system: System,
    budget: Budget,
    progress: Progress,
    queued: bool,
    place: str | None,
    lost: tuple[int, ...],
) -> Iterator[Answer]:
    """Whether all comes out right, asked in turn: engines of short patience first."""
    varied = _varied(system)
    if not varied or lost:
        yield _explore(system, budget, progress, False, FEW_STATES)
    if lost:
        # Where one press is known to go wrong, it is looked for by itself.
        yield _alone(system, lost, budget, progress)
    if queued:
        # What a queue cannot bear shows under sustained load sooner than to the explorer.
        yield _flood(system, budget, progress)
    joined = None if lost else _joined(system, budget, progress, FEW_JOINED)
    if joined is not None:
        yield joined
    if varied:
        yield _hammer(system, budget, progress)
    else:
        yield zones(system, budget, progress, False, FEW_ZONES)
        yield _explore(system, budget, progress, False, FIRST_LOOK)
    if not queued:
        yield _flood(system, budget, progress)
    if joined is not None:  # it was cut
        joined = _joined(system, budget, progress, MORE_JOINED)
    if joined is not None:
        yield joined
    if varied:
        yield _explore(system, budget, progress, False, FIRST_LOOK)
    yield zones(system, budget, progress, False, FIRST_ZONES)
    yield _solve(system, budget, progress, False, _of_the_solver(place))
    yield zones(system, budget, progress, False, None, place)


def _alone(system: System, lost: tuple[int, ...], budget: Budget, progress: Progress) -> Answer:
    from verify.engines.chance import alone

    return alone(system, lost, budget, progress)


def _flood(system: System, budget: Budget, progress: Progress) -> Answer:
    from verify.engines.chance import flood

    return flood(system, budget, progress)


def _hammer(system: System, budget: Budget, progress: Progress) -> Answer:
    from verify.engines.chance import hammer

    progress.doing, progress.states = "simulating", 0
    return hammer(system, replace(budget, states=MOST_HAMMERED), progress)


def _joined(system: System, budget: Budget, progress: Progress, steps: int) -> Answer | None:
    """A proof by few zones; None if there is none, however many steps are made."""
    from verify.engines.joined import prove

    progress.doing, progress.states = "joining zones", 0
    return prove(system, replace(budget, states=steps), progress)


def zones(
    system: System,
    budget: Budget,
    progress: Progress,
    latencies: bool,
    states: int | None,
    place: str | None = None,
) -> Answer:
    """By zones, ``states`` of them at most; ``place``: where the search is kept."""
    from verify.engines.zones import explore_zones

    progress.doing = "exploring zones"
    limited = replace(budget, states=states)
    return _searched(explore_zones, system, limited, progress, latencies, place)


def _ask_dense(
    system: System,
    engine: EngineName,
    budget: Budget,
    progress: Progress,
    latencies: bool,
    queued: bool,
    place: str | None,
) -> Answer:
    """Only the solver sees every run; others find failures in whole parts of a tick."""
    if engine == "zones":
        return Answer(Verdict.UNDECIDED, "zones", covered="nothing: they count in whole ticks")
    if engine == "auto" and queued and not latencies:
        from verify.engines.chance import long_flood

        flooded = long_flood(system, budget, progress).in_parts(system.resolution)
        if flooded.verdict is Verdict.FAILS:
            return flooded
    if engine in ("auto", "solver"):
        answer = _solve(system, budget, progress, latencies, place)
        if engine == "solver" or answer.verdict is not Verdict.UNDECIDED or _too_many(system):
            return answer
    if _too_many(system):
        covered = (
            f"nothing: more than {MOST_PERIODS} periods in steps of 1/{system.resolution} tick"
        )
        return Answer(Verdict.UNDECIDED, engine, covered=covered)
    if engine == "simulator":
        from verify.engines.chance import hammer

        return hammer(system, budget, progress, latencies=latencies).in_parts(system.resolution)
    found = _explore(system, budget, progress, latencies, FIRST_LOOK).in_parts(system.resolution)
    return answer if engine == "auto" and found.verdict is not Verdict.FAILS else found


def _too_many(system: System) -> bool:
    """Periods of the clock, to be tried one by one."""
    periods = (item for item in system.memory if isinstance(item, Number) and item.name == PERIOD)
    return any(period.most - period.least > MOST_PERIODS for period in periods)


def _explore(
    system: System,
    budget: Budget,
    progress: Progress,
    latencies: bool,
    states: int | None,
    place: str | None = None,
) -> Answer:
    from verify.engines.explorer import explore

    progress.doing = "exploring"
    limited = replace(budget, states=states)
    return _searched(explore, system, limited, progress, latencies, place)


def _searched(
    search: Callable[..., Answer],
    system: System,
    budget: Budget,
    progress: Progress,
    latencies: bool,
    place: str | None,
) -> Answer:
    """A search, kept on the way; what is kept of one that is over is needed no more."""
    progress.states = 0
    checkpoint = kept.checkpoint(place)
    found = search(system, budget, progress, latencies=latencies, checkpoint=checkpoint)
    failed = found.verdict is Verdict.FAILS
    if checkpoint is not None and (found.complete or (failed and not latencies)):
        kept.forget_search(place)
    return found


def _solve(
    system: System,
    budget: Budget,
    progress: Progress,
    latencies: bool,
    place: str | None = None,
) -> Answer:
    # Imported late: loading z3 takes longer than most explorations.
    from verify.engines.solver import solve

    progress.doing = "solving"
    return _searched(solve, system, budget, progress, latencies, place)
