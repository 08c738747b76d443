"""What a judged table is found at fault for, and runs of the simulator that show it."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass

from verify.engines.answer import Verdict
from verify.engines.lone import Lone, true_windows
from verify.engines.shrink import shrink
from verify.engines.simulator import NotAllowedError, replay
from verify.engines.trace import Press, Script, Trace
from verify.parts.clock import PERIOD
from verify.parts.link import Link
from verify.units import whole


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
    link: Link, times: tuple[int, ...], unsure: int, scripts: Iterable[Script]
) -> Trace | None:
    """The first of these runs that the operator may do and in which something comes out wrong.

    ``times``: per input, ticks from a lone press to its strike over a perfect line without delay;
    ``unsure``: by how much disturbances may make it later. A clock whose rate may be off is
    right in these runs. None also where periods may wander: then nothing is tried.
    """
    clock = link.clock
    if clock.wander:
        return None
    least, most = (1 + error for error in clock.rate)
    earliest = tuple(whole(time * least + link.faults.proving) for time in times)
    latest = tuple(whole(time * most + link.faults.proving + unsure) for time in times)
    windows = true_windows(link, Lone(earliest, latest, times, rests=True))
    if clock.rated:
        scripts = [_on_time(script, clock.resolution) for script in scripts]

    def run(script: Script) -> Trace | None:
        try:
            trace = replay(link, windows, script)
        except NotAllowedError:
            return None
        return trace if trace.failure is not None else None

    for script in scripts:
        if (shown := run(script)) is not None:
            return _smallest(shown, run)
    return None


def _smallest(trace: Trace, run: Callable[[Script], Trace | None]) -> Trace:
    """Of the runs in which the same comes out wrong."""

    def wrong(trace: Trace | None) -> tuple[str, str] | None:
        failure = None if trace is None else trace.failure
        return None if failure is None else (failure.kind, failure.output)

    small = shrink(trace.script, lambda script: wrong(run(script)) == wrong(trace))
    return run(small.script) or trace


def _on_time(script: Script, parts: int) -> Script:
    """The same in parts of a tick, with a transmitter's clock that is right."""
    return Script(
        tuple(Press(press.tick * parts, press.input) for press in script.presses),
        script.delay * parts,
        constants=((PERIOD, parts),),
        resolution=parts,
    )
