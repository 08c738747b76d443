"""The cost of judging tables by counting, against the explorer and against smaller tables."""

from __future__ import annotations

import random
from collections.abc import Callable

import pytest

from models.parallel_code import ParallelCode
from models.pulse_gap import PulseGap
from tests.links import make_link
from verify.engines.answer import Budget, Progress
from verify.parts.operator import Operator
from verify.questions.code_table import CodeAnswer, judge_codes
from verify.questions.gap_table import GapAnswer, judge_gaps
from verify.questions.judging import judge
from verify.tables.words import WordTable

from .subjects import even_link, safe_spacing


def gaps(inputs: int) -> Callable[[], GapAnswer]:
    def work() -> GapAnswer:
        link = even_link(inputs, safe_spacing(inputs)).link
        assert isinstance(link.scheme, PulseGap)
        return judge_gaps(link, link.scheme)

    return work


def codes(inputs: int) -> Callable[[], CodeAnswer]:
    """Random words on 24 lines."""
    words = random.Random(1).sample(range(1, 1 << 24), inputs)
    scheme = ParallelCode(tuple(words), 24)
    return lambda: judge_codes(make_link(scheme, Operator(overlap=1)), scheme)


def words(number: int) -> Callable[[], bool]:
    """Random words of 12 to 24 bits."""
    dice = random.Random(1)
    table = [dice.choices("01", k=dice.randint(12, 24)) for _ in range(number)]
    return lambda: WordTable(table).is_uniquely_decodable


@pytest.mark.parametrize("inputs", [16, 64, 256])
def test_table_of_gaps_and_one_verdict(inputs, compare):
    def verdict() -> object:
        subject = even_link(inputs, safe_spacing(inputs))
        return judge(subject, "explorer", Progress(), budget=Budget(None))

    found = compare(
        f"table of gaps, n = {inputs}", gaps(inputs), "explorer, holds", verdict, rounds=5
    )
    assert found.verdict.value == "holds"


@pytest.mark.parametrize("kind", [gaps, codes, words], ids=["gaps", "codes", "words"])
def test_four_times_the_entries(kind, compare):
    compare(
        f"table of {kind.__name__}, n = 256",
        kind(256),
        f"table of {kind.__name__}, n = 64",
        kind(64),
        rounds=5,
    )
