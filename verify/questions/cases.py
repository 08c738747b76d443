"""The systems that together decide whether a link holds: what has to be proved, one by one."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace
from math import lcm
from typing import Literal

from verify.engines.lone import Lone, factored_windows
from verify.language.machine import System
from verify.parts.link import Link, Part, factored
from verify.parts.monitor import Windows
from verify.questions.judging import Subject
from verify.questions.waiting import in_turn

Argument = Literal["parts", "amid any", "waiting"]
# A clock of unknown rate is taken in parts of a tick so many times finer than its range needs.
FINER = 12


class NoCaseError(Exception):
    """The argument says nothing of some part of the link."""


@dataclass(frozen=True)
class Case:
    """A system, and in words which part of the link it is.

    ``queued``: the part itself, if besides it has to be shown that its queue always has a place.
    """

    words: str
    system: System
    queued: Link | None = None


def cases(subject: Subject, argument: Argument) -> Iterable[Case]:
    """What has to be proved of a link. None: the argument is no argument for this link.

    ``parts``: of each output, or group of inputs, all that matters to it. ``amid any``: of each
    lever that it holds whatever the others do. ``waiting``: of a queue that it always has a place,
    and that sends in turn come out right.
    """
    if argument != "waiting":
        return _cases(subject, argument)
    try:
        return list(_cases(subject, argument))
    except NoCaseError:
        return ()


def _cases(subject: Subject, argument: Argument) -> Iterator[Case]:
    seen: set[tuple[Link, Windows]] = set()
    for part, lone in _parts(subject, argument):
        for windows in factored_windows(part.link, lone):
            key = replace(part.link, name="", names=("",) * part.link.inputs), windows
            if key in seen:
                continue
            seen.add(key)
            words = _words(subject.link, part, windows)
            if argument != "waiting":
                yield Case(words, _system(subject, part, windows))
                continue
            system = in_turn(part.link, windows)
            if system is None:
                # All parts wait like this, or it is no argument: never some of them only.
                raise NoCaseError
            yield Case(f"{words}; sends in turn", system, part.link)


def _parts(subject: Subject, argument: Argument) -> Iterator[tuple[Part, Lone]]:
    link, whole = subject.link, subject.lone
    if argument != "amid any":
        for part in subject.parts:
            yield part, subject.lone_for(part)
    elif not link.clock.rated:
        for part in link.amid_any():
            i = part.carried[0]
            alone = (whole.earliest[i],), (whole.latest[i],), (whole.settled[i],)
            yield part, Lone(*alone, whole.rests)


def _system(subject: Subject, part: Part, windows: Windows) -> System:
    link = part.link
    resolution = lcm(link.clock.resolution, windows.resolution)
    if not link.clock.rated or subject.lone_of(link).rests:
        return factored(link, windows, resolution)
    # Every period may be another: that allows more than a rate that is the same for a run.
    anew = replace(link, clock=replace(link.clock, anew=True))
    return replace(factored(anew, windows, FINER * resolution), dense=False)


def _words(link: Link, part: Part, windows: Windows) -> str:
    watched = part.link.watched
    judged = part.carried if watched is None else (part.carried[watched],)
    names = ", ".join(link.names[i] for i in judged)
    due = [
        (str(a), str(b))
        for k, (a, b) in enumerate(zip(windows.earliest, windows.latest, strict=True))
        if watched in (None, k)
    ]
    ticks = ", ".join(f"{a} to {b}" if a != b else a for a, b in due)
    return f"{names}: due {ticks} ticks after the press, delay of the line left out"
