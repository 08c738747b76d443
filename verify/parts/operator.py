"""The operator: what the inputs may do, as one nondeterministic machine."""

from __future__ import annotations

from dataclasses import dataclass

from verify.language import expressions as ex
from verify.language.machine import Each, Machine, Offer, Statement
from verify.language.state import Bank, Number, Timer
from verify.parts.signals import PRESS, RELEASE


@dataclass(frozen=True)
class Operator:
    """Bounds on ``press`` inputs, all in ticks.

    ``spacing``: least time between presses of any inputs; ``repeat``: between presses
    of one input; ``hold``: least and most time an input stays pressed; ``overlap``: how
    many may be held at once (None: all); ``pairs[i][j]``: least time from a press of i
    to any later press of j.
    """

    spacing: int = 0
    repeat: int = 0
    hold: tuple[int, int] = (1, 1)
    overlap: int | None = None
    pairs: tuple[tuple[int, ...], ...] | None = None


def build(operator: Operator, inputs: int, watches_release: bool) -> Machine:
    """The operator of ``inputs`` inputs.

    Where no part of the link sees releases, holding longer than the least only forbids
    presses, so the least hold stands for all.
    """
    press = PRESS.occurrence("pressed")
    index = press["input"]
    memory: list[Number | Timer | Bank] = []
    then: list[Statement] = []
    body: list[Statement] = []
    allowed: ex.Bool = ex.Truth(True)

    if operator.spacing > 0:
        since = Timer("operator.spacing", operator.spacing, restraint=True)
        memory.append(since)
        allowed &= ~since.running()
        then.append(since.start(operator.spacing))

    recent = Bank("operator.recent", ("input",), restraint=True)
    again = max(operator.repeat, operator.hold[0] + 1)
    if again > operator.spacing or watches_release:
        memory.append(recent)
        mine = recent.entry("own")
        allowed &= ~ex.Exists(recent, "own", (mine.left > 0) & mine["input"].eq(index))

    least, most = operator.hold
    if watches_release:
        held = Bank("operator.held", ("input",))
        memory.append(held)
        mine = held.entry("mine")
        # The tick of a release is low: the same input may be pressed again only after it.
        allowed &= ~ex.Exists(held, "mine", mine["input"].eq(index))
        stays: ex.Int = ex.Constant(least) if least == most else ex.Pick("hold", least, most)
        then.append(held.put(stays, index))
        gone = held.entry("gone")
        body.append(Each(held, "gone", (RELEASE.emit(gone["input"]),), expired=True))
        if operator.overlap is not None and operator.overlap < inputs:
            allowed &= held.size() < operator.overlap
    elif operator.overlap is not None and operator.overlap < inputs:
        holding = Bank("operator.holding", ("input",), restraint=True)
        memory.append(holding)
        allowed &= holding.size() < operator.overlap
        then.append(holding.put(least, index))
    if recent in memory:
        then.append(recent.put(again, index))

    if operator.pairs is not None:
        # One entry per press, long enough for its strictest partner; its age is total - left.
        total = tuple(max(row) for row in operator.pairs)
        flat = tuple(d for row in operator.pairs for d in row)
        before = Bank("operator.before", ("base", "total"), restraint=True)
        memory.append(before)
        was = before.entry("was")
        age = was["total"] - was.left
        too_soon = age < ex.Lookup(flat, was["base"] + index)
        allowed &= ~ex.Exists(before, "was", (was.left > 0) & too_soon)
        base = ex.Lookup(tuple(range(0, inputs * inputs, inputs)), index)
        then.append(before.put(ex.Lookup(total, index), base, ex.Lookup(total, index)))

    return Machine(
        "operator",
        tuple(memory),
        tuple(body),
        Offer(PRESS, inputs, "pressed", allowed, tuple(then)),
    )
