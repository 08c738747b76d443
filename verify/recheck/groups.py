"""An invariant: groups of states, and when a state is in one of them.

A *group* says of each piece of memory what it is, times as variables, and how these lie: limits
``sum of factors times variables <= most``. A running timer or entry has at least a tick left. What
is left of a restraint may be less than 0: it is then off, or not there. A restraint bank may hold
more entries than those given.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from itertools import islice, permutations, product
from typing import Any, TypeAlias

from verify.language.state import Number, Timer
from verify.recheck.known import Known
from verify.recheck.linear import (
    Claim,
    Sum,
    Value,
    both,
    claim_text,
    compare,
    either,
    made,
    plus,
    variable,
)
from verify.recheck.linear import Known as Amount
from verify.recheck.relation import Entry, Relation, State, Way

# A number or the name of a variable; of a bank entries, each the name of a time, then fields.
Place: TypeAlias = "int | str | tuple[tuple[str | int, ...], ...]"
# Most, then factors by name of variable.
Limit: TypeAlias = "tuple[Amount, tuple[tuple[str, Amount], ...]]"
Key: TypeAlias = tuple[Any, ...]
# A place of a group, what there is, and whether it is a restraint.
_Pair: TypeAlias = "tuple[str | int, Value, bool]"
# More ways than this to tell equal entries apart are not tried.
MOST_ORDERS = 120
# Nor more in all, of entries that are missing or of several banks; what is left out proves less.
MOST_CHOICES = 10_000


@dataclass(frozen=True)
class Group:
    """States that are alike: ``places`` in the order of the memory, and ``limits``."""

    places: tuple[Place, ...]
    limits: tuple[Limit, ...]


def _named(place: str | int) -> Value:
    return variable(place) if isinstance(place, str) else place


class Invariant:
    """The groups of one system, found again by what they are but for times."""

    def __init__(self, relation: Relation, groups: tuple[Group, ...]) -> None:
        self.relation, self.groups = relation, groups
        self.runs = relation.least()
        # Numbers that are unknown in some group tell no groups apart.
        self.vague = {i for group in groups for i in self._vague_in(group)}
        self.by_key: dict[Key, list[Group]] = {}
        # Entries of some group have fields that are variables.
        self.unnamed = False
        for group in groups:
            self._note(group)

    def and_group(self, group: Group) -> Invariant:
        """With one more; this one is not to be used any more."""
        if not self.vague.issuperset(self._vague_in(group)):
            return Invariant(self.relation, (*self.groups, group))
        self.groups = (*self.groups, group)
        self._note(group)
        return self

    def _vague_in(self, group: Group) -> Iterator[int]:
        for i, place in enumerate(group.places):
            if isinstance(place, str) and isinstance(self.relation.memory[i], Number):
                yield i

    def _note(self, group: Group) -> None:
        key = tuple(self._key_of(i, place) for i, place in enumerate(group.places))
        self.by_key.setdefault(key, []).append(group)
        self.unnamed = self.unnamed or any(
            isinstance(field, str)
            for place in group.places
            if isinstance(place, tuple)
            for entry in place
            for field in entry[1:]
        )

    def _key_of(self, i: int, place: Any) -> Any:
        item = self.relation.memory[i]
        if isinstance(item, Number):
            return None if i in self.vague else place
        if item.restraint:
            return None
        if isinstance(item, Timer):
            return place != 0
        entries = (e.fields if isinstance(e, Entry) else e[1:] for e in place)
        return tuple(sorted(entries, key=repr))

    # -- as states to start from ----------------------------------------------

    def state(self, group: Group) -> tuple[State, list[str], list[Claim]]:
        """The group as a state, the names of its variables, and what is claimed of them."""
        places: list[Any] = []
        claims: list[Claim | bool] = []
        names: dict[str, None] = {}
        for i, (item, place) in enumerate(zip(self.relation.memory, group.places, strict=True)):
            if isinstance(item, Number):
                places.append(_named(place))  # type: ignore[arg-type]
            elif isinstance(item, Timer):
                left = f"rest{i}" if item.restraint and place == 0 else place
                places.append(_named(left))  # type: ignore[arg-type]
                if left != 0 and not item.restraint:
                    claims.append(self.runs(places[-1]))
            else:
                entries = [Entry(_named(e[0]), tuple(map(_named, e[1:]))) for e in place]  # type: ignore[union-attr]
                places.append(tuple(entries))
                if not item.restraint:
                    claims += [self.runs(entry.left) for entry in entries]
            for value in _values(places[-1]):
                if isinstance(value, Sum):
                    names[value.parts[0][0]] = None
        for most, factors in group.limits:
            names |= {name: None for name, _ in factors}
            claims.append(compare("<=", made(0, dict(factors)), most))
        return tuple(places), list(names), [c for c in claims if isinstance(c, Claim)]

    # -- as states to end in --------------------------------------------------

    def holds(self, way: Way) -> str:
        """That the state at the end of a way is in some group, as text."""
        if way.state is None:
            return "false"
        texts: list[str] = []
        for group in self.alike(way.state):
            self.relation.check()
            for text, surely in self.within(group, way.state, way.known):
                if surely:
                    return text
                texts.append(text)
        return f"(or {' '.join(texts)})" if len(texts) > 1 else texts[0] if texts else "false"

    def alike(self, state: State) -> list[Group]:
        """The groups that the state may be in, but for times."""
        key = tuple(self._key_of(i, place) for i, place in enumerate(state))
        known = self.by_key.get(key)
        if known is not None:
            return known
        unsure = any(isinstance(v, Sum) for i, p in enumerate(state) for v in self._told(i, p))
        return list(self.groups) if unsure or self.unnamed else []

    def _told(self, i: int, place: Any) -> Iterator[Value]:
        """What tells groups apart."""
        item = self.relation.memory[i]
        if isinstance(item, Number):
            if i not in self.vague:
                yield place
        elif not isinstance(item, Timer):
            for entry in place:
                yield from entry.fields

    def within(self, group: Group, state: State, known: Known) -> Iterator[tuple[str, bool]]:
        """Ways in which the state may be one of the group, as text, and whether it surely is."""
        options: list[list[list[_Pair]]] = []
        for i, (item, place) in enumerate(zip(self.relation.memory, group.places, strict=True)):
            now = state[i]
            if isinstance(item, Number):
                options.append([[(place, now, False)]])  # type: ignore[list-item]
            elif isinstance(item, Timer):
                if item.restraint:
                    options.append([[(place, now, True)] if place != 0 else []])  # type: ignore[list-item]
                elif (place == 0) != (now == 0):
                    return
                else:
                    options.append([[(place, now, False)] if place != 0 else []])  # type: ignore[list-item]
            else:
                options.append(list(_matches(place, now, item.restraint)))  # type: ignore[arg-type]
        for choice in islice(product(*options), MOST_CHOICES):
            pairs = [pair for part in choice for pair in part]
            found = _all_of(group, pairs, known)
            if found is not None:
                yield found


def _values(place: Any) -> Iterator[Value]:
    if isinstance(place, tuple):
        for entry in place:
            yield from (entry.left, *entry.fields)
    else:
        yield place


def _matches(
    pattern: tuple[tuple[str | int, ...], ...], entries: tuple[Entry, ...], restraint: bool
) -> Iterator[list[_Pair]]:
    """Ways to take the entries for those of the pattern; of a restraint some may be missing."""
    if not restraint and len(pattern) != len(entries):
        return
    missing = (None,) * len(pattern) if restraint else ()
    tried: set[tuple[int, ...]] = set()
    orders = permutations((*entries, *missing), len(pattern))
    for chosen in islice(orders, MOST_CHOICES):
        key = tuple(map(id, chosen))
        if key in tried:
            continue
        tried.add(key)
        if len(tried) > MOST_ORDERS:
            return
        pairs: list[_Pair] = []
        for (time, *fields), entry in zip(pattern, chosen, strict=True):
            if entry is None:
                pairs.append((time, 0, False))
            elif any(_differ(f, v) for f, v in zip(fields, entry.fields, strict=True)):
                break
            else:
                pairs.append((time, entry.left, restraint))
                pairs += [(f, v, False) for f, v in zip(fields, entry.fields, strict=True)]
        else:
            yield pairs


def _differ(field: str | int, value: Value) -> bool:
    return not isinstance(field, str) and not isinstance(value, Sum) and field != value


class _Fit:
    """A state taken for one of a group: what has to be so for that, and whether it surely is."""

    def __init__(self, known: Known) -> None:
        self.known, self.surely = known, True
        self.texts: list[str] = []

    def says(self, claim: Claim | bool) -> bool:
        """It has to be so; False if it surely is not."""
        if isinstance(claim, bool):
            return claim
        told = self.known.says(claim)
        self.surely = self.surely and told is True
        self.texts.append(claim_text(claim))
        return told is not False

    def any_of(self, claims: list[Claim | bool], text: str) -> None:
        """One of these is enough; ``text``: any of them."""
        for claim in claims:
            if claim is True:
                return
            if isinstance(claim, Claim) and self.known.says(claim) is True:
                self.texts.append(claim_text(claim))
                return
        self.surely = False
        self.texts.append(text)


def _all_of(group: Group, pairs: list[_Pair], known: Known) -> tuple[str, bool] | None:
    """The pairs fit and the limits are kept, as text, and whether surely; None: surely not."""
    fit = _Fit(known)
    values: dict[str, Value] = {}
    restraints: set[str] = set()
    for place, value, restraint in pairs:
        if isinstance(place, str):
            values[place] = value
            if restraint and isinstance(value, Sum):
                restraints.add(place)
        elif not fit.says(compare("=", place, value)):
            return None
    for most, factors in group.limits:
        if any(name not in values for name, _ in factors):
            return None
        total: Value = 0
        for name, factor in factors:
            total = plus(total, values[name], factor)
        # What is left of a restraint that is off may be taken for 0 as well.
        off = [name for name, _ in factors if name in restraints]
        claims = [compare("<=", total, most)]
        for name in off:
            factor = dict(factors)[name]
            claims.append(compare("<=", plus(total, values[name], -factor), most))
        if len(off) == 1:
            # Where it counts downwards, what is right of 0 is right of more.
            enough = claims if dict(factors)[off[0]] < 0 else claims[:1]
            fit.any_of(enough, _or_off(claims, values[off[0]]))
        elif not fit.says(claims[0]):
            return None
    return both(fit.texts), fit.surely


def _or_off(claims: list[Claim | bool], left: Value) -> str:
    """The first, or the second where nothing is left."""
    over = compare("<=", left, 0)
    second = [_text(claims[1]), _text(over)]
    return either([_text(claims[0]), both(second) if "false" not in second else "false"])


def _text(claim: Claim | bool) -> str:
    return claim_text(claim) if isinstance(claim, Claim) else str(claim).lower()
