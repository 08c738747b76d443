"""Links on a clock of unknown rate that are at rest whenever a press comes: lone presses decide.

The solver has followed each press alone, at all rates at once and with all that the world may
pick: see ``engines/lone_rate.py``. If every run of it strikes its own output once and nothing
else, and ends as the link was at power-up, then so does every press of a sequence whose presses
are further apart than the longest of these runs, by induction on their number.
"""

from __future__ import annotations

from verify.engines.answer import Answer, Verdict
from verify.engines.lone import Lone
from verify.parts.link import Link
from verify.parts.monitor import Windows


def by_rest(link: Link, windows: Windows, lone: Lone) -> Answer | None:
    """A proof; None where this argument says nothing."""
    if lone.apart is None or link.operator.spacing < lone.apart or not lone.rests:
        return None
    if link.operator.together:
        return None
    if windows.queue is not None or windows.slopes is not None or not _in_time(windows, lone):
        return None
    if link.pause.most or link.any_start:
        return None
    covered = f"induction on presses, each from rest, {lone.apart} ticks apart or more"
    return Answer(Verdict.HOLDS, "solver", None, covered, True)


def _in_time(windows: Windows, lone: Lone) -> bool:
    """All strikes of lone presses are when they are due, whatever the line's delay."""
    dues = zip(windows.earliest, windows.latest, lone.earliest, lone.latest, strict=True)
    return all(
        first is not None and last is not None and a <= first and last + windows.shift <= b
        for a, b, first, last in dues
    )
