"""The cost of the least spacing of a pulse-gap link with gaps 2, 4, ..., 2n, pulses of 1."""

from __future__ import annotations

import pytest

from verify.engines.answer import Budget, Progress, Verdict
from verify.questions.judging import EngineName, judge
from verify.questions.spacing import least_spacing

from .plain_z3 import PROOFS, PlainAnswer, Proof, plain_verdict
from .subjects import even_link, safe_spacing

INPUTS = [7, 16, 64, 256]
ENGINES: list[EngineName] = ["explorer", "solver"]
CASES = [
    pytest.param(engine, n, marks=[pytest.mark.slow] if (engine, n) == ("explorer", 256) else [])
    for engine in ENGINES
    for n in INPUTS
]
FINER = 1000


def no_limit() -> Budget:
    return Budget(None)


# Which benchmark comes first matters to the ratios: what is compared with comes first.


@pytest.mark.parametrize(("engine", "inputs"), CASES)
@pytest.mark.parametrize("below", [0, 1], ids=["holds", "fails"])
def test_one_verdict(engine: EngineName, inputs, below, measure):
    spacing = safe_spacing(inputs) - below
    word = "fails" if below else "holds"

    def work():
        return judge(even_link(inputs, spacing), engine, Progress(), budget=no_limit())

    judged = measure(f"{engine}, {word}, n = {inputs}", work)
    assert judged.verdict is Verdict(word)


@pytest.mark.parametrize(("engine", "inputs"), CASES)
def test_least_spacing(engine: EngineName, inputs, measure, compare):
    def work():
        return least_spacing(even_link(inputs, 0), engine, Progress(), no_limit())

    name = f"{engine}, least spacing, n = {inputs}"
    found = measure(name, work)
    assert found.ticks == safe_spacing(inputs)
    assert found.trace_below is not None
    compare(name, f"{engine}, holds, n = {inputs}")


@pytest.mark.slow
@pytest.mark.parametrize("proof", PROOFS)
@pytest.mark.parametrize("inputs", [7, 16])
def test_plain_encoding_of_the_proof_that_holds(
    inputs, proof: Proof, plain_limit, ledger, benchmark, compare
):
    name = f"plain, {proof}, n = {inputs}"
    answers: list[PlainAnswer] = []

    def work() -> None:
        answers.append(plain_verdict(inputs, safe_spacing(inputs), proof, plain_limit))

    benchmark.pedantic(work, rounds=1)
    answer = answers[-1]
    right = "undecided" if proof.startswith("bounded") else "holds"
    assert answer.verdict in (right, "timeout")
    benchmark.extra_info["verdict"] = answer.verdict
    if not benchmark.disabled:
        ledger.seconds[name] = answer.seconds
        if answer.verdict == "timeout":
            ledger.unfinished.add(name)
        compare(name, f"solver, holds, n = {inputs}")


@pytest.mark.parametrize("inputs", [16, 64])
@pytest.mark.parametrize("below", [0, 1], ids=["holds", "fails"])
def test_solver_with_a_finer_tick(inputs, below, measure, compare):
    word = "fails" if below else "holds"
    spacing = (safe_spacing(inputs) - below) * FINER

    def work():
        subject = even_link(inputs, spacing, FINER)
        return judge(subject, "solver", Progress(), budget=no_limit())

    name = f"solver, {word}, n = {inputs}, finer tick"
    judged = measure(name, work)
    assert judged.verdict is Verdict(word)
    compare(name, f"solver, {word}, n = {inputs}")
