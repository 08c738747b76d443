"""A run followed event by event, with every number known: does it fail, and may it be?"""

from __future__ import annotations

from collections import deque
from collections.abc import Callable
from typing import Any

from verify.language import expressions as ex
from verify.language.machine import System
from verify.language.state import Bank, Number, Timer
from verify.recheck.certificate import MisfitError, RunFile
from verify.recheck.relation import Entry, Relation, SpentError

# Events that are followed; a run that takes more is not confirmed.
MOST_EVENTS = 300_000


def fails(
    system: System,
    branches: int,
    inputs: int,
    run: RunFile,
    check: Callable[[], None] = lambda: None,
) -> None:
    """Follow a run up to its failure. Raises MisfitError if it may not be, or does not fail.

    ``check`` is called for every event, and may raise SpentError.
    """
    relation = Relation(system, branches)
    picks: dict[tuple[int, str], deque[int]] = {}
    for tick, name, value in run.picks:
        if not (isinstance(tick, int) and isinstance(name, str) and isinstance(value, int)):
            raise MisfitError("picks, each a tick, a name and a number")
        picks.setdefault((tick, name), deque()).append(value)
    pending = _pending(relation, inputs, run)
    now = -1

    def choose(pick: ex.Pick) -> int:
        values = picks.get((now, pick.name))
        value = values.popleft() if values else pick.least
        if not pick.least <= value <= pick.most:
            raise MisfitError(f"{pick.name!r} from {pick.least} to {pick.most}")
        return value

    state = relation.begin(_places(relation, run)).state
    for _ in range(MOST_EVENTS):
        check()
        if state is None:
            raise MisfitError("a state that the machines may be found in")
        ahead = [left for left in relation.lives(state) if isinstance(left, int)]
        if pending:
            ahead.append(pending[0][0] - now)
        passed = min(ahead, default=0)
        if passed < 1 or now + passed > run.fails:
            raise MisfitError("a run in which nothing fails by then")
        now += passed
        taken: list[int] = []
        while pending and pending[0][0] == now:
            taken.append(pending.popleft()[1])
        way = relation.tick(state, passed, taken, choose)
        if way.wrong:
            if now != run.fails:
                raise MisfitError(f"a failure at tick {run.fails}; it fails at tick {now}")
            return
        if way.shut:
            raise MisfitError(f"what the operator may do: not that of tick {now}")
        state = _settled(way.state)
    raise SpentError(f"more than {MOST_EVENTS} events in the run")


def _settled(state: Any) -> Any:
    """Restraints that have run out are forgotten."""
    if state is None:
        return None
    return tuple(
        tuple(entry for entry in place if entry.left > 0) if isinstance(place, tuple) else place
        for place in state
    )


def _pending(relation: Relation, inputs: int, run: RunFile) -> deque[tuple[int, int]]:
    """All that the world takes up: ticks and numbers of offers, in order."""
    others = {
        (offer.signal.name, number): index
        for index, (offer, number) in enumerate(relation.offers)
        if index >= inputs
    }
    found: list[tuple[int, int]] = []
    for tick, index in run.presses:
        if tick < 0 or not 0 <= index < inputs:
            raise MisfitError("presses, each a tick and the number of an input")
        found.append((tick, index))
    for when, name, value in run.picks:
        if (name, value) in others:
            found.append((int(when), others[str(name), int(value)]))
    return deque(sorted(found))


def _places(relation: Relation, run: RunFile) -> list[Any]:
    """What everything is at power-up."""
    return [_place(item, run.constants) for item in relation.memory]


def _place(item: Number | Timer | Bank, constants: dict[str, int]) -> Any:
    if isinstance(item, Bank):
        return ()
    start = item.begin if isinstance(item, Timer) else item.start
    if not isinstance(start, tuple):
        return start
    value = constants.get(item.name, start[0])
    if not start[0] <= value <= start[1]:
        raise MisfitError(f"{item.name!r} from {start[0]} to {start[1]}")
    return value


__all__ = ["Entry", "fails"]
