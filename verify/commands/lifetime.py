"""Command ``lifetime``: how long after power-up is a link sure to stay right?"""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

from verify.commands.shared import (
    HOLDS,
    UNDECIDED,
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
def lifetime(file: str, engine: EngineName, seconds: float, as_json: bool) -> int:
    """How long after power-up is the link sure to stay right?

    For scans whose two ends drift apart, because their clocks differ: the time of the
    soonest failure, exact, with its trace. Other links stay right for ever, or fail
    as soon as they are used in the wrong way.

    Example: fewwire lifetime weather_mast.toml
    """
    from verify.questions.lifetime import lifetime as sure_time

    with watched() as progress:
        subject = subject_of(file)
        found = sure_time(subject, engine, progress, budget_of(seconds))
    from verify.reports.lifetimes import lifetime_json, show_lifetime

    if as_json:
        print_json(lifetime_json(subject.link, found))
    else:
        show_lifetime(subject, found)
    return UNDECIDED if found.verdict.value == "undecided" else HOLDS
