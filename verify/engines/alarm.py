"""The end of a run's time or memory, wherever the run is.

Searches look at the clock, and at their memory, between two steps and then say how far they got.
What takes long without a look (a link of very many inputs that is put together) is ended by an
alarm, a little later. In the main thread only, where there are such signals; elsewhere nothing
happens.
"""

from __future__ import annotations

import signal
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from time import monotonic
from types import FrameType

from verify.engines import memory
from verify.engines.answer import OutOfTimeError

# Seconds that a search has to say how far it got, and between two alarms, should one be caught.
GRACE, AGAIN = 1.0, 0.5
# Seconds between two looks at the memory.
LOOK = 0.2


class RungError(OutOfTimeError):
    """Time or memory was used up in the middle of something that does not look at them."""

    def __init__(self) -> None:
        super().__init__()
        self.covered = f"nothing: {self.ended} before it could be asked"

    def __str__(self) -> str:
        return f"undecided: {self.ended} in the middle of a step, before anything was known"


class _Alarm:
    """Of this process. ``until``: when it rings, None: it does not; ``quiet``: what must not be
    broken is under way; ``late``: it was heard late; ``over``: when there was too much memory in
    use, for the first time of those in a row."""

    until: float | None = None
    over: float | None = None
    quiet, late = 0, False


_alarm = _Alarm()


def set_off(seconds: float) -> None:
    """From now on there are so many seconds."""
    if threading.current_thread() is not threading.main_thread() or not hasattr(signal, "SIGALRM"):
        return
    _alarm.until, _alarm.over, _alarm.late = monotonic() + seconds + GRACE, None, False
    signal.signal(signal.SIGALRM, _ring)
    signal.setitimer(signal.ITIMER_REAL, min(seconds + GRACE, LOOK))


def later(seconds: float) -> None:
    """What begins now may take so long."""
    _alarm.over = None
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
    now = monotonic()
    left = _alarm.until - now
    if not memory.exceeded():
        _alarm.over = None
    elif _alarm.over is None:
        _alarm.over = now
    if left > 0:
        signal.setitimer(signal.ITIMER_REAL, min(left, LOOK))
        ends = _alarm.over is not None and now - _alarm.over >= GRACE
    else:
        signal.setitimer(signal.ITIMER_REAL, AGAIN)
        # Heard late: a solver has only now come back, and what asked it may still answer.
        ends = left >= -AGAIN or _alarm.late
        _alarm.late = True
    if ends and not _alarm.quiet:
        _alarm.over = None
        raise RungError
