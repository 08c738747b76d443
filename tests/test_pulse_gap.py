"""pulse-gap: what the transmitter sends and what the receiver makes of it."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest

from models.pulse_gap import LINE, PulseGap
from tests.external.players import strikes_of
from tests.links import make_link
from verify.engines.simulator import Simulator
from verify.engines.trace import Press, Script
from verify.parts.signals import line_fall, line_rise

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


TWO = PulseGap((10, 20), 1, (0, 0))


@pytest.mark.parametrize(
    ("rises", "changes", "strikes"),
    [
        # A match disarms: the rise after it arms, and does not match the one before.
        ([0, 10, 20, 30], {}, [(10, 0), (30, 0)]),
        # In the tick in which no window can match any more, and later, a rise arms.
        ([0, 21, 31], {}, [(31, 0)]),
        ([0, 25, 35], {}, [(35, 0)]),
        ([0, 5, 15], {"on_miss": "rearm"}, [(15, 0)]),
        ([0, 5, 15], {"on_miss": "disarm"}, []),
        # Taps remember every rise, whatever it was used for.
        ([0, 10, 20], {"receiver_kind": "taps"}, [(10, 0), (20, 0), (20, 1)]),
    ],
)
def test_a_receiver_strikes_what_rises_so_far_apart_say(
    rises: list[int], changes: dict[str, Any], strikes: list[tuple[int, int]]
) -> None:
    assert sorted(strikes_of(replace(TWO, **changes), rises)) == strikes


@pytest.mark.parametrize(("apart", "falls"), [(11, [1, 11]), (12, [1, 11, 13, 23])])
def test_a_send_is_over_one_low_tick_after_its_second_pulse(apart: int, falls: list[int]) -> None:
    # A press in the tick after the second pulse is dropped; sent, it would lengthen that pulse.
    link = make_link(replace(TWO, busy="ignore"))
    moments = Simulator(link, 0, None).run(Script((Press(0, 0), Press(apart, 0))))

    fell = [m.tick for m in moments if any(s == line_fall(LINE) for s, _ in m.occurrences)]
    assert fell == falls


def test_pulses_that_touch_have_one_rise() -> None:
    link = make_link(PulseGap((3, 20), 2, (0, 0)))
    # The second pulse of the first press ends in tick 5.
    script = Script((Press(0, 0), Press(5, 1)))
    moments = Simulator(link, 0, None).run(script)
    rises = [m.tick for m in moments if any(s == line_rise(LINE) for s, _ in m.occurrences)]

    assert rises == [0, 3, 25]
