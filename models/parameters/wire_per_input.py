"""Parameters of wire-per-input in a link file."""

from __future__ import annotations

from models.parameters.base import Parameters
from models.wire_per_input import WirePerInput
from verify.parts.scheme import Scheme


class WirePerInputParameters(Parameters):
    """wire-per-input has none."""

    def build(self, inputs: int) -> Scheme:
        """One line each."""
        return WirePerInput(inputs)
