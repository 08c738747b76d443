"""Cells found out by joblib: in processes of this machine, or by a Dask cluster."""

from __future__ import annotations

import logging
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import CancelledError
from contextlib import closing, contextmanager
from importlib import import_module
from typing import Any

from verify.errors import FewwireError, UsageError
from verify.questions.workers import each
from verify.sweeps.cells import Result, find, task, version
from verify.sweeps.file import Sweep

DASK_SECONDS = 10  # for a scheduler to answer, and for a worker to be there
# A worker may be killed by chance, or by what it works on; the latter comes again.
_MOST_DEATHS = 3


def run(sweep: Sweep, numbers: Sequence[int], jobs: int, told: Callable[[Result], None]) -> None:
    """Find out about cells, in ``jobs`` processes of this machine; with 1 in this one.

    ``told`` has each result as soon as it is there, in any order. Raises FewwireError where
    workers are killed again and again.
    """
    if jobs == 1:
        _tell(sweep, numbers, 1, told)
        return
    from joblib.externals.loky.process_executor import TerminatedWorkerError

    left, deaths = set(numbers), 0

    def tell(result: Result) -> None:
        nonlocal deaths
        left.discard(result.cell)
        deaths = 0
        told(result)

    while left:
        try:
            _tell(sweep, sorted(left), jobs, tell)
        except TerminatedWorkerError:
            deaths += 1
            if deaths == _MOST_DEATHS:
                raise FewwireError(
                    "workers: found that they are killed again and again, perhaps for want of "
                    "memory; allowed: fewer --jobs, or less --memory for each"
                ) from None


def _tell(sweep: Sweep, numbers: Sequence[int], jobs: int, told: Callable[[Result], None]) -> None:
    tasks = [task(sweep, number) for number in numbers]
    with closing(each(find, tasks, jobs)) as found:  # type: ignore[type-var]
        for _, result in found:
            told(result)


def check_dask(address: str) -> None:
    """Raise UsageError, before long work, where Dask is not installed."""
    try:
        import_module("distributed")
    except ImportError:
        raise UsageError(
            f'--dask {address}: found no dask; allowed: with it (pip install "fewwire[dask]")'
        ) from None


def run_on_dask(
    sweep: Sweep, numbers: Sequence[int], address: str, told: Callable[[Result], None]
) -> None:
    """The same on the workers of a Dask scheduler, which need the same fewwire.

    A worker that dies gives its cells to others. Raises UsageError where there is no such
    scheduler, no worker, or another fewwire.
    """
    from joblib import parallel_config

    distributed: Any = import_module("distributed")
    try:
        with _client(address) as client, parallel_config(backend="dask", client=client):
            _tell(sweep, numbers, -1, told)
    except distributed.KilledWorker:
        raise FewwireError(
            f"--dask {address}: found a cell whose workers are killed again and again, perhaps for "
            "want of memory; allowed: fewer workers on a machine, or less --memory for each"
        ) from None
    except (CancelledError, TimeoutError, distributed.comm.CommClosedError):
        raise FewwireError(
            f"--dask {address}: found that the scheduler has gone; allowed: one that stays (the "
            "same command goes on from there)"
        ) from None


@contextmanager
def _client(address: str) -> Iterator[Any]:
    distributed: Any = import_module("distributed")
    # What is said on stderr is said in one line.
    logging.getLogger("distributed").setLevel(logging.CRITICAL)
    try:
        client = distributed.Client(address, timeout=DASK_SECONDS, set_as_default=False)
    except (OSError, ValueError, ImportError) as error:
        raise UsageError(
            f"--dask {address}: found no scheduler there ({type(error).__name__}); allowed: the "
            'address of a running one, like "tcp://192.168.0.2:8786"'
        ) from None
    try:
        _check_workers(client, address)
        yield client
    finally:
        client.close(timeout=1)


def _check_workers(client: Any, address: str) -> None:
    try:
        client.wait_for_workers(1, timeout=DASK_SECONDS)
    except TimeoutError:
        raise UsageError(
            f"--dask {address}: found no worker; allowed: one or more within {DASK_SECONDS} s"
        ) from None
    for worker, theirs in client.run(version, on_error="return").items():
        if theirs != version():
            other = theirs if isinstance(theirs, str) else "no fewwire that answers"
            raise UsageError(
                f"--dask {address}: found {other} on the worker {worker}; allowed: fewwire "
                f"{version()} on all of them, as here"
            )
