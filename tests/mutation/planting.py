"""The faults of ``faults.toml``, and how one is planted in a copy of the repository."""

from __future__ import annotations

import shutil
import tomllib
from dataclasses import dataclass
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
COPIED = ("verify", "models", "tests", "reports", "pyproject.toml", "README.md", "DEVELOPERS.md")


@dataclass(frozen=True)
class Fault:
    what: str
    file: str
    old: str
    new: str
    tests: tuple[str, ...]


def faults() -> list[Fault]:
    listed = tomllib.loads((Path(__file__).parent / "faults.toml").read_text())["fault"]
    return [Fault(**{**entry, "tests": tuple(entry["tests"])}) for entry in listed]


def plant(fault: Fault, place: Path) -> None:
    """Copy the repository to ``place``, with the fault in it."""
    for name in COPIED:
        source = ROOT / name
        if source.is_dir():
            shutil.copytree(source, place / name, ignore=shutil.ignore_patterns("__pycache__"))
        elif source.exists():
            shutil.copy(source, place / name)
    path = place / fault.file
    text = path.read_text()
    if text.count(fault.old) != 1:
        raise ValueError(f"{fault.file}: not once there, or planted already: {fault.old}")
    path.write_text(text.replace(fault.old, fault.new))
