"""A trace: what happened when, and what was wrong. The same for every engine."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

from verify.parts.script import Chosen, Press, Script


@dataclass(frozen=True)
class Event:
    """At ``tick`` the signal took the value (1 or 0)."""

    tick: int
    signal: str
    value: int


@dataclass(frozen=True)
class Failure:
    """What came out wrong: kind, output, and what was expected and got there, as words."""

    tick: int
    kind: str
    output: str
    expected: str
    got: str
    branch: int = 0


@dataclass(frozen=True)
class Latency:
    """One press delivered: input number, ticks from press to strike, tick of the strike."""

    input: int
    ticks: int
    tick: int
    branch: int = 0


@dataclass(frozen=True)
class Trace:
    """A run of the whole link, delays included, as the simulator replayed it.

    ``loose``: it fails, and whether a smaller one does was not found out within the budget.
    """

    script: Script
    events: tuple[Event, ...]
    failure: Failure | None
    latencies: tuple[Latency, ...] = field(default=())
    loose: bool = False

    def as_json(self) -> dict[str, Any]:
        """The documented JSON form."""
        failure = self.failure
        parts = self.script.resolution
        return {
            **({"ticks_per_tick": parts} if parts != 1 else {}),
            **({"minimal": False} if self.loose else {}),
            "events": [{"tick": e.tick, "signal": e.signal, "value": e.value} for e in self.events],
            "failure": failure
            and {
                "tick": failure.tick,
                "kind": failure.kind,
                "output": failure.output,
                "expected": failure.expected,
                "got": failure.got,
            },
        }


__all__ = ["Chosen", "Event", "Failure", "Latency", "Press", "Script", "Trace"]
