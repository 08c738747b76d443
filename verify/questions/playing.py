"""The run of a given sequence of presses, each at its own tick."""

from __future__ import annotations

from fractions import Fraction
from math import lcm

from verify.engines.simulator import NotAllowedError
from verify.engines.trace import Press, Script, Trace
from verify.errors import UsageError
from verify.fields import printable
from verify.parts.clock import PERIOD
from verify.pressfile import load_presses
from verify.questions.judging import Subject
from verify.units import ticks_text


def played(subject: Subject, path: str) -> Trace:
    """What the simulator makes of the presses (or moves) of a CSV file, clocks at the right rate
    and everything else unknown at its least.

    Raises LinkFileError, and UsageError where the operator may not do it.
    """
    link = subject.link
    wanted = load_presses(path, link.names, link.tick)
    shown = printable(path)
    if len(wanted) > 1 and not any(want.not_before for want in wanted):
        raise UsageError(
            f"{shown}: found no times; allowed: a column tick or time that says when each "
            f"{'press' if link.kind == 'press' else 'move'} comes"
        )
    resolution = lcm(link.clock.resolution, *(w.resolution for w in subject.windows))
    presses = sorted(Press(want.not_before * resolution, want.input) for want in wanted)
    # Clocks are right, all else that nobody knows is at its least.
    constants = ((PERIOD, resolution),) if link.clock.rated else ()
    delay = link.delay[0] * resolution
    script = Script(tuple(presses), delay, constants=constants, resolution=resolution)
    try:
        return subject.replay(script)
    except NotAllowedError as error:
        tick = _forbidden(subject, script)
        raise UsageError(
            f"{shown}: found a {'press' if link.kind == 'press' else 'move'} at "
            f"{ticks_text(tick, link.tick)} that the operator of the link may not do; allowed: "
            "what [operator] of the link file says"
            + (f", and nothing before tick {link.cold - 1}" if link.cold else "")
        ) from error


def _forbidden(subject: Subject, script: Script) -> Fraction | int:
    """Ticks of the first press that is one too many."""
    ticks = sorted({press.tick for press in script.presses})
    for tick in ticks:
        some = Script(
            tuple(p for p in script.presses if p.tick <= tick),
            script.delay,
            constants=script.constants,
            resolution=script.resolution,
        )
        try:
            subject.replay(some)
        except NotAllowedError:
            exact = Fraction(tick, script.resolution)
            return int(exact) if exact.denominator == 1 else exact
    return 0
