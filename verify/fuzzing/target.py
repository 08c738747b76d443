"""The end of a link that is not ours to see into, as something to talk to."""

from __future__ import annotations

import inspect
import signal
import threading
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from types import FrameType
from typing import Any, Protocol

from verify.fields import value_text

Word = tuple[str, int]
"""A signal and its value, 1 or 0."""

Said = tuple[int, str, int]
"""The same with its tick."""


class TargetError(Exception):
    """A target does not do its part: it ``dies``, ``hangs`` or ``babbles``, at ``tick``."""

    def __init__(self, kind: str, tick: int, found: str) -> None:
        super().__init__(kind, tick, found)
        self.kind, self.tick, self.found = kind, tick, found


class Target(Protocol):
    """One end of a link. After ``begin`` it is as when switched on, one tick before tick 0."""

    def begin(self) -> None:
        """Start anew. Raises TargetError."""

    def hear(self, tick: int, words: Sequence[Word]) -> list[Said]:
        """Time goes on to ``tick``, in which it hears these; what it says up to then, in order.

        Raises TargetError.
        """

    def close(self) -> None:
        """Leave nothing behind."""


@dataclass
class Listener:
    """Takes what a target says, and refuses what makes no sense. ``known``: signals it may use."""

    known: frozenset[str]
    done: int = -1

    def begin(self) -> None:
        """A new run."""
        self.done = -1
        self._last: dict[str, int] = {}
        self._newest = -1

    def take(self, tick: int, signal_name: object, value: object, until: int) -> Said:
        """What was said, if it may be said now. Raises TargetError."""

        def refuse(found: str) -> TargetError:
            return TargetError("babbles", until, found)

        if signal_name not in self.known:
            allowed = ", ".join(sorted(self.known)[:8])
            raise refuse(f"signal {value_text(signal_name)}, which is none of {allowed}")
        if isinstance(value, bool) or value not in (0, 1):
            raise refuse(f"value {value_text(value)} of {signal_name}, which is neither 0 nor 1")
        if not self.done < tick <= until:
            raise refuse(
                f"{signal_name} at tick {tick}, when only ticks {self.done + 1} to {until} are new"
            )
        name = str(signal_name)
        if tick < self._newest:
            raise refuse(f"{name} at tick {tick}, after what was said of tick {self._newest}")
        self._newest = tick
        if self._last.get(name) == tick:
            raise refuse(f"{name} twice in tick {tick}")
        self._last[name] = tick
        return tick, name, int(str(value))


class CallableTarget:
    """A Python object that is called once per tick with the tick and what it hears then.

    ``make``: a class or function without arguments that makes one for each run; or a function
    of two arguments, which is called itself. What is called returns the words said in that tick,
    or None.
    """

    def __init__(self, make: Callable[..., Any], known: frozenset[str], patience: float) -> None:
        self.make, self.patience = make, patience
        self.listener = Listener(known)
        self.itself = not inspect.isclass(make) and _takes_two(make)

    def begin(self) -> None:
        """A new one, or the same function again."""
        self.listener.begin()
        with self._guarded(-1):
            self.object = self.make if self.itself else self.make()

    def hear(self, tick: int, words: Sequence[Word]) -> list[Said]:
        """Call it for every tick up to this one."""
        said: list[Said] = []
        for now in range(self.listener.done + 1, tick + 1):
            with self._guarded(now):
                answer = self.object(now, list(words) if now == tick else [])
                answer = [] if answer is None else list(answer)
            said += self._taken(now, answer)
            self.listener.done = now
        return sorted(said, key=lambda s: s[0])

    def _taken(self, now: int, answer: Iterable[Any]) -> list[Said]:
        said = []
        for word in answer:
            if not isinstance(word, tuple | list) or len(word) != 2:
                found = f"{value_text(word)}, which is no pair of signal and value"
                raise TargetError("babbles", now, found)
            said.append(self.listener.take(now, word[0], word[1], now))
        return said

    def close(self) -> None:
        """Nothing is left of it."""

    @contextmanager
    def _guarded(self, tick: int) -> Iterator[None]:
        try:
            with _limited(self.patience):
                yield
        except _TooLongError:
            raise TargetError("hangs", tick, f"no answer in {self.patience:g} s") from None
        except Exception as error:
            text = " ".join(str(error).split())[:200]
            raise TargetError("dies", tick, f"{type(error).__name__}: {text}") from None


class _TooLongError(BaseException):
    """Not to be caught by what is being called."""


@contextmanager
def _limited(seconds: float) -> Iterator[None]:
    def end(_: int, __: FrameType | None) -> None:
        raise _TooLongError

    if threading.current_thread() is not threading.main_thread() or not hasattr(signal, "SIGALRM"):
        yield  # there alarms do not ring
        return
    before = signal.signal(signal.SIGALRM, end)
    signal.setitimer(signal.ITIMER_REAL, seconds)
    try:
        yield
    finally:
        signal.setitimer(signal.ITIMER_REAL, 0)
        signal.signal(signal.SIGALRM, before)


def _takes_two(function: Callable[..., Any]) -> bool:
    try:
        parameters: Mapping[str, inspect.Parameter] = inspect.signature(function).parameters
    except (TypeError, ValueError):
        return False
    kinds = (inspect.Parameter.POSITIONAL_ONLY, inspect.Parameter.POSITIONAL_OR_KEYWORD)
    needed = [
        p for p in parameters.values() if p.kind in kinds and p.default is inspect.Parameter.empty
    ]
    return len(needed) == 2
