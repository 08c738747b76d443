"""What is to be shown of an invariant, as SMT-LIB 2: unsatisfiable, every one.

*begin*: every state at power-up is in some group. *group n*: from no state of the group a tick
leads out of all groups, or to a failure. A query says: a state of the group, so many ticks go
by, up to the next event; and of the ways through the tick none is gone whose end is right.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass

from verify.recheck.groups import Group, Invariant
from verify.recheck.known import Differences, Known, Reals
from verify.recheck.linear import Claim, Sum, both, claim_text, compare, either, variable
from verify.recheck.relation import Relation, Way

PASSED = "passed"


@dataclass(frozen=True)
class Query:
    """A script in SMT-LIB 2 that asks one question; right if the answer is ``unsat``."""

    name: str
    text: str


def queries(invariant: Invariant) -> Iterator[Query]:
    """All that has to be shown."""
    yield _begin(invariant)
    for k, group in enumerate(invariant.groups):
        yield _stays(invariant, group, f"group {k + 1}")


def _begin(invariant: Invariant) -> Query:
    relation = invariant.relation
    dense = relation.system.dense
    names: dict[str, None] = {}
    shown: list[str] = []
    for given, ways in relation.starts(_known(dense, (), ()), invariant.vague):
        for claim in given:
            names |= {name: None for name, _ in claim.sum.parts}
        shown.append(_implied(given, _ends(invariant, ways)))
    return Query("begin", _script(dense, names, (), both(shown)))


def _stays(invariant: Invariant, group: Group, name: str) -> Query:
    relation = invariant.relation
    dense = relation.system.dense
    state, names, claims = invariant.state(group)
    passed = variable(PASSED)
    lives = relation.lives(state)
    timing = [relation.least()(passed), *(compare("<=", passed, left) for left in lives)]
    given = [*claims, *(claim for claim in timing if isinstance(claim, Claim))]
    known = _known(dense, (*names, PASSED), given)
    picks: dict[str, tuple[int, int]] = {}
    shown: list[str] = []
    if lives:
        alone = list(relation.ways(state, passed, (), known))
        shown.append(_of_ways(invariant, alone, picks))
    for ways in relation.ways_with_offers(state, passed, known):
        shown.append(_of_ways(invariant, ways, picks))
    every = dict.fromkeys((*names, PASSED, *picks))
    return Query(name, _script(dense, every, given, both(shown)))


def _of_ways(invariant: Invariant, ways: list[Way], picks: dict[str, tuple[int, int]]) -> str:
    """Whatever is picked, some way is gone whose end is right."""
    ranges: list[Claim] = []
    own: dict[str, tuple[int, int]] = {}
    for way in ways:
        own |= way.picks
    for name, (least, most) in own.items():
        for claim in (compare("<=", least, variable(name)), compare("<=", variable(name), most)):
            if isinstance(claim, Claim):
                ranges.append(claim)
    picks |= own
    return _implied(ranges, _ends(invariant, ways))


def _ends(invariant: Invariant, ways: Iterable[Way]) -> str:
    """Some way is gone, and ends right."""
    shown: list[str] = []
    for way in ways:
        right = "true" if way.shut or way.idle else invariant.holds(way)
        if right != "false":
            shown.append(both([*map(claim_text, way.claims), right]))
    return "true" if "true" in shown else either(shown)


def _implied(given: list[Claim], shown: str) -> str:
    if not given or shown == "true":
        return shown
    return f"(=> {both(map(claim_text, given))} {shown})"


def _known(dense: bool, names: Iterable[str], claims: Iterable[Claim]) -> Known:
    return Reals(claims) if dense else Differences(tuple(names), claims)


def _script(dense: bool, names: Iterable[str], given: Iterable[Claim], shown: str) -> str:
    sort = "Real" if dense else "Int"
    return "\n".join(
        [
            f"(set-logic {'QF_LRA' if dense else 'QF_LIA'})",
            *(f"(declare-const {name} {sort})" for name in names),
            *(f"(assert {claim_text(claim)})" for claim in given),
            f"(assert (not {shown}))",
            "(check-sat)",
            "",
        ]
    )


__all__ = ["Query", "Relation", "Sum", "queries"]
