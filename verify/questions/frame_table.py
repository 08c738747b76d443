"""Judge a table of codes that are sent in frames."""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction

from models.framed_serial import FramedSerial
from verify.engines.answer import Verdict
from verify.parts.link import Link
from verify.questions.code_table import code_faults
from verify.questions.evidence import Fault, verdict_of
from verify.tables.codes import repeated


@dataclass(frozen=True)
class FrameAnswer:
    """Codes in frames. Ticks: ``frame`` from a start edge to the next at the earliest, ``idle``
    of them low at the end at least; ``waiting``: from the last sample to the next start
    edge, above 0 if the receiver waits for it by then.
    """

    link: Link
    codes: tuple[int, ...]
    width: int
    repeated: list[tuple[int, int]]
    frame: int
    idle: int
    waiting: Fraction
    faults: list[Fault]

    @property
    def verdict(self) -> Verdict:
        """Of the table under the disturbances of the file."""
        return verdict_of(self.faults, [])


def judge_frames(link: Link, scheme: FramedSerial) -> FrameAnswer:
    """The table of a framed-serial link: codes distinct, frames back to back told apart."""
    bits = scheme.width - 1 + int(scheme.framing)
    votes = scheme.clock if scheme.votes == 3 else 0
    last = scheme.sample + bits * scheme.bit + votes + scheme.edge[1]
    # The start edge may come late and the next in time; a fast clock makes frames short.
    wander = link.clock.wander * (1 + scheme.width + scheme.stop)
    waiting = scheme.frame * (1 + link.clock.rate[0]) - wander - link.faults.jitter - last
    faults = code_faults(scheme.codes, scheme.width, idle_is_free=False)
    if waiting <= 0:
        ticks = f"{-waiting} tick{'s' * (waiting != -1)}"
        why = f"the last sample may come {ticks} after the start edge of the next frame"
        faults.append(Fault((), why))
    return FrameAnswer(
        link,
        scheme.codes,
        scheme.width,
        repeated(scheme.codes),
        scheme.frame,
        max(scheme.stop * scheme.bit, 1),
        waiting,
        faults,
    )
