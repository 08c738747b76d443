"""A run that may go wrong as late as one likes: it goes round in a circle first."""

from __future__ import annotations

from dataclasses import dataclass

from verify.engines.concrete import Compiled, State
from verify.engines.simulator import Simulator
from verify.engines.trace import Script
from verify.parts.recovery import SINCE

# Events without presses after which a circle is no longer looked for.
MOST_EVENTS = 20_000


@dataclass(frozen=True)
class Lasso:
    """After ``tick`` the run is, ``ticks`` ticks later (0: at rest, any number), as it was."""

    tick: int
    ticks: int


def lasso(simulator: Simulator, script: Script, since: int, until: int) -> Lasso | None:
    """Where a run that is wrong at ``until`` may go round and round before: from ``since`` on,
    ticks. What it does afterwards it may do after any number of rounds. None if no state comes
    again, in the run or when it is left alone.
    """
    moments = [
        m for m in simulator.run(script, until=until, every=True) if since <= m.tick <= until
    ]
    compiled = simulator.compiled
    met: dict[State, int] = {}
    for moment in moments:
        if moment.tick < until:
            state = _but(moment.state, {_place(compiled)})
            if state in met:
                return Lasso(met[state], moment.tick - met[state])
            met[state] = moment.tick
    for moment in moments:
        if moment.tick < until or _stays_wrong(compiled, moment.state):
            ticks = _comes_again(compiled, moment.state)
            if ticks is not None:
                return Lasso(moment.tick, ticks)
    return None


def _place(compiled: Compiled) -> int:
    """Of the timer that runs while nothing counts: all that it does is forbid complaints."""
    return next((i for item, i in compiled.where.items() if item.name == SINCE), -1)


def _but(state: State, places: set[int]) -> State:
    return tuple(0 if i in places else value for i, value in enumerate(state))


def _stays_wrong(compiled: Compiled, state: State) -> bool:
    return any(state[i] == 1 for item, i in compiled.where.items() if item.name.endswith(".wrong"))


def _comes_again(compiled: Compiled, state: State) -> int | None:
    """Ticks until the same state comes again with nothing done; restraints of the operator,
    which only ever forbid, apart."""
    apart = {_place(compiled), *compiled.restraints}
    wanted = _but(state, apart)
    ticks = 0
    for _ in range(MOST_EVENTS):
        passed = compiled.next_event(state)
        if passed is None:
            return 0 if ticks == 0 else None
        result = compiled.step(state, passed)
        if result is None:
            return None
        state, ticks = result[0], ticks + passed
        if _but(state, apart) == wanted:
            return ticks
    return None
