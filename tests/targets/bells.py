"""Receivers of `lighthouse.toml` in Python, called once per tick."""

from __future__ import annotations

import time


class Lantern:
    """Shutters, right."""

    fault = ""

    def __init__(self) -> None:
        self.armed: int | None = None
        self.rises = 0

    def __call__(self, tick: int, words: list[tuple[str, int]]) -> list[tuple[str, int]]:
        """What strikes in this tick."""
        if ("line", 1) not in words:
            return []
        self.rises += 1
        if self.rises > 2:
            self.misbehave()
        gap = 99 if self.armed is None else tick - self.armed
        shutters = {2: "out.red", 4: "out.green", 6: "out.white"}
        self.armed = tick if gap not in shutters and gap > 6 else None
        return [(shutters[gap], 1)] if gap in shutters else []

    def misbehave(self) -> None:
        """Not this one."""


class Sleeper(Lantern):
    """Never answers the second send."""

    def misbehave(self) -> None:
        """Longer than anybody waits."""
        time.sleep(60)


class Breaker(Lantern):
    """Breaks at the second send."""

    def misbehave(self) -> None:
        """As a lamp does."""
        raise ValueError("lamp out")


def silent(tick: int, words: list[tuple[str, int]]) -> None:
    """Nothing ever strikes."""


not_callable = 3
