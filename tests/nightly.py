"""How many random examples a test tries: few in CI, many at night (see DEVELOPERS.md)."""

from __future__ import annotations

import os

from hypothesis import settings

VARIABLE = "FEWWIRE_NIGHTLY"
USUAL = 2_000


def nightly() -> int | None:
    """Examples per test at night: the variable's value, if a number above 1; None by day."""
    value = os.environ.get(VARIABLE, "")
    if value in ("", "0"):
        return None
    return int(value) if value.isdigit() and int(value) > 1 else USUAL


def examples(by_day: int) -> settings:
    """So many examples; at night as many as then, if that is more."""
    return settings(max_examples=max(by_day, nightly() or 0))
