"""Where a depth-first search for a table stands, so that it can go on in another process.

A search tries choices depth by depth, always in the same order. So what was chosen at every depth
says what was excluded: everything before it. With the number of choices made and the best that was
found, a search that goes on from there ends as one that was never cut.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from time import monotonic
from typing import Any

from verify.engines.checkpoint import DamagedError

# Seconds between two savings: what is lost when a process is killed.
SELDOM = 2.0
_MOST_DEPTH = 4_096

Found = tuple[int, ...] | None


@dataclass(frozen=True)
class Stand:
    """``path``: what was chosen, by depth; ``choices`` so far; ``best`` so far."""

    path: tuple[int, ...] = ()
    choices: int = 0
    best: Found = None


class Trail:
    """The searches of one design, one after another. ``found``: what was kept of them, None if
    nothing; ``keep``: takes what there is now (lists, numbers, texts)."""

    def __init__(self, found: Any = None, keep: Callable[[Any], None] | None = None) -> None:
        self._keep = keep
        self._ended: dict[str, tuple[int, Found]] = {}
        self._cut: tuple[str, Stand] | None = None
        if found is not None:
            self._read(found)
        self._path: list[int] = []
        self.best: Found = None
        self._begin(Stand())
        self._current: str | None = None
        self._saved = monotonic()

    @property
    def told(self) -> str:
        """What was kept, in words."""
        ended = f"{len(self._ended)} searches for a table"
        return ended if self._cut is None else f"{ended} and one under way"

    # -- of one search ------------------------------------------------------------

    def begin(self, search: str, choices: int) -> int:
        """Choices that this search has made before; from now on ``first`` says where it was.
        ``choices``: made before anything is chosen."""
        self._current = search
        stand = self._cut[1] if self._cut is not None and self._cut[0] == search else Stand()
        self._cut = None
        self._begin(stand)
        self.retraced = len(stand.path) + choices if stand.path else 0
        return stand.choices

    def _begin(self, stand: Stand) -> None:
        self._stand, self._ahead, self._next = stand, stand.path, 0
        self._path, self.best = [], stand.best
        self.retraced = 0

    def first(self, depth: int) -> int:
        """The choice to begin with at this depth; those before it were excluded."""
        if self._next != depth or depth >= len(self._ahead):
            return 0
        self._next += 1
        return self._ahead[depth]

    def at(self, depth: int, chosen: int) -> None:
        """This is tried now."""
        del self._path[depth:]
        self._path.append(chosen)

    def look(self, choices: int) -> None:
        """The search stands here, after so many choices."""
        if self._current is None:
            return
        self._stand = Stand(tuple(self._path), choices, self.best)
        if self._keep is not None and monotonic() - self._saved > SELDOM:
            self.save()

    # -- of all -------------------------------------------------------------------

    def ended(self, search: str) -> tuple[int, Found] | None:
        """Choices and result of a search that came to its end."""
        return self._ended.get(search)

    def end(self, choices: int, found: Found) -> None:
        """The search came to its end."""
        if self._current is not None:
            self._ended[self._current] = choices, found
        self._current = None
        if self._keep is not None and monotonic() - self._saved > SELDOM:
            self.save()

    def save(self) -> None:
        """What there is now."""
        if self._keep is None:
            return
        cut = None
        if self._current is not None:
            cut = [self._current, self._stand.path, self._stand.choices, self._stand.best]
        elif self._cut is not None:
            name, stand = self._cut
            cut = [name, stand.path, stand.choices, stand.best]
        ended = [[name, *what] for name, what in self._ended.items()]
        self._keep({"ended": ended, "cut": cut})
        self._saved = monotonic()

    def _read(self, found: Any) -> None:
        try:
            for name, choices, result in found["ended"]:
                self._ended[_text(name)] = _number(choices), _table(result)
            if found["cut"] is not None:
                name, path, choices, best = found["cut"]
                stand = Stand(_table(path) or (), _number(choices), _table(best))
                self._cut = _text(name), stand
        except (KeyError, TypeError, ValueError):
            raise DamagedError from None


def _text(found: Any) -> str:
    if not isinstance(found, str):
        raise TypeError
    return found


def _number(found: Any) -> int:
    if type(found) is not int or found < 0:
        raise TypeError
    return found


def _table(found: Any) -> Found:
    if found is None:
        return None
    if not isinstance(found, list) or len(found) > _MOST_DEPTH:
        raise TypeError
    return tuple(map(_number, found))
