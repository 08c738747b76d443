"""A search kept on the way, so that it can go on in another process.

An engine saves what it has between two steps: now and then, where its time is up, and where it is
interrupted, which then waits for the end of the step.
"""

from __future__ import annotations

import signal
import threading
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from time import monotonic
from types import FrameType
from typing import Any

from verify.engines import alarm
from verify.engines.search_file import SearchFile
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
    far it is (lists, numbers, texts). ``rows``: where a search on rows of numbers is kept."""

    def __init__(
        self, found: Any, keep: Callable[[Any], None], rows: SearchFile | None = None
    ) -> None:
        self.found, self._keep, self.rows = found, keep, rows
        self._saved, self._wait = monotonic(), SELDOM
        self._interrupted = False

    def due(self) -> bool:
        """It is time to save."""
        return self._interrupted or monotonic() - self._saved > self._wait

    def save(self, far: Any) -> None:
        """Keep how far the search is. Raises KeyboardInterrupt if that has been waiting."""
        self._done(lambda: self._keep(far))

    def save_rows(self, head: Mapping[str, Any], rows: Sequence[Any]) -> None:
        """As ``save``, of a search on rows."""
        there = self.rows
        if there is not None:
            self._done(lambda: there.save(head, rows))

    def _done(self, keep: Callable[[], None]) -> None:
        begun = monotonic()
        with alarm.unbroken():
            keep()
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
