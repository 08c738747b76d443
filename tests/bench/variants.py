"""The solver engine with other encodings of the same questions, for comparison.

All are the engine's own search over the same composed machine; what differs is how a question
reaches z3.

- ``integers``: whole numbers, one solver that sets up nothing beforehand, every question pushed and
  popped: the default.
- ``integers, fresh solvers``: the same, a new solver for each question.
- ``integers, logic named``: the solver that z3 has for linear arithmetic of integers (QF_LIA).
- ``integers, z3 chooses``: the solver that z3 takes where no logic is named.
- ``integers, simplified first``: a chain of tactics (simplify, propagate values, solve equations)
  before the search of each question.
- ``integers, common beginning kept``: what a question has in common with the one before it stays
  asserted.
- ``integers, assumptions``: every condition is asserted once, under a literal; a question assumes
  the literals of its conditions. One solver for all spacings of a search, so what it has learnt
  is carried across the bisection.
- ``one output at a time``: a search per output, for what goes wrong at that one. The bound that the
  first one to fail gives is carried to the others, which are only proved there.
- ``differences``: ticks are counted from power-up, not from the event before, and tables are told
  apart case by case, so that only differences of two unknowns are compared; z3's solver for
  difference logic (QF_IDL).
- ``bit-vectors``: every whole number a bit-vector, wide enough for all sums (QF_BV).
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, replace
from itertools import count
from typing import Any

import z3

from verify.engines.answer import Budget, Progress
from verify.engines.solver import Search
from verify.engines.symbolic import Num, Said, both, either, equal
from verify.language.machine import System
from verify.language.state import Number, Timer
from verify.parts.signals import failure

MOST_PRESSES = 5
# z3 counts seconds by the wall, the budget those of CPU: on a busy machine it would give up early.
BUSY = 4


def patience(budget: Budget) -> int:
    """Milliseconds that one question may take."""
    return int((budget.left() or 3600) * 1000) * BUSY + 1


class Variant(Search):
    """A search that asks in its own way. ``shared``: what is kept from spacing to spacing."""

    def __init__(self, system: System, budget: Budget, shared: dict[str, Any]) -> None:
        self.shared = shared
        super().__init__(system, budget, Progress(), False, MOST_PRESSES)

    def _limit(self, solver: z3.Solver) -> None:
        solver.set("timeout", patience(self.budget))


class Alone(Variant):
    """Every question is asked with all that stands: nothing is asserted in between."""

    stand: tuple[Any, ...] = ()

    @contextmanager
    def _standing(self, given: Sequence[Any]) -> Iterator[None]:
        self.stand = tuple(given)
        yield
        self.stand = ()

    def _possible(self, given: Sequence[Any]) -> bool:
        return super()._possible([*self.stand, *given])


class Fresh(Alone):
    """A new solver for each question."""

    def _asked(self, terms: list[z3.BoolRef]) -> z3.CheckSatResult:
        self.solver = self._made_solver()
        return super()._asked(terms)


class Named(Variant):
    """By the name of the logic."""

    def _made_solver(self) -> z3.Solver:
        return z3.SolverFor("QF_LIA")


class NoLogic(Variant):
    """z3 chooses."""

    def _made_solver(self) -> z3.Solver:
        return z3.Solver()


class Simplified(Fresh):
    """Tactics first."""

    def _made_solver(self) -> z3.Solver:
        return z3.Then("simplify", "propagate-values", "solve-eqs", "smt").solver()


class CommonKept(Alone):
    """Conditions stay asserted as long as questions begin with them."""

    def __init__(self, system: System, budget: Budget, shared: dict[str, Any]) -> None:
        self.asserted: list[z3.BoolRef] = []
        super().__init__(system, budget, shared)

    def _asked(self, terms: list[z3.BoolRef]) -> z3.CheckSatResult:
        same = 0
        while same < min(len(terms), len(self.asserted)) and terms[same].eq(self.asserted[same]):
            same += 1
        if same < len(self.asserted):
            self.solver.pop(len(self.asserted) - same)
            del self.asserted[same:]
        for condition in terms[same:]:
            self.solver.push()
            self.solver.add(condition)
            self.asserted.append(condition)
        self._limit(self.solver)
        result = self._check()
        if result == z3.sat:
            self._model = self.solver.model()
        return result


class Assumptions(Alone):
    """Conditions under literals, in one solver for all spacings."""

    def _made_solver(self) -> z3.Solver:
        return self.shared.setdefault("solver", super()._made_solver())

    def _asked(self, terms: list[z3.BoolRef]) -> z3.CheckSatResult:
        literals = self.shared.setdefault("literals", {})
        assumed = []
        for condition in terms:
            found = literals.get(condition.get_id())
            if found is None:
                found = z3.Bool(f"asked{len(literals)}"), condition
                literals[condition.get_id()] = found
                self.solver.add(z3.Implies(found[0], condition))
            assumed.append(found[0])
        self._limit(self.solver)
        result = self.solver.check(*assumed)
        if result == z3.sat:
            self._model = self.solver.model()
        return result


class OneOutput(Variant):
    """Only what goes wrong at one output counts, ``shared["output"]``."""

    def _judge(self, said: Sequence[Said], *rest: Any) -> list[Any] | None:
        output = self.shared["output"]

        def counts(event: Said) -> Said:
            if event.signal != failure(0):
                return event
            _, expected, got = event.values
            its_own = either(equal(expected, output), equal(got, output))
            return replace(event, when=both(event.when, its_own))

        return super()._judge([counts(event) for event in said], *rest)


class Differences(Alone):
    """Ticks since power-up, and no multiples."""

    def __init__(self, system: System, budget: Budget, shared: dict[str, Any]) -> None:
        self.at = count()
        super().__init__(system, budget, shared)

    def _made_solver(self) -> z3.Solver:
        self.symbolic.cases = True
        return z3.SolverFor("QF_IDL")

    def _span(self, name: str, since: Num) -> Num:
        return z3.simplify(z3.Int(f"at{next(self.at)}") - since)

    def _asked(self, terms: list[z3.BoolRef]) -> z3.CheckSatResult:
        return super()._asked([z3.simplify(condition, som=True) for condition in terms])


class BitVectors(Alone):
    """Every whole number in so many bits, two's complement."""

    def _made_solver(self) -> z3.Solver:
        timed = (m for m in self.symbolic.memory if isinstance(m, Number | Timer))
        longest = max((item.most for item in timed), default=0)
        self.largest = max(longest, self.symbolic.offer.count)
        self.seen: dict[int, tuple[z3.AstRef, Any]] = {}
        self.back: dict[str, z3.ArithRef] = {}
        # Sums of a few unknowns, each at most ``largest``, and both signs.
        self.width = (self.largest * 4 * MOST_PRESSES).bit_length() + 1
        return z3.SolverFor("QF_BV")

    def _asked(self, terms: list[z3.BoolRef]) -> z3.CheckSatResult:
        translated = [self._bits(z3.simplify(condition)) for condition in terms]
        ranges = [
            z3.And(self._name(name) >= -self.largest, self._name(name) <= self.largest)
            for name in self.back
        ]
        result = super()._asked([*translated, *ranges])
        if self._model is not None:
            self._model = _Back(self._model, self._bits)
        return result

    def _name(self, name: str) -> z3.BitVecRef:
        return z3.BitVec(name, self.width)

    def _bits(self, e: z3.ExprRef) -> Any:
        # Terms are deep, deeper than Python's own stack.
        waiting = [e]
        while waiting:
            now = waiting[-1]
            missing = [c for c in now.children() if c.get_id() not in self.seen]
            if missing and now.get_id() not in self.seen:
                waiting += missing
                continue
            waiting.pop()
            if now.get_id() not in self.seen:
                self.seen[now.get_id()] = now, self._translated(now)
        return self.seen[e.get_id()][1]

    def _translated(self, e: z3.ExprRef) -> Any:
        if z3.is_int_value(e):
            return z3.BitVecVal(e.as_long(), self.width)
        if e.num_args() == 0:
            if not z3.is_int(e):
                return e
            self.back[e.decl().name()] = e
            return self._name(e.decl().name())
        parts = [self.seen[child.get_id()][1] for child in e.children()]
        made = _OPERATIONS.get(e.decl().kind())
        if made is None:
            raise NotImplementedError(e.decl().name())
        return made(*parts)


