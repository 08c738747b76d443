"""What is surely so: spares the rechecker ways through a tick that cannot be gone.

Nothing rests on this. A way left out wrongly is a hole in the query, which a solver then finds.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
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
        copy = Differences(())
        copy.place, copy.most = self.place, [list(row) for row in self.most]
        copy._note(claim)
        return copy


class Reals:
    """The same for any sums of numbers that need not be whole."""

    def __init__(self, claims: Iterable[Claim] = ()) -> None:
        self.claims = tuple(claims)

    def says(self, claim: Claim) -> bool | None:
        """Whether the claim is so; None if it is not known."""
        if not self._possible(claim):
            return False
        if claim.op == "=":
            return None
        return None if self._possible(opposite(claim)) else True

    def given(self, claim: Claim) -> Reals:
        """The same, and the claim."""
        return Reals((*self.claims, claim))

    def _possible(self, claim: Claim) -> bool:
        import z3

        solver = z3.SolverFor("QF_LRA")
        solver.add(*(_term(c) for c in (*self.claims, claim)))
        return bool(solver.check() != z3.unsat)


def _term(claim: Claim) -> Any:
    import z3

    total = z3.Sum(
        z3.RealVal(claim.sum.constant),
        *(z3.RealVal(factor) * z3.Real(name) for name, factor in claim.sum.parts),
    )
    if claim.op == "=":
        return total == 0
    return total < 0 if claim.op == "<" else total <= 0
