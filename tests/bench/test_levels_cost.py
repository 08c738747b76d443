"""What levers cost: outputs are judged one at a time, so 2^N positions are never gone through.

Each ratio is that of four times as many levers; cost as N^2 would be 16.
"""

from __future__ import annotations

from collections.abc import Callable

import pytest

from models.parallel_code import ParallelCode
from models.scan import Scan
from models.wire_per_input import WirePerInput
from tests.links import make_link
from verify.engines.answer import Progress, Verdict
from verify.parts.scheme import Scheme
from verify.questions.judging import Judgement, Subject, judge

SCHEMES: dict[str, Callable[[int], Scheme]] = {
    "wire-per-input": WirePerInput,
    "free-scan": lambda n: Scan(n, 4, 2),
    "synced-scan": lambda n: Scan(n, 4, 2, synced=True),
    "parallel-code": lambda n: ParallelCode(tuple(range(1, n + 1)), n.bit_length()),
}


def whole_check(scheme: Scheme) -> Callable[[], Judgement]:
    link = make_link(scheme, kind="level")
    return lambda: judge(Subject(link), "auto", Progress())


@pytest.mark.parametrize("name", SCHEMES)
def test_four_times_as_many_levers(name, compare):
    make = SCHEMES[name]
    judged = compare(
        f"{name}, 32 levers",
        whole_check(make(32)),
        f"{name}, 8 levers",
        whole_check(make(8)),
        rounds=3,
    )
    # Levers of a parallel code that are up together always fail.
    fails = name == "parallel-code"
    assert judged.verdict is (Verdict.FAILS if fails else Verdict.HOLDS)
