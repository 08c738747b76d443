"""Command ``recover``: how long until a link is right again?"""

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
def recover(file: str, engine: EngineName, seconds: float, as_json: bool) -> int:
    """After a disturbance, how long until outputs are right and stay right?

    After the file's last `pause`; in a file without one, or with `start = "any"`, from
    power-up in any state. The longest time over all runs, or `never`, with the circle that
    the link may run through any number of times before it goes wrong again.

    Example: fewwire recover carillon.toml
    """
    from verify.questions.recover import recover as longest

    with watched() as progress:
        subject = subject_of(file)
        found = longest(subject.link, engine, progress, budget_of(seconds))
    from verify.reports.recovery import recovery_json, show_recovery

    if as_json:
        print_json(recovery_json(subject.link, found))
    else:
        show_recovery(subject.link, found)
    return STATUS[found.verdict.value]
