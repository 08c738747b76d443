"""Certificates: a verdict written out so that others can check it."""

from __future__ import annotations

from collections.abc import Iterable
from math import inf
from pathlib import Path

from pydantic import ValidationError

from verify.allowed_code import OneFile, digest_of
from verify.engines.answer import Budget, OutOfTimeError, Progress, Verdict
from verify.engines.joined import few_zones
from verify.engines.trace import Script
from verify.engines.zones import Zone, zones_of
from verify.errors import LinkFileError
from verify.language.machine import System
from verify.language.state import Number, Timer
from verify.linkfile import parse_with_stock, toml_of
from verify.parts.link import Link
from verify.questions.cases import Argument, Case, cases
from verify.questions.judging import Judgement, Subject
from verify.questions.polyhedra import NotFoundError, groups_of
from verify.questions.waiting import longest_wait
from verify.recheck.certificate import (
    VERSION,
    Certificate,
    CodeFile,
    InvariantFile,
    RunFile,
    group_file,
)
from verify.recheck.groups import Group, Limit, Place
from verify.recheck.turns import MOST_QUERIES


class NoCertificateError(Exception):
    """There is no certificate; the text says why."""


def link_of(text: str, source: str, name: str, code: OneFile | None = None) -> Link:
    """The link of a certificate. Its text is all there is, and ``code``: no other file is looked
    at."""
    return parse_with_stock(text, source, name, folder=code)[0]


def certified(
    subject: Subject,
    text: str,
    judged: Judgement,
    budget: Budget,
    progress: Progress,
    folder: Path = Path(),
) -> Certificate:
    """The certificate of a verdict. ``folder``: of the link file. Raises NoCertificateError."""
    link = subject.link
    code = _code(text, folder)
    try:
        again = link_of(text, "", link.name, code)
    except LinkFileError as error:
        raise NoCertificateError(f"{error.key} is {error.found}") from None
    if again != link:
        raise NoCertificateError("the link is not that of its file's text alone")
    made = _certificate(subject, text, judged, budget, progress)
    if code is None:
        return made
    return made.model_copy(update={"code": CodeFile(file=code.named, sha256=code.sha256)})


def _code(text: str, folder: Path) -> OneFile | None:
    """The Python file that a link file names, as it was run."""
    named = toml_of(text, "").get("link", {}).get("python")
    digest = None if named is None else digest_of(folder / named)
    return None if digest is None else OneFile(named, folder / named, digest)


def _certificate(
    subject: Subject, text: str, judged: Judgement, budget: Budget, progress: Progress
) -> Certificate:
    link = subject.link
    if judged.verdict is Verdict.UNDECIDED:
        raise NoCertificateError("the verdict is open")
    if judged.trace is not None:
        failure = judged.trace.failure
        run = run_file(judged.trace.script, 0 if failure is None else failure.tick)
        return Certificate(
            fewwire_certificate=VERSION, verdict="fails", name=link.name, link=text, run=run
        )
    reason = ""
    for argument in _arguments(link):
        invariants = []
        try:
            for case in cases(subject, argument):
                invariants.append(_invariant(case, budget, progress))
        except NoCertificateError as error:
            reason = str(error)
            continue
        if invariants:
            return Certificate(
                fewwire_certificate=VERSION,
                verdict="holds",
                name=link.name,
                link=text,
                argument=argument,
                invariants=invariants,
            )
    raise NoCertificateError(reason)


def _arguments(link: Link) -> tuple[Argument, ...]:
    """What may be argued, what takes the fewest groups first.

    Noise in every slot is as many groups as slots, pairs of levers skip those between; but where
    a sample may meet any slot, there are as many pairs as slots.
    """
    if link.scheme.queue is not None:
        return "waiting", "parts"
    if link.any_start or link.pause.most:
        return "amid any", "parts"
    return "parts", "amid any"


def run_file(script: Script, fails: int) -> RunFile:
    """A run as it stands in a certificate."""
    return RunFile(
        presses=[[p.tick, p.input] for p in script.presses],
        delay=script.delay,
        picks=[[c.tick, c.name, c.value] for c in script.picks],
        constants=dict(script.constants),
        parts=script.resolution,
        fails=fails,
    )


