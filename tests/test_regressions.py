"""Links and matrices that were once judged wrongly, each as small as it was found."""

from __future__ import annotations

import pytest

from models.pulse_gap import PulseGap
from tests.links import make_link
from verify.engines.answer import Budget, Progress, Verdict
from verify.engines.trace import Press, Script
from verify.parts.operator import Operator
from verify.questions.engine_choice import EngineName
from verify.questions.judging import Subject, judge

Matrix = tuple[tuple[int, ...], ...]

# A pair's time that runs out between two events, before the longest of its row does.
BETWEEN_EVENTS: list[tuple[PulseGap, Matrix, tuple[Press, ...]]] = [
    # b 12 ticks after a: its second pulse, 2 ticks on, comes 14 ticks after a's first,
    # and 7 after a's second, which is the gap of a.
    (
        PulseGap((7, 2), 1, (0, 0), receiver_kind="taps"),
        ((20, 10), (15, 18)),
        (Press(0, 0), Press(12, 1)),
    ),
    # The third press of an input finds the one place of the queue taken.
    (
        PulseGap((12, 3), 1, (0, 0), busy="queue", depth=1, on_miss="rearm"),
        ((5, 14), (5, 21)),
        (Press(0, 0), Press(5, 0), Press(10, 0)),
    ),
]


@pytest.mark.parametrize("engine", ["auto", "explorer", "solver"])
@pytest.mark.parametrize(("scheme", "pairs", "presses"), BETWEEN_EVENTS)
def test_a_press_as_soon_as_its_own_pair_allows_is_looked_at(
    scheme: PulseGap, pairs: Matrix, presses: tuple[Press, ...], engine: EngineName
) -> None:
    subject = Subject(make_link(scheme, Operator(pairs=pairs)))
    assert subject.fails(Script(presses))

    judged = judge(subject, engine, Progress(), budget=Budget(20))

    assert judged.verdict is not Verdict.HOLDS
