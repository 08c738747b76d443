"""Parameters of framed-serial in a link file."""

from __future__ import annotations

from bisect import bisect
from fractions import Fraction
from math import isfinite, isqrt
from typing import Annotated, Any, ClassVar, Literal, cast

from pydantic import Field, PlainValidator, ValidationInfo, field_validator, model_validator

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
from verify.units import decimal_text

_EDGE = (
    "a number of receiver clocks, at least 0, which means [0, it], or [least, most] of them, "
    "below 0 for a start edge taken to be earlier than it was"
)
_VOTES = "1 or 3"


def _edge(value: object) -> tuple[Fraction, Fraction]:
    """Receiver clocks, exactly as written."""

    def clocks(entry: object) -> Fraction:
        if isinstance(entry, bool) or not isinstance(entry, int | float) or not isfinite(entry):
            raise refusal(Finding((), _EDGE))
        return Fraction(str(entry))

    if isinstance(value, list):
        if len(value) != 2:
            raise refusal(Finding((), _EDGE))
        least, most = map(clocks, value)
    else:
        least, most = Fraction(0), clocks(value)
    if least > most:
        order = "[least, most] with least not above most"
        raise refusal(Finding((), order if isinstance(value, list) else _EDGE))
    return least, most


def _nearest_divisors(whole: int, number: int) -> list[int]:
    """The largest divisor below the number, and the smallest above it if there is one."""
    small = [n for n in range(1, isqrt(whole) + 1) if whole % n == 0]
    divisors = sorted({*small, *(whole // n for n in small)})
    at = bisect(divisors, number)
    return divisors[at - 1 : at + 1]


class FramedSerialParameters(Parameters):
    """Times in ticks, ``edge`` in receiver clocks. See ``models.framed_serial.FramedSerial``.

    Without ``codes``, input i has code i; without ``width``, as many bits as the codes need;
    without ``sample``, the middle of the first bit of the code; without ``oversample``, a
    receiver clock is a tick.
    """

    timed: ClassVar[bool] = True

    bit: PositiveTime = Field(description=units.allowed_time(1))
    sample: PositiveTime | None = None
    width: int | None = Field(None, ge=1, le=WIDEST, description=WIDTH)
    codes: list[Code] | None = Field(None, description=LIST_OF_CODES)
    stop: int = Field(1, ge=0, le=8, description="a whole number from 0 to 8")
    busy: Busy = "overlay"
    depth: Depth = 1
    leader: PositiveTime | None = None
    oversample: int | None = Field(None, ge=1, description="a whole number, at least 1")
    edge: Annotated[
        tuple[Fraction, Fraction], PlainValidator(_edge, json_schema_input_type=Any)
    ] = (Fraction(0), Fraction(0))
    votes: int = Field(1, description=_VOTES)
    framing: bool = Field(False, description="true or false")

    @property
    def inputs(self) -> int | None:
        """One per code, if there are codes."""
        return None if self.codes is None else len(self.codes)

    def build(self, inputs: int, setting: Setting) -> Scheme:
        """A frame per press on one line."""
        codes = range(inputs) if self.codes is None else self.codes
        least, most = (int(clocks * self._clock) for clocks in self.edge)
        return FramedSerial(
            codes=tuple(as_number(code) for code in codes),
            width=self.width or least_width([*codes]),
            bit=self.bit,
            sample=self._middle,
            stop=self.stop,
            busy=self.busy,
            depth=self.depth,
            leader=None if self.leader == self.bit else self.leader,
            edge=(least, most),
            votes=cast(Literal[1, 3], self.votes),
            clock=self._clock,
            framing=self.framing,
        )

    @property
    def _start_pulse(self) -> int:
        return self.bit if self.leader is None else self.leader

    @property
    def _middle(self) -> int:
        return self._start_pulse + self.bit // 2 if self.sample is None else self.sample

    @property
    def _clock(self) -> int:
        """Ticks of a receiver clock."""
        return 1 if self.oversample is None else self.bit // self.oversample

    @field_validator("codes")
    @classmethod
    def _one_per_input(cls, codes: list[int | str], info: ValidationInfo) -> list[int | str]:
        check_one_per_input(codes, "code", info)
        return codes

    @model_validator(mode="after")
    def _fit_together(self, info: ValidationInfo) -> FramedSerialParameters:
        findings = stray_depth(self, self.busy)
        least, most = self._start_pulse, self._start_pulse + self.bit - 1
        if self.sample is not None and not least <= self.sample <= most:
            allowed = str(least) if least == most else f"{least} to {most}"
            allowed += ": inside the first bit of the code, which follows the start pulse; "
            allowed += f"bit is {self.bit}"
            allowed += "" if self.leader is None else f", leader {self.leader}"
            findings.append(Finding(("sample",), allowed))
        findings += self._bad_receiver()
        findings += self._too_narrow(context(info).inputs)
        if self.codes is not None:
            findings += misfits(self.codes, self.width or least_width(self.codes), "bit")
        if findings:
            raise refusal(*findings)
        return self

    def _bad_receiver(self) -> list[Finding]:
        bit, clocks = self.bit, self.oversample or self.bit
        if bit % clocks:
            near = " or ".join(map(str, _nearest_divisors(bit, clocks)))
            allowed = f"a number that divides bit, which is {bit} ticks: nearest {near}"
            return [Finding(("oversample",), allowed)]
        findings = []
        if self.framing and self.stop == 0:
            allowed = "at least 1: with framing = true the receiver looks at the first stop bit"
            findings.append(Finding(("stop",), allowed))
        if self.votes == 3 and clocks < 3:
            allowed = "1, or 3 with three receiver clocks to a bit or more; oversample is "
            allowed += f"{clocks}" if self.oversample else f"as bit, {clocks}"
            findings.append(Finding(("votes",), allowed))
        return findings or self._bad_edge(clocks)

    def _bad_edge(self, clocks: int) -> list[Finding]:
        """The start edge moves by whole ticks, at most a bit, and all samples come after it."""
        clock = self._clock
        if any((end * clock).denominator > 1 for end in self.edge):
            allowed = f"a whole number of ticks; a receiver clock is {clock}"
            return [Finding(("edge",), allowed)]
        first = self._middle - (clock if self.votes == 3 else 0)
        least = max(Fraction(-clocks), Fraction(1 - first, clock))
        if not least <= self.edge[0] <= self.edge[1] <= clocks:
            allowed = f"from {decimal_text(least)} to {clocks} receiver clocks: "
            allowed += "at most a bit, and the first sample comes after the start edge"
            return [Finding(("edge",), allowed)]
        return []

    @field_validator("votes")
    @classmethod
    def _odd(cls, votes: int) -> int:
        if votes not in (1, 3):
            raise refusal(Finding((), _VOTES))
        return votes

    def _too_narrow(self, inputs: int | None) -> list[Finding]:
        if self.codes is not None or self.width is None or inputs is None:
            return []
        told = 1 << self.width
        if inputs <= told:
            return []
        have = "1 bit tells" if self.width == 1 else f"{self.width} bits tell"
        least = (inputs - 1).bit_length()
        return [Finding(("width",), f"at least {least} for {inputs} inputs: {have} {told} apart")]
