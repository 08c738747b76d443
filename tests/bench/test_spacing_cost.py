"""The cost of the least spacing of a pulse-gap link with gaps 2, 4, ..., 2n, pulses of 1."""

from __future__ import annotations

from collections.abc import Callable

import pytest

from verify.engines.answer import Budget, Progress, Verdict
from verify.questions.engine_choice import EngineName
from verify.questions.judging import Judgement, judge
from verify.questions.spacing import Spacing, least_spacing

from .plain_z3 import PROOFS, PlainAnswer, Proof, plain_verdict
from .subjects import even_link, safe_spacing

FINER = 1000
BELOW = pytest.mark.parametrize("below", [0, 1], ids=["holds", "fails"])


def sizes(*inputs: int) -> pytest.MarkDecorator:
    """The largest link takes seconds where benchmarks run as plain tests."""
    cases = [pytest.param(n, marks=[pytest.mark.slow] if n > 100 else []) for n in inputs]
    return pytest.mark.parametrize("inputs", cases)


def one_verdict(
    inputs: int, below: int, engine: EngineName, finer: int = 1
) -> Callable[[], Judgement]:
    """Everything from the link to the verdict, ``below`` ticks (``finer``: 1,000ths) too close."""

    def work() -> Judgement:
        subject = even_link(inputs, (safe_spacing(inputs) - below) * finer, finer)
        return judge(subject, engine, Progress(), budget=Budget(None))

    return work


def whole_search(inputs: int, engine: EngineName, finer: int = 1) -> Callable[[], Spacing]:
    def work() -> Spacing:
        return least_spacing(even_link(inputs, 0, finer), engine, Progress(), Budget(None))

    return work


@sizes(7, 16, 64, 256)
@BELOW
def test_one_verdict_by_explorer_and_by_solver(inputs, below, compare):
    word = "fails" if below else "holds"
    judged = compare(
        f"explorer, {word}, n = {inputs}",
        one_verdict(inputs, below, "explorer"),
        f"solver, {word}",
        one_verdict(inputs, below, "solver"),
        rounds=5 if inputs > 100 else 15,
    )
    assert judged.verdict is Verdict(word)
    assert one_verdict(inputs, below, "solver")().verdict is Verdict(word)


@sizes(7, 16, 64, 256)
def test_least_spacing_by_explorer_and_by_solver(inputs, compare):
    found = compare(
        f"explorer, least spacing, n = {inputs}",
        whole_search(inputs, "explorer"),
        "solver, least spacing",
        whole_search(inputs, "solver"),
        rounds=5 if inputs > 100 else 15,
    )
    for spacing in (found, whole_search(inputs, "solver")()):
        assert spacing.ticks == safe_spacing(inputs)
        assert spacing.trace_below is not None


@pytest.mark.slow
@pytest.mark.parametrize("proof", PROOFS)
@pytest.mark.parametrize("inputs", [7, 16])
def test_plain_encoding_of_the_proof_that_holds(inputs, proof: Proof, plain_limit, compare):
    def plain() -> PlainAnswer:
        return plain_verdict(inputs, safe_spacing(inputs), proof, plain_limit)

    answer = compare(
        f"plain, {proof}, n = {inputs}",
        plain,
        "solver, holds",
        one_verdict(inputs, 0, "solver"),
        rounds=1 if inputs > 7 else 3,
        others=15,
        stopped=lambda answer: answer.verdict == "timeout",
    )
    assert answer.verdict in ("undecided" if "bounded" in proof else "holds", "timeout")


@sizes(16, 64, 256)
@BELOW
def test_solver_with_a_finer_tick(inputs, below, compare):
    word = "fails" if below else "holds"
    judged = compare(
        f"solver, {word}, n = {inputs}, tick {FINER} times finer",
        one_verdict(inputs, below, "solver", FINER),
        f"solver, {word}",
        one_verdict(inputs, below, "solver"),
        rounds=5 if inputs > 100 else 15,
    )
    assert judged.verdict is Verdict(word)


@sizes(16, 64)
def test_least_spacing_with_a_finer_tick(inputs, compare):
    found = compare(
        f"solver, least spacing, n = {inputs}, tick {FINER} times finer",
        whole_search(inputs, "solver", FINER),
        "solver, least spacing",
        whole_search(inputs, "solver"),
        rounds=15,
    )
    # One low tick between the second pulse and the next press; only that tick got finer.
    assert found.ticks == (safe_spacing(inputs) - 1) * FINER + 1
