from decimal import Decimal
from fractions import Fraction

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from verify import units
from verify.units import (
    MOST_TICKS,
    TimeError,
    decimal_text,
    duration_text,
    parse_duration,
    rate,
    rate_text,
    seconds,
    ticks_text,
    to_ticks,
)

MS_50 = Fraction(1, 20)

# SI Brochure, 9th edition: table 7 (prefixes), table 8 (minute).
SI = {
    "ns": Decimal("1e-9"),
    "us": Decimal("1e-6"),
    "\N{MICRO SIGN}s": Decimal("1e-6"),
    "\N{GREEK SMALL LETTER MU}s": Decimal("1e-6"),
    "ms": Decimal("1e-3"),
    "s": Decimal(1),
    "min": Decimal(60),
}


@pytest.mark.parametrize("unit", SI)
@given(number=st.decimals(0, 10**6, places=6))
def test_a_duration_is_its_number_times_the_si_unit(unit: str, number: Decimal) -> None:
    exact = Fraction(number) * Fraction(SI[unit])
    assert parse_duration(f"{number:f} {unit}") == exact
    assert parse_duration(f"{number:f}{unit}") == exact


@pytest.mark.parametrize(
    "text",
    [
        "",
        "50",
        "ms",
        "50 m",
        "50 MS",
        "-50 ms",
        "+50 ms",
        "1e3 ms",
        "1,2 s",
        ".5 s",
        "5. s",
        "1 h",
        "nan s",
        "inf s",
        "1_0 s",
        "1 s 2 ms",
        "\N{ARABIC-INDIC DIGIT FIVE} s",
        "1111111111111111111 s",
        "50 ms\x00",
    ],
)
def test_what_is_no_duration_is_refused(text: str) -> None:
    with pytest.raises(TimeError) as error:
        parse_duration(text)
    assert str(error.value) == 'a quoted duration like "1.2 s" (ns, us, ms, s, min)'


@pytest.mark.parametrize(
    ("value", "tick", "ticks"),
    [
        (0, MS_50, 0),
        (7, MS_50, 7),
        (7, None, 7),
        ("0 s", MS_50, 0),
        ("350 ms", MS_50, 7),
        ("1.2 s", MS_50, 24),
        ("2 min", MS_50, 2400),
        ("104 us", Fraction(1, 2 * 10**6), 208),
        ("0.5 us", Fraction(1, 2 * 10**6), 1),
        ("20 ns", Fraction(1, 10**9), 20),
        (MOST_TICKS, MS_50, MOST_TICKS),
    ],
)
def test_ticks_of_a_time(value: object, tick: Fraction | None, ticks: int) -> None:
    assert to_ticks(value, tick) == ticks


def test_ticks_of_a_duration_are_unknown_while_the_tick_is() -> None:
    assert to_ticks("350 ms", None) is None


ANY = 'a whole number of ticks, at least 0, or a quoted duration like "1.2 s" (ns, us, ms, s, min)'
ONE = ANY.replace("least 0", "least 1")
OF_50 = "a whole number of ticks of 50 ms, nearest "


@pytest.mark.parametrize(
    ("value", "least", "allowed"),
    [
        ("125 ms", 0, OF_50 + "100 ms (2) or 150 ms (3)"),
        ("25 ms", 0, OF_50 + "0 s (0) or 50 ms (1)"),
        ("25 ms", 1, OF_50 + "50 ms (1)"),
        ("25 ms", 3, OF_50 + "150 ms (3)"),
        ("1.01 s", 0, OF_50 + "1 s (20) or 1.05 s (21)"),
        ("1 ns", 1, OF_50 + "50 ms (1)"),
        ("0 ms", 1, "at least 1 tick (50 ms)"),
        ("100 ms", 3, "at least 3 ticks (150 ms)"),
        ("1 day", 0, ANY),
        (-1, 0, ANY),
        (0, 1, ONE),
        (True, 0, ANY),
        (1.0, 0, ANY),
        (float("nan"), 1, ONE),
        (None, 0, ANY),
        ([1], 0, ANY),
        (MOST_TICKS + 1, 0, "at most 1000000000000 ticks"),
        ("999999999999999999 min", 0, "at most 1000000000000 ticks"),
        ("999999999999999999.01 s", 0, "at most 1000000000000 ticks"),
    ],
)
def test_what_is_no_time_is_refused(value: object, least: int, allowed: str) -> None:
    with pytest.raises(TimeError) as error:
        to_ticks(value, MS_50, least)
    assert error.value.allowed == allowed


