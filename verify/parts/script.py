"""A script: what the world does in one run of a link."""

from __future__ import annotations

from dataclasses import dataclass, replace


@dataclass(frozen=True, order=True)
class Press:
    """An input pressed at a tick."""

    tick: int
    input: int


@dataclass(frozen=True, order=True)
class Chosen:
    """What the world picked at a tick: the name of the pick, and its value."""

    tick: int
    name: str
    value: int


@dataclass(frozen=True)
class Script:
    """What the world did: enough to run a link again and get the same trace.

    ``delay``: the constant of the line, ticks. ``picks``: what the world chose, in order;
    ``constants``: other unknowns of the run, by name. What is not named is at its least.
    ``resolution``: parts of a tick in which all of these times, and those of a trace, are given.
    """

    presses: tuple[Press, ...]
    delay: int = 0
    picks: tuple[Chosen, ...] = ()
    constants: tuple[tuple[str, int], ...] = ()
    resolution: int = 1

    @property
    def ticks(self) -> list[int]:
        """When something was done."""
        return [*(press.tick for press in self.presses), *(pick.tick for pick in self.picks)]

    def sooner(self, ticks: int, constants: tuple[tuple[str, int], ...]) -> Script:
        """All of it so many ticks earlier, with other unknowns."""
        presses = tuple(replace(p, tick=p.tick - ticks) for p in self.presses)
        picks = tuple(replace(c, tick=c.tick - ticks) for c in self.picks if c.tick >= ticks)
        return replace(self, presses=presses, picks=picks, constants=constants)
