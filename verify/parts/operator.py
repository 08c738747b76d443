"""The operator: what the inputs may do, as one nondeterministic machine."""

from __future__ import annotations

from dataclasses import dataclass

from verify.language import expressions as ex
from verify.language.machine import Each, First, Machine, Offer, Rule, Statement
from verify.language.state import Bank, Number, Signal, Timer, flag, number
from verify.parts.signals import MOVE, PRESS, RELEASE


@dataclass(frozen=True)
class Operator:
    """Bounds on the inputs, all in ticks. A change is a press, or the move of a lever.

    ``spacing``: least time between changes of any inputs; ``repeat``: between changes of
    one input; ``pairs[i][j]``: from a change of i to any later change of j. For presses
    also ``hold``: least and most time an input stays pressed. ``overlap``: how many may be
    held, or up, at once (None: all). ``together``: changes in one tick count as one for
    ``spacing``. ``moves``: how many changes there are in all; proofs need few of them, link
    files have no key for it.
    """

    spacing: int = 0
    repeat: int = 0
    hold: tuple[int, int] = (1, 1)
    overlap: int | None = None
    pairs: tuple[tuple[int, ...], ...] | None = None
    together: bool = False
    moves: int | None = None

    @property
    def closest(self) -> int:
        """Ticks, at least, between changes of two inputs, as ``spacing`` has it."""
        return 0 if self.together else self.spacing

    def apart(self, kind: str, i: int, j: int) -> int:
        """Ticks, at least, from a change of input ``i`` to any later change of ``j``."""
        again = max(self.repeat, self.hold[0] + 1) if kind == "press" else self.repeat
        pair = self.pairs[i][j] if self.pairs is not None else 0
        return max(self.closest, again if i == j else 0, pair)


