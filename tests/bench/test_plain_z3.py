"""The encoding that we compare with must itself be right, or the comparison is worth nothing."""

from __future__ import annotations

import pytest

from verify.engines.answer import Progress
from verify.questions.judging import judge

from .plain_z3 import PROOFS, Proof, plain_verdict
from .subjects import even_link, safe_spacing

ENOUGH = 60.0  # seconds; these take a fraction of one


@pytest.mark.parametrize("engine", ["explorer", "solver"])
@pytest.mark.parametrize("below", [0, 1])
@pytest.mark.parametrize("proof", PROOFS)
@pytest.mark.parametrize("inputs", [2, 3])
def test_plain_encodings_agree_with_our_engines(inputs, proof: Proof, below, engine):
    spacing = safe_spacing(inputs) - below
    ours = judge(even_link(inputs, spacing), engine, Progress()).verdict.value
    plain = plain_verdict(inputs, spacing, proof, ENOUGH).verdict
    assert ours == ("fails" if below else "holds")
    # A bounded search that finds nothing proves nothing.
    assert plain == ("undecided" if proof.startswith("bounded") and not below else ours)


@pytest.mark.parametrize("inputs", [2, 3])
def test_every_spacing_that_our_explorer_finds_bad_is_bad_by_the_plain_encoding(inputs):
    for spacing in range(1, safe_spacing(inputs) + 2):
        ours = judge(even_link(inputs, spacing), "explorer", Progress()).verdict.value
        assert plain_verdict(inputs, spacing, "induction", ENOUGH).verdict == ours


@pytest.mark.parametrize("proof", PROOFS)
def test_the_time_limit_is_kept_and_said(proof: Proof):
    answer = plain_verdict(12, safe_spacing(12), proof, 0.01)
    assert answer.verdict == "timeout"
