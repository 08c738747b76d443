"""What a judged table is found at fault for, and runs of the simulator that show it."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from verify.engines.answer import Verdict
from verify.engines.lone import Lone, true_windows
from verify.engines.simulator import NotAllowedError, replay
from verify.engines.trace import Script, Trace
from verify.parts.clock import Clock
from verify.parts.link import Link


@dataclass(frozen=True)
class Fault:
    """``entries`` of the table, numbered from 0, that are wrong or do not go together, and why.

    ``named``: the sentence names them already as inputs.
    """

    entries: tuple[int, ...]
    why: str
    named: bool = False


def verdict_of(faults: Sequence[Fault], undecided: Sequence[str]) -> Verdict:
    """Fails with a fault; undecided with a question left open; else holds."""
    if faults:
        return Verdict.FAILS
    return Verdict.UNDECIDED if undecided else Verdict.HOLDS


def failing_run(
    link: Link, times: Sequence[int], unsure: int, scripts: Iterable[Script]
) -> Trace | None:
    """The first of these runs that the operator may do and in which something comes out wrong.

    ``times``: per input, ticks from a lone press to its strike over a perfect line without delay;
    ``unsure``: by how much disturbances may make it later. None also where the transmitter's
    clock may be off: then nothing is tried.
    """
    if link.clock != Clock():
        return None
    earliest = tuple(time + link.faults.proving for time in times)
    latest = tuple(time + unsure for time in earliest)
    windows = true_windows(link, Lone(earliest, latest, latest, rests=True))
    for script in scripts:
        try:
            trace = replay(link, windows, script)
        except NotAllowedError:
            continue
        if trace.failure is not None:
            return trace
    return None
