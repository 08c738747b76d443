"""Tables of gaps and codes read as they stand, to be judged where they do not go together.

What is no gap or code at all, or belongs to another scheme, is refused here too.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from pydantic import ValidationInfo, model_validator
from pydantic_core import PydanticCustomError

from models.parameters.base import Parameters
from models.parameters.framed_serial import FramedSerialParameters
from models.parameters.parallel_code import ParallelCodeParameters
from models.parameters.pulse_gap import PulseGapParameters
from verify.fields import refusal

__all__ = ["JUDGED"]


def _lets_pass(check: Callable[[], object]) -> None:
    """Refuses all but what is wrong with a table of proper entries."""
    try:
        check()
    except PydanticCustomError as error:
        findings = (error.context or {})["findings"]
        rest = [finding for finding in findings if not finding.of_table]
        # No findings at all: what the value depends on is itself wrong.
        if rest or not findings:
            raise refusal(*rest) from None


# Once a class is made, pydantic puts its validators back as plain methods; mypy sees the proxies.


class _PulseGap(PulseGapParameters):
    @model_validator(mode="after")
    def _fit_together(self) -> Any:
        _lets_pass(lambda: super(_PulseGap, self)._fit_together())  # type: ignore[operator]
        return self


class _ParallelCode(ParallelCodeParameters):
    @model_validator(mode="after")
    def _fit_together(self, info: ValidationInfo) -> Any:
        _lets_pass(lambda: super(_ParallelCode, self)._fit_together(info))  # type: ignore[operator]
        return self


class _FramedSerial(FramedSerialParameters):
    @model_validator(mode="after")
    def _fit_together(self, info: ValidationInfo) -> Any:
        _lets_pass(lambda: super(_FramedSerial, self)._fit_together(info))  # type: ignore[operator]
        return self


JUDGED: dict[str, type[Parameters]] = {
    "pulse-gap": _PulseGap,
    "parallel-code": _ParallelCode,
    "framed-serial": _FramedSerial,
}
"""Schemes with a table -> how ``fewwire table`` reads it."""
