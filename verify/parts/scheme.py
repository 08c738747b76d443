"""What a scheme must say about itself; the schemes are in ``models``."""

from __future__ import annotations

from typing import Protocol

from verify.language.machine import Machine
from verify.parts.monitor import Queue


class Scheme(Protocol):
    """A family of links with its parameters filled in.

    A scheme author writes machines and these few facts, nothing engine-specific.
    """

    @property
    def inputs(self) -> int:
        """Number of inputs, and of outputs."""

    @property
    def lines(self) -> int:
        """Number of lines."""

    @property
    def watches_release(self) -> bool:
        """The transmitter sees when an input is let go."""

    @property
    def queue(self) -> Queue | None:
        """The transmitter's queue, None if it has none."""

    def per_input(self) -> dict[str, tuple[int, ...]]:
        """Columns for people, a number per input (ticks unless the name says otherwise)."""

    def settings(self) -> dict[str, str | int]:
        """The parameters that are the same for all inputs: words, or numbers of ticks."""

    def transmitter(self) -> tuple[Machine, ...]:
        """From ``press`` (and ``release``) to ``line_rise``/``line_fall``."""

    def receiver(self, branch: int) -> tuple[Machine, ...]:
        """From ``far_rise``/``far_fall`` of a branch to its ``decoded``."""

    def split(self) -> tuple[tuple[Scheme, tuple[int, ...]], ...]:
        """Independent links that together are this one, each with the inputs it carries.

        A scheme whose inputs meet on a line returns itself.
        """
