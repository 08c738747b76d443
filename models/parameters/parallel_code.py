"""Parameters of parallel-code in a link file."""

from __future__ import annotations

from math import comb
from typing import ClassVar

from pydantic import Field, ValidationInfo, field_validator, model_validator

from models.parallel_code import ParallelCode, Reads
from models.parameters.base import Parameters, Setting, check_one_per_input
from models.parameters.codes import (
    LIST_OF_CODES,
    WIDEST,
    WIDTH,
    Code,
    as_number,
    least_width,
    misfits,
)
from verify.fields import Finding, Time, context, refusal
from verify.parts.scheme import Scheme

_MOST_SETS = 5_000


class ParallelCodeParameters(Parameters):
    """Times in ticks. See ``models.parallel_code.ParallelCode``.

    Without ``codes``, input i has code i + 1; without ``lines``, as many as the codes need.
    """

    takes: ClassVar[tuple[str, ...]] = ("press", "level")

    lines: int | None = Field(None, ge=1, le=WIDEST, description=WIDTH)
    codes: list[Code] | None = Field(None, description=LIST_OF_CODES)
    settle: Time = 0
    reads: Reads = "exact"
    held: int | None = Field(None, ge=1, description="a whole number, at least 1")

    @property
    def inputs(self) -> int | None:
        """One per code, if there are codes."""
        return None if self.codes is None else len(self.codes)

    def build(self, inputs: int, setting: Setting) -> Scheme:
        """Every input drives its own lines."""
        codes = range(1, inputs + 1) if self.codes is None else self.codes
        words = tuple(as_number(code) for code in codes)
        width = self.lines or least_width([*codes])
        held = min(self.held or 1, inputs)
        return ParallelCode(words, width, self.settle, self.reads, held)

    @field_validator("codes")
    @classmethod
    def _one_per_input(cls, codes: list[int | str], info: ValidationInfo) -> list[int | str]:
        check_one_per_input(codes, "code", info)
        return codes

    @model_validator(mode="after")
    def _fit_together(self, info: ValidationInfo) -> ParallelCodeParameters:
        findings = self._too_few_lines(context(info).inputs)
        if self.codes is not None:
            width = self.lines or least_width(self.codes)
            findings += [
                Finding(
                    ("codes", i),
                    "any code but 0: with no line driven the link is idle",
                    of_table=True,
                )
                for i, code in enumerate(self.codes)
                if as_number(code) == 0
            ]
            idle = {finding.key for finding in findings}
            findings += [f for f in misfits(self.codes, width, "line") if f.key not in idle]
        findings += self._read_as_sets(context(info).inputs or self.inputs)
        if findings:
            raise refusal(*findings)
        return self

    def _read_as_sets(self, inputs: int | None) -> list[Finding]:
        if self.reads != "sets":
            if self.held is None:
                return []
            return [
                Finding(
                    ("held",), 'no key but with reads = "sets": how many codes a set has at most'
                )
            ]
        if self.held is None:
            return [
                Finding(
                    ("held",),
                    'a whole number, at least 1: with reads = "sets", how many '
                    "inputs may be held at once",
                    "nothing",
                )
            ]
        if inputs is None:
            return []
        sets = sum(comb(inputs, size) for size in range(1, min(self.held, inputs) + 1))
        if sets <= _MOST_SETS:
            return []
        allowed = (
            f"at most {_MOST_SETS} sets to be told apart; up to {self.held} of {inputs} inputs "
            f"make {sets}"
        )
        return [Finding(("held",), allowed)]

    def _too_few_lines(self, inputs: int | None) -> list[Finding]:
        if self.codes is not None or self.lines is None or inputs is None:
            return []
        carried = (1 << self.lines) - 1
        if inputs <= carried:
            return []
        have = "1 line carries" if self.lines == 1 else f"{self.lines} lines carry"
        allowed = (
            f"at least {inputs.bit_length()} for {inputs} inputs: {have} {carried}, "
            "as no line driven is idle"
        )
        return [Finding(("lines",), allowed)]