class _Draft:
    """An operator in the making: memory, the guard of its offer, and what taking it up does."""

    def __init__(self, signal: Signal) -> None:
        self.signal = signal
        self.index = signal.occurrence("pressed")["input"]
        self.memory: list[Number | Timer | Bank] = []
        self.allowed: ex.Bool = ex.Truth(True)
        self.then: list[Statement] = []
        self.body: list[Statement] = []

    def machine(self, inputs: int) -> Machine:
        offer = Offer(self.signal, inputs, "pressed", self.allowed, tuple(self.then))
        return Machine("operator", tuple(self.memory), tuple(self.body), offer)

    def spaced(self, spacing: int, together: bool) -> None:
        """Any two changes at least so far apart; ``together``: or in one tick."""
        if spacing > 0:
            since = Timer("operator.spacing", spacing, restraint=True)
            self.memory.append(since)
            free = ~since.running()
            self.then.append(since.start(spacing))
            if together:
                now = flag("operator.now")
                self.memory.append(now)
                self.then.append(now.put_up())
                # Offers are taken up before.
                self.body.append(Rule("no more", self.signal.happens(), (now.put_down(),)))
                free |= now.up()
            self.allowed &= free

    def waiting(self, warm_up: int) -> None:
        """Nothing changes before the link has been on for so long."""
        if warm_up > 0:
            cold = Timer("operator.cold", warm_up, restraint=True, begin=warm_up)
            self.memory.append(cold)
            self.allowed &= ~cold.running()

    def few(self, most: int) -> None:
        """So many changes in all."""
        left = number("operator.left", 0, most, most)
        self.memory.append(left)
        self.allowed &= left.read() > 0
        self.then.append(left.set(left.read() - 1))

    def repeated(self, again: int) -> None:
        """Two changes of the same input at least so far apart."""
        recent = Bank("operator.recent", ("input",), restraint=True)
        self.memory.append(recent)
        mine = recent.entry("own")
        same = (mine.left > 0) & mine["input"].eq(self.index)
        self.allowed &= ~ex.Exists(recent, "own", same)
        self.then.append(recent.put(again, self.index))

    def paired(self, pairs: tuple[tuple[int, ...], ...]) -> None:
        """From a change of i to any later change of j at least ``pairs[i][j]``."""
        # One entry per change, long enough for its strictest partner; its age is total - left.
        total = tuple(max(row) for row in pairs)
        flat = tuple(d for row in pairs for d in row)
        before = Bank("operator.before", ("base", "total"), restraint=True)
        self.memory.append(before)
        was, index = before.entry("was"), self.index
        too_soon = was["total"] - was.left < ex.Lookup(flat, was["base"] + index)
        self.allowed &= ~ex.Exists(before, "was", (was.left > 0) & too_soon)
        base = ex.Lookup(tuple(range(0, len(flat), len(pairs))), index)
        self.then.append(before.put(ex.Lookup(total, index), base, ex.Lookup(total, index)))

    def held(self, hold: tuple[int, int], most_at_once: int | None) -> None:
        """Inputs stay pressed for a while, and the link sees them let go."""
        held = Bank("operator.held", ("input",))
        self.memory.append(held)
        mine, gone = held.entry("mine"), held.entry("gone")
        # The tick of a release is low: the same input may be pressed again only after it.
        self.allowed &= ~ex.Exists(held, "mine", mine["input"].eq(self.index))
        least, most = hold
        stays: ex.Int = ex.Constant(least) if least == most else ex.Pick("hold", least, most)
        self.then.append(held.put(stays, self.index))
        self.body.append(Each(held, "gone", (RELEASE.emit(gone["input"]),), expired=True))
        if most_at_once is not None:
            self.allowed &= held.size() < most_at_once

    def held_unseen(self, hold: int, most_at_once: int) -> None:
        """Only so many pressed at once, for ``hold`` ticks each, where nothing sees releases."""
        holding = Bank("operator.holding", ("input",), restraint=True)
        self.memory.append(holding)
        self.allowed &= holding.size() < most_at_once
        self.then.append(holding.put(hold, self.index))

    def levers(self, inputs: int, most_at_once: int | None) -> None:
        """A lever goes up if it is down, and down if it is up; all are down at power-up.

        One that goes down counts as up for the rest of that tick: no other takes its place in it.
        """
        raised = None
        if most_at_once is not None:
            raised = number("operator.raised", 0, most_at_once)
            self.memory.append(raised)
        ups: ex.Bool = ex.Truth(False)
        moved = MOVE.occurrence("m")["input"]
        rules = []
        for i in range(inputs):
            up = flag(f"operator.up{i}")
            self.memory.append(up)
            lowered = () if raised is None else (raised.set(raised.read() - 1),)
            turn = First(
                (
                    Rule("goes up", ~up.up(), (up.put_up(), PRESS.emit(i))),
                    Rule("goes down", up.up(), (up.put_down(), RELEASE.emit(i), *lowered)),
                )
            )
            rules.append(Rule(f"lever {i}", moved.eq(i), (turn,)))
            ups |= self.index.eq(i) & up.up()
        if raised is not None:
            self.allowed &= ups | (raised.read() < raised.most)
            self.then.append(Rule("one more is up", ~ups, (raised.set(raised.read() + 1),)))
        self.body.append(Each(MOVE, "m", tuple(rules)))


def build(
    operator: Operator,
    inputs: int,
    watches_release: bool,
    kind: str = "press",
    warm_up: int = 0,
) -> Machine:
    """The operator of ``inputs`` inputs of a kind, ``press`` or ``level``.

    ``warm_up``: ticks from power-up before it does anything.

    Where no part of the link sees releases, holding longer than the least only forbids
    presses, so the least hold stands for all. Levers have no hold.
    """
    draft = _Draft(MOVE if kind == "level" else PRESS)
    draft.waiting(warm_up)
    if operator.moves is not None:
        draft.few(operator.moves)
    draft.spaced(operator.spacing, operator.together)
    most = operator.overlap
    if most is not None and most >= inputs:
        most = None
    if kind == "level":
        if operator.repeat > operator.spacing:
            draft.repeated(operator.repeat)
        draft.levers(inputs, most)
    else:
        if watches_release:
            draft.held(operator.hold, most)
        elif most is not None:
            draft.held_unseen(operator.hold[0], most)
        again = max(operator.repeat, operator.hold[0] + 1)
        if again > operator.spacing or watches_release or operator.together:
            draft.repeated(again)
    if operator.pairs is not None:
        draft.paired(operator.pairs)
    return draft.machine(inputs)
