"""Framed serial whose frames follow each other without a pause, at the transmitter's own pace."""

from __future__ import annotations

from dataclasses import dataclass, fields, replace

from models.framed_serial import BEGIN, FramedSerial
from verify.language.machine import Each, Machine, Rule
from verify.language.state import Timer, number
from verify.parts.signals import PRESS


@dataclass(frozen=True)
class BackToBack(FramedSerial):
    """Every press sends a frame that no input has, code ``filler``, and right after its stop
    bits a frame of its own: two frames as close as a transmitter's queue sends them. The
    receiver has to be ready in time for the second, whatever it makes of the first."""

    filler: int = 0

    @classmethod
    def after(cls, scheme: FramedSerial, filler: int) -> BackToBack:
        """The same scheme with the filler before each frame."""
        own = {field.name: getattr(scheme, field.name) for field in fields(FramedSerial)}
        return cls(**own, filler=filler)

    def transmitter(self) -> tuple[Machine, ...]:
        # The shaper that makes one frame at a time.
        both = replace(self, codes=(*self.codes, self.filler), busy="ignore")
        over = Timer("sender.over", self.frame)
        waiting = number("sender.waiting", 0, self.inputs - 1)
        pressed = PRESS.occurrence("p")["input"]
        first = (
            BEGIN.emit(self.inputs),
            waiting.set(pressed),
            over.start(self.frame),
        )
        own = (BEGIN.emit(waiting.read()), waiting.set(0))
        sender = Machine(
            "sender",
            (over, waiting),
            (Each(PRESS, "p", first), Rule("its own frame", over.expires(), own)),
        )
        return sender, FramedSerial._shaper(both)
