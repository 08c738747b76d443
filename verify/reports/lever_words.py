"""The sentence that says what went wrong with a lever, and what its trace did."""

from __future__ import annotations

from verify.engines.trace import Failure, Trace
from verify.parts.link import Link
from verify.parts.signals import Kind

POSITIONS = ("down", "up")


def moves_of(trace: Trace, index: int) -> list[int]:
    """Ticks at which a lever moved. All levers are down at power-up."""
    return [press.tick for press in trace.script.presses if press.input == index]


def what_went_wrong(trace: Trace, failure: Failure, link: Link) -> str:
    """What the output showed, where the lever was, and what other levers had done."""
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
    others = sorted(
        (press.tick, press.input)
        for press in trace.script.presses
        if press.input != lever and press.tick <= failure.tick
    )
    if not others:
        return f"{what} {since}; no other lever had moved"
    tick, other = others[-1]
    return f"{what} {since}; '{link.names[other]}' had moved last of the others, at tick {tick}"
