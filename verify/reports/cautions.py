"""What must be said beside an answer when work on a real link can hurt someone."""

from __future__ import annotations

from fractions import Fraction

MODEL = (
    "This judges a model, not a build. Do not use it for functions on which safety depends "
    "(interlocks, traffic, railways with people, medical alarms): they need assessed equipment "
    "and licensed practice under local codes."
)
SHORT = "This judges a model, not a build; it is not for functions on which safety depends."
WIRING = "Real wiring: extra-low voltage from an isolated, current-limited source."
# WCAG 2.x, success criterion 2.3.1: no more than three flashes in any one second.
FLASHES_PER_SECOND = 3


def flashing(rate_hz: Fraction | None) -> str | None:
    """The caution for lamps that could flash too fast; ``rate_hz`` None stands for any rate."""
    if rate_hz is not None and rate_hz <= FLASHES_PER_SECOND:
        return None
    fast = "at any rate" if rate_hz is None else f"up to {float(rate_hz):.3g} times a second"
    return (
        f"Lamps on these outputs could flash {fast}: keep them to no more than three flashes "
        "in any second (WCAG 2.x, success criterion 2.3.1)."
    )
