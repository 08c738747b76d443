"""What one would try first: a solver step per tick, and every sequence of two presses in turn.

Both read the same composed machine as our engines, but make nothing of it: no events, no induction,
no state that stands for others. So neither can say of sequences of any length that they hold: where
nothing is found the answer is ``undecided``. (``plain_z3`` writes one link by hand instead.)
"""

from __future__ import annotations

from collections.abc import Iterator

import z3

from verify.engines.answer import Budget, Verdict
from verify.engines.concrete import Compiled, State
from verify.engines.symbolic import Slot, Symbolic, SymState, _SymTick
from verify.language import expressions as ex
from verify.language.machine import System
from verify.parts.signals import failure

from .variants import patience


def unrolled(system: System, ticks: int, budget: Budget) -> Verdict | None:
    """A formula of so many ticks, the first press in the first of them; in each tick at most one
    press, or two where the operator may do that.

    None: the time was up.
    """
    symbolic = Symbolic(system)
    spaced = any(item.name == "operator.spacing" for item in system.memory)
    presses = 1 if spaced else 2
    state, given = symbolic.start()
    wrong = []
    for tick in range(ticks):
        if budget.spent(0):
            return None
        state, conditions, failures = _tick(symbolic, state, tick, presses)
        given += conditions
        wrong += failures
    solver = z3.SolverFor("QF_LIA")
    solver.set("timeout", patience(budget))
    solver.add(*(condition for condition in given if condition is not True), z3.Or(wrong))
    result = solver.check()
    if result == z3.unknown:
        return None
    return Verdict.FAILS if result == z3.sat else Verdict.UNDECIDED


def _tick(
    symbolic: Symbolic, state: SymState, number: int, presses: int
) -> tuple[SymState, list[z3.BoolRef], list[z3.BoolRef]]:
    """The state after one tick, conditions on what was chosen in it, and what went wrong."""
    made: list[str] = []

    def pick(choice: ex.Pick) -> z3.ArithRef:
        made.append(choice.name)
        return symbolic.picked(choice, f"{choice.name} {number} {len(made)}")

    tick, offer = _SymTick(symbolic, state, 1, pick), symbolic.offer
    above = z3.IntVal(-1)
    for k in range(presses):
        pressed = z3.BoolVal(True) if number == k == 0 else z3.Bool(f"press {number} {k}")
        index = z3.Int(f"input {number} {k}")
        tick.bound[offer.name] = Slot(True, 0, (index,))
        tick.given += [
            z3.Implies(pressed, _formula(tick.truth(offer.allowed))),
            z3.And(index > above, index < offer.count + k),
            z3.Implies(pressed, index < offer.count),
        ]
        tick.happen(pressed, offer.signal, (index,))
        for statement in offer.do:
            tick.run(statement, pressed)
        above = index
    for machine in symbolic.system.machines:
        for statement in machine.body:
            tick.run(statement, True)
    outcome = tick.finish()
    wrong = [_formula(said.when) for said in outcome.said if said.signal == failure(0)]
    return outcome.state, outcome.given, wrong


def _formula(condition: object) -> z3.BoolRef:
    return z3.BoolVal(condition) if isinstance(condition, bool) else condition


def enumerated(system: System, ticks: int, budget: Budget) -> Verdict | None:
    """Every sequence of one press and of two, tick by tick, each from power-up on.

    None: the time was up.
    """
    compiled = Compiled(system)
    starts = list(compiled.starts())
    for presses in _sequences(compiled.inputs, ticks):
        for start in starts:
            if budget.spent(0):
                return None
            if _fails(compiled, start, presses, ticks):
                return Verdict.FAILS
    return Verdict.UNDECIDED


def _sequences(inputs: int, ticks: int) -> Iterator[dict[int, tuple[int, ...]]]:
    """Which inputs are pressed when; the first in tick 0."""
    for first in range(inputs):
        yield {0: (first,)}
    for first in range(inputs):
        for second in range(first + 1, inputs):
            yield {0: (first, second)}
        for later in range(1, ticks):
            for second in range(inputs):
                yield {0: (first,), later: (second,)}


def _fails(
    compiled: Compiled, start: State, presses: dict[int, tuple[int, ...]], ticks: int
) -> bool:
    state = start
    for tick in range(max(presses) + ticks):
        done = compiled.step(state, 1, presses.get(tick, ()))
        if done is None:
            return False  # the operator may not do this
        state, said = done
        if any(signal == failure(0) for signal, _ in said):
            return True
    return False
