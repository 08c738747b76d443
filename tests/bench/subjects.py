"""The link that the benchmarks are about, for our engines."""

from __future__ import annotations

from fractions import Fraction

from models.pulse_gap import PulseGap
from verify.parts.link import Link
from verify.parts.operator import Operator
from verify.questions.judging import Subject


def safe_spacing(inputs: int) -> int:
    """Least safe spacing in ticks: the longest gap, its second pulse, one low tick."""
    return 2 * inputs + 2


def even_link(inputs: int, spacing: int, finer: int = 1) -> Subject:
    """Gaps 2, 4, ..., 2n, pulses of 1, all times (but not ``spacing``) times ``finer``."""
    gaps = tuple(2 * finer * (i + 1) for i in range(inputs))
    scheme = PulseGap(gaps, finer, (0,) * inputs)
    names = tuple(f"bell {i + 1}" for i in range(inputs))
    tick = Fraction(1, 20 * finer)
    return Subject(Link("tower", tick, names, "pulse-gap", scheme, Operator(spacing=spacing)))
