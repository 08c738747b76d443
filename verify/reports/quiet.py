"""An answer in one line: the verdict, and its figures by their names in ``--json``."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

FIGURES = (
    "spacing_ticks",
    "best_ticks",
    "worst_ticks",
    "of",
    "least",
    "most",
    "recovery_ticks",
    "never",
    "forever",
    "lifetime",
    "total_ticks",
    "optimal",
    "best",
    "bound",
)


def quiet_line(answer: dict[str, Any]) -> str:
    """``"holds spacing_ticks=16"``; of a failure its kind, output and tick."""
    return " ".join([str(answer["verdict"]), *_figures(answer)])


def _figures(answer: dict[str, Any]) -> Iterator[str]:
    for part in (answer, *(answer.get(name) for name in ("spacing", "latency"))):
        for key in FIGURES if isinstance(part, dict) else ():
            if part.get(key) is not None:
                yield f"{key}={_value(part[key])}"
    trace: Any = (answer.get("check") or answer).get("trace")
    failure = trace and trace["failure"]
    if failure:
        yield f"kind={failure['kind']} output={_value(failure['output'])} tick={failure['tick']}"


def _value(value: object) -> str:
    if isinstance(value, bool):
        return str(value).lower()
    text = str(value)
    return text if text.isprintable() and " " not in text else ascii(text)
