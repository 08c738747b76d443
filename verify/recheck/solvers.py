"""Solvers that read SMT-LIB 2: they get text, and say ``unsat`` or not."""

from __future__ import annotations

from collections.abc import Callable
from typing import Literal

from verify.errors import UsageError

SolverName = Literal["z3", "cvc5"]
Asked = Callable[[str], str]
"""From a script to ``unsat``, ``sat`` or ``unknown``."""


def solver_of(name: SolverName) -> Asked:
    """A solver by its name. Raises UsageError where it is not installed."""
    return _z3() if name == "z3" else _cvc5()


def _z3() -> Asked:
    import z3

    context = z3.Context()

    def ask(text: str) -> str:
        # Without the tactics that pay only for longer queries.
        solver = z3.SimpleSolver(ctx=context)
        solver.from_string(text)
        return str(solver.check())

    return ask


def _cvc5() -> Asked:
    try:
        import cvc5
    except ImportError:
        allowed = 'z3, or cvc5 installed: pip install "fewwire[recheck]"'
        raise UsageError(
            f"--solver: found cvc5, which is not installed; allowed: {allowed}"
        ) from None

    def ask(text: str) -> str:
        manager = cvc5.TermManager()
        solver = cvc5.Solver(manager)
        parser = cvc5.InputParser(solver)
        parser.setStringInput(cvc5.InputLanguage.SMT_LIB_2_6, text, "query")
        symbols = parser.getSymbolManager()
        answer = ""
        while True:
            command = parser.nextCommand()
            if command.isNull():
                return answer.strip()
            answer += str(command.invoke(solver, symbols))

    return ask
