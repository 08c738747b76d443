"""Parameters of wire-per-input in a link file."""

from __future__ import annotations

from typing import ClassVar

from models.parameters.base import Parameters, Setting
from models.wire_per_input import WirePerInput
from verify.parts.scheme import Scheme


class WirePerInputParameters(Parameters):
    """wire-per-input has none."""

    takes: ClassVar[tuple[str, ...]] = ("press", "level")

    def build(self, inputs: int, setting: Setting) -> Scheme:
        """One line each."""
        return WirePerInput(inputs)
