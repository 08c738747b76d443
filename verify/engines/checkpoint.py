"""A search kept on the way, so that it can go on in another process.

An engine saves what it has between two steps: now and then, where its time is up, and where it is
interrupted, which then waits for the end of the step.
"""

from __future__ import annotations

import signal
import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from time import monotonic
from types import FrameType
from typing import Any

from verify.engines import alarm
from verify.errors import FewwireError

# Seconds between two savings at least, and times as long as saving takes.
SELDOM = 20.0
_TIMES = 20


class DamagedError(FewwireError):
    """What was kept is no search of this system."""

    exit_code = 2

    def __init__(self) -> None:
        super().__init__(
            "--resume: found a search that this link cannot be in; allowed: a new name, or a file "
            "that --resume wrote for this link file"
        )


class Checkpoint:
    """Where one search is kept. ``found``: how far it was, None if it is new; ``keep``: takes how
    far it is (lists, numbers, texts)."""

    def __init__(self, found: Any, keep: Callable[[Any], None]) -> None:
        self.found, self._keep = found, keep
        self._saved, self._wait = monotonic(), SELDOM
        self._interrupted = False

    def due(self) -> bool:
        """It is time to save."""
        return self._interrupted or monotonic() - self._saved > self._wait

    def save(self, far: Any) -> None:
        """Keep how far the search is. Raises KeyboardInterrupt if that has been waiting."""
        begun = monotonic()
        with alarm.unbroken():
            self._keep(far)
        self._saved = monotonic()
        self._wait = max(SELDOM, _TIMES * (self._saved - begun))
        if self._interrupted:
            raise KeyboardInterrupt

    @contextmanager
    def unbroken(self) -> Iterator[None]:
        """An interrupt makes a save due, a second one is one at once."""
        if threading.current_thread() is not threading.main_thread():
            yield
            return
        before = signal.getsignal(signal.SIGINT)

        def wait(_: int, __: FrameType | None) -> None:
            if self._interrupted:
                raise KeyboardInterrupt
            self._interrupted = True

        signal.signal(signal.SIGINT, wait)
        try:
            yield
        finally:
            signal.signal(signal.SIGINT, before)
