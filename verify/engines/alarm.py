"""The end of a run's time, wherever the run is.

Searches look at the clock between two steps and then say how far they got. What takes long
without a look (a link of very many inputs that is put together) is ended by an alarm, a little
later. In the main thread only, where there are such signals; elsewhere nothing happens.
"""

from __future__ import annotations

import signal
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from time import monotonic
from types import FrameType

from verify.engines.answer import OutOfTimeError

# Seconds that a search has to say how far it got, and between two alarms, should one be caught.
GRACE, AGAIN = 1.0, 0.5


class RungError(OutOfTimeError):
    """The time was up in the middle of something that does not look at the clock."""

    def __init__(self) -> None:
        super().__init__()
        self.covered = "nothing: the time was up before it could be asked"

    def __str__(self) -> str:
        return "undecided: the time was up in the middle of a step, before anything was known"


class _Alarm:
    """Of this process. ``until``: when it rings, None: it does not; ``quiet``: what must not be
    broken is under way; ``late``: it was heard late."""

    until: float | None = None
    quiet, late = 0, False


_alarm = _Alarm()


def set_off(seconds: float) -> None:
    """From now on there are so many seconds."""
    if threading.current_thread() is not threading.main_thread() or not hasattr(signal, "SIGALRM"):
        return
    _alarm.until, _alarm.late = monotonic() + seconds + GRACE, False
    signal.signal(signal.SIGALRM, _ring)
    signal.setitimer(signal.ITIMER_REAL, seconds + GRACE)


def later(seconds: float) -> None:
    """What begins now may take so long."""
    if _alarm.until is not None:
        _alarm.until = max(_alarm.until, monotonic() + seconds + GRACE)


def turn_off() -> None:
    """The search is over."""
    if _alarm.until is not None:
        _alarm.until = None
        signal.setitimer(signal.ITIMER_REAL, 0)
        signal.signal(signal.SIGALRM, signal.SIG_DFL)


@contextmanager
def unbroken() -> Iterator[None]:
    """What is done here is done to its end, and what comes then has its grace."""
    _alarm.quiet += 1
    try:
        yield
    finally:
        _alarm.quiet -= 1
        later(0)


def _ring(_: int, __: FrameType | None) -> None:
    if _alarm.until is None:
        return
    left = _alarm.until - monotonic()
    signal.setitimer(signal.ITIMER_REAL, max(left, AGAIN))
    if left < -AGAIN and not _alarm.late:
        # Heard late: a solver has only now come back, and what asked it may still answer.
        _alarm.late = True
    elif left <= 0 and not _alarm.quiet:
        raise RungError
