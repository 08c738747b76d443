"""pulse-gap: windows that reach further on one side of a gap than on the other."""

from __future__ import annotations

from dataclasses import replace

import pytest

from models.pulse_gap import PulseGap
from tests.external.players import strikes_of

LOPSIDED = PulseGap((10, 20), 1, ((2, 5), (4, 30)))


@pytest.mark.parametrize("receiver", ["timer", "taps"])
def test_a_window_is_as_wide_on_each_side_as_it_says(receiver: str) -> None:
    scheme = replace(LOPSIDED, receiver_kind=receiver)  # type: ignore[arg-type]
    expected = {7: [], 8: [0], 15: [0], 16: [1], 50: [1], 51: []}

    found = {gap: [i for _, i in strikes_of(scheme, [0, gap])] for gap in expected}

    assert found == expected


def test_both_sides_are_shown_only_where_they_differ() -> None:
    assert LOPSIDED.per_input() == {"gap": (10, 20), "before": (2, 4), "after": (5, 30)}
    for window in ((2, 4), ((2, 2), 4)):
        shown = replace(LOPSIDED, window=window).per_input()  # type: ignore[arg-type]
        assert shown == {"gap": (10, 20), "window": (2, 4)}
