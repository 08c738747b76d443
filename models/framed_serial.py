"""framed-serial: a start pulse, then the code of the input bit by bit on one line."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from models.levels import Driver, Listener
from models.sending import one_by_one
from verify.language import expressions as ex
from verify.language.machine import Each, First, Machine, Rule, Statement
from verify.language.state import Bank, Signal, Timer, mode, number
from verify.parts.monitor import Queue
from verify.parts.scheme import Scheme
from verify.parts.signals import PRESS, decoded

LINE = 0
BEGIN = Signal("begin", ("input",))


@dataclass(frozen=True)
class FramedSerial(Scheme):
    """Times in ticks. ``codes[i]``: the code of input i, sent in ``width`` bits, least first.

    ``bit``: length of each bit and of the start pulse; ``sample``: from the start edge to the
    first sample, the others each a bit later; ``stop``: bits of idle line that end a frame;
    ``busy``, ``depth``: as for pulse-gap.
    """

    codes: tuple[int, ...]
    width: int
    bit: int
    sample: int
    stop: int = 1
    busy: Literal["overlay", "ignore", "queue"] = "overlay"
    depth: int = 1

    @property
    def inputs(self) -> int:
        """One per code."""
        return len(self.codes)

    @property
    def frame(self) -> int:
        """Ticks of a frame: start, code, and idle line after it (at least the tick of its fall)."""
        return max((1 + self.width + self.stop) * self.bit, (1 + self.width) * self.bit + 1)

    @property
    def queue(self) -> Queue | None:
        """Presses wait only if ``busy`` says so."""
        return Queue((self.frame,) * self.inputs, self.depth) if self.busy == "queue" else None

    def per_input(self) -> dict[str, tuple[int, ...]]:
        """The codes, as numbers."""
        return {"code": self.codes}

    def settings(self) -> dict[str, str | int]:
        """Everything else: words, or numbers of ticks."""
        found: dict[str, str | int] = {
            "bit": self.bit,
            "sample": self.sample,
            "frame": self.frame,
            "code": f"{self.width} bits, stop {self.stop}",
            "busy": self.busy,
        }
        if self.busy == "queue":
            found["depth"] = str(self.depth)
        return found

    # -- transmitter ----------------------------------------------------------

    def transmitter(self) -> tuple[Machine, ...]:
        """The sender, which decides when frames start, and the shaper, which makes them."""
        pressed = PRESS.occurrence("p")["input"]
        if self.busy == "overlay":
            sender = Machine("sender", (), (Each(PRESS, "p", (BEGIN.emit(pressed),)),))
        else:
            places = self.depth if self.busy == "queue" else 0
            times = (self.frame,) * self.inputs
            sender = one_by_one(times, places, lambda index: (BEGIN.emit(index),), (), ())
        return sender, self._shaper()

    def _shaper(self) -> Machine:
        """Every frame under way drives the line by its present bit; frames may overlap."""
        # The bits of all frames in one table; a frame under way is a place in it.
        length = 1 + self.width
        bits = tuple(
            b for code in self.codes for b in (1, *(code >> k & 1 for k in range(self.width)))
        )
        goes_on = tuple(int((at + 1) % length > 0) for at in range(len(bits)))
        after = tuple(bits[at + 1] if goes_on[at] else 0 for at in range(len(bits)))
        starts = tuple(range(0, len(bits), length))

        sending = Bank("shaper.sending", ("at",))
        driver = Driver("shaper", LINE, 10**6)
        at = sending.entry("s")["at"]
        begun = BEGIN.occurrence("b")["input"]
        driven = driver.driven
        stepped = Signal("shaper.stepped")
        step = driven.set(driven.read() - ex.Lookup(bits, at) + ex.Lookup(after, at))
        body: list[Statement] = [
            Each(
                sending,
                "s",
                (
                    step,
                    Rule(
                        "next bit",
                        ex.Lookup(goes_on, at).eq(1),
                        (sending.put(self.bit, at + 1),),
                    ),
                    stepped.emit(),
                ),
                expired=True,
            ),
            Each(
                BEGIN,
                "b",
                (
                    driven.set(driven.read() + 1),
                    sending.put(self.bit, ex.Lookup(starts, begun)),
                ),
            ),
        ]
        moved = BEGIN.happens() | stepped.happens()
        body += driver.edges(moved)
        return Machine("shaper", (sending, *driver.memory), tuple(body))

    # -- receiver -------------------------------------------------------------

    def receiver(self, branch: int, delay: int = 0) -> tuple[Machine, ...]:
        """A rise at rest starts a frame; each sample adds its bit."""
        name = f"receiver{branch}"
        line = Listener(name, LINE, branch)
        state = mode(f"{name}.mode", "waiting", "reading")
        clock = Timer(f"{name}.clock", max(self.sample, self.bit))
        place = number(f"{name}.place", 0, self.width)
        code = number(f"{name}.code", 0, (1 << self.width) - 1)
        weights = tuple(1 << k for k in range(self.width))
        known = ex.Find(tuple((c, c) for c in self.codes), code.read())
        rest = (state.go("waiting"), place.set(0), code.set(0))
        body: tuple[Statement, ...] = (
            *line.follow(),
            First(
                (
                    Rule(
                        "sample",
                        clock.expires(),
                        (
                            Rule(
                                "a one",
                                line.high.up(),
                                (code.set(code.read() + ex.Lookup(weights, place.read())),),
                            ),
                            place.set(place.read() + 1),
                            First(
                                (
                                    Rule(
                                        "next bit",
                                        place.read() < self.width,
                                        (clock.start(self.bit),),
                                    ),
                                    Rule(
                                        "a code",
                                        known >= 0,
                                        (decoded(branch).emit(known), *rest),
                                    ),
                                    Rule("no code", ex.Truth(True), rest),
                                )
                            ),
                        ),
                    ),
                    Rule(
                        "start edge",
                        line.rises & state.at("waiting"),
                        (state.go("reading"), clock.start(self.sample)),
                    ),
                )
            ),
        )
        memory = (line.high, state, clock, place, code)
        return (Machine(name, memory, body),)
