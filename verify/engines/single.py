"""One run of a stretch of a link, the world's choices given: what comes out of it, and when."""

from __future__ import annotations

from collections import deque
from collections.abc import Iterable, Iterator, Mapping, Sequence

from verify.engines.concrete import Compiled, State
from verify.engines.trace import Chosen
from verify.language import expressions as ex
from verify.language.machine import System
from verify.parts.player import Edge


class Run:
    """A run from power-up, one tick before tick 0, or from a state reached at ``now``.

    Times in parts of a tick, ``scale`` to one. ``heard``: numbers of the edges that are told.
    Unknowns and picks that are not given are at their least; ``made``: all picks so far;
    ``fresh``: it begins at power-up.
    """

    def __init__(
        self,
        system: System,
        heard: Mapping[Edge, int],
        constants: Mapping[str, int] | None = None,
        picks: Iterable[Chosen] = (),
        *,
        scale: int = 1,
        state: State | None = None,
        now: int | None = None,
    ) -> None:
        self.compiled, self.heard, self.scale = Compiled(system), heard, scale
        self.state = self.compiled.start_with(dict(constants or {})) if state is None else state
        self.now = -scale if now is None else now
        self.picks: dict[tuple[int, str], deque[int]] = {}
        for chosen in picks:
            self.picks.setdefault((chosen.tick, chosen.name), deque()).append(chosen.value)
        self.made: list[Chosen] = []
        self.fresh = state is None

    def advance(self, to: int, played: Sequence[int] = ()) -> Iterator[tuple[int, int]]:
        """On to time ``to``, in which these edges are played; yields times and edges heard."""
        while True:
            event = self.compiled.next_event(self.state)
            left = to - self.now
            last = event is None or event >= left
            passed = left if last or event is None else event
            if passed == 0:
                return
            self.now += passed
            result = self.compiled.step(self.state, passed, played if last else (), self._choose)
            if result is None:
                raise AssertionError("a player plays whatever it is told")
            self.state = result[0]
            for occurrence in result[1]:
                if occurrence in self.heard:
                    yield self.now, self.heard[occurrence]
            if last:
                return

    def _choose(self, pick: ex.Pick) -> int:
        values = self.picks.get((self.now, pick.name))
        value = values.popleft() if values else pick.least
        self.made.append(Chosen(self.now, pick.name, value))
        return value
