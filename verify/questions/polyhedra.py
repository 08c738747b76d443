"""Invariants of linear limits: where time is dense, and where differences of two times cannot say
what lies between them. These are the links whose verdict the solver argues from rest.

Goes from group to group by the rechecker's reading of the language (the verdict itself came
from another one). A group of states is what a step leads to, all at once: linear limits on what
is left of timers and on the clock's period, found by eliminating what was before the step. Where
time is whole ticks the limits are those of real times, and so may hold more.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from fractions import Fraction
from math import floor, lcm
from typing import Any

from verify.engines.answer import Budget, Progress
from verify.errors import FewwireError
from verify.language.machine import System
from verify.language.state import Number, Timer
from verify.recheck.claims import PASSED
from verify.recheck.elimination import needed, projected
from verify.recheck.groups import Group, Invariant, Limit, Place
from verify.recheck.known import Reals
from verify.recheck.linear import Claim, Sum, Value, compare, minus, plus, variable
from verify.recheck.relation import Relation, SpentError, Way

MOST_GROUPS = 3_000


class NotFoundError(FewwireError):
    """There is no invariant of this kind, or none was found in time; the text says why."""


def groups_of(system: System, budget: Budget, progress: Progress) -> tuple[Group, ...]:
    """Groups of states that a system cannot leave, and that do not fail. Raises NotFoundError."""
    found: list[Group] = []
    pending: list[Group] = []

    def check() -> None:
        if budget.spent(0) or len(found) > MOST_GROUPS:
            raise NotFoundError(f"no invariant among {len(found)} groups")

    relation = Relation(system, check=check)

    invariant = Invariant(relation, ())

    def reach(way: Way, given: Iterable[Claim]) -> None:
        nonlocal invariant
        if way.wrong:
            raise NotFoundError("something may fail, as far as limits can tell")
        if way.state is None or _surely(invariant, way):
            return
        group = _group(relation, way, given)
        found.append(group)
        invariant = invariant.and_group(group)
        pending.append(group)
        progress.states = len(found)
        check()

    try:
        for given, ways in relation.starts(Reals()):
            for way in ways:
                reach(way, given)
        while pending:
            for way, given in _steps(relation, invariant, pending.pop(0)):
                reach(way, given)
    except SpentError as reason:
        raise NotFoundError(str(reason)) from None
    return tuple(found)


def _surely(invariant: Invariant, way: Way) -> bool:
    """The way ends in one of the groups that were found."""
    state = way.state
    if state is None:
        return True
    return any(
        surely
        for group in invariant.alike(state)
        for _, surely in invariant.within(group, state, way.known)
    )


def _steps(
    relation: Relation, invariant: Invariant, group: Group
) -> Iterator[tuple[Way, list[Claim]]]:
    state, _, claims = invariant.state(group)
    passed = variable(PASSED)
    lives = relation.lives(state)
    timing = [relation.least()(passed), *(compare("<=", passed, left) for left in lives)]
    given = [*claims, *(claim for claim in timing if isinstance(claim, Claim))]
    known = Reals(given)
    if lives:
        yield from ((way, given) for way in relation.ways(state, passed, (), known))
    for ways in relation.ways_with_offers(state, passed, known):
        yield from ((way, given) for way in ways)


def _group(relation: Relation, way: Way, given: Iterable[Claim]) -> Group:
    """The states at the end of a way, by themselves."""
    defined: dict[str, Value] = {}
    free: set[str] = set()  # restraints, which are limited from below only

    def named(value: Value, kind: str = "t", *, restraint: bool = False) -> str:
        name = f"{kind}{len(defined)}"
        defined[name] = value
        if restraint:
            free.add(name)
        return name

    places: list[Place] = []
    for item, place in zip(relation.memory, way.state or (), strict=True):
        if isinstance(item, Number):
            places.append(place if isinstance(place, int) else named(place, "n"))
        elif isinstance(item, Timer):
            places.append(0 if place == 0 else named(place, restraint=item.restraint))
        else:
            entries = []
            for entry in place:
                fields = [v if isinstance(v, int) else named(v, "n") for v in entry.fields]
                left = named(entry.left, restraint=item.restraint)
                entries.append((left, *fields))
            places.append(tuple(entries))
    limits = _limits(way, given, defined, free, whole=not relation.system.dense)
    return Group(tuple(places), tuple(limits))


def _limits(
    way: Way, given: Iterable[Claim], defined: dict[str, Value], free: set[str], *, whole: bool
) -> Iterator[Limit]:
    """``whole``: of whole numbers, by whole numbers."""
    claims = [*given, *way.claims]
    for name, (least, most) in way.picks.items():
        for claim in (compare("<=", least, variable(name)), compare("<=", variable(name), most)):
            claims += [claim] if isinstance(claim, Claim) else []
    # New names may be those of old variables: told apart by a mark until the old ones are gone.
    for name, value in defined.items():
        new = variable(f"'{name}")
        # The longer a restraint, the less may happen: at least what it is.
        op: Any = "<=" if name in free else "="
        claim = compare(op, minus(value, new), 0)
        claims += [claim] if isinstance(claim, Claim) else []
    if whole:
        claims = [_a_tick_less(claim) for claim in claims]
    for claim in needed(projected(claims, {f"'{name}" for name in defined})):
        factors = tuple((name[1:], factor) for name, factor in claim.sum.parts)
        limits: list[Limit] = [(-claim.sum.constant, factors)]
        if claim.op == "=":
            turned = tuple((name, -factor) for name, factor in factors)
            limits.append((claim.sum.constant, turned))
        yield from map(_in_whole, limits) if whole else limits


def _in_whole(limit: Limit) -> Limit:
    """The same of whole numbers, by whole numbers."""
    most, factors = limit
    times = lcm(*(Fraction(factor).denominator for _, factor in factors))
    return floor(most * times), tuple((name, int(factor * times)) for name, factor in factors)


def _a_tick_less(claim: Claim) -> Claim:
    """Of whole numbers: what is below 0 is at most -1."""
    total = plus(claim.sum, 1)
    return Claim("<=", total) if claim.op == "<" and isinstance(total, Sum) else claim


__all__ = ["NotFoundError", "Sum", "groups_of"]
