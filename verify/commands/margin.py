"""Command ``margin``: how much of one disturbance does a link survive?"""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

from verify.commands.shared import STATUS, budget_of, print_json, question, subject_of, watched

if TYPE_CHECKING:
    from verify.questions.judging import EngineName


@click.command()
@click.option(
    "--of",
    required=True,
    type=click.Choice(["clock.offset", "line.jitter", "line.skew", "line.shortest"]),
    help="The disturbance, by its key in link files.",
)
@question
def margin(file: str, engine: EngineName, seconds: float, as_json: bool, of: str) -> int:
    """How much of one disturbance does the link survive?

    The largest amount that still holds, with a failing trace just past it. The file's
    other disturbances stand.

    Example: fewwire margin weather_mast.toml --of line.jitter
    """
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
