"""The signals that the parts of every link share."""

from __future__ import annotations

from enum import IntEnum

from verify.language.state import Signal

# The operator moves a lever from where it is; what follows is a press or a release.
MOVE = Signal("move", ("input",))
# An input is pressed or let go, or a lever goes up or down.
PRESS = Signal("press", ("input",))
RELEASE = Signal("release", ("input",))


def line_rise(line: int) -> Signal:
    """The transmitter's end of a line goes high."""
    return Signal(f"line{line}.rise")


def line_fall(line: int) -> Signal:
    """The transmitter's end of a line goes low."""
    return Signal(f"line{line}.fall")


def far_rise(line: int, branch: int) -> Signal:
    """The receiver's end of a branch of a line goes high."""
    return Signal(f"line{line}.branch{branch}.rise")


def far_fall(line: int, branch: int) -> Signal:
    """The receiver's end of a branch of a line goes low."""
    return Signal(f"line{line}.branch{branch}.fall")


def decoded(branch: int) -> Signal:
    """The receiver on this branch took what came for a press of this input."""
    return Signal(f"decoded{branch}", ("input",))


def cleared(branch: int) -> Signal:
    """The receiver on this branch takes the input for let go; only where it can tell."""
    return Signal(f"cleared{branch}", ("input",))


def misframed(branch: int) -> Signal:
    """The receiver on this branch dropped a frame: where it must be idle the line was not."""
    return Signal(f"misframed{branch}")


def rest(branch: int) -> Signal:
    """An output of the receiver on this branch goes back to rest."""
    return Signal(f"rest{branch}", ("output",))


def strike(branch: int) -> Signal:
    """An output of the receiver on this branch acts."""
    return Signal(f"strike{branch}", ("output",))


def paused(end: str) -> Signal:
    """The clock of an end (``transmitter``, ``receiver``) stands still for so many ticks."""
    return Signal(f"pause.{end}.stops", ("ticks",))


def delivered(branch: int) -> Signal:
    """The monitor matched a strike to its press, ``latency`` ticks apart."""
    return Signal(f"delivered{branch}", ("input", "latency"))


def failure(branch: int) -> Signal:
    """The monitor found a failure: kind, output expected (-1: none) and got (-1: none).

    For levels both are the output, and ``kind`` says by which of the two it was noticed.
    """
    return Signal(f"failure{branch}", ("kind", "expected", "got"))


class Kind(IntEnum):
    """Kinds of failure (design: what "comes out right" means)."""

    GHOST = 0
    WRONG_OUTPUT = 1
    OUT_OF_ORDER = 2
    LOST = 3
    # Told from LOST only by looking further: the simulator does.
    LATE = 4
    FRAMING = 5

    @property
    def label(self) -> str:
        """The word used in traces."""
        return self.name.lower().replace("_", "-")


MISSED = frozenset(kind.label for kind in (Kind.LOST, Kind.LATE, Kind.FRAMING))
"""Kinds of failure of a strike that did not come in time."""
