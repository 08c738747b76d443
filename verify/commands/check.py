"""Command ``check``: does every press come out right?"""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

from verify.commands.shared import (
    STATUS,
    UNDECIDED,
    budget_of,
    fail,
    print_json,
    question,
    resume_option,
    subject_of,
    watched,
)

if TYPE_CHECKING:
    from verify.engines.answer import Budget, Progress
    from verify.questions.engine_choice import EngineName
    from verify.questions.judging import Judgement, Subject


@click.command()
@click.option(
    "--certificate",
    type=click.Path(),
    metavar="OUT",
    help="Write why the verdict is right, for fewwire recheck.",
)
@click.option("--force", is_flag=True, help="Overwrite a certificate that is there.")
@click.option(
    "--inside", is_flag=True, help="Show the modes and timers of the machines in the picture."
)
@resume_option
@question
def check(
    file: str,
    engine: EngineName,
    seconds: float,
    as_json: bool,
    certificate: str | None,
    force: bool,
    inside: bool,
) -> int:
    """Does every press come out right, and nothing else?

    A proof for press sequences of any length, or the shortest sequence that breaks
    the link, as a picture in time.

    Example: fewwire check carillon.toml
    """
    from verify.engines.alarm import turn_off
    from verify.questions.judging import judge

    if certificate is not None:
        from verify.files import check_apart, check_writable

        check_apart(file, certificate)
        check_writable(certificate, overwrite=force)
    reason = None
    with watched() as progress:
        subject = subject_of(file, *([certificate] if certificate else []))
        budget = budget_of(seconds)
        judged = judge(subject, engine, progress, budget=budget)
        if certificate is not None:
            turn_off()  # what was found is not lost on the way to a certificate
            reason = _certify(file, certificate, force, subject, judged, budget, progress)
    if as_json:
        from verify.reports.as_json import check_json

        print_json(check_json(subject.link, judged))
    else:
        from verify.reports.terminal import show_check

        show_check(subject, judged, inside=inside)
    if reason is not None:
        fail(f"{certificate}: no certificate was written: {reason}", UNDECIDED)
    return STATUS[judged.verdict.value]


def _certify(
    file: str,
    out: str,
    force: bool,
    subject: Subject,
    judged: Judgement,
    budget: Budget,
    progress: Progress,
) -> str | None:
    """Write the certificate, or say why there is none."""
    from pathlib import Path

    from verify.files import write_whole
    from verify.linkfile import read
    from verify.questions.certify import NoCertificateError, certified
    from verify.recheck.certificate import text_of

    try:
        found = certified(subject, read(file)[0], judged, budget, progress, Path(file).parent)
    except NoCertificateError as error:
        return str(error)
    write_whole(out, text_of(found), overwrite=force)
    click.echo(f"wrote {out}", err=True)
    return None
