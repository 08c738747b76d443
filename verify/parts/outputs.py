"""The outputs: each input operates the one that the order of the outputs gives it."""

from __future__ import annotations

from verify.language import expressions as ex
from verify.language.machine import Each, Machine
from verify.parts.signals import cleared, decoded, rest, strike


def build(branch: int, order: tuple[int, ...]) -> Machine:
    """``order[i]``: the output that input i operates. Whatever it is, it costs no time."""
    on = ex.Lookup(order, decoded(branch).occurrence("x")["input"])
    off = ex.Lookup(order, cleared(branch).occurrence("y")["input"])
    return Machine(
        f"outputs{branch}",
        (),
        (
            Each(cleared(branch), "y", (rest(branch).emit(off),)),
            Each(decoded(branch), "x", (strike(branch).emit(on),)),
        ),
    )
