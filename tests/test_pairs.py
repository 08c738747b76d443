"""The matrix of spacings: right at once for two presses, whatever the world picks."""

from __future__ import annotations

import pytest

from models.parallel_code import ParallelCode
from models.pulse_gap import PulseGap
from tests.links import make_link
from verify.engines import two_presses
from verify.engines.answer import Budget, Progress, Verdict
from verify.linkfile import load
from verify.parts.line import Faults
from verify.parts.link import Link
from verify.parts.operator import Operator
from verify.questions.judging import Subject, judge
from verify.questions.pairs import Matrix, least_pairs
from verify.questions.spacing import least_spacing

TWO_OF_THREE = ParallelCode((0b011, 0b101, 0b110), 3, 0)
TWO_OF_FOUR = ParallelCode((0b0011, 0b0110, 0b1100), 4, 0)
HELD = make_link(TWO_OF_FOUR, Operator(hold=(2, 4), overlap=1), faults=Faults(skew=1))
SKEWED = make_link(TWO_OF_THREE, Operator(hold=(2, 2)), faults=Faults(skew=1))
JITTERED = make_link(PulseGap((3, 6), 1, (1, 1)), faults=Faults(jitter=1))


def of_two(matrix: Matrix, i: int, j: int, least: int, far: int) -> Matrix:
    """Bounds that keep all others apart, and set the time from i to j."""
    n = len(matrix)
    rows = [[far] * n for _ in range(n)]
    rows[i][j] = least
    return tuple(map(tuple, rows))


def soonest(link: Link, i: int, j: int) -> int:
    """No operator may press j sooner after i."""
    least = link.operator.hold[0]
    if i == j:
        return least + 1
    return least if link.operator.overlap == 1 else 0


@pytest.mark.parametrize("link", [HELD, SKEWED, JITTERED], ids=["hold", "skew", "late"])
def test_no_entry_is_larger_than_two_presses_need(link: Link) -> None:
    subject, budget = Subject(link), Budget(30)
    spacing = least_spacing(subject, "explorer", Progress(), budget).ticks
    assert spacing is not None
    pairs = least_pairs(subject, "explorer", Progress(), spacing, budget)

    assert pairs.verdict is Verdict.HOLDS
    assert pairs.raised == ()
    for i in range(link.inputs):
        for j in range(link.inputs):
            # One tick sooner fails, with no third press anywhere near.
            least = pairs.ticks[i][j] - 1
            closer = subject.respaced(spacing=0, pairs=of_two(pairs.ticks, i, j, least, 99))
            trace = judge(closer, "explorer", Progress(), budget=budget).trace
            if least < soonest(link, i, j):
                assert trace is None
            else:
                assert trace is not None, (i, j, least)
                assert len(trace.script.presses) == 2


def test_many_lines_of_unknown_skew_and_a_range_of_holds_are_decided() -> None:
    link = load("models/links/stage_lamps.toml")
    subject, budget = Subject(link), Budget(60)

    pairs = least_pairs(subject, "auto", Progress(), 12, budget)

    # Held up to 10 ticks, and lines up to 2 late: 12, whatever the two codes.
    assert pairs.ticks == ((12,) * 6,) * 6
    assert pairs.verdict is Verdict.HOLDS
    assert pairs.raised == ()


def test_a_rate_of_either_sign_is_tried_with_two_presses() -> None:
    link = load("models/links/dcc_bit.toml")

    pairs = least_pairs(Subject(link), "auto", Progress(), 10_002, Budget(60))

    assert pairs.verdict is Verdict.HOLDS
    assert pairs.raised == ()


def test_what_two_presses_were_not_tried_for_is_raised_by_the_proof(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    subject, budget = Subject(SKEWED), Budget(30)
    at_once = least_pairs(subject, "explorer", Progress(), 2, budget)

    monkeypatch.setattr(two_presses, "MOST_STATES", 0)
    raised = least_pairs(subject, "explorer", Progress(), 2, budget)

    assert raised.verdict is at_once.verdict is Verdict.HOLDS
    assert raised.ticks == at_once.ticks
    assert raised.raised
