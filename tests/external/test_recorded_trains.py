"""Pulse trains that a general-purpose infrared library recorded or encoded, read by our receivers.

Library: PiIR 0.2.5 from PyPI. It turns bytes into marks and spaces (``piir.Remote.encode``,
``piir.encode``) and, by routines of its own, marks and spaces into bytes (``piir.decode``).
Importing it needs the package ``pigpio``, pure Python; no hardware and no running service.

In such a train every pulse ends one bit and begins the next. Neither receiver is made for that:

* The timer uses up both rises of a match, so it reads every second bit. A second timer that
  is let in one rise later reads the bits between; the two together read all of them.
* Taps look back from every rise over all gaps, so they read every bit. They also strike where
  several bits together last as long as another: two zeros as one one, if the bit periods
  are as 1 to 2.
"""

from __future__ import annotations

import piir
import pytest
from hypothesis import given
from hypothesis import strategies as st

from models.pulse_gap import PulseGap
from tests.external.players import strikes_of, strikes_of_train

TICK_US = 0.5

# The file that "Recording" in the documentation of PiIR 0.2.5 (pypi.org/project/PiIR) shows:
# eight keys of a light's remote, as recorded by the library. Read there (S).
LIGHT = {
    "format": {
        "preamble": [8, 4],
        "coding": "ppm",
        "zero": [1, 1],
        "one": [1, 3],
        "postamble": [1],
        "pre_data": "2C 52",
        "timebase": 430,
        "gap": 75000,
    },
    "keys": {
        "on": "09 2D 24",
        "off": "09 2F 26",
        "cool": "39 90 A9",
        "warm": "39 91 A8",
        "bright": "09 2A 23",
        "dark": "09 2B 22",
        "full": "09 2C 25",
        "night": "09 2E 27",
    },
}


def in_ticks(durations: list[float]) -> list[int]:
    ticks = [duration / TICK_US for duration in durations]
    assert all(t.is_integer() for t in ticks)
    return [int(t) for t in ticks]


def bits_of(data: bytes) -> list[int]:
    """Least significant first, the order in which the formats below are sent."""
    return [byte >> k & 1 for byte in data for k in range(8)]


def gap_table(unit_us: float, zero: int, one: int, receiver: str, tolerance: float) -> PulseGap:
    """Bit periods of so many units as a table; pulses of one unit."""
    gaps = tuple(int(n * unit_us / TICK_US) for n in (zero, one))
    window = tuple(int(gap * tolerance) for gap in gaps)
    return PulseGap(gaps, int(unit_us / TICK_US), window, receiver_kind=receiver)  # type: ignore[arg-type]


def rises_of_train(train: list[int]) -> list[int]:
    rises, now = [], 0
    for mark, space in zip(train[::2], [*train[1::2], 0], strict=True):
        rises.append(now)
        now += mark + space
    return rises


def read_by_two_timers(scheme: PulseGap, train: list[int]) -> list[int]:
    """Bits in the order of the rises that end them.

    A timer gives up on the leader, which is longer than any bit, and starts afresh with the
    first bit. The second timer does not see the rise that begins it.
    """
    first = strikes_of_train(scheme, train)
    leader, _, *rest = rises_of_train(train)
    second = strikes_of(scheme, [leader, *rest])
    assert {tick for tick, _ in first}.isdisjoint(tick for tick, _ in second)
    return [output for _, output in sorted(first + second)]


@pytest.mark.parametrize("key", LIGHT["keys"])
def test_two_timers_read_a_recorded_train(key: str) -> None:
    remote = piir.Remote(LIGHT, 0)
    train = in_ticks(remote.encode(LIGHT["keys"][key])[0])
    scheme = gap_table(430, 2, 4, "timer", 0.2)

    read = read_by_two_timers(scheme, train)

    assert read == bits_of(bytes.fromhex(f"2C 52 {LIGHT['keys'][key]}"))


