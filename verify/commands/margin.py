"""Command ``margin``: how much of one disturbance does a link survive?"""

from __future__ import annotations

from typing import TYPE_CHECKING, get_args

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
from verify.questions.disturbances import Disturbance

if TYPE_CHECKING:
    from verify.questions.engine_choice import EngineName


@click.command()
@click.option(
    "--of",
    required=True,
    type=click.Choice(get_args(Disturbance)),
    help="The disturbance, by its key in link files.",
)
@resume_option
@question
def margin(file: str, engine: EngineName, seconds: float, as_json: bool, of: str) -> int:
    """How much of one disturbance does the link survive?

    The largest amount that still holds, with a failing trace just past it. The file's
    other disturbances stand.

    Example: fewwire margin weather_mast.toml --of line.jitter
    """
    if of == "clock.rate":
        return _rate(file, engine, seconds, as_json)
    from verify.questions.margin import margin as largest

    with watched() as progress:
        subject = subject_of(file)
        found = largest(subject.link, of, engine, progress, budget_of(seconds))
    from verify.reports.as_json import margin_json

    answer = margin_json(subject.link, found)
    if as_json:
        print_json(answer)
    else:
        from verify.reports.terminal import show_margin

        show_margin(subject, found)
    return STATUS[answer["verdict"]]


def _rate(file: str, engine: EngineName, seconds: float, as_json: bool) -> int:
    """An error on either side, exact, where other disturbances have whole ticks."""
    from verify.questions.rate_margin import rate_margin

    with watched() as progress:
        subject = subject_of(file)
        found = rate_margin(subject.link, engine, progress, budget_of(seconds))
    from verify.reports.rates import rate_margin_json, show_rate_margin

    answer = rate_margin_json(subject.link, found)
    if as_json:
        print_json(answer)
    else:
        show_rate_margin(subject.link, found)
    return STATUS[answer["verdict"]]
