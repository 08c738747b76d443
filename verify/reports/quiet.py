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
    "cells",
    "cells_hold",
    "cells_fail",
    "cells_undecided",
    "cells_not_asked",
)

# Of a failure, or of a target that does not do its part.
WRONG = ("kind", "output", "tick")


def quiet_line(answer: dict[str, Any]) -> str:
    """``"holds spacing_ticks=16"``; of a failure its kind, output and tick."""
    return " ".join([str(answer["verdict"]), *_figures(answer)])


def _figures(answer: dict[str, Any]) -> Iterator[str]:
    parts = [answer, *(answer.get(name) for name in ("spacing", "latency"))]
    for part in [part for part in parts if isinstance(part, dict)]:
        for key in FIGURES:
            if part.get(key) is not None:
                yield f"{key}={_value(part[key])}"
    for failure in _failures(answer):
        if failure:
            yield " ".join(f"{key}={_value(failure[key])}" for key in WRONG if key in failure)


def _failures(answer: dict[str, Any]) -> Iterator[Any]:
    yield answer.get("trouble")
    trace: Any = (answer.get("check") or answer).get("trace")
    yield trace and trace["failure"]


def _value(value: object) -> str:
    if isinstance(value, bool):
        return str(value).lower()
    text = str(value)
    return text if text.isprintable() and " " not in text else ascii(text)
