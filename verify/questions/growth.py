"""How the schemes grow: the same figures over the number of inputs."""

from __future__ import annotations

from verify.fastest import fastest, schemes_for
from verify.parts.link import Link
from verify.questions.compare import LATENCY, SPACING

CURVES = (SPACING, LATENCY)
POINTS = (2, 3, 4, 5, 6, 7, 8, 12, 16, 24, 32, 48, 64)


def curve_links(tick: str, kind: str | None = None) -> list[Link]:
    """The fastest link of every scheme at every point, scheme by scheme."""
    return [fastest(s, inputs, tick, kind) for s in schemes_for(kind) for inputs in POINTS]
