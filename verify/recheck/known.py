"""What is surely so: spares the rechecker ways through a tick that cannot be gone.

Nothing rests on this. A way left out wrongly is a hole in the query, which a solver then finds.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from fractions import Fraction
from functools import lru_cache
from math import inf
from typing import Any, Protocol

from verify.recheck.linear import Claim, Sum, opposite


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


class Reals:
    """The same for any sums of numbers that need not be whole.

    ``points``: some values of the variables under which all of the claims are so. They show what
    is possible without asking anybody.
    """

    def __init__(self, claims: Iterable[Claim] = ()) -> None:
        self.claims = tuple(claims)
        self.points: list[dict[str, Fraction]] = []
        # Many ways through a tick begin alike.
        self.told: dict[Claim, bool | None] = {}
        self.after: dict[Claim, Reals] = {}

    def says(self, claim: Claim) -> bool | None:
        """Whether the claim is so; None if it is not known."""
        if claim not in self.told:
            self.told[claim] = self._asked(claim)
        return self.told[claim]

    def _asked(self, claim: Claim) -> bool | None:
        if not self._possible(claim):
            return False
        if claim.op == "=":
            return None
        return None if self._possible(opposite(claim)) else True

    def given(self, claim: Claim) -> Reals:
        """The same, and the claim."""
        if claim in self.claims:
            return self
        found = self.after.get(claim)
        if found is None:
            found = self.after[claim] = Reals((*self.claims, claim))
            found.points = [point for point in self.points if _so(claim, point)]
        return found

    def _possible(self, claim: Claim) -> bool:
        if any(_so(claim, point) for point in self.points):
            return True
        import z3

        solver = z3.SimpleSolver()
        solver.add(*map(_term, (*self.claims, claim)))
        if solver.check() == z3.unsat:
            return False
        model = solver.model()
        self.points.append({str(name): _value(model[name]) for name in model})
        return True


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
