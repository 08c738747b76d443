"""The whole of `spacing` beside one proof and one counterexample, for every scheme.

``python -m tests.bench.ratios`` measures the same in CPU seconds and writes it down.
"""

from __future__ import annotations

import pytest

from verify.engines.answer import Verdict

from .ratios import SIZES, spacings_to_check, whole_check, whole_search
from .subjects import EVERY, subject_link

# Larger ones take seconds, and as plain tests show nothing that these do not.
SMALL = 16


@pytest.mark.parametrize("inputs", SIZES)
@pytest.mark.parametrize("kind", EVERY, ids=str)
def test_spacing_and_the_two_answers_that_it_needs(kind, inputs, compare, benchmark):
    if benchmark.disabled and inputs > SMALL:
        pytest.skip("measured with --benchmark-enable")
    link = subject_link(kind, inputs)
    checks = [whole_check(link, spacing) for spacing in spacings_to_check(whole_search(link)())]
    verdicts: list[Verdict] = []

    def both() -> None:
        verdicts[:] = [check().verdict for check in checks]

    found = compare(
        f"spacing, {kind}, n = {inputs}",
        whole_search(link),
        "proof and counterexample",
        both,
        rounds=3 if inputs > SMALL else 9,
    )
    wanted = [Verdict.FAILS] if found.ticks is None else [Verdict.HOLDS, Verdict.FAILS]
    assert verdicts == wanted[: len(checks)]
