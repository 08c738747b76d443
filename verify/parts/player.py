"""A player in place of parts of a link: what was recorded goes on, and the rest hears it."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from verify.language import expressions as ex
from verify.language.machine import Each, Machine, Offer, Rule, Statement
from verify.language.state import Bank, Number, Signal

PLAYED = Signal("played", ("edge",))
MACHINE = "player"
COMING = Bank("player.coming", ("edge",))
"""Edges that are to be played when their time has run out."""

Edge = tuple[Signal, tuple[int, ...]]
"""A signal that occurs, with its numbers: one or none."""


def build(edges: Sequence[Edge], memory: Iterable[Number] = ()) -> Machine:
    """The machine that lets ``edges[k]`` occur when it is told k, or when an entry k of
    ``COMING`` runs out. ``memory``: numbers that others read and whose owner is not there."""
    told, next_one = PLAYED.occurrence("told")["edge"], COMING.entry("next")["edge"]
    body = (
        Each(PLAYED, "told", tuple(_rules(edges, told))),
        Each(COMING, "next", tuple(_rules(edges, next_one)), expired=True),
    )
    offer = Offer(PLAYED, len(edges), "told", ex.Truth(True), ())
    return Machine(MACHINE, (COMING, *memory), body, offer)


def _rules(edges: Sequence[Edge], which: ex.Int) -> Iterable[Statement]:
    """A rule per signal, not per edge: inputs may be many."""
    for signal in dict.fromkeys(signal for signal, _ in edges):
        mine = tuple(int(other == signal) for other, _ in edges)
        numbers = tuple(values[0] if values else 0 for _, values in edges)
        fields = (ex.Lookup(numbers, which),) if signal.fields else ()
        yield Rule(f"play {signal.name}", ex.Lookup(mine, which).eq(1), (signal.emit(*fields),))
