"""What a scheme must say about itself; the schemes are in ``models``."""

from __future__ import annotations

from abc import ABC, abstractmethod
from collections.abc import Hashable, Mapping
from dataclasses import replace
from typing import Literal

from verify.language.machine import Machine
from verify.language.state import Timer
from verify.parts.clock import ON_TIME, Clock
from verify.parts.monitor import Queue
from verify.parts.script import Script
from verify.units import Ticks

Place = Literal["transmitter", "receiver"]
"""Of the line, where a scheme has something to build."""


class Scheme(ABC):
    """A family of links with its parameters filled in.

    A scheme author writes machines and a few facts, nothing engine-specific. Schemes are
    frozen dataclasses: equal ones behave alike.
    """

    @property
    def watches_release(self) -> bool:
        """The transmitter sees when an input is let go."""
        return False

    @property
    @abstractmethod
    def inputs(self) -> int:
        """Number of inputs, and of outputs."""

    @property
    def lines(self) -> int:
        """Number of lines."""
        return 1

    @property
    def warm_up(self) -> int:
        """Ticks after power-up before inputs change: until then a scan has not met every slot."""
        return 0

    @property
    def drops_when(self) -> str:
        """In which case its receiver drops a frame, in words; empty if only its rules know."""
        return ""

    @property
    def step(self) -> int | None:
        """Ticks of one period of the transmitter's clock, of which its lengths are multiples;
        None: each length is a period of its own."""
        return None

    @property
    def steps(self) -> int:
        """Periods after which the transmitter is where it was, for one that goes round."""
        return 1

    @property
    def at_any_step(self) -> Scheme:
        """This scheme, which may be at any of its steps when it is switched on."""
        return self

    def drifts_away(self, clock: Clock) -> bool:
        """On this clock the transmitter gets away from the receiver without end."""
        return False

    def stretch(self, clock: Clock) -> Ticks:
        """Ticks that a lone move of a lever may take longer than on a clock that is right."""
        return 0

    @property
    def clock_offset(self) -> tuple[int, int]:
        """Least and most ticks by which the receiver's clock starts away from where it should."""
        return 0, 0

    @property
    def queue(self) -> Queue | None:
        """The transmitter's queue, None if it has none."""
        return None

    def unqueued(self) -> Scheme | None:
        """The same without a queue: a press that finds the transmitter idle is sent as with one.
        None if there is no queue."""
        return None

    @abstractmethod
    def per_input(self) -> dict[str, tuple[int, ...]]:
        """Columns for people, a number per input (ticks unless the name says otherwise)."""

    @abstractmethod
    def settings(self) -> dict[str, str | int]:
        """The parameters that are the same for all inputs: words, or numbers of ticks."""

    def delays(self) -> Mapping[Place, tuple[int, ...]]:
        """Delays to be built for each input, ticks, by the end of the line where they stand.

        Those of the receiver are built again at each branch. None by default: what a clock
        counts out is no delay.
        """
        return {}

    def wiring(self) -> dict[str, tuple[str, ...]]:
        """Columns for builders, words per input: how what ``per_input`` numbers is wired."""
        return {}

    @abstractmethod
    def transmitter(self) -> tuple[Machine, ...]:
        """From ``press`` and ``release`` to ``line_rise`` and ``line_fall``."""

    @abstractmethod
    def receiver(self, branch: int, delay: int = 0) -> tuple[Machine, ...]:
        """From ``far_rise`` and ``far_fall`` of a branch to its ``decoded`` and ``cleared``.

        ``delay``: of the line up to here, ticks, for receivers that run on a clock of their own.
        """

    def split(self) -> tuple[tuple[Scheme, tuple[int, ...]], ...]:
        """Links that together are this one, each with the inputs it carries.

        A scheme whose inputs all matter to each other returns itself.
        """
        return ((self, tuple(range(self.inputs))),)

    def alone(
        self, index: int, unrest: int = 0, clock: Clock = ON_TIME, clash: bool = True
    ) -> tuple[tuple[Scheme, tuple[int, ...]], ...]:
        """Links that together decide about the output of one lever, each with its inputs.

        ``unrest``: ticks by which faults of the line may move an edge; ``clock``: the
        transmitter's; ``clash``: several levers may be up at once, and an output that they hide
        counts. A scheme whose inputs all matter to each other returns itself.
        """
        return self.split()

    @property
    def numbers_lines(self) -> bool:
        """``on_whole`` also gives the lines of this part their numbers in the whole."""
        return False

    def alike(self, inputs: tuple[int, ...]) -> Hashable:
        """The same for inputs whose presses, in this order, do the same on lines of other numbers.

        Of one input: all but which other outputs are struck. Of more: in a link that is ``closed``.
        """
        return inputs

    def exchangeable(self, inputs: tuple[int, ...]) -> tuple[tuple[int, ...], ...]:
        """Groups of lines that might change places, as far as presses of these inputs can tell;
        lines in no group are not moved by them. None is known by default."""
        return ()

    def closed(self) -> Scheme | None:
        """A link of which this is part, and which exchanging lines leaves as it is but for the
        numbers of its inputs: what holds there holds here. None if there is none of use."""
        return None

    def amid_any(self, index: int) -> tuple[Scheme, tuple[int, ...]] | None:
        """A link of one lever amid whatever others may do, and more: what holds there, on a line
        without faults, holds of that lever in this link. None if there is none."""
        return None

    def one_move(self, index: int) -> tuple[Scheme, Scheme] | None:
        """Links of one lever, all others down all the time, and all others up: if it comes out
        right in the first whenever it goes up, once and for all, and in the second if it stays
        down, then in this link, too, whatever all of them do, on a line without faults. None if
        there are none."""
        return None

    def on_whole(self, script: Script, later: int, cold: int) -> Script:
        """A run of this part, its unknowns put as those of the link that it is part of.

        ``later``: line delay that the part was without, in parts of a tick as the script counts.
        ``cold``: ticks from power-up in which nothing is done.
        """
        timers = {
            item.name
            for machine in self.receiver(0)
            for item in machine.memory
            if isinstance(item, Timer)
        }
        # Found running, a receiver is met later by what comes over a longer line.
        constants = tuple(
            (name, value + later if name in timers and value else value)
            for name, value in script.constants
        )
        return replace(script, constants=constants)
