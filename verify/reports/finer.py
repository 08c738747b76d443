"""Runs in parts of a tick, for pictures: the link and its windows, measured as the run is."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from fractions import Fraction

from verify.engines.trace import Script, Trace
from verify.parts.clock import PERIOD
from verify.parts.link import Link
from verify.parts.monitor import Windows
from verify.units import Ticks, decimal_text, duration_text

LOOSE = (
    "There may be a smaller run that fails: making this one smaller took longer than the time "
    "allowed (`--time`)."
)


def measured(
    link: Link, windows: tuple[Windows, ...] | None, script: Script
) -> tuple[Link, tuple[Windows, ...] | None]:
    """Both with the run's parts of a tick for ticks; only what pictures and words read."""
    parts = script.resolution
    if parts == 1:
        return link, windows
    # Lengths of sends are given in the clock's own ticks.
    period = dict(script.constants).get(PERIOD, parts)
    if windows is not None:
        windows = tuple(_windows(w, parts, period) for w in windows)
    finer = replace(
        link,
        tick=link.tick / parts,
        delay=(link.delay[0] * parts, link.delay[1] * parts),
        branches=tuple(extra * parts for extra in link.branches),
        within=None,
    )
    return finer, windows


def _windows(windows: Windows, parts: int, period: int) -> Windows:
    def scaled(times: Sequence[Ticks]) -> tuple[int, ...]:
        return tuple(int(t * parts) for t in times)

    queue = windows.queue
    if queue is not None:
        queue = replace(queue, sends=tuple(send * period for send in queue.sends))
    return Windows(scaled(windows.earliest), scaled(windows.latest), windows.shift * parts, queue)


def error_of(script: Script) -> Fraction | None:
    """The relative error of the transmitter's clock in a run; None if the run has none."""
    period = dict(script.constants).get(PERIOD)
    return None if period is None else Fraction(period, script.resolution) - 1


def error_text(error: Fraction) -> str:
    """``"-4.375 % (-7/160)"``."""
    return f"{decimal_text(100 * error)} % ({error})"


def run_notes(link: Link, trace: Trace) -> str:
    """What one tick of such a run is, how far the clock is off in it, and whether a smaller one
    may fail; empty for others."""
    told = []
    script = trace.script
    error = error_of(script)
    if error is not None:
        told.append(f"In this run the transmitter's clock is off by {error_text(error)}.")
    if script.resolution != 1:
        size = duration_text(link.tick / script.resolution)
        told.append(
            f"Ticks of this run are parts of the file's tick, {script.resolution} to one "
            f"({size} each)."
        )
    if trace.loose:
        told.append(LOOSE)
    return " ".join(told)


def as_filed(link: Link, script: Script) -> Link:
    """The link again whose ``measured`` one is ``link``, but for its ``within``."""
    parts = script.resolution
    if parts == 1:
        return link
    return replace(
        link,
        tick=link.tick * parts,
        delay=(link.delay[0] // parts, link.delay[1] // parts),
        branches=tuple(extra // parts for extra in link.branches),
        within=None,
    )
