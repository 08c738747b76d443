"""Parameters of each scheme in a link file, and how they make the scheme.

A new scheme needs a module with one class here and its entry in ``SCHEMES``.
"""

from __future__ import annotations

from models.parameters.base import Parameters
from models.parameters.framed_serial import FramedSerialParameters
from models.parameters.own import OWN, OwnParameters
from models.parameters.parallel_code import ParallelCodeParameters
from models.parameters.pulse_gap import PulseGapParameters
from models.parameters.scan import FreeScanParameters, SyncedScanParameters
from models.parameters.wire_per_input import WirePerInputParameters

__all__ = ["KNOWN", "SCHEMES", "Parameters"]

SCHEMES: dict[str, type[Parameters]] = {
    "pulse-gap": PulseGapParameters,
    "wire-per-input": WirePerInputParameters,
    "parallel-code": ParallelCodeParameters,
    "framed-serial": FramedSerialParameters,
    "free-scan": FreeScanParameters,
    "synced-scan": SyncedScanParameters,
}
"""Name of a family of schemes in a link file -> the parameters it has there."""

KNOWN: dict[str, type[Parameters]] = {**SCHEMES, OWN: OwnParameters}
"""The same, and what a link file may define itself."""
