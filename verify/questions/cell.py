"""One answer of a comparison, and how it is kept for ``--resume``."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from fractions import Fraction
from typing import Annotated, Literal

from pydantic import BaseModel, ConfigDict, Field, ValidationError

from verify.engines.answer import Verdict
from verify.engines.checkpoint import DamagedError
from verify.questions import kept
from verify.units import whole

Amount = int | Fraction


@dataclass(frozen=True)
class Cell:
    """An answer. ``verdict`` None: the question makes no sense here, for ``reason``.

    ``amounts``: by name, in the unit of the column; None where there is no such amount.
    ``beyond``: more than the amounts was not looked at, all up to there holds. ``pressed``: it
    fails for ever, but only while inputs go on changing.
    """

    verdict: Verdict | None
    engine: str = ""
    covered: str = ""
    reason: str = ""
    amounts: dict[str, Amount | None] = field(default_factory=dict)
    beyond: bool = False
    pressed: bool = False

    @property
    def known(self) -> bool:
        """The question has been answered, whatever the answer."""
        return self.verdict in (Verdict.HOLDS, Verdict.FAILS)


OPEN = Cell(Verdict.UNDECIDED)
"""Nothing is known yet."""


@dataclass(frozen=True)
class Allowed:
    """What a cell may take: seconds (None: any) and megabytes."""

    seconds: float | None
    megabytes: int

    def more_than(self, other: Allowed) -> bool:
        """More of one of them."""
        if self.megabytes > other.megabytes:
            return True
        if other.seconds is None:
            return False
        return self.seconds is None or self.seconds > other.seconds


_Part = Annotated[str, Field(pattern=r"^-?[0-9]{1,30}(/[1-9][0-9]{0,29})?$")]


class _CellFile(BaseModel):
    """A cell, and what it had been allowed."""

    model_config = ConfigDict(extra="forbid", strict=True)

    verdict: Literal["holds", "fails", "undecided"] | None
    engine: str
    covered: str
    reason: str
    amounts: dict[str, _Part | None]
    beyond: bool
    pressed: bool
    seconds: Annotated[float, Field(ge=0, allow_inf_nan=False)] | None
    megabytes: Annotated[int, Field(ge=1)]


def keep(key: str | None, cell: Cell, had: Allowed) -> None:
    """Keep a cell, where there is a place, also an undecided one: until it may take more."""
    note = _CellFile(
        verdict=None if cell.verdict is None else cell.verdict.value,
        engine=cell.engine,
        covered=cell.covered,
        reason=cell.reason,
        amounts={name: None if a is None else str(a) for name, a in cell.amounts.items()},
        beyond=cell.beyond,
        pressed=cell.pressed,
        seconds=had.seconds,
        megabytes=had.megabytes,
    )
    kept.keep_note(key, note.model_dump())


def known(key: str | None, names: Sequence[str], may: Allowed, *, margin: bool) -> Cell | None:
    """The cell that is kept, unless it was cut and may now take more. ``names``: of the amounts
    of its column, which only a ``margin`` may lack or have below zero. Raises DamagedError."""
    note = kept.known_note(key)
    if note is None:
        return None
    try:
        found = _CellFile.model_validate_json(kept.text_of(note))
    except ValidationError:
        raise DamagedError from None
    amounts = {n: None if a is None else whole(Fraction(a)) for n, a in found.amounts.items()}
    if not amounts.keys() <= set(names):
        raise DamagedError
    if found.verdict == "holds" and not margin:
        told = [amounts.get(name) for name in names]
        if not all(amount is not None and amount >= 0 for amount in told):
            raise DamagedError
    if found.verdict == "undecided" and may.more_than(Allowed(found.seconds, found.megabytes)):
        return None
    return Cell(
        None if found.verdict is None else Verdict(found.verdict),
        found.engine,
        found.covered,
        found.reason,
        amounts,
        found.beyond,
        found.pressed,
    )
