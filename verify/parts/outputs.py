"""The outputs: each input operates the one that the order of the outputs gives it."""

from __future__ import annotations

from verify.language import expressions as ex
from verify.language.machine import Each, Machine
from verify.parts.signals import decoded, strike


def build(branch: int, order: tuple[int, ...]) -> Machine:
    """``order[i]``: the output that input i operates. Whatever it is, it costs no time."""
    index = decoded(branch).occurrence("x")["input"]
    return Machine(
        f"outputs{branch}",
        (),
        (Each(decoded(branch), "x", (strike(branch).emit(ex.Lookup(order, index)),)),),
    )
