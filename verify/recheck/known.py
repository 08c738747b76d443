"""What is surely so: spares the rechecker ways through a tick that cannot be gone.

Nothing rests on this. A way left out wrongly is a hole in the query, which a solver then finds.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Sequence
from fractions import Fraction
from functools import lru_cache
from itertools import takewhile
from math import inf
from typing import Any, Protocol, TypeAlias

from verify.recheck.linear import Claim, Op, Sum, opposite


class Known(Protocol):
    """What is known of some variables."""

    def says(self, claim: Claim) -> bool | None:
        """Whether the claim is so; None if it is not known."""

    def given(self, claim: Claim) -> Known:
        """The same, and the claim."""


class Differences:
    """How far whole-number variables lie apart at most: shortest ways in a graph of them.

    What is not about the difference of two variables, or one and a number, is let pass.
    """

    def __init__(self, names: Sequence[str], claims: Iterable[Claim] = ()) -> None:
        self.place = {"": 0, **{name: k + 1 for k, name in enumerate(names)}}
        # Many ways through a tick begin alike.
        self.after: dict[Claim, Differences] = {}
        size = len(self.place)
        self.most: list[list[float]] = [
            [0 if i == j else inf for j in range(size)] for i in range(size)
        ]
        for claim in claims:
            self._note(claim)

    def _edges(self, claim: Claim) -> list[tuple[int, int, float]] | None:
        """The claim as bounds on differences: x_i - x_j at most so much."""
        found = self._difference(claim.sum)
        if found is None:
            return None
        i, j, most = found
        if claim.op == "<":
            most -= 1
        return [(i, j, most), (j, i, -most)] if claim.op == "=" else [(i, j, most)]

    def _difference(self, total: Sum) -> tuple[int, int, float] | None:
        parts = total.parts
        if len(parts) > 2 or any(factor not in (1, -1) for _, factor in parts):
            return None
        signs = {factor: name for name, factor in parts}
        if len(signs) < len(parts):
            return None
        i, j = self._of(signs.get(1, "")), self._of(signs.get(-1, ""))
        return i, j, float(-total.constant)

    def _of(self, name: str) -> int:
        """Its place; one that was not there so far gets one."""
        if name not in self.place:
            self.place = {**self.place, name: len(self.place)}
            for row in self.most:
                row.append(inf)
            self.most.append([*[inf] * (len(self.place) - 1), 0])
        return self.place[name]

    def _note(self, claim: Claim) -> None:
        for i, j, most in self._edges(claim) or ():
            if most >= self.most[i][j]:
                continue
            onward = self.most[j]
            for row in self.most:
                through = row[i] + most
                if through < inf:
                    for k, more in enumerate(onward):
                        if through + more < row[k]:
                            row[k] = through + more

    def says(self, claim: Claim) -> bool | None:
        """Whether the claim is so; None if it is not known."""
        edges = self._edges(claim)
        if edges is None:
            return None
        if any(most + self.most[j][i] < 0 for i, j, most in edges):
            return False
        return True if all(self.most[i][j] <= most for i, j, most in edges) else None

    def given(self, claim: Claim) -> Differences:
        """The same, and the claim."""
        copy = self.after.get(claim)
        if copy is None:
            copy = self.after[claim] = Differences(())
            copy.place, copy.most = self.place, [list(row) for row in self.most]
            copy._note(claim)
        return copy


# A sum, over its first factor and without its constant.
_Way: TypeAlias = tuple[tuple[str, Fraction], ...]
# Questions about the same sum, before its least and most are looked for.
_OFTEN = 2


class Reals:
    """The same for any sums of numbers that need not be whole.

    ``points``: some values of the variables under which all of the claims are so. They show what
    is possible without asking anybody. ``ranges``: the least and most of some sums, which show
    what is not.
    """

    def __init__(self, claims: Iterable[Claim] = (), before: Reals | None = None) -> None:
        self.claims = tuple(claims)
        self.before = before
        self.stack: Stack = Stack() if before is None else before.stack
        self.points: list[dict[str, Fraction]] = []
        self.ranges: dict[_Way, tuple[Fraction | None, Fraction | None]] = {}
        self.often: Counter[_Way] = Counter() if before is None else before.often
        # Many ways through a tick begin alike.
        self.told: dict[Claim, bool | None] = {}
        self.after: dict[Claim, Reals] = {}

    def says(self, claim: Claim) -> bool | None:
        """Whether the claim is so; None if it is not known."""
        if claim not in self.told:
            told = self.told[claim] = self._asked(claim)
            if told is not None and claim.op != "=":
                self.told[opposite(claim)] = not told
        return self.told[claim]

    def _asked(self, claim: Claim) -> bool | None:
        ranged = self._in_range(claim)
        if ranged is not None:
            return ranged
        if not self._possible(claim):
            return False
        if claim.op == "=":
            return None
        return None if self._possible(opposite(claim)) else True

    def given(self, claim: Claim) -> Reals:
        """The same, and the claim."""
        if claim in self.claims or self.told.get(claim):
            return self
        found = self.after.get(claim)
        if found is None:
            found = self.after[claim] = Reals((*self.claims, claim), self)
            found.points = [point for point in self.points if _so(claim, point)]
        return found

    def _possible(self, claim: Claim) -> bool:
        if any(_so(claim, point) for point in self.points):
            return True
        point = self.stack.point((*self.claims, claim))
        if point is not None:
            self.points.append(point)
        return point is not None

    def _in_range(self, claim: Claim) -> bool | None:
        """What the range of the claim's sum says."""
        first = claim.sum.parts[0][1]
        way = tuple((name, Fraction(factor) / first) for name, factor in claim.sum.parts)
        at = Fraction(-claim.sum.constant) / first
        known: Reals | None = self
        while known is not None:
            if way in known.ranges:
                told = _told(claim.op, first > 0, at, *known.ranges[way])
                if told is not None or known is self:
                    return told
                break
            known = known.before
        self.often[way] += 1
        if self.often[way] <= _OFTEN:
            return None
        # Claims since may have made it smaller.
        del self.often[way]
        self.ranges[way] = _range(self.claims, way)
        return _told(claim.op, first > 0, at, *self.ranges[way])


