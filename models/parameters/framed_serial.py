"""Parameters of framed-serial in a link file."""

from __future__ import annotations

from pydantic import Field, ValidationInfo, field_validator, model_validator

from models.framed_serial import FramedSerial
from models.parameters.base import (
    Busy,
    Depth,
    Parameters,
    Setting,
    check_one_per_input,
    stray_depth,
)
from models.parameters.codes import (
    LIST_OF_CODES,
    WIDEST,
    WIDTH,
    Code,
    as_number,
    least_width,
    misfits,
)
from verify import units
from verify.fields import Finding, PositiveTime, context, refusal
from verify.parts.scheme import Scheme


class FramedSerialParameters(Parameters):
    """Times in ticks. See ``models.framed_serial.FramedSerial``.

    Without ``codes``, input i has code i; without ``width``, as many bits as the codes need;
    without ``sample``, the middle of the first bit of the code.
    """

    bit: PositiveTime = Field(description=units.allowed_time(1))
    sample: PositiveTime | None = None
    width: int | None = Field(None, ge=1, le=WIDEST, description=WIDTH)
    codes: list[Code] | None = Field(None, description=LIST_OF_CODES)
    stop: int = Field(1, ge=0, le=8, description="a whole number from 0 to 8")
    busy: Busy = "overlay"
    depth: Depth = 1

    @property
    def inputs(self) -> int | None:
        """One per code, if there are codes."""
        return None if self.codes is None else len(self.codes)

    def build(self, inputs: int, setting: Setting) -> Scheme:
        """A frame per press on one line."""
        codes = range(inputs) if self.codes is None else self.codes
        return FramedSerial(
            codes=tuple(as_number(code) for code in codes),
            width=self.width or least_width([*codes]),
            bit=self.bit,
            sample=self.bit + self.bit // 2 if self.sample is None else self.sample,
            stop=self.stop,
            busy=self.busy,
            depth=self.depth,
        )

    @field_validator("codes")
    @classmethod
    def _one_per_input(cls, codes: list[int | str], info: ValidationInfo) -> list[int | str]:
        check_one_per_input(codes, "code", info)
        return codes

    @model_validator(mode="after")
    def _fit_together(self, info: ValidationInfo) -> FramedSerialParameters:
        findings = stray_depth(self, self.busy)
        if self.sample is not None and not self.bit <= self.sample < 2 * self.bit:
            least, most = self.bit, 2 * self.bit - 1
            allowed = str(least) if least == most else f"{least} to {most}"
            allowed += ": inside the first bit of the code, which follows the start pulse; "
            allowed += f"bit is {self.bit}"
            findings.append(Finding(("sample",), allowed))
        findings += self._too_narrow(context(info).inputs)
        if self.codes is not None:
            findings += misfits(self.codes, self.width or least_width(self.codes), "bit")
        if findings:
            raise refusal(*findings)
        return self

    def _too_narrow(self, inputs: int | None) -> list[Finding]:
        if self.codes is not None or self.width is None or inputs is None:
            return []
        told = 1 << self.width
        if inputs <= told:
            return []
        have = "1 bit tells" if self.width == 1 else f"{self.width} bits tell"
        least = (inputs - 1).bit_length()
        return [Finding(("width",), f"at least {least} for {inputs} inputs: {have} {told} apart")]
