"""What machines let the world pick."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import fields, is_dataclass

from verify.language.expressions import Pick
from verify.language.machine import System
from verify.language.state import Bank, Number, Signal, Timer


def picks_of(system: System) -> Iterator[Pick]:
    """Every pick that a statement of these machines makes, as often as it is written there."""
    for machine in system.machines:
        yield from _inside(machine.body)


def _inside(node: object) -> Iterator[Pick]:
    if isinstance(node, Pick):
        yield node
    elif isinstance(node, tuple):
        for part in node:
            yield from _inside(part)
    elif is_dataclass(node) and not isinstance(node, Signal | Number | Timer | Bank | type):
        for f in fields(node):
            yield from _inside(getattr(node, f.name))
