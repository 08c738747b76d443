"""What went wrong with a lever, and what it did."""

from __future__ import annotations

from verify.engines.trace import Failure, Trace
from verify.parts.link import Link
from verify.parts.signals import Kind

POSITIONS = ("down", "up")


def moves_of(trace: Trace, index: int) -> list[int]:
    """Ticks at which a lever moved. All levers are down at power-up."""
    return [press.tick for press in trace.script.presses if press.input == index]


def what_went_wrong(trace: Trace, failure: Failure, link: Link) -> str:
    """What the output showed, and where the lever was."""
    output = link.names.index(failure.output)
    lever = link.outputs.index(output)
    moves = [tick for tick in moves_of(trace, lever) if tick <= failure.tick]
    position = len(moves) % 2
    name = f"'{failure.output}'"
    if failure.kind == Kind.GHOST.label:
        what = f"{name} went {POSITIONS[1 - position]}, though its lever"
    else:
        what = f"{name} was still {POSITIONS[1 - position]}, though its lever"
    since = f"had been {POSITIONS[position]} since tick {moves[-1]}" if moves else "had not moved"
    return f"{what} {since}"
