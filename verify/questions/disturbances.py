"""The disturbances whose margins can be asked about, by their keys in link files."""

from __future__ import annotations

from typing import Literal

Disturbance = Literal[
    "clock.offset",
    "clock.rate",
    "clock.wander",
    "line.jitter",
    "line.skew",
    "line.shortest",
    "pause",
]
