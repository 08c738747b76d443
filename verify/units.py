"""Times and rates as people write them: durations to ticks, ticks to seconds and hertz.

Everything is exact (fractions): an answer must not depend on how a decimal is rounded.
"""

from __future__ import annotations

import re
from fractions import Fraction
from typing import TypeAlias

Ticks: TypeAlias = int | Fraction
"""A time in ticks of the file; no whole number where a clock's rate is off."""


def whole(value: Ticks) -> Ticks:
    """The same, as an int if it is a whole number."""
    return int(value) if value.denominator == 1 else value


UNITS = {
    "ns": Fraction(1, 10**9),
    "us": Fraction(1, 10**6),
    "ms": Fraction(1, 10**3),
    "s": Fraction(1),
    "min": Fraction(60),
}
"""Seconds per unit of a written duration."""

MOST_TICKS = 10**12
"""No time may be longer than this many ticks."""

EXAMPLE = '"1.2 s"'

# The micro sign and the Greek letter mu look alike; keyboards give either.
_ALIASES = {"\u00b5s": "us", "\u03bcs": "us"}
_DURATION = re.compile(r"\s*([0-9]{1,18}(?:\.[0-9]{1,18})?)\s*([^\W\d_]+)\s*")
_PRINTED = [("s", Fraction(1)), ("ms", UNITS["ms"]), ("us", UNITS["us"]), ("ns", UNITS["ns"])]
_RATES = [("GHz", 10**9), ("MHz", 10**6), ("kHz", 10**3), ("Hz", 1)]
_ROUNDED_DIGITS = 4
_EXACT_RATE_DIGITS = 9


class TimeError(ValueError):
    """A value is no time that may stand here. ``allowed``: what may."""

    def __init__(self, allowed: str) -> None:
        super().__init__(allowed)
        self.allowed = allowed


def allowed_time(least: int = 0) -> str:
    """What may stand where a time of at least ``least`` ticks is wanted, as words."""
    return (
        f"a whole number of ticks, at least {least}, or a quoted duration like {EXAMPLE} "
        "(ns, us, ms, s, min)"
    )


def parse_duration(text: str) -> Fraction:
    """Seconds that a duration like ``"1.2 s"`` says.

    Raises TimeError if it is not a number with one of the units.
    """
    match = _DURATION.fullmatch(text)
    unit = match and UNITS.get(_ALIASES.get(match[2], match[2]))
    if match is None or unit is None:
        raise TimeError(f"a quoted duration like {EXAMPLE} (ns, us, ms, s, min)")
    return Fraction(match[1]) * unit


def is_duration(text: str) -> bool:
    """It is a number with one of the units."""
    try:
        parse_duration(text)
    except TimeError:
        return False
    return True


def to_ticks(value: object, tick: Fraction | None, least: int = 0) -> int | None:
    """Ticks of a time: a whole number of them, or a written duration. ``tick``: in seconds.

    None if ``value`` is a proper duration but ``tick`` is not known.
    Raises TimeError for anything else, for a duration that is no whole number of ticks,
    and outside ``least`` to MOST_TICKS.
    """
    if isinstance(value, str):
        try:
            duration = parse_duration(value)
        except TimeError:
            raise TimeError(allowed_time(least)) from None
        if tick is None:
            return None
        exact = duration / tick
        if exact <= MOST_TICKS and exact.denominator != 1:
            raise TimeError(_nearest(exact, tick, least))
        if exact < least:
            raise TimeError(f"at least {ticks_text(least, tick)}")
        ticks = int(exact)
    elif isinstance(value, int) and not isinstance(value, bool):
        ticks = value
        if ticks < least:
            raise TimeError(allowed_time(least))
    else:
        raise TimeError(allowed_time(least))
    if ticks > MOST_TICKS:
        raise TimeError(f"at most {MOST_TICKS} ticks")
    return ticks


def _nearest(exact: Fraction, tick: Fraction, least: int) -> str:
    below = exact.numerator // exact.denominator
    legal = [n for n in (below, below + 1) if n >= least] or [least]
    near = " or ".join(f"{duration_text(seconds(n, tick))} ({n})" for n in legal)
    return f"a whole number of ticks of {duration_text(tick)}, nearest {near}"


def seconds(ticks: Ticks, tick: Fraction) -> Fraction:
    """Seconds that ``ticks`` ticks of ``tick`` seconds last."""
    return ticks * tick


def rate(ticks: int, tick: Fraction) -> Fraction:
    """Hertz, if something happens every ``ticks`` ticks of ``tick`` seconds.

    Raises ZeroDivisionError for 0 ticks: any rate is possible then.
    """
    return 1 / seconds(ticks, tick)


def duration_text(duration: Fraction) -> str:
    """Seconds as words, in the unit that suits: ``"350 ms"``, ``"1.2 s"``, ``"0.5 ns"``.

    Exact where the decimal is finite, as it is for every multiple of a written tick.
    """
    if duration == 0:
        return "0 s"
    name, size = next((u for u in _PRINTED if abs(duration) >= u[1]), _PRINTED[-1])
    return f"{decimal_text(duration / size)} {name}"


def ticks_text(ticks: Ticks, tick: Fraction) -> str:
    """Ticks with the seconds they last: ``"7 ticks (350 ms)"``, ``"7 1/10 ticks (355 ms)"``."""
    word = "tick" if ticks == 1 else "ticks"
    return f"{mixed_text(ticks)} {word} ({duration_text(seconds(ticks, tick))})"


def mixed_text(number: Ticks) -> str:
    """Exact: ``"7"``, ``"7 1/10"``, ``"-1/3"``."""
    size = abs(Fraction(number))
    parts = [str(part) for part in (int(size), size % 1) if part] or ["0"]
    return "-" * (number < 0) + " ".join(parts)


def rate_text(hertz: Fraction) -> str:
    """A rate as words: ``"2.857 Hz"``, ``"1.25 kHz"``."""
    name, size = next((u for u in _RATES if abs(hertz) >= u[1]), _RATES[-1])
    return f"{decimal_text(hertz / size, _EXACT_RATE_DIGITS)} {name}"


def decimal_text(number: Fraction, most_digits: int | None = None) -> str:
    """Exact where the decimal is finite and has at most ``most_digits`` significant digits.

    Otherwise rounded to four of them, or to a whole number if that has more; zeros at
    the end are kept then.
    """
    if number < 0:
        return "-" + decimal_text(-number, most_digits)
    places = _places(number.denominator)
    if places is not None:
        whole = number.numerator * 10**places // number.denominator
        digits = len(str(whole).rstrip("0")) if whole else 1
        if most_digits is None or digits <= most_digits:
            return _point(whole, places)
    places = _ROUNDED_DIGITS
    if number >= 1:
        places -= len(str(number.numerator // number.denominator))
    else:
        while number * 10 ** (places - _ROUNDED_DIGITS + 1) < 1:
            places += 1
    places = max(0, places)
    return _point(round(number * 10**places), places)


def _places(denominator: int) -> int | None:
    """Decimal places of a fraction in lowest terms; None if they never end."""
    twos = fives = 0
    while denominator % 2 == 0:
        denominator, twos = denominator // 2, twos + 1
    while denominator % 5 == 0:
        denominator, fives = denominator // 5, fives + 1
    return max(twos, fives) if denominator == 1 else None


def _point(whole: int, places: int) -> str:
    if places == 0:
        return str(whole)
    digits = str(whole).rjust(places + 1, "0")
    return f"{digits[:-places]}.{digits[-places:]}"
