"""Parameters of each scheme in a link file, and how they make the scheme.

A new scheme needs a module with one class here and its entry in ``SCHEMES``.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from importlib import import_module

from models.parameters.base import OWN, Parameters

__all__ = ["KNOWN", "SCHEMES", "Parameters"]


class _WhenAsked(Mapping[str, type[Parameters]]):
    """Modules are imported when their scheme is asked for: most files are about one scheme."""

    def __init__(self, classes: dict[str, str]) -> None:
        self._classes = classes

    def __getitem__(self, scheme: str) -> type[Parameters]:
        module, name = self._classes[scheme].split(".")
        found: type[Parameters] = getattr(import_module(f"models.parameters.{module}"), name)
        return found

    def __iter__(self) -> Iterator[str]:
        return iter(self._classes)

    def __len__(self) -> int:
        return len(self._classes)

    def __contains__(self, scheme: object) -> bool:
        return scheme in self._classes


_CLASSES = {
    "pulse-gap": "pulse_gap.PulseGapParameters",
    "wire-per-input": "wire_per_input.WirePerInputParameters",
    "parallel-code": "parallel_code.ParallelCodeParameters",
    "framed-serial": "framed_serial.FramedSerialParameters",
    "free-scan": "scan.FreeScanParameters",
    "synced-scan": "scan.SyncedScanParameters",
}

SCHEMES: Mapping[str, type[Parameters]] = _WhenAsked(_CLASSES)
"""Name of a family of schemes in a link file -> the parameters it has there."""

KNOWN: Mapping[str, type[Parameters]] = _WhenAsked({**_CLASSES, OWN: "own.OwnParameters"})
"""The same, and what a link file may define itself."""
