"""pulse-gap: two pulses on one line; the time from rise to rise picks the output."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Literal

from models.sending import one_by_one
from verify.language import expressions as ex
from verify.language.machine import Each, First, Machine, Rule
from verify.language.state import Bank, Put, Set, Signal, Start, Timer, mode
from verify.parts.monitor import Queue
from verify.parts.scheme import Place, Scheme
from verify.parts.signals import PRESS, decoded, far_rise, line_fall, line_rise

LINE = 0

Deviation = int | tuple[int, int]
"""Accepted from a gap, ticks: on either side, or ``(before, after)``."""


@dataclass(frozen=True)
class PulseGap(Scheme):
    """Times in ticks. ``gaps[i]``: rise to rise for input i; ``window[i]``: accepted deviation,
    either side or ``(before, after)``; ``depth``: presses kept by ``busy="queue"`` besides the
    one being sent.
    """

    gaps: tuple[int, ...]
    pulse: int
    window: tuple[Deviation, ...]
    busy: Literal["overlay", "ignore", "queue"] = "overlay"
    depth: int = 1
    receiver_kind: Literal["timer", "taps"] = "timer"
    on_miss: Literal["rearm", "disarm"] = "disarm"

    @property
    def inputs(self) -> int:
        """One per gap."""
        return len(self.gaps)

    @property
    def send_times(self) -> tuple[int, ...]:
        """Ticks that a send occupies the transmitter: both pulses and one low tick, without
        which the next send would melt into this one."""
        return tuple(gap + self.pulse + 1 for gap in self.gaps)

    @property
    def queue(self) -> Queue | None:
        """Presses wait only if ``busy`` says so."""
        return Queue(self.send_times, self.depth) if self.busy == "queue" else None

    @property
    def windows(self) -> tuple[tuple[int, int], ...]:
        """Accepted times from rise to rise, both ends included, per output."""
        each = zip(self.gaps, self._deviations, strict=True)
        return tuple((gap - before, gap + after) for gap, (before, after) in each)

    @property
    def _deviations(self) -> tuple[tuple[int, int], ...]:
        return tuple((w, w) if isinstance(w, int) else w for w in self.window)

    def unqueued(self) -> Scheme | None:
        """A press while another is sent is dropped."""
        return replace(self, busy="ignore") if self.busy == "queue" else None

    def per_input(self) -> dict[str, tuple[int, ...]]:
        """Columns for people, ticks: what tells one input from another."""
        before, after = zip(*self._deviations, strict=True)
        if before == after:
            return {"gap": self.gaps, "window": before}
        return {"gap": self.gaps, "before": before, "after": after}

    def settings(self) -> dict[str, str | int]:
        """Everything else: words, or numbers of ticks."""
        found: dict[str, str | int] = {
            "pulse": self.pulse,
            "busy": self.busy,
            "receiver": self.receiver_kind,
        }
        if self.busy == "queue":
            found["depth"] = str(self.depth)
        if self.receiver_kind == "timer":
            found["on_miss"] = self.on_miss
        return found

    def delays(self) -> dict[Place, tuple[int, ...]]:
        """The second pulse comes a gap after the first; the receiver looks a gap back."""
        return {"transmitter": self.gaps, "receiver": self.gaps}

    # -- transmitter ----------------------------------------------------------

    def transmitter(self) -> tuple[Machine, ...]:
        """The sender, which decides when pulses start, and the shaper, which makes them."""
        pulse = Signal("pulse")
        sender = self._overlay(pulse) if self.busy == "overlay" else self._one_by_one(pulse)
        return sender, self._shaper(pulse)

    def _shaper(self, pulse: Signal) -> Machine:
        """Pulses that touch or overlap are one pulse with one rise."""
        high = Timer("shaper.high", self.pulse)
        lengthen = high.start(self.pulse)
        return Machine(
            "shaper",
            (high,),
            (
                First(
                    (
                        Rule(
                            "pulse joins pulse",
                            pulse.happens() & (high.running() | high.expires()),
                            (lengthen,),
                        ),
                        Rule("rise", pulse.happens(), (lengthen, line_rise(LINE).emit())),
                        Rule("fall", high.expires(), (line_fall(LINE).emit(),)),
                    )
                ),
            ),
        )

    def _overlay(self, pulse: Signal) -> Machine:
        """Every press is sent at once, whatever else is on the line."""
        second = Bank("sender.second", ())
        pressed = PRESS.occurrence("p")
        gap = ex.Lookup(self.gaps, pressed["input"])
        return Machine(
            "sender",
            (second,),
            (
                Each(PRESS, "p", (second.put(gap), pulse.emit())),
                Each(second, "due", (pulse.emit(),), expired=True),
            ),
        )

    def _one_by_one(self, pulse: Signal) -> Machine:
        """One send at a time; a press meanwhile waits in a place of the queue, or is dropped."""
        second = Timer("sender.second", max(self.gaps))
        return one_by_one(
            self.send_times,
            self.depth if self.busy == "queue" else 0,
            lambda index: (second.start(ex.Lookup(self.gaps, index)), pulse.emit()),
            (second,),
            (Rule("second pulse", second.expires(), (pulse.emit(),)),),
        )

    # -- receiver -------------------------------------------------------------

    def receiver(self, branch: int, delay: int = 0) -> tuple[Machine, ...]:
        """The decoder of one branch."""
        return (self._timer(branch) if self.receiver_kind == "timer" else self._taps(branch),)

    def _timer(self, branch: int) -> Machine:
        """A rise arms; the next one is classified by elapsed time, and disarms."""
        name = f"receiver{branch}"
        longest = max(high for _, high in self.windows) + 1
        state = mode(f"{name}.mode", "disarmed", "armed")
        clock = Timer(f"{name}.clock", longest)  # runs out when no window can match any more
        rise = far_rise(LINE, branch).happens()
        output = ex.Find(self.windows, ex.Constant(longest) - clock.left)
        arm: tuple[Set | Start, ...] = (state.go("armed"), clock.start(longest))
        disarm = (state.go("disarmed"), clock.stop())
        return Machine(
            name,
            (state, clock),
            (
                First(
                    (
                        Rule("arm", rise & (state.at("disarmed") | clock.expires()), arm),
                        Rule(
                            "match", rise & (output >= 0), (decoded(branch).emit(output), *disarm)
                        ),
                        Rule("miss", rise, arm if self.on_miss == "rearm" else disarm),
                        Rule("too late", clock.expires(), disarm),
                    )
                ),
            ),
            possible=(state.at("armed") & clock.running())
            | (state.at("disarmed") & ~clock.running()),
        )

    def _taps(self, branch: int) -> Machine:
        """A delay line with a tap per gap: strikes wherever the line rose exactly a gap ago."""
        name = f"receiver{branch}"
        longest = max(high for _, high in self.windows) + 1
        rises = Bank(f"{name}.rises", ())
        rise = far_rise(LINE, branch).happens()
        output = ex.Find(self.windows, ex.Constant(longest) - rises.entry("then").left)
        remember: Put = rises.put(longest)
        return Machine(
            name,
            (rises,),
            (
                Rule(
                    "rise",
                    rise,
                    (
                        Each(
                            rises,
                            "then",
                            (Rule("tap", output >= 0, (decoded(branch).emit(output),)),),
                        ),
                        remember,
                    ),
                ),
            ),
        )
