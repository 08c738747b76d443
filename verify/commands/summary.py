"""Command ``summary``: check, spacing and latency of a link at a glance."""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

from verify.commands.shared import (
    STATUS,
    budget_of,
    print_json,
    question,
    resume_option,
    subject_of,
    watched,
)

if TYPE_CHECKING:
    from verify.questions.engine_choice import EngineName


@click.command()
@resume_option
@question
def summary(file: str, engine: EngineName, seconds: float, as_json: bool) -> int:
    """Does it come out right, how close together, and how soon? Three answers in one.

    What check, spacing and latency say of the link, in a line each, and the failing run if
    there is one. `fewwire FILE` is short for it.

    Example: fewwire summary carillon.toml
    """
    from verify.questions.summary import summarise

    with watched() as progress:
        subject = subject_of(file)
        found = summarise(subject, engine, progress, budget_of(seconds))
    if as_json:
        from verify.reports.summaries import summary_json

        print_json(summary_json(subject.link, found))
    else:
        from verify.reports.summaries import show_summary

        show_summary(subject, found)
    return STATUS[found.verdict.value]
