"""Solvers that read SMT-LIB 2: they get text, and say ``unsat`` or not."""

from __future__ import annotations

from collections.abc import Callable
from typing import Literal

from verify.errors import UsageError

SolverName = Literal["z3", "cvc5"]
Asked = Callable[[str], str]
"""From a script to ``unsat``, ``sat`` or ``unknown``."""


def solver_of(name: SolverName, left: Callable[[], float | None] = lambda: None) -> Asked:
    """A solver by its name; ``left``: seconds that it may yet take, None for any.

    Raises UsageError where it is not installed.
    """
    return _z3(left) if name == "z3" else _cvc5(left)


def _milliseconds(left: float) -> int:
    return min(max(1, int(left * 1000)), 2**31 - 1)


def _z3(left: Callable[[], float | None]) -> Asked:
    import z3

    context = z3.Context()

    def ask(text: str) -> str:
        # Without the tactics that pay only for longer queries.
        solver = z3.SimpleSolver(ctx=context)
        if (seconds := left()) is not None:
            solver.set("timeout", _milliseconds(seconds))
        solver.from_string(text)
        return str(solver.check())

    return ask


def _cvc5(left: Callable[[], float | None]) -> Asked:
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
        if (seconds := left()) is not None:
            solver.setOption("tlimit-per", str(_milliseconds(seconds)))
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
