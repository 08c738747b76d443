"""Sides of a margin of rate, kept for ``--resume`` once they are decided."""

from __future__ import annotations

from fractions import Fraction
from typing import TYPE_CHECKING, Annotated, Literal

from pydantic import BaseModel, ConfigDict, Field, ValidationError

from verify.engines.checkpoint import DamagedError
from verify.engines.trace import Script
from verify.questions import kept
from verify.questions.kept import ScriptFile, script_file, script_of

if TYPE_CHECKING:
    from verify.questions.rate_margin import RateSide

_Error = Annotated[str, Field(pattern=r"^[0-9]{1,300}(/[1-9][0-9]{0,299})?$")]


class _Run(BaseModel):
    """A failing run, the error of its clock, and whether there may be a smaller one."""

    model_config = ConfigDict(extra="forbid", strict=True)

    script: ScriptFile
    error: _Error
    loose: bool


class KeptSide(BaseModel):
    """All of a side but what the simulator finds out anew."""

    model_config = ConfigDict(extra="forbid", strict=True)

    amount: _Error | None
    holds: bool
    verdict: Literal["holds", "fails"]
    engine: str
    covered: str
    run: _Run | None

    def script(self, inputs: int) -> tuple[Script, Fraction] | None:
        """The failing run of a link of so many inputs, and its error. Raises DamagedError."""
        if self.run is None:
            return None
        script = script_of(self.run.script)
        if any(press.input >= inputs for press in script.presses):
            raise DamagedError
        return script, Fraction(self.run.error)


def keep(key: str | None, side: RateSide) -> None:
    """Keep a side, where there is a place and it is decided."""
    told, error = side.trace_beyond, side.error_beyond
    if key is None or side.verdict.value == "undecided":
        return
    run = None
    if told is not None and error is not None:
        run = _Run(script=script_file(told.script), error=str(error), loose=told.loose)
    found = KeptSide(
        amount=None if side.amount is None else str(side.amount),
        holds=side.holds,
        verdict="holds" if side.verdict.value == "holds" else "fails",
        engine=side.engine,
        covered=side.covered,
        run=run,
    )
    kept.keep_note(key, found.model_dump())


def known(key: str | None) -> KeptSide | None:
    """What is kept of a side. Raises DamagedError."""
    note = kept.known_note(key)
    if note is None:
        return None
    try:
        found = KeptSide.model_validate_json(kept.text_of(note))
    except ValidationError:
        raise DamagedError from None
    if (found.verdict == "holds") != (found.amount is not None):
        raise DamagedError
    return found
