"""wire-per-input: one line each. The baseline that every other scheme is held against."""

from __future__ import annotations

from dataclasses import dataclass

from verify.language.machine import Each, Machine, Rule
from verify.parts.clock import ON_TIME, Clock
from verify.parts.scheme import Scheme
from verify.parts.signals import (
    PRESS,
    RELEASE,
    cleared,
    decoded,
    far_fall,
    far_rise,
    line_fall,
    line_rise,
)


@dataclass(frozen=True)
class WirePerInput(Scheme):
    """A line is high while its input is held; its output strikes when it rises."""

    count: int

    @property
    def watches_release(self) -> bool:
        """A line goes low when its input is let go."""
        return True

    @property
    def inputs(self) -> int:
        """As many as lines."""
        return self.count

    @property
    def lines(self) -> int:
        """One line per input."""
        return self.inputs

    def per_input(self) -> dict[str, tuple[int, ...]]:
        """Nothing but the number of the line tells one input from another."""
        return {"line": tuple(range(1, self.inputs + 1))}

    def settings(self) -> dict[str, str | int]:
        """No parameters."""
        return {}

    def transmitter(self) -> tuple[Machine, ...]:
        """One machine per input."""
        pressed, gone = PRESS.occurrence("p"), RELEASE.occurrence("r")
        return tuple(
            Machine(
                f"transmitter{i}",
                (),
                (
                    Each(
                        PRESS, "p", (Rule("press", pressed["input"].eq(i), (line_rise(i).emit(),)),)
                    ),
                    Each(
                        RELEASE,
                        "r",
                        (Rule("release", gone["input"].eq(i), (line_fall(i).emit(),)),),
                    ),
                ),
            )
            for i in range(self.inputs)
        )

    def receiver(self, branch: int, delay: int = 0) -> tuple[Machine, ...]:
        """One machine per output."""
        return tuple(
            Machine(
                f"receiver{branch}.{i}",
                (),
                (
                    Rule("rise", far_rise(i, branch).happens(), (decoded(branch).emit(i),)),
                    Rule("fall", far_fall(i, branch).happens(), (cleared(branch).emit(i),)),
                ),
            )
            for i in range(self.inputs)
        )

    def split(self) -> tuple[tuple[WirePerInput, tuple[int, ...]], ...]:
        """Every line is a link of its own."""
        return tuple((WirePerInput(1), (i,)) for i in range(self.inputs))

    def alone(
        self, index: int, unrest: int = 0, clock: Clock = ON_TIME, clash: bool = True
    ) -> tuple[tuple[WirePerInput, tuple[int, ...]], ...]:
        """Its own line decides."""
        return ((WirePerInput(1), (index,)),)
