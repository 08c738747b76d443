"""What the tables ``[link]`` of all schemes share."""

from __future__ import annotations

from abc import ABC, abstractmethod
from collections.abc import Sized
from dataclasses import dataclass
from typing import Annotated, ClassVar, Literal

from pydantic import Field, ValidationInfo

from verify.fields import Finding, Table, context, number_of_entries, refusal
from verify.parts.scheme import Scheme

OWN = "own"
"""The scheme that a link file defines itself, in a table for each of these ends."""
ENDS: tuple[Literal["transmitter", "receiver"], ...] = ("transmitter", "receiver")


@dataclass(frozen=True)
class Setting:
    """What other tables of the file say, ticks: line delay, branches, clock offset."""

    delay: tuple[int, int] = (0, 0)
    branches: tuple[int, ...] = (0,)
    offset: int = 0


class Parameters(Table, ABC):
    """Table ``[link]`` of one scheme. ``takes``: the kinds of input that it can carry."""

    takes: ClassVar[tuple[str, ...]] = ("press",)
    clocked: ClassVar[bool] = False  # the receiver's clock runs from power-up on
    timed: ClassVar[bool] = False  # the receiver's clock starts at an edge of the line

    scheme: str

    @property
    def inputs(self) -> int | None:
        """Number of inputs that the parameters are for; None if they suit any number."""
        return None

    @abstractmethod
    def build(self, inputs: int, setting: Setting) -> Scheme:
        """The scheme for this many inputs."""

    def misfits(self, setting: Setting) -> list[Finding]:
        """What other tables say that makes no sense for this scheme; keys from the top."""
        return []


def check_one_per_input(entries: Sized, entry: str, info: ValidationInfo) -> None:
    """Refuses a list, each a ``entry`` in words, that is empty or not one per input."""
    wanted = context(info).inputs
    if not len(entries):
        raise refusal(Finding((), f"at least one {entry}, one per input"))
    if wanted is not None and len(entries) != wanted:
        raise refusal(Finding((), f"{wanted}, one per input", number_of_entries(entries)))


# -- transmitters that may be busy --------------------------------------------

Busy = Literal["overlay", "ignore", "queue"]
Depth = Annotated[int, Field(ge=1, le=64, description="a whole number from 1 to 64")]


def stray_depth(table: Table, busy: Busy) -> list[Finding]:
    """What is wrong with a ``depth`` that the file gives where nothing is queued."""
    if "depth" not in table.model_fields_set or busy == "queue":
        return []
    return [Finding(("depth",), f'only with busy = "queue"; busy is "{busy}"')]