@dataclass(frozen=True)
class _Back:
    """A model of bit-vectors, asked about whole numbers."""

    model: z3.ModelRef
    bits: Callable[[z3.ExprRef], Any]

    def eval(self, e: z3.ExprRef, model_completion: bool = False) -> z3.IntNumRef:
        """As z3's own."""
        found = self.model.eval(self.bits(e), model_completion=model_completion)
        return z3.IntVal(found.as_signed_long())


def _all(fold: Callable[[Any, Any], Any]) -> Callable[..., Any]:
    def folded(first: Any, *others: Any) -> Any:
        for other in others:
            first = fold(first, other)
        return first

    return folded


_OPERATIONS: dict[int, Callable[..., Any]] = {
    z3.Z3_OP_ADD: _all(lambda a, b: a + b),
    z3.Z3_OP_SUB: _all(lambda a, b: a - b),
    z3.Z3_OP_MUL: _all(lambda a, b: a * b),
    z3.Z3_OP_UMINUS: lambda a: -a,
    z3.Z3_OP_LE: lambda a, b: a <= b,
    z3.Z3_OP_LT: lambda a, b: a < b,
    z3.Z3_OP_GE: lambda a, b: a >= b,
    z3.Z3_OP_GT: lambda a, b: a > b,
    z3.Z3_OP_EQ: lambda a, b: a == b,
    z3.Z3_OP_DISTINCT: z3.Distinct,
    z3.Z3_OP_AND: z3.And,
    z3.Z3_OP_OR: z3.Or,
    z3.Z3_OP_NOT: z3.Not,
    z3.Z3_OP_IMPLIES: z3.Implies,
    z3.Z3_OP_ITE: z3.If,
}

VARIANTS: dict[str, type[Variant]] = {
    "integers": Variant,
    "integers, fresh solvers": Fresh,
    "integers, logic named": Named,
    "integers, z3 chooses": NoLogic,
    "integers, simplified first": Simplified,
    "integers, common beginning kept": CommonKept,
    "integers, assumptions": Assumptions,
    "differences": Differences,
    "bit-vectors": BitVectors,
}
