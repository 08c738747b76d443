"""The timescale of a VCD file: 1, 10 or 100 of a unit (IEEE Std 1364-2005, 18.2.3.7)."""

from __future__ import annotations

from fractions import Fraction

from verify.errors import UsageError
from verify.units import duration_text

UNITS = {
    "s": Fraction(1),
    "ms": Fraction(1, 10**3),
    "us": Fraction(1, 10**6),
    "ns": Fraction(1, 10**9),
    "ps": Fraction(1, 10**12),
    "fs": Fraction(1, 10**15),
}
LEGAL = tuple((m, unit, m * size) for unit, size in UNITS.items() for m in (100, 10, 1))
"""Coarsest first: number, unit, seconds."""

# Where no unit fits, times are rounded to this part of a tick, or finer.
ROUNDING = 1000


def timescale(step: Fraction) -> tuple[int, str, Fraction]:
    """The coarsest legal timescale in which every multiple of ``step`` seconds is whole.

    A step with no such timescale gets one in which times can be rounded and told apart still.
    Returns number, unit and seconds. Raises UsageError for steps shorter than any timescale.
    """
    fits = next((found for found in LEGAL if (step / found[2]).denominator == 1), None)
    if fits is None:
        fits = next((found for found in LEGAL if found[2] * ROUNDING <= step), LEGAL[-1])
    if step < fits[2]:
        raise UsageError(
            f"VCD: found steps of {duration_text(step)}; allowed: at least 1 fs, the finest "
            "timescale; CSV and JSON take any"
        )
    return fits