@pytest.mark.parametrize("key", LIGHT["keys"])
def test_one_timer_reads_every_second_bit_of_it(key: str) -> None:
    train = in_ticks(piir.Remote(LIGHT, 0).encode(LIGHT["keys"][key])[0])
    scheme = gap_table(430, 2, 4, "timer", 0.2)

    read = [output for _, output in strikes_of_train(scheme, train)]

    assert read == bits_of(bytes.fromhex(f"2C 52 {LIGHT['keys'][key]}"))[::2]


@pytest.mark.parametrize("key", LIGHT["keys"])
def test_taps_read_every_bit_of_it_and_two_zeros_as_a_one(key: str) -> None:
    train = in_ticks(piir.Remote(LIGHT, 0).encode(LIGHT["keys"][key])[0])
    scheme = gap_table(430, 2, 4, "taps", 0.2)
    bits = bits_of(bytes.fromhex(f"2C 52 {LIGHT['keys'][key]}"))
    ends = rises_of_train(train)[2:]

    struck = set(strikes_of_train(scheme, train))

    sent = set(zip(ends, bits, strict=True))
    ghosts = {(ends[k], 1) for k in range(1, len(bits)) if bits[k - 1 : k + 1] == [0, 0]}
    assert ghosts
    assert struck == sent | ghosts


# -- any bytes, timed badly ----------------------------------------------------


def encoded(data: bytes, unit_us: float, one: int) -> list[float]:
    """Marks and spaces in us: a leader, every bit least significant first, a last mark."""
    code = {
        "coding": "ppm",
        "preamble": [16, 8],
        "zero": [1, 1 if one == 3 else 2],
        "one": [1, one],
        "postamble": [1],
        "timebase": unit_us,
        "msb_first": False,
        "data": data,
    }
    found: list[float] = piir.encode([code])
    return found


messages = st.binary(min_size=1, max_size=4).map(
    # With its inverse beside it, every byte brings zeros and ones: the decoder of the library
    # learns from the train which is which.
    lambda data: bytes(b for byte in data for b in (byte, byte ^ 0xFF))
)


@given(messages, st.data())
def test_two_timers_and_the_library_read_the_same(data: bytes, draw: st.DataObject) -> None:
    """Marks come out longer and spaces shorter, or the reverse, and each edge is a little off."""
    train = in_ticks(encoded(data, 562.5, 3))
    longer = draw.draw(st.integers(-150, 150), "ticks that a mark is too long")
    edges = draw.draw(
        st.lists(st.integers(-40, 40), min_size=len(train) + 1, max_size=len(train) + 1)
    )
    heard = [
        duration + (-longer if place % 2 else longer) + edges[place + 1] - edges[place]
        for place, duration in enumerate(train)
    ]

    read = read_by_two_timers(gap_table(562.5, 2, 4, "timer", 0.2), heard)

    assert read == bits_of(data)
    (decoded,) = piir.decode([ticks * TICK_US for ticks in heard])
    assert decoded["coding"] == "ppm"
    assert bits_of(decoded["data"]) == read


@given(messages)
def test_taps_read_exactly_the_bits_where_no_bits_add_up_to_another(data: bytes) -> None:
    """Periods of 3 and 5 units: no sum of them, nor the leader's 24, is 3 or 5."""
    train = in_ticks(encoded(data, 560, 4))
    scheme = gap_table(560, 3, 5, "taps", 0.15)

    read = [output for _, output in strikes_of_train(scheme, train)]

    assert read == bits_of(data)


@given(messages, st.sampled_from([0.7, 0.79, 0.81, 1.19, 1.21, 1.3]))
def test_a_train_at_another_rate_is_read_iff_within_the_windows(data: bytes, rate: float) -> None:
    train = [round(ticks * rate) for ticks in in_ticks(encoded(data, 562.5, 3))]

    read = read_by_two_timers(gap_table(562.5, 2, 4, "timer", 0.2), train)

    assert read == (bits_of(data) if abs(rate - 1) < 0.2 else [])
