"""Command ``recheck``: is a certificate right?"""

from __future__ import annotations

import os
from typing import TYPE_CHECKING, Any

import click

from verify.commands.shared import (
    BAD,
    FAILS,
    HOLDS,
    UNDECIDED,
    budget_of,
    fail,
    guarded,
    json_option,
    print_json,
    time_option,
    watched,
)

if TYPE_CHECKING:
    from verify.questions.rechecking import Rechecked
    from verify.recheck.claims import Query

_STATUS = {"confirmed": HOLDS, "refused": FAILS, "undecided": UNDECIDED}
_SOLVERS = {"z3": ("z3",), "cvc5": ("cvc5",), "both": ("z3", "cvc5")}


@click.command()
@click.argument("certificate", type=click.Path())
@click.option(
    "--solver",
    type=click.Choice(["z3", "cvc5", "both"]),
    default="z3",
    show_default=True,
    help='Who answers the queries; cvc5 needs pip install "fewwire[recheck]".',
)
@click.option(
    "--queries",
    "folder",
    type=click.Path(),
    metavar="DIR",
    help="Write the queries to this new directory, for any solver that reads SMT-LIB 2.",
)
@click.option(
    "--python",
    type=click.Path(),
    metavar="FILE",
    help="The Python file that the link file names, if it is elsewhere than the certificate.",
)
@time_option("Work no longer than this; what is then open is undecided.")
@json_option
@guarded
def recheck(
    certificate: str,
    solver: str,
    folder: str | None,
    python: str | None,
    seconds: float,
    as_json: bool,
) -> int:
    """Is a certificate right? Checked by code that shares nothing with the search.

    Of a link that holds: each power-up is in the certificate's invariant, every tick stays
    inside, nothing fails inside. Of one that fails: its run fails. The certificate contains the
    link file, which is read anew. Where that names a Python file, --allow-code is needed, and
    the file has to be the same.

    Exit status: 0 confirmed, 1 refused, 2 no certificate, 3 undecided.

    Example: fewwire recheck carillon.json
    """
    from pathlib import Path

    from verify.linkfile import read
    from verify.questions.rechecking import recheck as rechecked
    from verify.recheck.certificate import MOST_BYTES, certificate_of
    from verify.recheck.solvers import solver_of

    text, shown, _ = read(certificate, "a certificate", MOST_BYTES)
    budget = budget_of(seconds)
    solvers: Any = {name: solver_of(name, budget.left) for name in _SOLVERS[solver]}  # type: ignore[arg-type]
    if folder is not None:
        _make(folder)
    with watched() as progress:
        progress.doing, progress.choices = "rechecking", False

        def keep(part: str, query: Query) -> None:
            if folder is not None:
                _write(folder, part, query)

        read_in = certificate_of(text, shown)
        if python is not None and read_in.code is None:
            fail("--python: found a certificate without a Python file; allowed: no option", BAD)
        code = None if python is None else Path(python)
        if code is None and read_in.code is not None:
            code = Path(certificate).parent / read_in.code.file
        found = rechecked(
            read_in, shown, solvers, budget=budget, progress=progress, kept=keep, python=code
        )
    if as_json:
        print_json(_answer(found))
    else:
        _show(found)
    return _STATUS[found.verdict]


def _make(folder: str) -> None:
    try:
        os.mkdir(folder)
    except OSError as error:
        reason = (error.strerror or "an error").lower()
        fail(f"--queries: {folder}: found {reason}; allowed: a new directory", BAD)


def _write(folder: str, part: str, query: Query) -> None:
    from verify.files import write_whole

    write_whole(os.path.join(folder, f"{part}-{query.name.replace(' ', '-')}.smt2"), query.text)


def _show(found: Rechecked) -> None:
    from verify.reports.names import printable

    name, said = printable(found.certificate.name), found.certificate.verdict
    if found.verdict != "confirmed":
        click.echo(f"{found.verdict}: that '{name}' {said}. {found.reason}.")
        return
    click.echo(f"confirmed: '{name}' {said}.")
    if said == "fails":
        click.echo(f"Its run fails at tick {_tick(found)}.")
        return
    parts = len(found.certificate.invariants)
    click.echo(
        f"{found.groups} groups of states in {_number(parts, 'invariant')}, "
        f"{found.queries} queries; all unsat: {', '.join(found.answers)}."
    )


def _number(count: int, noun: str) -> str:
    return f"{count} {noun}" if count == 1 else f"{count} {noun}s"


def _tick(found: Rechecked) -> str | None:
    run = found.certificate.run
    if run is None:
        return None
    return str(run.fails) if run.parts == 1 else f"{run.fails}/{run.parts}"


def _answer(found: Rechecked) -> dict[str, Any]:
    certificate = found.certificate
    return {
        "question": "recheck",
        "name": certificate.name,
        "certificate": certificate.verdict,
        "verdict": found.verdict,
        "reason": found.reason or None,
        "parts": [invariant.part for invariant in certificate.invariants],
        "groups": found.groups,
        "queries": found.queries,
        "unsat": found.answers,
        "fails_at": _tick(found) if found.verdict == "confirmed" else None,
    }
