"""Many independent pieces of work on several processors."""

from __future__ import annotations

import os
import signal
import threading
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from time import sleep
from typing import TypeVar

from verify.allowed_code import Arrived, blamed_line
from verify.errors import FewwireError

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

    born = {"initializer": _end_with, "initargs": (os.getpid(),)}  # of processes of our own
    pool = Parallel(jobs, return_as="generator_unordered", batch_size=1, **born)
    with _uninterrupted():
        arrived = Arrived()
        answers = pool(delayed(_one)(arrived, work, k, task) for k, task in enumerate(tasks))
    yield from answers


def _one(_: Arrived, work: Callable[[A], B], number: int, task: A) -> tuple[int, B]:
    try:
        return number, work(task)
    except FewwireError:
        raise
    except Exception as error:
        # Where it was raised is known here, and not where it is told.
        if (told := blamed_line(error)) is None:
            raise
        raise FewwireError(told) from None


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
