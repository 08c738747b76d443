"""Levers of which one move decides: proofs that need no others, and failures of one move.

Which links these are, and why that is enough, is said at ``Link.one_move`` and by the scheme.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from typing import TypeAlias

from verify.engines.answer import Answer, Verdict
from verify.engines.lone import Lone, factored_windows
from verify.parts.link import Link, Part
from verify.parts.monitor import Windows

Ask: TypeAlias = Callable[[Link, Windows], Answer]
# Of a part, but for how much is spared, the least of that with which it is known to hold.
Held: TypeAlias = dict[tuple[Link, Windows], tuple[int, Answer]]


@dataclass(frozen=True)
class Moved:
    """What came of it. ``failed``: a failure of the link, with its part and branch."""

    answer: Answer
    failed: tuple[Part, int] | None = None


def distinct(link: Link, whole: Lone, moves: int) -> Iterator[tuple[Part, Windows, int]]:
    """Levers that go up once, or stay down: parts that differ, windows, and a branch."""
    seen: set[tuple[Link, Windows]] = set()
    parts = (part for pair in link.one_move() for part in pair)
    for part in (part for part in parts if part.link.operator.moves == moves):
        for windows, branches in _windows(part, whole).items():
            key = part.link.anonymous, windows
            if key not in seen:
                seen.add(key)
                yield part, windows, branches[0]


def by_one_move(link: Link, whole: Lone, ask: Ask, held: Held) -> Moved | None:
    """All levers one by one; None where nothing is known by it.

    ``whole``: what lone moves do. ``ask``: an engine, asked about parts without their names.
    ``held``: is filled, and spares questions of the same link that counts from later.
    """
    known: dict[tuple[Link, Windows], Answer] = {}

    def looked(part: Part) -> Moved | None:
        for windows, branches in _windows(part, whole).items():
            key = part.link.anonymous, windows
            if key not in known:
                known[key] = _answer(*key, ask, held)
            if known[key].verdict is not Verdict.HOLDS:
                return Moved(known[key], (part, branches[0]))
        return None

    pairs = link.one_move()
    for up, down in pairs:
        # One that stays down is looked at in no time, and where it is wrong one that is up
        # mostly is, too.
        if looked(down) is not None:
            return _failing(looked(up))
    for up, _ in pairs:
        moved = looked(up)
        if moved is not None:
            return _failing(moved)
    if not known:
        return None
    engines = dict.fromkeys(answer.engine for answer in known.values())
    covered = f"all zones of {len(known)} parts in which one lever moves, which decides"
    return Moved(Answer(Verdict.HOLDS, " and ".join(engines), covered=covered, complete=True))


def _failing(moved: Moved | None) -> Moved | None:
    return moved if moved is not None and moved.answer.verdict is Verdict.FAILS else None


def _windows(part: Part, whole: Lone) -> dict[Windows, tuple[int, ...]]:
    i = part.carried[0]
    lone = Lone((whole.earliest[i],), (whole.latest[i],), (whole.settled[i],), whole.rests)
    return factored_windows(part.link, lone)


def _answer(link: Link, windows: Windows, ask: Ask, held: Held) -> Answer:
    spared = link.spared or 0
    key = replace(link, spared=None if link.spared is None else 0), windows
    least, answer = held.get(key, (spared + 1, None))
    if answer is None or spared < least:
        answer = ask(link, windows)
        if answer.verdict is Verdict.HOLDS:
            held[key] = spared, answer
    return answer
