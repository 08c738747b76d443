"""Parameters of free-scan and synced-scan in a link file."""

from __future__ import annotations

from typing import ClassVar

from pydantic import Field, model_validator

from models.parameters.base import Parameters, Setting
from models.scan import Scan
from verify import units
from verify.fields import Finding, PositiveTime, Time, refusal
from verify.parts.scheme import Scheme


class FreeScanParameters(Parameters):
    """Times in ticks. See ``models.scan.Scan``.

    Without ``sample``, the middle of a slot; without ``align``, the delay of the line.
    """

    takes: ClassVar[tuple[str, ...]] = ("level",)
    clocked: ClassVar[bool] = True
    synced: ClassVar[bool] = False

    slot: PositiveTime = Field(description=units.allowed_time(2))
    sample: PositiveTime | None = None
    align: Time | None = None

    def build(self, inputs: int, setting: Setting) -> Scheme:
        """A slot per input."""
        return Scan(
            slots=inputs,
            slot=self.slot,
            sample=self.slot // 2 if self.sample is None else self.sample,
            late=0 if self.align is None else self.align - setting.delay[0],
            offset=(-setting.offset, setting.offset),
            synced=self.synced,
        )

    def misfits(self, setting: Setting) -> list[Finding]:
        """The receiver's slots follow one known delay; it must have begun before its first slot."""
        findings = []
        if setting.delay[0] != setting.delay[1]:
            allowed = "one delay, not a range: the receiver's slots follow it"
            findings.append(Finding(("line", "delay"), allowed))
        if self.align is not None and len(setting.branches) > 1:
            allowed = "only with one branch: each has its own delay, which align follows by default"
            findings.append(Finding(("link", "align"), allowed))
        reach = self.slot + (self.sample or self.slot // 2) + (self.align or 0)
        if setting.offset > reach:
            allowed = f"at most {reach}, a slot and what comes before a sample"
            findings.append(Finding(("clock", "offset"), allowed))
        return findings

    @model_validator(mode="after")
    def _fit_together(self) -> FreeScanParameters:
        if self.slot < 2:
            raise refusal(Finding(("slot",), units.allowed_time(2)))
        if self.sample is not None and self.sample >= self.slot:
            allowed = f"1 to {self.slot - 1}: inside the slot, which is {self.slot}"
            raise refusal(Finding(("sample",), allowed))
        return self


class SyncedScanParameters(FreeScanParameters):
    """The same, with a second line that marks slot 0."""

    synced: ClassVar[bool] = True
