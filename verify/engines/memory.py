"""How much memory a run may take. Asked between the steps of a search, which then stops and says
how far it got; of the solver's own memory, by the solver."""

from __future__ import annotations

import os
import resource
import sys
from pathlib import Path
from time import monotonic

MEGABYTE = 1 << 20
DEFAULT_MEGABYTES = 4_000
# Seconds between two looks.
SELDOM = 0.05
# Processes at work for this one have the same bound.
_VARIABLE = "FEWWIRE_MEMORY"
_STATM = Path("/proc/self/statm")


class _Bound:
    """The bound of this process."""

    def __init__(self) -> None:
        told = os.environ.get(_VARIABLE, "")
        self.megabytes = int(told) if told.isdigit() else DEFAULT_MEGABYTES
        self.looked = 0.0
        self.over = False


_bound = _Bound()


def allow(megabytes: int) -> None:
    """From now on this process, and those at work for it, may take so much memory each."""
    os.environ[_VARIABLE] = str(megabytes)
    _bound.megabytes, _bound.over, _bound.looked = megabytes, False, 0.0


def allowed() -> int:
    """In megabytes."""
    return _bound.megabytes


def exceeded() -> bool:
    """The bound was passed, as of a moment ago."""
    now = monotonic()
    if now - _bound.looked > SELDOM:
        _bound.looked = now
        _bound.over = used() > _bound.megabytes * MEGABYTE
    return _bound.over


def ran_out() -> str:
    """What a run had no more of when a search or step was ended: its memory or its time."""
    return "the memory was used up" if _bound.over else "the time was up"


def used() -> int:
    """Bytes of memory that this process has; the most that it had where nothing else is known."""
    try:
        return int(_STATM.read_bytes().split()[1]) * resource.getpagesize()
    except OSError:
        most = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
        return most if sys.platform == "darwin" else most * 1024