def _invariant(case: Case, budget: Budget, progress: Progress) -> InvariantFile:
    system = case.system
    busy = _busy(case)
    progress.doing, progress.states = "looking for an invariant", 0
    if system.dense:
        return _file(case, _limited(case, budget, progress), busy)
    return _file(case, _groups(case, budget, progress), busy)


def _groups(case: Case, budget: Budget, progress: Progress) -> list[Group]:
    """Few and large ones if there are such, else zones as they are."""
    try:
        joined = of_joined(case.system, budget, progress)
    except OutOfTimeError:
        states = f"{progress.states} states"
        raise NoCertificateError(f"no invariant was found for {case.words} ({states})") from None
    if joined is not None:
        return joined
    progress.states = 0
    answer, zones = zones_of(case.system, budget, progress)
    if answer.verdict is Verdict.HOLDS:
        return [_group(case.system, zone) for zone in zones]
    if answer.script is None and not budget.spent(0):
        # Differences of two times cannot say it.
        return _limited(case, budget, progress)
    raise NoCertificateError(f"no invariant was found for {case.words} ({answer.covered})")


def _limited(case: Case, budget: Budget, progress: Progress) -> list[Group]:
    try:
        return list(groups_of(case.system, budget, progress))
    except NotFoundError as error:
        raise NoCertificateError(f"{error}, for {case.words}") from None


def of_joined(system: System, budget: Budget, progress: Progress) -> list[Group] | None:
    """Groups of states that differ in times only, and perhaps in how late lines are; None if
    there are no such. Raises OutOfTimeError."""
    found = few_zones(system, budget, progress)
    return found and [_group(system, zone, found[1]) for zone in found[0]]


def _busy(case: Case) -> int | None:
    """Ticks after which the queue of the case is empty again, None where it has none."""
    if case.queued is None:
        return None
    found = longest_wait(case.queued)
    queue = case.queued.scheme.queue
    if found is None or queue is None or found[0] > MOST_QUERIES * max(queue.sends):
        raise NoCertificateError(f"no proof that the queue always has a place, for {case.words}")
    return found[0]


def _file(case: Case, groups: Iterable[Group], busy: int | None) -> InvariantFile:
    try:
        return InvariantFile(
            part=case.words,
            memory=[item.name for item in case.system.memory],
            busy=busy,
            groups=[group_file(group) for group in groups],
        )
    except ValidationError as error:
        what = error.errors(include_url=False)[0]["msg"]
        raise NoCertificateError(f"no certificate can say what was found ({what})") from None


def _group(system: System, zone: Zone, gone: tuple[Number, ...] = ()) -> Group:
    """A zone as a group: bounds of what is left of restraints only from below. Numbers that are
    ``gone`` from the zone may be all that they can be."""
    places: list[Place] = []
    anything: list[Limit] = []
    restraints: set[int] = set()
    shape = iter(zone.shape)
    for i, item in enumerate(system.memory):
        if item in gone and isinstance(item, Number):
            places.append(f"n{i}")
            anything += [(item.most, ((f"n{i}", 1),)), (-item.least, ((f"n{i}", -1),))]
            continue
        value = next(shape)
        if isinstance(item, Number):
            places.append(value)
        elif isinstance(item, Timer):
            places.append(_name(value) if value else 0)
            if item.restraint:
                restraints.add(value)
        else:
            places.append(tuple((_name(time), *fields) for time, *fields in value))
            if item.restraint:
                restraints.update(time for time, *_ in value)
    return Group(tuple(places), (*anything, *_limits(zone, restraints)))


def _name(time: int) -> str:
    return f"t{time}"


def _limits(zone: Zone, restraints: set[int]) -> list[Limit]:
    """The bounds of a zone that do not follow from others."""
    most = zone.matrix
    numbers = range(len(most))
    kept = {
        (i, j)
        for i in numbers
        for j in numbers
        if i != j and (i == 0 or i not in restraints) and most[i][j] < inf
    }
    for i, j in sorted(kept, key=lambda pair: (-most[pair[0]][pair[1]], pair)):
        if any(
            (i, k) in kept and (k, j) in kept and most[i][k] + most[k][j] <= most[i][j]
            for k in numbers
            if k not in (i, j)
        ):
            kept.discard((i, j))
    return [
        (
            int(most[i][j]),
            (*(((_name(i), 1),) if i else ()), *(((_name(j), -1),) if j else ())),
        )
        for i, j in sorted(kept)
    ]
