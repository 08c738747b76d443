"""Certificates checked: the link read anew, every query asked, every run run again."""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass, field
from fractions import Fraction
from itertools import chain, zip_longest
from pathlib import Path
from typing import Literal

from verify.allowed_code import OneFile, is_allowed
from verify.engines.answer import Budget, Progress
from verify.errors import ModelError
from verify.fields import printable, value_text
from verify.parts.link import whole
from verify.questions.cases import Case, cases
from verify.questions.certify import link_of
from verify.questions.judging import Subject
from verify.recheck.certificate import Certificate, InvariantFile, MisfitError, group_of
from verify.recheck.claims import Query, queries
from verify.recheck.following import fails
from verify.recheck.groups import Invariant
from verify.recheck.relation import Relation, SpentError
from verify.recheck.solvers import Asked
from verify.recheck.turns import always_a_place
from verify.units import whole as whole_number

Verdict = Literal["confirmed", "refused", "undecided"]


@dataclass
class Rechecked:
    """``reason``: why it is not confirmed. ``answers``: per solver, how many said ``unsat``."""

    verdict: Verdict
    certificate: Certificate
    subject: Subject | None = None
    reason: str = ""
    groups: int = 0
    queries: int = 0
    answers: dict[str, int] = field(default_factory=dict)


class _RefusedError(Exception):
    """The certificate is none of this link; the text says why."""


def recheck(
    certificate: Certificate,
    source: str,
    solvers: dict[str, Asked],
    *,
    budget: Budget | None = None,
    progress: Progress | None = None,
    kept: Callable[[str, Query], None] = lambda part, query: None,
    python: Path | None = None,
) -> Rechecked:
    """Check a certificate. ``source`` stands for its file in messages.

    ``progress`` counts queries; ``kept`` is shown every one, with the number of its part.
    ``python``: the Python file of a link file that names one; it is run only if that is allowed,
    and it is the one that the certificate is of. Raises LinkFileError for a link file that is
    none, OutOfTimeError.
    """
    budget, progress = budget or Budget(), progress or Progress()
    found = Rechecked("confirmed", certificate)
    code = _code(certificate, python)
    if code is not None and is_allowed() and _another(code):
        found.verdict = "refused"
        found.reason = f"{printable(str(code.path))} is not the file whose SHA-256 is in it"
        return found
    link = link_of(certificate.link, f"{source}: link", certificate.name, code)

    def check() -> None:
        if budget.spent(0):
            raise SpentError(f"the time or memory was spent after {found.queries} queries")
        progress.states = found.queries

    try:
        if link.name != certificate.name:
            raise _RefusedError(f"a link of another name ({value_text(link.name)})")
        found.subject = Subject(link, budget=budget)
        if certificate.verdict == "fails":
            _again(found.subject, certificate, check)
        else:
            _proved(found, found.subject, solvers, check, kept)
    except (_RefusedError, MisfitError, ModelError) as reason:
        found.verdict, found.reason = "refused", str(reason)
    except SpentError as reason:
        found.verdict, found.reason = "undecided", str(reason)
    return found


def _code(certificate: Certificate, python: Path | None) -> OneFile | None:
    if certificate.code is None:
        return None
    named = certificate.code.file
    return OneFile(named, Path(named) if python is None else python, certificate.code.sha256)


def _another(code: OneFile) -> bool:
    """It is there, and not what the certificate is of."""
    try:
        text = code.path.read_bytes() if code.path.is_file() else None
    except OSError:
        return False
    return text is not None and hashlib.sha256(text).hexdigest() != code.sha256


def _proved(
    found: Rechecked,
    subject: Subject,
    solvers: dict[str, Asked],
    check: Callable[[], None],
    kept: Callable[[str, Query], None],
) -> None:
    found.answers = dict.fromkeys(solvers, 0)
    if found.certificate.run is not None:
        raise _RefusedError("a proof with a run that fails")
    invariants = _invariants(subject, found.certificate, check)
    # Parts of a link that differ in little have queries that do not differ at all; a query is a
    # text that says all there is to it, so it is asked once. Known by its SHA-256.
    unsat: set[tuple[str, bytes]] = set()
    for number, (invariant, file, places) in enumerate(invariants, 1):
        found.groups += len(invariant.groups)
        for query in chain(places, queries(invariant)):
            check()
            found.queries += 1
            kept(f"part-{number}", query)
            text = hashlib.sha256(query.text.encode()).digest()
            for name, ask in solvers.items():
                answer = "unsat" if (name, text) in unsat else ask(query.text)
                if answer == "sat":
                    raise _RefusedError(f"{query.name} of part {number} ({file.part}) is not so")
                if answer != "unsat":
                    check()
                    raise SpentError(f"{name} says {answer} to {query.name} of part {number}")
                found.answers[name] += 1
                unsat.add((name, text))


def _invariants(
    subject: Subject, certificate: Certificate, check: Callable[[], None]
) -> Iterator[tuple[Invariant, InvariantFile, Iterable[Query]]]:
    """The systems of the link, each with what the certificate says of it, and what has to be
    shown of its queue."""
    if not certificate.invariants:
        raise _RefusedError("no invariant")
    for case, file in zip_longest(cases(subject, certificate.argument), certificate.invariants):
        if case is None or file is None:
            raise _RefusedError("as many invariants as the link has parts")
        if file.memory != [item.name for item in case.system.memory] or file.part != case.words:
            raise _RefusedError(f"an invariant of another part ({file.part})")
        relation = Relation(case.system, check=check)
        groups = []
        for group in file.groups:
            check()
            groups.append(group_of(group, case.system))
        yield Invariant(relation, tuple(groups)), file, _places(case, file)


def _places(case: Case, file: InvariantFile) -> Iterable[Query]:
    if (case.queued is None) != (file.busy is None):
        raise _RefusedError("how long a queue is busy, where one waits and only there")
    if case.queued is None or file.busy is None:
        return ()
    return always_a_place(case.queued, file.busy)


def _again(subject: Subject, certificate: Certificate, check: Callable[[], None]) -> None:
    """The run fails as the certificate says, by a reading of the language of its own."""
    run = certificate.run
    if run is None or certificate.invariants:
        raise _RefusedError("a failure without its run, or with a proof")
    link = subject.link
    if not link.delay[0] * run.parts <= run.delay <= link.delay[1] * run.parts:
        raise _RefusedError("a delay that the line does not have")
    delay = whole_number(Fraction(run.delay, run.parts))
    system = whole(link, delay, subject.windows, run.parts)
    fails(system, len(link.branches), link.inputs, run, check)
