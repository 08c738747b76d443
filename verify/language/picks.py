"""All that machines are made of, and of that what they let the world pick."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import fields, is_dataclass, replace
from typing import Any

from verify.language.expressions import Pick
from verify.language.machine import System
from verify.language.state import Bank, Number, Signal, Timer


def picks_of(system: System) -> Iterator[Pick]:
    """Every pick that a statement of these machines makes, as often as it is written there."""
    for machine in system.machines:
        for part in parts_of(machine.body):
            if isinstance(part, Pick):
                yield part


def parts_of(node: object) -> Iterator[object]:
    """A machine, statement or expression, and all that it is made of; memory and signals whole."""
    yield node
    if isinstance(node, tuple):
        for part in node:
            yield from parts_of(part)
    elif is_dataclass(node) and not isinstance(node, Signal | Number | Timer | Bank | type):
        for f in fields(node):
            yield from parts_of(getattr(node, f.name))


def rebuilt(node: Any, change: Callable[[object], object]) -> Any:
    """A machine, statement or expression with ``change`` made to all that it is made of, the
    innermost first; memory and signals as they are."""
    if isinstance(node, tuple):
        return tuple(rebuilt(part, change) for part in node)
    if not is_dataclass(node) or isinstance(node, Signal | Number | Timer | Bank | type):
        return node
    parts = {f.name: getattr(node, f.name) for f in fields(node)}
    made = {name: rebuilt(part, change) for name, part in parts.items()}
    return change(node if made == parts else replace(node, **made))
