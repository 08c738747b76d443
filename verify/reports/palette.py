"""The colours of a report's page: light, dark, and which text stands on which ground."""

from __future__ import annotations

LIGHT = {
    "paper": "#fbf8f1",
    "card": "#ffffff",
    "ink": "#231f1a",
    "soft": "#5c5346",
    "rule": "#857a68",
    "mark": "#7a3b08",
    "good": "#14512c",
    "good-ground": "#e0f0e2",
    "bad": "#90201a",
    "bad-ground": "#fae3df",
    "open": "#5e4300",
    "open-ground": "#f7ebc8",
    "shade-0": "#ffffff",
    "shade-1": "#f8e8d2",
    "shade-2": "#f1d0a5",
    "shade-3": "#e3b27a",
    "shade-4": "#96501a",
    "shade-5": "#5f2c05",
    "on-shade-0": "#231f1a",
    "on-shade-1": "#231f1a",
    "on-shade-2": "#231f1a",
    "on-shade-3": "#231f1a",
    "on-shade-4": "#ffffff",
    "on-shade-5": "#ffffff",
}

DARK = {
    "paper": "#191714",
    "card": "#221f1b",
    "ink": "#efe8dc",
    "soft": "#b9ae9c",
    "rule": "#8b8171",
    "mark": "#f0b170",
    "good": "#a5dbb0",
    "good-ground": "#17331f",
    "bad": "#ffb1a8",
    "bad-ground": "#471a16",
    "open": "#f2d588",
    "open-ground": "#3b2f0c",
    "shade-0": "#221f1b",
    "shade-1": "#3a2a1b",
    "shade-2": "#573716",
    "shade-3": "#7a4a17",
    "shade-4": "#d8964f",
    "shade-5": "#f5c98f",
    "on-shade-0": "#efe8dc",
    "on-shade-1": "#efe8dc",
    "on-shade-2": "#efe8dc",
    "on-shade-3": "#ffffff",
    "on-shade-4": "#191714",
    "on-shade-5": "#191714",
}

TEXTS = (
    *((text, ground) for text in ("ink", "soft", "mark", "bad") for ground in ("paper", "card")),
    ("good", "good-ground"),
    ("bad", "bad-ground"),
    ("open", "open-ground"),
    ("ink", "good-ground"),
    ("ink", "bad-ground"),
    ("ink", "open-ground"),
    *((f"on-shade-{k}", f"shade-{k}") for k in range(6)),
)
"""Text and the ground that it stands on."""

SHAPES = (
    *((shape, ground) for shape in ("rule", "mark", "bad") for ground in ("paper", "card")),
    ("mark", "shade-0"),
)
"""Lines, bars and controls, and the ground that they are seen against."""


def css_variables(colours: dict[str, str]) -> str:
    """As custom properties, one after the other."""
    return " ".join(f"--{name}: {value};" for name, value in colours.items())