def _told(
    op: Op, upper: bool, at: Fraction, least: Fraction | None, most: Fraction | None
) -> bool | None:
    """Whether a sum from ``least`` to ``most`` is at most, or at least, so much; None: perhaps."""
    if op == "=":
        out = (least is not None and at < least) or (most is not None and at > most)
        return False if out else None
    if not upper:
        at, least, most = -at, None if most is None else -most, None if least is None else -least
    strict = op == "<"
    if least is not None and (at < least or (strict and at == least)):
        return False
    if most is not None and (at > most or (not strict and at == most)):
        return True
    return None


class Stack:
    """A solver that is asked about claims one after another, most of which begin alike: what the
    next has in common with the last stays asserted."""

    def __init__(self) -> None:
        import z3

        self.solver = z3.SimpleSolver()
        self.claims: list[Claim] = []

    def point(self, claims: Sequence[Claim]) -> dict[str, Fraction] | None:
        """Values of the variables under which all is so; None if there are none."""
        if not self.possible(claims):
            return None
        model = self.solver.model()
        return {str(name): _value(model[name]) for name in model}

    def possible(self, claims: Sequence[Claim]) -> bool:
        """Whether all may be so."""
        import z3

        both = zip(claims, self.claims, strict=False)
        same = sum(1 for _ in takewhile(lambda pair: pair[0] == pair[1], both))
        self.solver.pop(len(self.claims) - same)
        del self.claims[same:]
        for claim in claims[same:]:
            self.solver.push()
            self.solver.add(_term(claim))
            self.claims.append(claim)
        return bool(self.solver.check() != z3.unsat)


def _so(claim: Claim, point: dict[str, Fraction]) -> bool:
    total = sum((factor * point.get(name, 0) for name, factor in claim.sum.parts), Fraction(0))
    total += claim.sum.constant
    if claim.op == "=":
        return total == 0
    return total < 0 if claim.op == "<" else total <= 0


@lru_cache(maxsize=100_000)
def _term(claim: Claim) -> Any:
    import z3

    total = z3.Sum(
        z3.RealVal(claim.sum.constant),
        *(z3.RealVal(factor) * z3.Real(name) for name, factor in claim.sum.parts),
    )
    if claim.op == "=":
        return total == 0
    return total < 0 if claim.op == "<" else total <= 0


def _value(number: Any) -> Fraction:
    return Fraction(number.numerator_as_long(), number.denominator_as_long())


def _range(claims: Iterable[Claim], way: _Way) -> tuple[Fraction | None, Fraction | None]:
    """The least and most of a sum, or bounds that it comes near to; None: there is none."""
    import z3

    asked = z3.Optimize()
    asked.set(priority="box")
    for claim in claims:
        # z3 has no most of what has to be less than something.
        asked.add(_term(claim if claim.op == "=" else Claim("<=", claim.sum)))
    total = z3.Sum(*(z3.RealVal(factor) * z3.Real(name) for name, factor in way))
    least, most = asked.minimize(total), asked.maximize(total)
    if asked.check() != z3.sat:
        return None, None
    low, high = map(_finite, (least.value(), most.value()))
    return low, high


def _finite(number: Any) -> Fraction | None:
    import z3

    if z3.is_int_value(number):  # as z3's optimizer has whole ones
        return Fraction(number.as_long())
    return _value(number) if z3.is_rational_value(number) else None
