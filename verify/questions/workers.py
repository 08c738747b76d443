"""Many independent pieces of work on several processors."""

from __future__ import annotations

import os
import signal
import threading
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from functools import cache
from time import sleep
from typing import TypeVar

A = TypeVar("A")
B = TypeVar("B")

_LOOK = 0.5  # seconds between two looks at who the parent is


def each(work: Callable[[A], B], tasks: Sequence[A], jobs: int) -> Iterator[tuple[int, B]]:
    """The number of every task with what ``work`` makes of it, in the order they end.

    ``jobs``: processes; with 1 everything is done here. ``work`` must be a function of a
    module, and its results must not depend on who does it.
    """
    if jobs == 1 or len(tasks) < 2:
        yield from ((k, work(task)) for k, task in enumerate(tasks))
        return
    # Imported late: it brings numpy along.
    from joblib import Parallel, delayed

    pool = Parallel(jobs, return_as="generator_unordered", batch_size=1)
    with _uninterrupted():
        me = os.getpid()
        answers = pool(delayed(_one)(work, k, task, me) for k, task in enumerate(tasks))
    yield from answers


def _one(work: Callable[[A], B], number: int, task: A, asker: int) -> tuple[int, B]:
    if os.getppid() == asker:
        _end_with(asker)
    return number, work(task)


@cache
def _end_with(parent: int) -> None:
    """End this process when its parent has: one that was killed cannot tell it to."""

    def watch() -> None:
        while os.getppid() == parent:
            sleep(_LOOK)
        os._exit(1)

    threading.Thread(target=watch, daemon=True).start()


@contextmanager
def _uninterrupted() -> Iterator[None]:
    """Processes born meanwhile never see Ctrl-C: their parent does, and ends them itself."""
    if threading.current_thread() is not threading.main_thread():
        yield
        return
    before = signal.signal(signal.SIGINT, signal.SIG_IGN)
    try:
        yield
    finally:
        signal.signal(signal.SIGINT, before)


def processors() -> int:
    """How many this process may use."""
    from joblib import cpu_count

    return int(cpu_count())