ticks_ = st.integers(0, MOST_TICKS)
tick_texts = st.tuples(
    st.decimals("0.000001", 1000, places=6), st.sampled_from(["ns", "us", "ms", "s", "min"])
).map(lambda t: f"{t[0]:f} {t[1]}")


@given(ticks=ticks_, tick=tick_texts.map(parse_duration))
def test_printed_durations_read_back_as_the_same_ticks(ticks: int, tick: Fraction) -> None:
    text = duration_text(seconds(ticks, tick))
    number, _ = text.split()
    assume(len(number.partition(".")[0]) <= 18 and len(number.partition(".")[2]) <= 18)
    assert to_ticks(text, tick) == ticks


@given(ticks=st.integers(0, 10**4), tick=tick_texts.map(parse_duration), tenths=st.integers(1, 9))
def test_the_nearest_legal_times_enclose_what_was_found(
    ticks: int, tick: Fraction, tenths: int
) -> None:
    text = f"{decimal_text((ticks + Fraction(tenths, 10)) * tick * 10**9)} ns"
    with pytest.raises(TimeError) as error:
        to_ticks(text, tick)
    assert error.value.allowed == (
        f"a whole number of ticks of {duration_text(tick)}, nearest "
        f"{duration_text(ticks * tick)} ({ticks}) or "
        f"{duration_text((ticks + 1) * tick)} ({ticks + 1})"
    )


@pytest.mark.parametrize(
    ("duration", "text"),
    [
        ("0", "0 s"),
        ("0.35", "350 ms"),
        ("0.001125", "1.125 ms"),
        ("1", "1 s"),
        ("1.2", "1.2 s"),
        ("0.999", "999 ms"),
        ("300", "300 s"),
        ("0.000104", "104 us"),
        ("0.00000002", "20 ns"),
        ("0.0000000005", "0.5 ns"),
        ("1/3", "333.3 ms"),
        ("2/3", "666.7 ms"),
        ("20000/3", "6667 s"),
        ("1/3000000000000", "0.0003333 ns"),
        ("-0.35", "-350 ms"),
        ("123456.789012345", "123456.789012345 s"),
    ],
)
def test_durations_as_words(duration: str, text: str) -> None:
    assert duration_text(Fraction(duration)) == text


@pytest.mark.parametrize(
    ("ticks", "tick", "text"),
    [
        (20, MS_50, "1 Hz"),
        (7, MS_50, "2.857 Hz"),
        (16, MS_50, "1.25 Hz"),
        (600, MS_50, "0.03333 Hz"),
        (1600, Fraction(1, 2 * 10**6), "1.25 kHz"),
        (1, Fraction(1, 2 * 10**6), "2 MHz"),
        (3, Fraction(1, 10**9), "333.3 MHz"),
        (1, Fraction(1, 10**10), "10 GHz"),
        (1024, Fraction(1, 10**6), "976.5625 Hz"),
    ],
)
def test_rates_as_words(ticks: int, tick: Fraction, text: str) -> None:
    assert rate_text(rate(ticks, tick)) == text


def test_there_is_no_rate_of_what_may_happen_at_once() -> None:
    with pytest.raises(ZeroDivisionError):
        rate(0, MS_50)


def test_ticks_as_words() -> None:
    assert ticks_text(1, MS_50) == "1 tick (50 ms)"
    assert ticks_text(7, MS_50) == "7 ticks (350 ms)"
    assert ticks_text(0, MS_50) == "0 ticks (0 s)"


@given(st.decimals(-(10**9), 10**9, places=9))
def test_finite_decimals_are_printed_exactly(number: Decimal) -> None:
    assert Decimal(decimal_text(Fraction(number))) == number


@given(st.fractions(Fraction(1, 10**9), 10**9), st.sampled_from([None, 1, 9]))
def test_other_numbers_are_off_by_less_than_their_last_digit(
    number: Fraction, most: int | None
) -> None:
    text = decimal_text(number, most)
    error = abs(Fraction(text) - number)
    assert error <= Fraction(1, 2 * 10 ** len(text.partition(".")[2]))
    assert error <= number / 2000
    assert "e" not in text.lower()


def test_every_unit_can_be_written() -> None:
    assert {parse_duration(f"1 {unit}") for unit in units.UNITS} == set(units.UNITS.values())
