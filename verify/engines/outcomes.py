"""What a solver has answered so far, so that a search that was cut does not ask it again.

The questions of a search come in an order that their outcomes decide, so outcomes in order are all
that is kept, each with a number that is made of its question. Where that differs, the questions are
not those of then, and everything from there on is asked.
"""

from __future__ import annotations

from collections.abc import Sequence

import z3

from verify.engines.checkpoint import Checkpoint
from verify.engines.zones_kept import listed, number

_BITS = (1 << 32) - 1


class Outcomes:
    """Of one search. Raises DamagedError for what is no list of outcomes."""

    def __init__(self, checkpoint: Checkpoint) -> None:
        self.checkpoint = checkpoint
        found = [] if checkpoint.found is None else listed(checkpoint.found)
        pairs = [listed(pair, 2) for pair in found]
        self.known = [(number(mark), number(said, range(2))) for mark, said in pairs]
        self.now = 0

    def next(self, question: Sequence[z3.BoolRef]) -> bool | None:
        """What was answered to the next question; None if it has to be asked."""
        if self.now >= len(self.known):
            return None
        mark, said = self.known[self.now]
        if mark != _mark(question):
            del self.known[self.now :]
            return None
        self.now += 1
        return said == 1

    def note(self, question: Sequence[z3.BoolRef], said: bool) -> None:
        """This was answered."""
        self.known.append((_mark(question), int(said)))
        self.now += 1
        if self.checkpoint.due():
            self.save()

    def save(self) -> None:
        """What was answered so far."""
        self.checkpoint.save(self.known)


def _mark(question: Sequence[z3.BoolRef]) -> int:
    mark = len(question)
    for term in question:
        mark = (31 * mark + int(term.hash())) & _BITS
    return mark
